package lab

import (
	"errors"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"os"
	"slices"
	"testing"

	"plumbline/calibration"
	"plumbline/internal/format"
	"plumbline/internal/format/wav"
	"plumbline/internal/simulator"
	"plumbline/quantity"
)

// multisine is the signal of the example: its displacements add up to 4.9 mm, the exciter has ±5 mm.
func multisine() (lines []simulator.Line) {
	for i, f := range []float64{0.7, 1.1, 1.9, 3.1, 5.1, 9.9} {
		level := []float64{0.0065, 0.0055, 0.0045, 0.004, 0.0035, 0.003}[i] * quantity.StandardGravity
		lines = append(lines, simulator.Line{Frequency: f, Level: level, Phase: []float64{0.4, 2.9, 1.1, 5.2, 3.6, 0.2}[i]})
	}
	return lines
}

// recordMultisine makes the example's recording.
func recordMultisine(t *testing.T, file string) {
	t.Helper()
	b := exampleBench()
	b.Recorder.Rate = 250
	samples, _ := b.Multisine(multisine(), 60, rand.New(rand.NewPCG(433, 1)))
	for _, channel := range samples {
		for i := range channel {
			channel[i] /= b.Recorder.FullScale
		}
	}
	f, err := os.Create(file)
	if err != nil {
		t.Fatal(err)
	}
	w, err := wav.NewWriter(f, wav.Spec{Channels: len(samples), Rate: b.Recorder.Rate, Encoding: wav.PCM24})
	if err == nil {
		err = errors.Join(w.Write(samples), w.Close())
	}
	if err = errors.Join(err, f.Close()); err != nil {
		t.Fatal(err)
	}
}

// TestMultisineExample evaluates the example of points measured together: every line lies within U of the truth, which only the simulator knows, the recording stands once
// among the files, and every point says that its level is no evidence of linearity. UPDATE=1 makes the recording again.
func TestMultisineExample(t *testing.T) {
	if os.Getenv("UPDATE") != "" {
		recordMultisine(t, examples+"multisine/multisine.wav")
	}
	e, err := Lab{Formats: []format.Format{wav.Format{}}, Version: "test"}.Evaluate(examples+"multisine/job.toml", "")
	if err != nil {
		t.Fatal(err)
	}
	if err := e.Refused(); err != nil {
		t.Error(err)
	}
	n := 0
	for _, f := range e.Files {
		if f.Name == "multisine.wav" {
			n++
		}
	}
	if n != 1 || len(e.Result.Points) != len(multisine()) {
		t.Errorf("%d points, the recording stands %d times among the files, want %d points and one file", len(e.Result.Points), n, len(multisine()))
	}
	for i, p := range e.Result.Points {
		l := multisine()[i]
		d := p.Sensitivity / simulator.Seismic().Sensitivity(l.Frequency)
		t.Logf("%s: off by %+.3f %% and %+.3f°, U %.2f %% and %.2f°", p.Plan.Label, 100*(cmplx.Abs(d)-1), cmplx.Phase(d)*180/math.Pi, 100*p.Reported.UModulus, p.Reported.UPhase*180/math.Pi)
		if math.Abs(cmplx.Abs(d)-1) > p.Reported.UModulus || math.Abs(cmplx.Phase(d)) > p.Reported.UPhase || p.Reported.UModulus > 0.015 {
			t.Errorf("%s: off by %+.3f %% and %+.3f°, U %.2f %% and %.2f°", p.Plan.Label, 100*(cmplx.Abs(d)-1), cmplx.Phase(d)*180/math.Pi, 100*p.Reported.UModulus, p.Reported.UPhase*180/math.Pi)
		}
		if math.Abs(p.Level/l.Level-1) > 0.02 || math.Abs(p.Frequency/l.Frequency-1) > 1e-4 {
			t.Errorf("%s: %g m/s² at %g Hz, true %g at %g", p.Plan.Label, p.Level, p.Frequency, l.Level, l.Frequency)
		}
		if !slices.ContainsFunc(p.Remarks, func(m calibration.Remark) bool { return m.Code == "together" }) {
			t.Errorf("%s: no remark that it was measured together: %v", p.Plan.Label, p.Remarks)
		}
		for _, m := range p.Remarks {
			t.Logf("%s: %s: %s", p.Plan.Label, m.Code, m.Text)
		}
	}
}
