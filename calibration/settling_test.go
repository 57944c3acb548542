package calibration

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"strings"
	"testing"

	"plumbline/internal/simulator"
	"plumbline/steady"
	"plumbline/uncertainty"
)

// simulated makes a bare job of recordings of a bench whose reference is known without error, and the true sensitivity of the device at each point.
func simulated(t *testing.T, b simulator.Bench, seed uint64, points ...simulator.Point) (Job, []complex128) {
	t.Helper()
	j := bareJob(t)
	j.judging(Settling{Rule: steady.Wary, Modulus: 5e-4, Phase: 5e-4, Level: true})
	j.Loop = Loop{Exciter: "X-12", Time: b.Exciter.Settling}
	j.Reference.Table = nil
	j.Reference.Correlation = 1
	rng := rand.New(rand.NewPCG(seed, 1))
	var truths []complex128
	for i := range 33 { // interpolation is that of a dense table: nothing
		f := 0.5 * math.Pow(200, float64(i)/32)
		j.Reference.Table = append(j.Reference.Table, calibrated(b.Reference, f))
	}
	for _, p := range points {
		samples, truth := b.Record(p, rng)
		rec := simulator.Recording("simulated", samples, b.Recorder.Rate, 24)
		truths = append(truths, truth.Device)
		plan := PointPlan{Label: "point", Frequency: p.Frequency, Level: math.NaN(), Recording: &rec}
		for _, q := range j.Points {
			plan.Repeat = plan.Repeat || q.Frequency == plan.Frequency
		}
		j.Points = append(j.Points, plan)
	}
	t.Logf("seed %d", seed)
	return j, truths
}

func calibrated(r simulator.Transducer, f float64) CalibratedPoint {
	s := r.Sensitivity(f)
	return CalibratedPoint{Frequency: f, Modulus: cmplx.Abs(s), Phase: cmplx.Phase(s)}
}

// judging sets how steadiness is judged.
func (j *Job) judging(s Settling) { j.Procedure.Settling = s }

// settlingBench is the invented bench with a device whose gain warms by 0.3 % with a time constant of 16 s from the start of the drive, while the level loop
// settles with 6 s from 30 % below.
func settlingBench() simulator.Bench {
	b := simulator.FenwickLane()
	b.Recorder.Rate = 400
	b.Exciter.Settling, b.Exciter.Start = 6, 0.3
	b.Device.Warming, b.Device.WarmTime = 0.003, 16
	return b
}

// ratioOff is how far the ratio of a point is from the truth: ln modulus and phase.
func ratioOff(p Point, b simulator.Bench) (float64, float64) {
	d := cmplx.Log(p.Evidence.Ratio / (b.Device.Sensitivity(p.Plan.Frequency) / b.Reference.Sensitivity(p.Plan.Frequency)))
	return real(d), imag(d)
}

// TestRecordingFromTheStartOfTheDrive: a recording that begins at the start of the drive gives the value within the half width that is claimed, in at least nine
// of ten simulated runs (95 % are claimed), and the plain mean does not in any.
func TestRecordingFromTheStartOfTheDrive(t *testing.T) {
	b := settlingBench()
	const runs = 20
	judged, plain, phases := 0, 0, 0
	for seed := range uint64(runs) {
		j, _ := simulated(t, b, seed+20261125, simulator.Point{Frequency: 2, Level: 1, Duration: 90})
		j.Procedure.Settling.Slow = []steady.TimeConstant{{Source: "warming of the device", Seconds: 16}}
		half := 0.0
		for _, with := range []bool{true, false} {
			if !with {
				j.judging(Settling{NotApplicable: "test"})
			}
			r, err := Evaluate(j, 1)
			if err != nil {
				t.Fatal(err)
			}
			p := r.Points[0]
			if p.Refused != "" {
				t.Fatal(p.Refused)
			}
			off, turned := ratioOff(p, b)
			if !with {
				if math.Abs(off) <= half {
					plain++
				}
				continue
			}
			g := p.Evidence.Judgement
			if !g.Judged() || g.From != "warming of the device" || g.Discarded() < 2 || p.Evidence.TrendLeft != [2]float64{} {
				t.Fatalf("judgement %+v", g)
			}
			half = g.HalfWidth[0]
			if math.Abs(off) <= half {
				judged++
			}
			if math.Abs(turned) <= g.HalfWidth[1] {
				phases++
			}
		}
	}
	t.Logf("within the half width: modulus %d, phase %d of %d; plain mean within it: %d", judged, phases, runs, plain)
	if judged < 18 || phases < 18 || plain > 0 {
		t.Errorf("within the half width: modulus %d, phase %d of %d runs; plain mean within it: %d", judged, phases, runs, plain)
	}
}

