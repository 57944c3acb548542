package plan_test

import (
	"math"
	"strings"
	"testing"

	"plumbline/plan"
	"plumbline/quantity"
)

// TestKinematics compares the limits of stroke and velocity with published and closed-form values.
func TestKinematics(t *testing.T) {
	for _, c := range []struct{ a, f, v, x float64 }{ // sine kinematics, closed form: m/s², Hz, m/s, m
		{9.80665, 1, 1.56078, 0.248405},
		{9.80665, 0.5, 3.12155, 0.993621},
		{0.1, 0.1, 0.159155, 0.253303},
		{1, 0.4, 0.397887, 0.158314},
		{10, 16, 99.4718e-3, 0.989465e-3},
		{100, 80, 198.944e-3, 395.786e-6},
		{100, 160, 99.4718e-3, 98.9465e-6},
		{9.80665, 159.1549431, 9.80665e-3, 9.80665e-6},
	} {
		within(t, "from velocity", plan.FromVelocity(c.v, c.f), c.a, 5e-6)
		within(t, "from stroke", plan.FromStroke(c.x, c.f), c.a, 5e-6)
	}
	within(t, "±75 mm at 0.1 Hz", plan.FromStroke(75e-3, 0.1), 0.0296, 2e-3) // closed form
	within(t, "±75 mm at 0.4 Hz", plan.FromStroke(75e-3, 0.4), 0.474, 1e-3)  // closed form
	x := quantity.Acceleration.To(quantity.Displacement, 0.018*g, 1)
	within(t, "0.018 g at 1 Hz", x, 4.5e-3, 0.01) // 4.5 mm peak: common practice, no source
}

// TestLongStroke plans 0.1 Hz and 0.4 Hz on an exciter of ±75 mm: the stroke binds, at the closed form's levels.
func TestLongStroke(t *testing.T) {
	r := study(t, true)
	r.Exciter.Stroke, r.Exciter.FrequencyRange = 0.150, [2]float64{0.1, 400}
	for i := range r.Job.Reference.Table {
		r.Job.Reference.Table[i].Frequency *= 0.25
	}
	r.Wish.Frequencies, r.Wish.Longest = []float64{0.1, 0.4}, 3600
	r.Wish.LevelUnit = unit(t, "m/s²")
	p := planned(t, r)
	for _, want := range []struct{ f, a float64 }{{0.1, 0.0296}, {0.4, 0.474}} {
		q := at(t, p, want.f)
		within(t, "level", q.Highest, want.a, 2e-3)
		if q.Binding != plan.Stroke {
			t.Errorf("%g Hz: the %s binds, want the stroke", want.f, q.Binding)
		}
	}
}

func at(t *testing.T, p plan.Plan, f float64) plan.Point {
	t.Helper()
	for _, q := range p.Points {
		if math.Abs(q.Frequency/f-1) < 0.002 {
			return q
		}
	}
	t.Fatalf("no point at %g Hz; infeasible: %+v", f, p.Infeasible)
	return plan.Point{}
}

// TestTypeATime compares T = (e/u)² with the project's own study: at 1 Hz and 0.02 g with a 100 mV/g reference 0.1 % (95 %) takes 2.4 s and 0.03 % 26 s.
func TestTypeATime(t *testing.T) {
	r := study(t, false)
	r.Wish.Frequencies, r.Wish.Level, r.Wish.Motion = []float64{1}, 0.02*g, quantity.Acceleration
	n := at(t, planned(t, r), 1).Noise
	within(t, "0.1 %", n.TimeFor(0.001/2), 2.4, 0.02)
	within(t, "0.03 %", n.TimeFor(0.0003/2), 26, 0.03)
	// the same study at 0.5 Hz and 0.005 g: 75 s and 831 s
	r.Wish.Frequencies, r.Wish.Level = []float64{0.5}, 0.005*g
	n = at(t, planned(t, r), 0.5).Noise
	within(t, "0.1 % at 0.5 Hz", n.TimeFor(0.001/2), 75, 0.02)
	within(t, "0.03 % at 0.5 Hz", n.TimeFor(0.0003/2), 831, 0.02)
}

