package resultfile

import (
	"bytes"
	"encoding/json"
	"math"
	"strings"
	"testing"

	"plumbline/calibration"
	"plumbline/conformity"
	"plumbline/quantity"
	"plumbline/uncertainty"
)

func unit(t *testing.T, text string) quantity.Unit {
	t.Helper()
	u, err := quantity.ParseUnit(text)
	if err != nil {
		t.Fatal(err)
	}
	return u
}

// handMade is a result with one value, read off without phase and with infinite degrees of freedom, and one point refused.
func handMade(t *testing.T) calibration.Result {
	inf, nan := math.Inf(1), math.NaN()
	return calibration.Result{
		Job: calibration.Job{Number: "J-1", Points: make([]calibration.PointPlan, 2), Subject: calibration.OfChain, Device: calibration.Device{Transducer: calibration.Transducer{
			Identity: calibration.Identity{Kind: "accelerometer", Model: "M", Serial: "A-0401"}, Unit: unit(t, "mV/g"), Nominal: 0.1 / quantity.StandardGravity}}},
		Points: []calibration.Point{
			{Plan: calibration.PointPlan{Frequency: 80, Readings: make([]calibration.Reading, 4)}, Frequency: 80, Level: nan, Sensitivity: complex(0.1/quantity.StandardGravity, 0),
				Budget:   uncertainty.Budget{Modulus: uncertainty.Combined{Std: 0.01, Dof: inf, K: 2, Expanded: 0.02}, Rows: []uncertainty.Row{{Influence: "noise", DofModulus: inf, DofPhase: inf}}},
				Reported: calibration.Reported{Evaluation: calibration.FirstOrder, UModulus: 0.02, KModulus: 2, UPhase: nan, KPhase: nan}},
			{Plan: calibration.PointPlan{Frequency: 40}, Refused: "point 2: clipped"},
		},
	}
}

// What does not exist is absent: JSON knows neither NaN nor infinity, and a zero would be a claim.
func TestWhatDoesNotExistIsAbsent(t *testing.T) {
	nan := math.NaN()
	undecided := conformity.Statement{Subject: "deviation at 40 Hz", Frequency: 40, Relative: true, Value: nan, U: nan, Risk: nan,
		Tolerance: conformity.Limits{Lower: -0.05, Upper: 0.05}, Acceptance: conformity.Limits{Lower: nan, Upper: nan}}
	var b bytes.Buffer
	if err := Write(&b, New(Header{Version: "test"}, handMade(t), []conformity.Statement{undecided}, conformity.NotDecided)); err != nil {
		t.Fatal(err)
	}
	text := b.String()
	for _, absent := range []string{"NaN", "Inf", "null", "level_peak", "phase_deg", "dof_modulus", "probability_outside_tolerance", "\"value\": 0,"} {
		if strings.Contains(text, absent) {
			t.Errorf("%q stands in\n%s", absent, text)
		}
	}
	var r Result
	if err := json.Unmarshal(b.Bytes(), &r); err != nil {
		t.Fatal(err)
	}
	s := r.Points[0].Sensitivity
	if s == nil || math.Abs(s.Modulus.Value-100) > 1e-9 || s.Modulus.Unit != "mV/[g]" || s.SI.Unit != "V/(m/s2)" || math.Abs(s.SI.Value-0.0101971621) > 1e-9 {
		t.Errorf("sensitivity %+v, want 100 mV/[g] and 0.0101971621 V/(m/s2) (g_n = 9.80665 m/s², exact)", s)
	}
	if p := r.Points[1]; p.Refused == "" || p.Sensitivity != nil || p.Evidence != nil {
		t.Errorf("the refused point is %+v, want its reason alone", p)
	}
	if r.Job.SensitivityOf != "chain" || r.Job.Source != "readings" {
		t.Errorf("job %+v, want a chain and readings", r.Job)
	}
	if c := r.Conformity[0]; c.Lower == nil || *c.Lower != -0.05 || c.Verdict != "not decided" {
		t.Errorf("statement %+v, want its limits and no verdict", c)
	}
}

// The same result gives the same bytes.
func TestSameBytes(t *testing.T) {
	var a, b bytes.Buffer
	r := handMade(t)
	if err := Write(&a, New(Header{}, r, nil, conformity.NotDecided)); err != nil {
		t.Fatal(err)
	}
	if err := Write(&b, New(Header{}, r, nil, conformity.NotDecided)); err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(a.Bytes(), b.Bytes()) {
		t.Error("two writings differ")
	}
}