// TestRepeatShowsSlowWarming: the reference warms by 1 % with a time constant of 400 s that nobody told the judge of. The first point, repeated at the end, shows it;
// the difference is in the budget. With a warm bench nothing is flagged.
func TestRepeatShowsSlowWarming(t *testing.T) {
	for _, warm := range []bool{false, true} {
		b := simulator.FenwickLane()
		b.Recorder.Rate = 400
		if !warm {
			b.Reference.Warming, b.Reference.WarmTime = 0.01, 400
		}
		j, _ := simulated(t, b, 5, simulator.Point{Frequency: 20, Level: 1, Duration: 20}, simulator.Point{Frequency: 5, Level: 1, Duration: 20, Warm: 40},
			simulator.Point{Frequency: 20, Level: 1, Duration: 20, Warm: 600})
		j.Loop = Loop{Exciter: "X-12", Cycles: 4}
		r, err := Evaluate(j, 1)
		if err != nil {
			t.Fatal(err)
		}
		if len(r.Points) != 2 || len(r.Repeats) != 1 || r.Repeats[0].Of != 0 || r.Repeats[0].Refused != "" || r.Repeats[0].Point.Refused != "" {
			t.Fatalf("%d points, repetitions %+v", len(r.Points), r.Repeats)
		}
		p, again := r.Points[0], r.Repeats[0]
		flagged := strings.Contains(codes(p.Remarks), "not-repeated")
		if again.Flagged() == warm || flagged == warm {
			t.Errorf("warm %v: flagged %v, remarks %s, %+v", warm, again.Flagged(), codes(p.Remarks), again.Modulus)
		}
		if warm {
			continue
		}
		if want := again.Modulus.Difference; math.Abs(want) < 0.005 || math.Abs(row(t, p.Budget, rowRepeated).Modulus-math.Abs(want)/math.Sqrt(3)) > 1e-5 {
			t.Errorf("difference %g, row of the budget %+v", want, row(t, p.Budget, rowRepeated))
		}
		if strings.Contains(codes(r.Points[1].Remarks), "not-repeated") {
			t.Error("the point that was not repeated carries the remark")
		}
	}
}

func codes(remarks []Remark) string {
	var all []string
	for _, r := range remarks {
		all = append(all, r.Code)
	}
	return strings.Join(all, " ")
}

// What a short record, a short half width and a silent procedure are told.
func TestJudgementRemarks(t *testing.T) {
	b := simulator.FenwickLane()
	b.Recorder.Rate = 400
	for _, c := range []struct {
		name     string
		duration float64
		change   func(*Job)
		code     string // of the point
		job      string // of the job
		judged   bool
	}{
		{"long enough", 20, func(*Job) {}, "", "", true},
		{"short", 3, func(*Job) {}, "not-judged", "", false},
		{"narrow", 20, func(j *Job) { j.Procedure.Settling.Modulus = 1e-8 }, "not-steady", "", true},
		{"slower than blocks allow", 20, func(j *Job) { j.Procedure.Settling.Slow = []steady.TimeConstant{{Source: "floor", Seconds: 3600}} }, "not-judged", "", false},
		{"silent", 20, func(j *Job) { j.judging(Settling{}) }, "", "settling-not-judged", false},
		{"not applicable", 20, func(j *Job) { j.judging(Settling{NotApplicable: "waited long"}) }, "", "settling-not-applicable", false},
	} {
		j, truth := simulated(t, b, 9, simulator.Point{Frequency: 20, Level: 1, Duration: c.duration})
		j.Loop = Loop{Exciter: "X-12", Cycles: 4}
		c.change(&j)
		r, err := Evaluate(j, 1)
		if err != nil {
			t.Fatal(err)
		}
		p := r.Points[0]
		for _, code := range []string{"not-judged", "not-steady"} {
			if strings.Contains(codes(p.Remarks), code) != (c.code == code) {
				t.Errorf("%s: remarks %s", c.name, codes(p.Remarks))
			}
		}
		if c.job != "" && !strings.Contains(codes(r.Remarks), c.job) || p.Evidence.Judgement.Judged() != c.judged {
			t.Errorf("%s: remarks of the job %s, judgement %+v", c.name, codes(r.Remarks), p.Evidence.Judgement)
		}
		if d := cmplx.Abs(p.Sensitivity/truth[0] - 1); d > 1e-3 {
			t.Errorf("%s: off by %g", c.name, d)
		}
	}
}

