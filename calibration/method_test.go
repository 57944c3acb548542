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

// crookedBench is an invented bench whose recorder's gains, couplings and delays differ between the channels, unknown to the job.
func crookedBench() simulator.Bench {
	b := simulator.FenwickLane()
	b.Recorder.Gain = [2]float64{1.02, 0.97}
	b.Recorder.Coupling = [2]float64{0.05, 0.3}
	b.Recorder.Delay = [2]float64{0, 20e-6}
	return b
}

func recorded(b simulator.Bench, name string, f float64, seed uint64) (*recording.Recording, simulator.Truth) {
	samples, truth := b.Record(simulator.Point{Frequency: f, Level: 0.1 * quantity.StandardGravity, Duration: 12}, rand.New(rand.NewPCG(seed, 1)))
	r := simulator.Recording(name, samples, b.Recorder.Rate, b.Recorder.Bits)
	return &r, truth
}

// exactReference gives the job's reference the bench's true sensitivity at f.
func exactReference(j *Job, b simulator.Bench, f float64) {
	s := b.Reference.Sensitivity(f)
	j.Reference.Table = []CalibratedPoint{{Frequency: f, Modulus: cmplx.Abs(s), Phase: cmplx.Phase(s), StdModulus: 1e-6, StdPhase: 1e-6}}
}

// Two recordings with the transducers exchanged between the channels: gains 1.02 and 0.97, different corners and a delay of 20 us, all unknown,
// cancel in the geometric mean; one recording alone is 5 % off.
func TestExchangedChannelsCancel(t *testing.T) {
	b := crookedBench()
	exchanged := b
	exchanged.Reference, exchanged.Device = b.Device, b.Reference
	first, truth := recorded(b, "first.wav", 20, 1)
	second, _ := recorded(exchanged, "second.wav", 20, 2)
	j := bareJob(t)
	exactReference(&j, b, 20)
	j.Device.ReferenceFrequency = 20
	j.Points = []PointPlan{{Label: "point 1", Frequency: 20, Level: math.NaN(), Recording: first, Exchanged: second}}
	r, err := Evaluate(j, 1)
	if err != nil {
		t.Fatal(err)
	}
	p := r.Points[0]
	if p.Refused != "" {
		t.Fatal(p.Refused)
	}
	if d := p.Sensitivity/truth.Device - 1; cmplx.Abs(d) > 5e-5 || math.Abs(real(d)) > p.Reported.UModulus {
		t.Errorf("exchanged: off by %.2g %% and %.2g rad, U %.2g %%", 100*real(d), imag(d), 100*p.Reported.UModulus)
	}
	if g := cmplx.Abs(p.Evidence.Exchange); math.Abs(g/(0.97/1.02)-1) > 1e-3 {
		t.Errorf("ratio of the channels' gains found %g, true %g", g, 0.97/1.02)
	}
	for _, row := range p.Budget.Rows {
		if row.Influence == rowGain || row.Influence == rowPhase {
			t.Errorf("the budget has a row %q though the channels cancel", row.Influence)
		}
	}
	j.Points[0].Exchanged = nil
	if r, err = Evaluate(j, 1); err != nil {
		t.Fatal(err)
	}
	if d := cmplx.Abs(r.Points[0].Sensitivity/truth.Device) - 1; math.Abs(d-(0.97/1.02-1)) > 1e-3 {
		t.Errorf("one recording alone: off by %.3g %%, want %.3g %%", 100*d, 100*(0.97/1.02-1))
	}
}

// Recordings at two frequencies are not an exchange.
func TestExchangeNeedsOneFrequency(t *testing.T) {
	b := crookedBench()
	exchanged := b
	exchanged.Reference, exchanged.Device = b.Device, b.Reference
	first, _ := recorded(b, "first.wav", 20, 1)
	second, _ := recorded(exchanged, "second.wav", 20.2, 2)
	j := bareJob(t)
	exactReference(&j, b, 20)
	j.Points = []PointPlan{{Label: "point 1", Frequency: 20, Level: math.NaN(), Recording: first, Exchanged: second}}
	r, err := Evaluate(j, 1)
	if err != nil {
		t.Fatal(err)
	}
	if why := r.Points[0].Refused; !strings.Contains(why, "second.wav") || !strings.Contains(why, "one frequency") {
		t.Errorf("%q, want a refusal that names the second recording", why)
	}
}

