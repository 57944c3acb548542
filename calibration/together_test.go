package calibration

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"strings"
	"testing"

	"plumbline/internal/simulator"
	"plumbline/quantity"
	"plumbline/recording"
)

// slowBench is the invented bench with a small exciter and a slow recorder.
func slowBench() simulator.Bench {
	b := simulator.FenwickLane()
	b.Exciter, b.Recorder.Rate = simulator.Small(), 250
	return b
}

// togetherJob is a bare job of one recording with several lines, the reference known exactly.
func togetherJob(t *testing.T, b simulator.Bench, frequencies []float64, duration float64, seed uint64) (Job, []simulator.Truth) {
	t.Helper()
	var lines []simulator.Line
	for i, f := range frequencies {
		lines = append(lines, simulator.Line{Frequency: f, Level: 0.006 * quantity.StandardGravity, Phase: 2.4 * float64(i*i)})
	}
	samples, truths := b.Multisine(lines, duration, rand.New(rand.NewPCG(seed, 1)))
	rec := simulator.Recording("multisine.wav", samples, b.Recorder.Rate, b.Recorder.Bits)
	j := bareJob(t)
	j.Device.ReferenceFrequency, j.Reference.Table = frequencies[len(frequencies)-1], nil
	for _, f := range frequencies {
		s := b.Reference.Sensitivity(f)
		j.Reference.Table = append(j.Reference.Table, CalibratedPoint{Frequency: f, Modulus: cmplx.Abs(s), Phase: cmplx.Phase(s), StdModulus: 1e-6, StdPhase: 1e-6})
		j.Points = append(j.Points, PointPlan{Label: "line", Frequency: f, Level: math.NaN(), Together: frequencies, Recording: &rec})
	}
	return j, truths
}

// TestTogether: the third harmonic of 1 Hz is the line at 3 Hz and no distortion; every line holds the truth, and what cannot be told is said.
func TestTogether(t *testing.T) {
	j, truths := togetherJob(t, slowBench(), []float64{1, 3, 7, 11}, 60, 3)
	r, err := Evaluate(j, 1)
	if err != nil {
		t.Fatal(err)
	}
	for i, p := range r.Points {
		if p.Refused != "" {
			t.Fatalf("%g Hz: %s", p.Plan.Frequency, p.Refused)
		}
		if d := p.Sensitivity / truths[i].Device; math.Abs(cmplx.Abs(d)-1) > 2*p.Reported.UModulus || math.Abs(cmplx.Phase(d)) > 2*p.Reported.UPhase {
			t.Errorf("%g Hz: off by %.3g and %.3g rad, U %.3g and %.3g", p.Plan.Frequency, cmplx.Abs(d)-1, cmplx.Phase(d), p.Reported.UModulus, p.Reported.UPhase)
		}
		if p.Evidence.FrequencyStd <= 0 || math.IsInf(p.Evidence.FrequencyStd, 1) {
			t.Errorf("%g Hz: standard uncertainty of the frequency %g Hz", p.Plan.Frequency, p.Evidence.FrequencyStd)
		}
		if text := remarkText(p, "together"); !strings.Contains(text, "no evidence of linearity") {
			t.Errorf("%g Hz: remark %q", p.Plan.Frequency, text)
		}
		for _, code := range []string{"foreign-line", "excess-harmonics", "common-disturbance", "phase-wanders", "blocks-rejected", "drift"} {
			if text := remarkText(p, code); text != "" {
				t.Errorf("%g Hz: unwanted remark %s: %s", p.Plan.Frequency, code, text)
			}
		}
	}
	if p := r.Points[0]; !strings.Contains(remarkText(p, "shared-harmonics"), "[3]") || p.Evidence.DistortionReference > 0.2 {
		t.Errorf("1 Hz: remark %q, distortion %.3g: the third harmonic is another line as large", remarkText(p, "shared-harmonics"), p.Evidence.DistortionReference)
	}
}

// TestTogetherLostSamples: samples missing in both channels are found by the highest line and refuse every line; so does a step of one channel.
func TestTogetherLostSamples(t *testing.T) {
	for _, channel := range []int{0, 2} {
		b := slowBench()
		b.Faults.Dropped, b.Faults.DroppedChannel = 3, channel
		j, _ := togetherJob(t, b, []float64{0.7, 1.1, 1.9, 9.9}, 60, 4)
		r, err := Evaluate(j, 1)
		if err != nil {
			t.Fatal(err)
		}
		for _, p := range r.Points {
			if !strings.Contains(p.Refused, "recording multisine.wav: ") || !strings.Contains(p.Refused, "samples are missing") || strings.Count(p.Refused, "recording multisine.wav") != 1 {
				t.Errorf("3 samples dropped in channel %d, %g Hz: refused %q", channel, p.Plan.Frequency, p.Refused)
			}
		}
	}
}

// TestTogetherIsChecked refuses lines that do not fit the points.
func TestTogetherIsChecked(t *testing.T) {
	one, two := recording.Recording{Name: "one.wav", ID: "1"}, recording.Recording{Name: "two.wav", ID: "2"}
	for _, c := range []struct {
		points []PointPlan
		want   string
	}{
		{[]PointPlan{{Label: "a", Frequency: 1, Together: []float64{1, 2}, Recording: &one}, {Label: "b", Frequency: 2, Together: []float64{2, 1}, Recording: &one}}, ""},
		{[]PointPlan{{Label: "a", Frequency: 1, Recording: &one}, {Label: "b", Frequency: 2, Recording: &two}}, ""},
		{[]PointPlan{{Label: "a", Frequency: 1, Together: []float64{1}, Recording: &one}}, "allowed are two or more different positive frequencies"},
		{[]PointPlan{{Label: "a", Frequency: 1, Together: []float64{1, 1}, Recording: &one}}, "allowed are two or more"},
		{[]PointPlan{{Label: "a", Frequency: 1, Together: []float64{2, 3}, Recording: &one}}, "must name every line of the recording, 1 Hz too"},
		{[]PointPlan{{Label: "a", Frequency: 1, Together: []float64{1, 3}}}, "needs a recording"},
		{[]PointPlan{{Label: "a", Frequency: 1, Together: []float64{1, 2}, Recording: &one}, {Label: "b", Frequency: 2, Together: []float64{2, 1, 3}, Recording: &one}}, "name the same recording one.wav with different lines"},
	} {
		j := Job{Points: c.points}
		errs := j.validateTogether()
		switch {
		case c.want == "" && len(errs) > 0:
			t.Errorf("%+v: %v", c.points, errs)
		case c.want != "" && (len(errs) != 1 || !strings.Contains(errs[0].Error(), c.want)):
			t.Errorf("lines %g of %g Hz: %v, want %q", c.points[0].Together, c.points[0].Frequency, errs, c.want)
		}
	}
}