// A time constant of the warming seen at the first point raises tau_max of the second.
func TestSeenAtAnEarlierPoint(t *testing.T) {
	b := simulator.FenwickLane()
	b.Recorder.Rate = 400
	b.Device.Warming, b.Device.WarmTime = 0.02, 12
	j, _ := simulated(t, b, 3, simulator.Point{Frequency: 10, Level: 1, Duration: 40}, simulator.Point{Frequency: 20, Level: 1, Duration: 40, Warm: 40})
	j.Loop = Loop{Exciter: "X-12", Cycles: 4}
	r, err := Evaluate(j, 1)
	if err != nil {
		t.Fatal(err)
	}
	first, second := r.Points[0].Evidence.Judgement, r.Points[1].Evidence.Judgement
	if first.From == second.From || second.From != "seen at 10 Hz" || second.TauMax <= first.TauMax || !second.Judged() {
		t.Errorf("first: %+v\nsecond: %+v", first, second)
	}
	if off, _ := ratioOff(r.Points[1], b); math.Abs(off) > second.HalfWidth[0] {
		t.Errorf("the second point is off by %g, claimed %g", off, second.HalfWidth[0])
	}
}

// Channels exchanged: the half widths of two recordings go into that of their mean; the gains cancel as before.
func TestExchangedIsJudged(t *testing.T) {
	b := simulator.FenwickLane()
	b.Recorder.Rate = 400
	b.Recorder.Gain = [2]float64{1.01, 0.985}
	j, truth := simulated(t, b, 4, simulator.Point{Frequency: 20, Level: 1, Duration: 20})
	j.Loop = Loop{Exciter: "X-12", Cycles: 4}
	b.Reference, b.Device = b.Device, b.Reference
	samples, _ := b.Record(simulator.Point{Frequency: 20, Level: 1, Duration: 20}, rand.New(rand.NewPCG(5, 1)))
	rec := simulator.Recording("exchanged", samples, b.Recorder.Rate, 24)
	rec.ID = "other"
	j.Points[0].Exchanged = &rec
	r, err := Evaluate(j, 1)
	if err != nil {
		t.Fatal(err)
	}
	p := r.Points[0]
	if p.Refused != "" {
		t.Fatal(p.Refused)
	}
	g := p.Evidence.Judgement
	if len(g.Answers) != 2 {
		t.Fatalf("%+v", g)
	}
	if want := math.Hypot(g.Answers[0].Modulus.Own, g.Answers[1].Modulus.Own) / 2; math.Abs(g.HalfWidth[0]-want) > 1e-15 {
		t.Errorf("half width %g, want %g", g.HalfWidth[0], want)
	}
	if d := cmplx.Log(p.Sensitivity / truth[0]); math.Abs(real(d)) > g.HalfWidth[0] || math.Abs(imag(d)) > g.HalfWidth[1] {
		t.Errorf("off by %v, half widths %v", d, g.HalfWidth)
	}
	if d := cmplx.Abs(p.Evidence.Exchange) / (0.985 / 1.01); math.Abs(d-1) > 1e-4 {
		t.Errorf("gains found %v, want 0.985/1.01", p.Evidence.Exchange)
	}
}

// Readings of a display: with enough of them the judge takes the drift of a display that was still averaging off; with few they are averaged as without it.
func TestReadingsAreJudged(t *testing.T) {
	rng := rand.New(rand.NewPCG(6, 1))
	plan := PointPlan{Label: "point", Frequency: 80, Level: math.NaN()}
	for k := range 60 {
		x := 1.02 * (1 + 0.01*math.Exp(-float64(k)/5) + 2e-4*rng.NormFloat64())
		plan.Readings = append(plan.Readings, Reading{Time: float64(k), Sensitivity: x, Level: math.NaN(), Temperature: math.NaN()})
	}
	j := bareJob(t)
	j.Procedure.DisplayResolution = [2]float64{1e-4, 1e-4}
	j.judging(Settling{Rule: steady.Wary, Modulus: 0.001, Level: true, Slow: []steady.TimeConstant{{Source: "average of the display", Seconds: 5}}})
	p, _ := j.measure(plan, nil)
	plain := real(p.Evidence.Ratio)
	j.judge(&p, nil, &run{})
	g := p.Evidence.Judgement
	if !g.Judged() || !g.Steady() || math.Abs(math.Log(real(p.Evidence.Ratio)/1.02)) > g.HalfWidth[0] || math.Abs(plain/1.02-1) < 5e-4 {
		t.Errorf("plain mean %g, judged %g, %+v", plain, real(p.Evidence.Ratio), g)
	}
	for want, spoil := range map[string]func(*PointPlan){
		"too short":    func(q *PointPlan) { q.Readings = q.Readings[:10] },
		"1 s to 6 s":   func(q *PointPlan) { q.Readings = append(append([]Reading{}, q.Readings[:20]...), q.Readings[25:]...) },
		"0 s to 0 s a": func(q *PointPlan) { q.Readings = append([]Reading{}, q.Readings...); clearTimes(q.Readings) },
	} {
		q := plan
		spoil(&q)
		p, _ := j.measure(q, nil)
		before := p.Evidence
		j.judge(&p, nil, &run{})
		if g := p.Evidence.Judgement; g.Judged() || !strings.Contains(g.Why, want) || p.Evidence.Ratio != before.Ratio || p.Evidence.StdLnRatio[0] != before.StdLnRatio[0] {
			t.Errorf("%s: %+v", want, g)
		}
	}
}

