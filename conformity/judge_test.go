package conformity

import (
	"math"
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
	statements, err := Judge(r, GuardBand{R: 1}, 1)
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
	many, err := Judge(r, GuardBand{R: 1}, 3)
	if err != nil || many[1].Risk != statements[1].Risk {
		t.Errorf("three workers: risk %g, one: %g (%v)", many[1].Risk, statements[1].Risk, err)
	}
}

// Without a value at the reference frequency nothing is decided, and a device without specification is not judged.
func TestJudgeWithoutReferencePoint(t *testing.T) {
	r := judged(t)
	r.Points[2].Refused = "clipped"
	r.Points[0].Deviation = nil
	statements, err := Judge(r, SimpleAcceptance{}, 1)
	if err != nil || len(statements) == 0 || Overall(statements) != NotDecided {
		t.Fatalf("%+v, %v", statements, err)
	}
	for _, s := range statements {
		if s.Verdict != NotDecided || len(s.Remarks) == 0 {
			t.Errorf("%s: %v, remarks %q, want not decided with a reason", s.Subject, s.Verdict, s.Remarks)
		}
	}
	r.Job.Device.Tolerance, r.Job.Device.Flatness = 0, 0
	if statements, err = Judge(r, SimpleAcceptance{}, 1); err != nil || len(statements) != 0 {
		t.Errorf("device without specification: %+v, %v", statements, err)
	}
}