// TestDriveStart compares the predicted time from the start of the drive, of ten points, with 200 simulated runs each of the project's own study: 131 s (a
// time constant of 4 to 6 blocks told) and 188 s (10 blocks) with a quiet reference, 234 s and 278 s with a noisy one, U = 0.1 %.
func TestDriveStart(t *testing.T) {
	for _, c := range []struct {
		quiet  bool
		cycles float64 // of the level loop; 10 blocks told are 20 cycles of twice the loop
		want   float64
	}{{true, 4, 131}, {true, 10, 188}, {false, 4, 234}, {false, 10, 278}} {
		r := study(t, c.quiet)
		r.Exciter.LoopCycles = 0
		r.Exciter.LoopTime = 0
		r.Exciter.LoopCycles = c.cycles
		r.Wish.TypeA = 1e-3
		p := planned(t, r)
		sum := 0.0
		for _, q := range p.Points {
			if !q.Repeat {
				sum += q.Bench
			}
		}
		within(t, "ten points", sum, c.want, 0.15)
		if !p.MeetsTarget {
			t.Errorf("quiet %v: the target is not met", c.quiet)
		}
	}
}

// TestMultisine compares the time of the ten points together, and one by one with a fixed settling, with the project's own study.
func TestMultisine(t *testing.T) {
	for _, c := range []struct {
		quiet         bool
		std           float64
		together, one float64 // s
	}{{false, 0.0005, 47, 85}, {false, 0.00015, 267, 233}, {true, 0.0005, 27, 85}, {true, 0.00015, 27, 85}} {
		r := study(t, c.quiet)
		r.Wish.MultisineFrom, r.Wish.LongestPeriod, r.Wish.Seed = 1000, 10, 1
		r.Wish.TypeA, r.Wish.Longest = 2*c.std, 6000
		p := planned(t, r)
		if p.Multisine == nil {
			t.Fatalf("no multisine: %v", p.Remarks)
		}
		m := p.Multisine
		within(t, "together", m.Bench, c.together, 0.08)
		within(t, "one by one, fixed settling", m.Fixed, c.one, 0.08)
		if m.Period != 10 { // odd multiples of 0.1 Hz
			t.Errorf("period %g s, want 10 s", m.Period)
		}
		if m.Std > c.std*(1+1e-9) || m.Binding != plan.Stroke {
			t.Errorf("type A %g, want at most %g; the %s binds", m.Std, c.std, m.Binding)
		}
	}
}

// TestOrder wants the reference frequency first, then downwards, and the first and the slowest again.
func TestOrder(t *testing.T) {
	r := study(t, true)
	r.Job.Device.ReferenceFrequency = 20
	r.Wish.Frequencies = []float64{1, 5, 20, 80, 2}
	var got []float64
	for _, q := range planned(t, r).Points {
		got = append(got, q.Frequency)
	}
	want := []float64{20, 80, 5, 2, 1, 20, 1}
	if len(got) != len(want) {
		t.Fatalf("order %v, want %v", got, want)
	}
	for i := range want {
		if got[i] != want[i] {
			t.Fatalf("order %v, want %v", got, want)
		}
	}
}

// TestBinding makes each limit the lowest in turn.
func TestBinding(t *testing.T) {
	for name, change := range map[string]func(*plan.Request){
		plan.Stroke:            func(r *plan.Request) { r.Exciter.Stroke = 1e-5 },
		plan.Velocity:          func(r *plan.Request) { r.Exciter.Velocity = 1e-4 },
		plan.Force:             func(r *plan.Request) { r.Exciter.Force = 0.1 },
		plan.LevelCap:          func(r *plan.Request) { r.Exciter.Cap = 0.1 },
		plan.DeviceRange:       func(r *plan.Request) { r.Job.Device.Range = 0.1 },
		plan.ReferenceRange:    func(r *plan.Request) { r.Job.Reference.Range = 0.1 },
		plan.DeviceRecorder:    func(r *plan.Request) { r.Job.DeviceChain.Stages[0].FullScale = 0.1 },
		plan.ReferenceRecorder: func(r *plan.Request) { r.Job.ReferenceChain.Stages[0].FullScale = 0.001 },
	} {
		r := study(t, true)
		r.Wish.Frequencies = []float64{10}
		change(&r)
		if q := at(t, planned(t, r), 10); q.Binding != name || q.Level > q.Highest*(1+1e-12) {
			t.Errorf("the %s binds at %g m/s², level %g m/s²; want the %s", q.Binding, q.Highest, q.Level, name)
		}
	}
}

// TestSag: 0.5 kg on 0.5 kg of armature at a suspension of 5 Hz pull the table g/(2π 5 Hz)² = 9.94 mm (closed form), less than 12.5 mm by 2.56 mm.
func TestSag(t *testing.T) {
	e := plan.Exciter{Armature: 0.5, Suspension: 5, Vertical: true}
	within(t, "sag", e.Sag(0.5), 9.9365e-3, 1e-4)
	e.Centred = true
	if e.Sag(0.5) != 0 {
		t.Error("a centred table sags")
	}
	r := study(t, true)
	r.Exciter.Suspension, r.Exciter.Vertical, r.Exciter.Fixture = 5, true, 0.3
	p := planned(t, r)
	if !contains(p, "sag") {
		t.Error("the sag is not remarked")
	}
}