func clearTimes(r []Reading) {
	for i := range r {
		r[i].Time = 0
	}
}

// tau_max at a point: the loop, what is fast enough to bend a block, what the procedure names; without a drift term in the approximation every discharge counts.
func TestSlow(t *testing.T) {
	j := bareJob(t)
	j.Loop = Loop{Exciter: "X-12", Time: 1, Cycles: 4}
	j.Device.TimeConstant, j.Reference.TimeConstant = 3, 30
	j.DeviceChain.Stages[0].Corners = []Corner{{Frequency: 0.1}, {Frequency: 1000, LowPass: true}}
	j.ReferenceChain.Stages[0].CoupledAC, j.ReferenceChain.Stages[0].LargestPlausibleCorner = true, 0.5
	j.Procedure.Settling.Slow = []steady.TimeConstant{{Source: "warming", Seconds: 20}}
	list := func(f, block float64) (s []float64) {
		for _, t := range j.Slow(f, block) {
			s = append(s, t.Seconds)
		}
		return s
	}
	// at 1 Hz with blocks of 2 s: loop 1 s + 4 s, device 3 s, corner 1/(2π 0.1 Hz), the unknown corner as slow as bends a block; the reference's 30 s is straight
	near(t, list(1, 2), 5, 3, 1/(2*math.Pi*0.1), 10, 20)
	near(t, list(100, 0.25), 1.04, 1.25, 20)
	j.Procedure.Drift = 0
	near(t, list(100, 0.25), 1.04, 3, 30, 1/(2*math.Pi*0.1), 1.25, 20)
	j.Procedure.DisplayResolution[0] = 1
	near(t, list(100, 0.25), 1.04, 20)
	if d := j.Discharges(); len(d) != 3 {
		t.Errorf("discharges %v", d)
	}
}

func near(t *testing.T, got []float64, want ...float64) {
	t.Helper()
	for i := range want {
		if len(got) != len(want) || math.Abs(got[i]-want[i]) > 1e-12 {
			t.Fatalf("%v, want %v", got, want)
		}
	}
}

// TestNoPhaseModulus: where the certificate states no phase the modulus of the ratio counts, not its real part.
func TestNoPhaseModulus(t *testing.T) {
	j, p := bareJob(t), pointAt(80)
	p.HasPhase, p.Evidence.Ratio = false, cmplx.Rect(100, 1)
	p.evaluate(&j, uncertainty.NewSet(), 0, 1)
	if m := cmplx.Abs(p.Sensitivity); math.Abs(m-1) > 1e-12 {
		t.Errorf("modulus %g, want 1", m)
	}
}

func TestSettlingIsRefused(t *testing.T) {
	for want, spoil := range map[string]func(*Job){
		"rule is Rule(9)":           func(j *Job) { j.Procedure.Settling.Rule = 9 },
		"half width of the modulus": func(j *Job) { j.Procedure.Settling.Modulus = 0 },
		"phase is missing":          func(j *Job) { j.Procedure.Settling.Phase = 0 },
		"half width of the phase":   func(j *Job) { j.Procedure.Settling.Phase = math.NaN() },
		"constant of fan is 0 s":    func(j *Job) { j.Procedure.Settling.Slow = []steady.TimeConstant{{Source: "fan"}} },
		"no time constant is known": func(j *Job) { j.Loop = Loop{} },
		"but none at this freq":     func(j *Job) { j.Points[0].Repeat = true },
		"it must be another one": func(j *Job) {
			j.Points[0].Recording.ID = "a"
			j.Points = append(j.Points, j.Points[0])
			j.Points[1].Repeat = true
		},
		"channels are exchanged in": func(j *Job) {
			j.Points = append(j.Points, j.Points[0])
			j.Points[1].Repeat, j.Points[1].Exchanged = true, j.Points[0].Recording
		},
	} {
		j := bareJob(t)
		j.Loop = Loop{Exciter: "X-12", Cycles: 4}
		j.judging(Settling{Rule: steady.Wary, Modulus: 5e-4, Phase: 5e-4})
		j.Points = []PointPlan{pointAt(80).Plan}
		if err := j.Validate(); err != nil {
			t.Fatal(err)
		}
		spoil(&j)
		if err := j.Validate(); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%v, want %q", err, want)
		}
	}
}

