package conformity

import (
	"math"
	"math/cmplx"
	"slices"
	"strings"
	"testing"

	"plumbline/calibration"
	"plumbline/quantity"
	"plumbline/uncertainty"
)

// judged is a result of four points about a 10 V/(m/s²) device of ±10 % at 100 Hz and ±5 % from 1 Hz to 100 Hz. The reference's certificate is common to all
// points; the value at 1 Hz has a dominant rectangular effect and is stated by Monte Carlo.
func judged(t *testing.T) *calibration.Result {
	t.Helper()
	r := &calibration.Result{Set: uncertainty.NewSet()}
	r.Job.Device = calibration.Device{Tolerance: 0.1, Flatness: 0.05, FlatnessBand: [2]float64{1, 100}, Transducer: calibration.Transducer{
		Nominal: 10, ReferenceFrequency: 100, Unit: quantity.Unit{Symbol: "V/(m/s²)", Factor: 1, Dim: quantity.Dimension{Metre: 1, Kilogram: 1, Second: -1, Ampere: -1}}}}
	r.Job.Procedure.Probability, r.Job.Procedure.Trials, r.Job.Seed = 0.9545, 20000, 5
	cert := r.Set.Add(uncertainty.Input{ID: "certificate", Dist: uncertainty.Normal{Sigma: 0.003}, Dof: inf})
	own := r.Set.Add(uncertainty.Input{ID: "settling", Dist: uncertainty.Rectangular{HalfWidth: 0.02}, Dof: inf})
	at := func(s complex128) (uncertainty.Model, []int) {
		return func(x []float64) complex128 { return s * complex(1+x[cert], 0) }, []int{cert}
	}
	point := func(f float64, s complex128) calibration.Point {
		p := calibration.Point{Plan: calibration.PointPlan{Frequency: f}, Sensitivity: s}
		p.Model, p.Uses = at(s)
		p.Reported = calibration.Reported{Evaluation: calibration.FirstOrder, UModulus: 0.006, KModulus: 2}
		p.Budget.Modulus.Dof = inf
		return p
	}
	reference, low := point(100, 10.2i), point(1, -9.8)
	low.Uses = []int{cert, own}
	low.Model = func(x []float64) complex128 { return -9.8 * complex((1+x[cert])*(1+x[own]), 0) }
	low.Deviation = &calibration.Deviation{Value: 9.8/10.2 - 1, Reported: calibration.Reported{Evaluation: calibration.MonteCarlo, UModulus: 0.0191}}
	r.Points = []calibration.Point{low, {Plan: calibration.PointPlan{Frequency: 10}, Refused: "too short"}, reference, point(400, 11.5)}
	return r
}

// Verifies: ISO/IEC 17025 7.8.6.2
func TestJudge(t *testing.T) {
	r := judged(t)
	statements, err := Judge(r, GuardBand{R: 1}, Items{}, 1)
	if err != nil {
		t.Fatal(err)
	}
	if len(statements) != 3 {
		t.Fatalf("%d statements, want the sensitivity at 100 Hz and the deviations at 1 and 10 Hz", len(statements))
	}
	s := statements[0]
	if s.Subject != "sensitivity at 100 Hz" || s.Verdict != Conforms || s.Evaluation != "first order" || s.Relative {
		t.Errorf("%+v", s)
	}
	near(t, "value", s.Value, 10.2, 1e-12)
	near(t, "U", s.U, 10.2*0.006, 1e-12)
	near(t, "acceptance", s.Acceptance.Upper, 11-10.2*0.006, 1e-12)
	if s = statements[1]; s.Subject != "deviation at 1 Hz from the sensitivity at 100 Hz" || s.Evaluation != "Monte Carlo" || !s.Relative || s.Verdict != DoesNotConform {
		t.Errorf("%+v", s)
	}
	near(t, "deviation", s.Value, 9.8/10.2-1, 1e-12)
	// The certificate cancels; the rectangular effect of ±2 % puts the true deviation
	// below -5 % where it is below 0.95/ratio - 1 (closed form).
	ratio := 9.8 / 10.2
	near(t, "risk", s.Risk, (0.95/ratio-0.98)/0.04, 0.01)
	if s = statements[2]; s.Verdict != NotDecided || !math.IsNaN(s.Value) || !strings.Contains(strings.Join(s.Remarks, ""), "too short") {
		t.Errorf("%+v", s)
	}
	many, err := Judge(r, GuardBand{R: 1}, Items{}, 3)
	if err != nil || many[1].Risk != statements[1].Risk {
		t.Errorf("three workers: risk %g, one: %g (%v)", many[1].Risk, statements[1].Risk, err)
	}
}