func contains(p plan.Plan, code string) bool {
	for _, m := range p.Remarks {
		if m.Code == code {
			return true
		}
	}
	return false
}

// TestRemedies asks for what cannot be had and wants to be told what would make it feasible.
func TestRemedies(t *testing.T) {
	for name, c := range map[string]struct {
		change func(*plan.Request)
		want   string
	}{
		"stroke":    {func(r *plan.Request) { r.Wish.Level = 0.1 * g }, "a stroke of 49.7 mm peak-to-peak"}, // 2 · 0.1 g/(2π)², closed form
		"reference": {func(r *plan.Request) { r.Wish.TypeA, r.Wish.U = 0, 0.003 }, "a reference whose certificate states at most U ="},
		"noise":     {func(r *plan.Request) { r.Wish.TypeA, r.Wish.Longest = 1e-3, 30 }, "of the self-noise"},
		"range":     {func(r *plan.Request) { r.Exciter.FrequencyRange[0] = 2 }, "an exciter for 1 Hz"},
		"table": {func(r *plan.Request) {
			r.Wish.Frequencies = []float64{0.41, 1}
			r.Job.Reference.Table = r.Job.Reference.Table[6:]
		}, "a reference calibrated at"},
	} {
		r := study(t, false)
		r.Wish.Frequencies = []float64{1}
		c.change(&r)
		p := planned(t, r)
		var all []string
		for _, q := range append(append([]plan.Point{}, p.Points...), p.Infeasible...) {
			all = append(all, q.Remedies...)
		}
		if !strings.Contains(strings.Join(all, "\n"), c.want) {
			t.Errorf("%s: remedies %q, want %q", name, all, c.want)
		}
	}
}

// TestTargetU: the predicted U meets the wish, and the type A is no better than it has to be.
func TestTargetU(t *testing.T) {
	r := study(t, false)
	r.Wish.TypeA, r.Wish.U = 0, 0.0055
	r.Job.Reference.Correlation = 1
	p := planned(t, r)
	if !p.MeetsTarget || p.WorstU > 0.0055 {
		t.Errorf("worst U %g, want at most 0.0055 %v", p.WorstU, p.MeetsTarget)
	}
	// certificate 0.25 %, two gains 0.05 %: without noise U = 2 √(0.25² + 2·0.05²) % = 0.52 %
	within(t, "U at 97.1 Hz", at(t, p, 97.1).U, 2*math.Sqrt(0.0025*0.0025+2*0.0005*0.0005), 0.02)
}

// TestMains wants 100 Hz named, or moved, with a frequency that keeps clear of the mains.
func TestMains(t *testing.T) {
	r := study(t, true)
	r.Wish.Frequencies = []float64{50, 10}
	q := at(t, planned(t, r), 50)
	if len(q.Remarks) == 0 || q.Remarks[0].Code != "mains-harmonic" {
		t.Errorf("50 Hz: remarks %v", q.Remarks)
	}
	r.Wish.Frequencies = []float64{9.9, 10, 7}
	p := planned(t, r)
	for f, want := range map[float64]bool{9.9: true, 10: false, 7: false} { // 5 · 9.9 Hz = 49.5 Hz, 5 · 10 Hz = 50 Hz
		found := false
		for _, m := range at(t, p, f).Remarks {
			found = found || m.Code == "mains-beside" && strings.Contains(m.Text, "nearest good frequency: 10 Hz")
		}
		if found != want {
			t.Errorf("%g Hz: remark of a harmonic beside the mains %v, want %v", f, found, want)
		}
	}
	r.Wish.Frequencies, r.Wish.MoveOffMains = []float64{50, 10}, true
	for _, q := range planned(t, r).Points {
		if q.Wanted == 50 && math.Abs(q.Frequency-50) < 0.5 {
			t.Errorf("50 Hz became %g Hz", q.Frequency)
		}
	}
}

// TestLeastUncertainty: a set fits into the time it was given, more time makes it better, and too little is said.
func TestLeastUncertainty(t *testing.T) {
	last := math.Inf(1)
	for _, seconds := range []float64{300, 600, 1200} {
		r := study(t, false)
		r.Exciter.ChangeOver = 5
		r.Wish.TypeA, r.Wish.Time = 0, seconds
		p := planned(t, r)
		sum := 0.0
		for _, q := range p.Points {
			if !q.Repeat {
				sum += q.Claim * q.Claim
			}
		}
		if spent := p.Bench + p.ChangeOver; spent > seconds || spent < 0.6*seconds {
			t.Errorf("%g s given, %.0f s planned", seconds, spent)
		}
		if sum >= last {
			t.Errorf("%g s: sum of squared claims %g, with less time %g", seconds, sum, last)
		}
		last = sum
	}
	r := study(t, false)
	r.Wish.TypeA, r.Wish.Time = 0, 60
	if p := planned(t, r); !contains(p, "time") || p.MeetsTarget {
		t.Error("60 s for ten points are not called too short")
	}
}