// One recording given twice shows no exchange, and a second one alone has nothing to be compared with.
func TestExchangeNeedsTwoRecordings(t *testing.T) {
	r, again := &recording.Recording{Name: "a.wav", ID: "1"}, &recording.Recording{Name: "b.wav", ID: "1"}
	for _, first := range []*recording.Recording{r, nil} {
		j := bareJob(t)
		j.Points = []PointPlan{{Label: "point 1", Frequency: 20, Level: math.NaN(), Recording: first, Exchanged: again}}
		if err := j.Validate(); err == nil || !strings.Contains(err.Error(), "b.wav") {
			t.Errorf("first %v: %v, want a refusal that names the second recording", first, err)
		}
	}
}

// The exciter states its level, the device's output is recorded by a recorder with its own clock: magnitude only, right within U, and the
// factor true to stated of the exciter's certificate divides.
func TestStatedLevel(t *testing.T) {
	b := simulator.FenwickLane()
	b.Hum.Device = 0.1e-3
	rec, truth := recorded(b, "device.wav", 20, 3)
	j := bareJob(t)
	const factor = 1.004 // true over stated
	j.Reference.StatesLevel, j.Reference.Unit, j.Reference.Nominal = true, quantity.Unit{Symbol: "1", Factor: 1}, 1
	j.Reference.Table = []CalibratedPoint{{Frequency: 20, Modulus: factor, Phase: math.NaN(), StdModulus: 0.005, StdPhase: math.NaN()}}
	j.Reference.Certificate.Number = "C-9"
	j.Procedure.DisplayResolution = [2]float64{0, 1e-3}
	j.Device.ReferenceFrequency = 20
	j.Points = []PointPlan{{Label: "point 1", Frequency: 20, Level: truth.Level / factor, Recording: rec}}
	r, err := Evaluate(j, 1)
	if err != nil {
		t.Fatal(err)
	}
	p := r.Points[0]
	if p.Refused != "" {
		t.Fatal(p.Refused)
	}
	if d := cmplx.Abs(p.Sensitivity)/cmplx.Abs(truth.Device) - 1; math.Abs(d) > 1e-3 {
		t.Errorf("off by %.3g %%", 100*d)
	}
	if p.HasPhase || p.Method.CannotKnow == "" {
		t.Errorf("phase %v, cannot know %q: a stated level gives no phase and says so", p.HasPhase, p.Method.CannotKnow)
	}
	if u := row(t, p.Budget, "reference certificate").Modulus; math.Abs(u-0.005) > 1e-6 {
		t.Errorf("u of the exciter's certificate %g, want 0.005", u)
	}
}

// Short records and points close to the mains leave few blocks: the residual gives the type A uncertainty, said in a remark, and it is the bound's.
func TestFewBlocks(t *testing.T) {
	b := simulator.FenwickLane()
	for _, c := range []struct{ f, duration float64 }{{1, 3.3}, {49.7, 10}} {
		samples, truth := b.Record(simulator.Point{Frequency: c.f, Level: 0.3, Duration: c.duration}, rand.New(rand.NewPCG(3, 3)))
		rec := simulator.Recording("short.wav", samples, b.Recorder.Rate, b.Recorder.Bits)
		j := bareJob(t)
		exactReference(&j, b, c.f)
		j.Device.ReferenceFrequency = c.f
		j.Points = []PointPlan{{Label: "point 1", Frequency: c.f, Level: math.NaN(), Recording: &rec}}
		r, err := Evaluate(j, 1)
		if err != nil {
			t.Fatal(err)
		}
		p := r.Points[0]
		if p.Refused != "" {
			t.Fatal(p.Refused)
		}
		if d := cmplx.Abs(p.Sensitivity/truth.Device) - 1; math.Abs(d) > p.Reported.UModulus || p.Reported.UModulus > 0.01 {
			t.Errorf("%g Hz, %g s: off by %.3g %%, U %.3g %%", c.f, c.duration, 100*d, 100*p.Reported.UModulus)
		}
		if p.Evidence.FromResidual {
			found := false
			for _, m := range p.Remarks {
				found = found || m.Code == "few-blocks"
			}
			if !found {
				t.Errorf("%g Hz: no remark on few blocks", c.f)
			}
		}
	}
}