// A point that cannot be compared says why, and one repeated without phase is compared in modulus alone, by Student's t times the type A uncertainty.
func TestRepetition(t *testing.T) {
	first, again := pointAt(80), pointAt(80)
	again.Refused = "too short"
	if r := repetition(0, &first, again); r.Refused != "too short" || !strings.Contains(codes(first.Remarks), "repeat-refused") || r.Flagged() {
		t.Errorf("%+v, remarks %s", r, codes(first.Remarks))
	}
	first, again = pointAt(80), pointAt(80)
	first.Refused = "too short"
	if r := repetition(0, &first, again); r.Refused == "" {
		t.Errorf("%+v", r)
	}
	first, again = pointAt(80), pointAt(80)
	again.HasPhase = false
	first.Evidence.StdLnRatio, again.Evidence.StdLnRatio = [2]float64{3e-4, 1}, [2]float64{4e-4, 1}
	again.Evidence.Ratio *= complex(1.002, 0)
	r := repetition(0, &first, again)
	// t(0.975, 7) = 2.365 (JCGM 100 table G.2)
	if math.Abs(r.Modulus.Allowed-2.365*5e-4) > 1e-6 || math.Abs(r.Modulus.Difference+math.Log(1.002)) > 1e-12 || !r.Modulus.Flagged || r.Phase != (steady.Check{}) {
		t.Errorf("%+v", r)
	}
	if u := first.Evidence.Unrepeated; math.Abs(u[0]-math.Log(1.002)) > 1e-12 || u[1] != 0 {
		t.Errorf("left in the evidence: %v", first.Evidence.Unrepeated)
	}
}

// The level loop settles slower than it was told: the level of the reference shows it and raises tau_max, where the procedure lets the judge look at it.
func TestLevelRaisesTauMax(t *testing.T) {
	b := simulator.FenwickLane()
	b.Recorder.Rate = 400
	b.Exciter.Settling, b.Exciter.Start = 6, 0.3
	for _, level := range []bool{true, false} {
		j, _ := simulated(t, b, 7, simulator.Point{Frequency: 5, Level: 1, Duration: 40})
		j.Loop = Loop{Exciter: "X-12", Time: 1}
		j.Procedure.Settling.Level = level
		r, err := Evaluate(j, 1)
		if err != nil {
			t.Fatal(err)
		}
		g := r.Points[0].Evidence.Judgement
		if !g.Judged() || (g.TauMaxUsed() > g.TauMax*g.Block) != level {
			t.Errorf("looking at the level %v: tau_max %g s told, %g s used, %s", level, g.TauMax*g.Block, g.TauMaxUsed(), g.Why)
		}
	}
}

// Stated level: a device recorded while the exciter still approaches the level it states is judged to the settled value; the plain mean is below it.
func TestStatedLevelIsJudged(t *testing.T) {
	b := simulator.FenwickLane()
	b.Recorder.Rate = 400
	b.Exciter.Settling, b.Exciter.Start = 2, 0.02
	j := bareJob(t)
	j.Reference.StatesLevel = true
	j.judging(Settling{Rule: steady.Wary, Modulus: 1e-3, Level: true})
	j.Loop = Loop{Exciter: "X-03", Time: 2}
	samples, truth := b.Record(simulator.Point{Frequency: 20, Level: 1, Duration: 40}, rand.New(rand.NewPCG(8, 1)))
	rec := simulator.Recording("stated", samples, b.Recorder.Rate, 24)
	p, a := j.measure(PointPlan{Label: "point", Frequency: 20, Level: 1, Recording: &rec}, nil)
	if p.Refused != "" {
		t.Fatal(p.Refused)
	}
	want := cmplx.Abs(truth.Device)
	plain := math.Log(real(p.Evidence.Ratio) / want)
	j.judge(&p, a, &run{})
	g := p.Evidence.Judgement
	if off := math.Log(real(p.Evidence.Ratio) / want); !g.Judged() || g.From != "level loop of exciter X-03" || math.Abs(off) > g.HalfWidth[0] || math.Abs(plain) < g.HalfWidth[0] {
		t.Errorf("off by %g, the plain mean by %g, claimed %g (%s)", off, plain, g.HalfWidth[0], g.Why)
	}
}
