package conformity

import (
	"math"
	"strings"
	"testing"

	"plumbline/uncertainty"
)

// Items of which 95 % lie within the tolerance, TUR 4, simple acceptance: consumer's risk 0.858 %, producer's 1.554 % (two-sided prior, recomputed by quadrature of the
// bivariate normal distribution; "0.8 % / 1.5 % at 4:1" is widely printed, from memory). The same out of a Monte Carlo sample of the value, shifted as it may be.
//
// Verifies: JCGM 106 9.5
func TestItemsOfStatement(t *testing.T) {
	q := Question{Subject: "sensitivity", Value: 10.3, Tolerance: Limits{9, 11}}
	items := Items{Conforming: 0.95, Source: "records of ten years"}
	const n = 20001
	sample := make([]float64, n)
	for i := range sample {
		sample[i] = 10.3 + 0.125*uncertainty.NormalQuantile((float64(i)+0.5)/n)
	}
	for _, c := range []struct {
		e   Evidence
		tol float64
	}{{FirstOrder{Value: 10.3, U: 0.25, K: 2, Dof: inf}, 5e-6}, {MonteCarlo{Value: 10.3, U: 0.25, Sample: sample, Scale: 1}, 5e-5}} {
		s, err := Decide(q, SimpleAcceptance{}, c.e)
		if err == nil {
			err = s.addGlobal(items, q, c.e, true)
		}
		if err != nil || s.Global == nil {
			t.Fatalf("%v: %v", c.e, err)
		}
		near(t, c.e.String()+": consumer", s.Global.Consumer, 0.00858, c.tol)
		near(t, c.e.String()+": producer", s.Global.Producer, 0.01554, c.tol)
		near(t, c.e.String()+": conforming", s.Global.Conforming, 0.95, 1e-9)
		if want := "items of which 95 % lie within the tolerance, normally distributed about its middle (records of ten years)"; s.Global.Prior != want {
			t.Errorf("prior %q, want %q", s.Global.Prior, want)
		}
	}
}

// A sample whose mean lies away from the value measures with a systematic difference: values read 0.5 too high against limits ±1 are those of limits -1.5 and 0.5.
func TestItemsOfShiftedSample(t *testing.T) {
	mean, d, err := errorsOf(MonteCarlo{Value: 0.5, Sample: []float64{-0.001, 0, 0.001}, Scale: 1})
	if err != nil || math.Abs(mean-0.5) > 1e-12 || math.Abs(d.Std()-0.001) > 1e-12 {
		t.Errorf("mean %g, %v, %v: want 0.5 and a standard deviation of 0.001", mean, d, err)
	}
}

// A history is of the sensitivity at the reference frequency alone; what is stated of items does not fit a single limit.
func TestItemsByRequirement(t *testing.T) {
	items := Items{Conforming: 0.9, History: []float64{9.9, 10.1, 10.0, 10.2}}
	two := Question{Subject: "x", Value: 10, Tolerance: Limits{9, 11}}
	for _, c := range []struct {
		q    Question
		at   bool
		want string
	}{{two, true, "true values as the device's 4 earlier results show them"}, {two, false, "items of which 90 % lie within"},
		{Question{Subject: "x", Value: 10, Tolerance: Limits{9, inf}}, true, "earlier results"}, {Question{Subject: "x", Value: 10, Tolerance: Limits{9, inf}}, false, ""}} {
		e := FirstOrder{Value: 10, U: 0.2, K: 2, Dof: 5}
		s, err := Decide(c.q, SimpleAcceptance{}, e)
		if err == nil {
			err = s.addGlobal(items, c.q, e, c.at)
		}
		switch {
		case err != nil:
			t.Error(err)
		case c.want == "" && (s.Global != nil || len(s.Remarks) != 1 || !strings.Contains(s.Remarks[0], "no global risk")):
			t.Errorf("%+v: %+v", c, s)
		case c.want != "" && (s.Global == nil || !strings.Contains(s.Global.Prior, c.want)):
			t.Errorf("%+v: %+v", c, s.Global)
		}
	}
	var s Statement
	if err := s.addGlobal(Items{}, two, FirstOrder{}, true); err != nil || s.Global != nil {
		t.Errorf("nothing stated: %v, %v", s.Global, err)
	}
	if err := s.addGlobal(Items{History: []float64{1, 1, 1}}, two, FirstOrder{}, true); err == nil || !strings.Contains(err.Error(), "not all equal") {
		t.Errorf("equal values: %v", err)
	}
}

// Through a job's statements: the rule is judged as before, the global risk is beside it.
func TestJudgeWithItems(t *testing.T) {
	r := judged(t)
	with, err := Judge(r, GuardBand{R: 1}, Items{Conforming: 0.95, History: []float64{10.1, 10.2, 10.3}}, 1)
	if err != nil {
		t.Fatal(err)
	}
	without, err := Judge(r, GuardBand{R: 1}, Items{}, 1)
	if err != nil {
		t.Fatal(err)
	}
	for i, s := range with {
		if s.Verdict != without[i].Verdict || without[i].Global != nil {
			t.Errorf("%s: verdict %v with items, %v without", s.Subject, s.Verdict, without[i].Verdict)
		}
		if s.Verdict != NotDecided && (s.Global == nil || !(s.Global.Consumer >= 0 && s.Global.Producer >= 0)) {
			t.Errorf("%s: no global risk", s.Subject)
		}
	}
	if p := with[0].Global.Prior; !strings.Contains(p, "3 earlier results") {
		t.Errorf("sensitivity at the reference frequency: prior %q", p)
	}
	if p := with[1].Global.Prior; !strings.Contains(p, "95 %") {
		t.Errorf("deviation: prior %q", p)
	}
}