// Without a value at the reference frequency nothing is decided, and a device without specification is not judged.
func TestJudgeWithoutReferencePoint(t *testing.T) {
	r := judged(t)
	r.Points[2].Refused = "clipped"
	r.Points[0].Deviation = nil
	statements, err := Judge(r, SimpleAcceptance{}, Items{}, 1)
	if err != nil || len(statements) == 0 || Overall(statements) != NotDecided {
		t.Fatalf("%+v, %v", statements, err)
	}
	for _, s := range statements {
		if s.Verdict != NotDecided || len(s.Remarks) == 0 {
			t.Errorf("%s: %v, remarks %q, want not decided with a reason", s.Subject, s.Verdict, s.Remarks)
		}
	}
	r.Job.Device.Tolerance, r.Job.Device.Flatness = 0, 0
	if statements, err = Judge(r, SimpleAcceptance{}, Items{}, 1); err != nil || len(statements) != 0 {
		t.Errorf("device without specification: %+v, %v", statements, err)
	}
}

// withPhase adds phase to the points: 1.5° at the reference frequency, 178° at 1 Hz by Monte Carlo with a rectangular effect of ±1°.
func withPhase(t *testing.T) *calibration.Result {
	t.Helper()
	r := judged(t)
	degree := math.Pi / 180
	delay := r.Set.Add(uncertainty.Input{ID: "delay", Dist: uncertainty.Rectangular{HalfWidth: degree}, Dof: inf})
	r.Points[2].Sensitivity = cmplx.Rect(10.2, 1.5*degree)
	r.Points[2].HasPhase = true
	r.Points[2].Reported.EvaluationPhase, r.Points[2].Reported.UPhase, r.Points[2].Reported.KPhase = calibration.FirstOrder, 0.4*degree, 2
	r.Points[2].Budget.Phase.Dof = inf
	low := &r.Points[0]
	low.Sensitivity, low.HasPhase = cmplx.Rect(9.8, 178*degree), true
	low.Model = func(x []float64) complex128 { return cmplx.Rect(9.8, 178*degree+x[delay]) }
	low.Uses = []int{delay}
	low.Reported.EvaluationPhase, low.Reported.UPhase = calibration.MonteCarlo, 0.95*degree
	low.Simulation = uncertainty.Simulation{Trials: 20000, Seed: 5, Probability: 0.9545}
	return r
}

// The phase against ±2° of a nominal one: at the reference frequency alone, or over a band; 0.1587 lies beyond one standard deviation on each side
// (closed form), a rectangle of ±1° about 178° has nothing beyond ±3.5° of 180° and a quarter beyond 177.5° (closed form).
func TestJudgePhase(t *testing.T) {
	r := withPhase(t)
	d := &r.Job.Device
	d.Tolerance, d.Flatness = 0, 0
	degree := math.Pi / 180
	d.PhaseTolerance = 1.7 * degree
	statements, err := Judge(r, SimpleAcceptance{}, Items{}, 1)
	if err != nil || len(statements) != 1 {
		t.Fatalf("%d statements, want one at the reference frequency, %v", len(statements), err)
	}
	s := statements[0]
	if s.Subject != "phase at 100 Hz" || s.Requirement != "within ±1.7° of 0°" || !s.Phase || s.Relative || s.Verdict != Conforms || s.Unit(d.Unit).Symbol != "°" {
		t.Errorf("%+v", s)
	}
	near(t, "phase", s.Value, 1.5*degree, 1e-12)
	near(t, "U", s.U, 0.4*degree, 1e-15)
	near(t, "risk", s.Risk, uncertainty.NormalCDF(-1), 1e-9)
	d.PhaseNominal, d.PhaseTolerance, d.PhaseBand = math.Pi, 2.5*degree, [2]float64{0.5, 50}
	if statements, err = Judge(r, GuardBand{R: 1}, Items{}, 2); err != nil || len(statements) != 2 {
		t.Fatalf("%d statements, want two in the band, %v", len(statements), err)
	}
	s = statements[0]
	if s.Subject != "phase at 1 Hz" || s.Requirement != "within ±2.5° of 180°" || s.Evaluation != "Monte Carlo" || s.Verdict != DoesNotConform {
		t.Errorf("%+v", s)
	}
	near(t, "phase", s.Value, 178*degree, 1e-12)
	near(t, "acceptance", s.Acceptance.Lower, (177.5+0.95)*degree, 1e-12)
	near(t, "risk", s.Risk, 0.25, 0.01)
	if s = statements[1]; s.Verdict != NotDecided || !strings.Contains(s.Remarks[0], "too short") || !s.Phase {
		t.Errorf("refused point: %+v", s)
	}
	r.Points[0].Sensitivity = cmplx.Rect(9.8, -178*degree) // 182°
	if statements, err = Judge(r, SimpleAcceptance{}, Items{}, 1); err != nil {
		t.Fatal(err)
	}
	near(t, "phase on the other side of half a turn", statements[0].Value, 182*degree, 1e-12)
	r.Points[0].HasPhase = false
	if statements, err = Judge(r, SimpleAcceptance{}, Items{}, 1); err != nil || statements[0].Verdict != NotDecided || statements[0].Remarks[0] != "the point has no phase" {
		t.Errorf("without phase: %+v, %v", statements[0], err)
	}
}