// TestFewPoints: the procedure asks for six.
func TestFewPoints(t *testing.T) {
	r := study(t, true)
	r.Wish.Frequencies = []float64{1, 10}
	if p := planned(t, r); p.Enough || !contains(p, "few-points") || p.Distinct != 3 { // with the reference frequency
		t.Errorf("%d points, enough %v", p.Distinct, p.Enough)
	}
}

// TestWarmUp: ten discharge time constants of the slower transducer.
func TestWarmUp(t *testing.T) {
	r := study(t, true)
	r.Job.Device.TimeConstant, r.Job.Reference.TimeConstant = 3, 8
	if p := planned(t, r); p.WarmUp != 80 || !strings.Contains(p.WarmUpFrom, "R-201") {
		t.Errorf("warm-up %g s from %q, want 80 s from R-201", p.WarmUp, p.WarmUpFrom)
	}
}

// TestSignalToNoise: a wish too low for the noise is raised until the target can be met.
func TestSignalToNoise(t *testing.T) {
	r := study(t, false)
	r.Wish.Frequencies, r.Wish.Level, r.Wish.Longest = []float64{5}, 0.001*g, 60
	q := at(t, planned(t, r), 5)
	if q.LevelFrom != "signal-to-noise" || q.Level <= 0.001*g || !q.MeetsTarget {
		t.Errorf("level %g g from %s, meets %v", q.Level/g, q.LevelFrom, q.MeetsTarget)
	}
}

// TestVelocity plans a device that senses velocity against a reference that senses acceleration: the range of 50 mm/s is 50 mm/s · 2π · 10 Hz at 10 Hz.
func TestVelocity(t *testing.T) {
	r := study(t, true)
	r.Job.Device.Unit, r.Job.Device.Nominal, r.Job.Device.Range = unit(t, "V/(m/s)"), 28, 0.05
	r.Job.Clock = 1e-5
	r.Wish.Frequencies, r.Wish.LevelUnit = []float64{10}, unit(t, "mm/s")
	q := at(t, planned(t, r), 10)
	within(t, "range", q.Highest, 0.3*g, 1e-9) // the level cap; the device's range would be 3.14 m/s²
	for _, l := range q.Limits {
		if l.Name == plan.DeviceRange {
			within(t, "device range", l.Level, 0.05*2*math.Pi*10, 1e-12)
		}
	}
}

// TestRefusals wants every gap of a request named.
func TestRefusals(t *testing.T) {
	for want, change := range map[string]func(*plan.Request){
		"self-noise of device":    func(r *plan.Request) { r.DeviceNoise = plan.Density{} },
		"self-noise of reference": func(r *plan.Request) { r.ReferenceNoise = plan.Density{} },
		"noise of the recorder":   func(r *plan.Request) { r.RecorderNoise = plan.Density{} },
		"sampling rates":          func(r *plan.Request) { r.Rates = nil },
		"stroke":                  func(r *plan.Request) { r.Exciter.Stroke = 0 },
		"level-loop time":         func(r *plan.Request) { r.Exciter.LoopCycles = 0 },
		"nothing is wanted":       func(r *plan.Request) { r.Wish.TypeA = 0 },
		"one follows from":        func(r *plan.Request) { r.Wish.Time = 100 },
		"read off a display":      func(r *plan.Request) { r.Job.Procedure.DisplayResolution[0] = 1 },
		"no frequency is wanted":  func(r *plan.Request) { r.Wish.Frequencies = nil },
	} {
		r := study(t, true)
		change(&r)
		if _, err := plan.Make(r); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%v, want %q", err, want)
		}
	}
}

// TestSameBits: the same request gives the same plan whatever the number of goroutines.
func TestSameBits(t *testing.T) {
	a, b := study(t, false), study(t, false)
	b.Wish.Workers = 2
	p, q := planned(t, a), planned(t, b)
	for i := range p.Points {
		if p.Points[i].U != q.Points[i].U || p.Points[i].Bench != q.Points[i].Bench {
			t.Errorf("point %d differs: U %g and %g", i+1, p.Points[i].U, q.Points[i].U)
		}
	}
}