// Lines of the table of limits: of the sensitivity in a band, of the deviation at one frequency, one-sided, of the phase, and one without a point.
func TestJudgeTable(t *testing.T) {
	r := withPhase(t)
	d := &r.Job.Device
	d.Tolerance, d.Flatness = 0, 0
	degree := math.Pi / 180
	d.Limits = []calibration.FrequencyLimit{
		{Of: calibration.LimitedSensitivity, From: 50, To: 500, Lower: -0.05, Upper: 0.1},
		{Of: calibration.LimitedDeviation, From: 1, To: 1, Lower: -0.06, Upper: 0.06},
		{Of: calibration.LimitedDeviation, From: 90, To: 110, Lower: -0.06, Upper: 0.06},
		{Of: calibration.LimitedSensitivity, From: 1.0005, To: 1.0005, Lower: -0.01, Upper: inf},
		{Of: calibration.LimitedPhase, From: 100, To: 100, Lower: math.Inf(-1), Upper: 1 * degree},
		{Of: calibration.LimitedSensitivity, From: 1000, To: 2000, Lower: -0.1, Upper: 0},
		{Of: calibration.LimitedPhase, From: 5, To: 5, Lower: -degree, Upper: degree},
		{Of: calibration.LimitedSensitivity, From: 10, To: 10, Lower: -0.1, Upper: 0.1},
	}
	statements, err := Judge(r, SimpleAcceptance{}, Items{}, 1)
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, s := range statements {
		got = append(got, s.Subject+": "+s.Requirement+": "+s.Verdict.String())
	}
	want := []string{
		"sensitivity at 100 Hz: within −5 % and +10 % of 10.0 V/(m/s²) from 50 Hz to 500 Hz: conforms",
		"sensitivity at 400 Hz: within −5 % and +10 % of 10.0 V/(m/s²) from 50 Hz to 500 Hz: does not conform",
		"deviation at 1 Hz from the sensitivity at 100 Hz: within ±6 % at 1 Hz: conforms",
		"sensitivity at 1 Hz: not below −1 % of 10.0 V/(m/s²) at 1.0005 Hz: does not conform",
		"phase at 100 Hz: not above +1° of 0° at 100 Hz: does not conform",
		"sensitivity from 1000 Hz to 2000 Hz: within −10 % and 0 % of 10.0 V/(m/s²) from 1000 Hz to 2000 Hz: not decided",
		"phase at 5 Hz: within ±1° of 0° at 5 Hz: not decided",
		"sensitivity at 10 Hz: within ±10 % of 10.0 V/(m/s²) at 10 Hz: not decided",
	}
	if !slices.Equal(got, want) {
		t.Errorf("statements\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
	if s := statements[5]; s.Frequency != 1000 || s.Remarks[0] != "no point was measured from 1000 Hz to 2000 Hz" || s.Tolerance != (Limits{9, 10}) || s.Unit(d.Unit) != d.Unit {
		t.Errorf("line without a point: %+v", s)
	}
	if s := statements[7]; s.Remarks[0] != "the point has no value: too short" {
		t.Errorf("refused point: %+v", s)
	}
	if s := statements[2]; s.Unit(d.Unit).Symbol != "%" || s.Unit(d.Unit).FromSI(s.Value) != 100*s.Value {
		t.Errorf("unit of a deviation: %+v", s.Unit(d.Unit))
	}
	d.Limits = []calibration.FrequencyLimit{{From: 1, To: 2, Lower: -1, Upper: 1}}
	if _, err := Judge(r, SimpleAcceptance{}, Items{}, 1); err == nil || !strings.Contains(err.Error(), "limit from 1 Hz to 2 Hz: of quantity 0") {
		t.Errorf("limit of nothing: %v", err)
	}
	d.Limits, d.Tolerance = nil, 0.1
	if _, err := Judge(r, nil, Items{}, 1); err == nil || !strings.Contains(err.Error(), "no decision rule stated") {
		t.Errorf("without a rule: %v", err)
	}
	r.Points[2].Refused = "clipped"
	if statements, err := Judge(r, nil, Items{}, 1); err != nil || statements[0].Verdict != NotDecided {
		t.Errorf("without a rule and a value: %+v, %v", statements, err)
	}
}
