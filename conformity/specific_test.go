package conformity

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"plumbline/uncertainty"
)

// Guard bands of JCGM 106's one-sided z (1.6449 u for 5 %, 2.3263 u for 1 %; from memory, recomputed), and t(4) = 2.7764 u for 2.5 % (GUM Table G.2).
//
// Verifies: JCGM 106 8.3.2
func TestSpecificRisk(t *testing.T) {
	for _, c := range []struct{ risk, dof, z float64 }{{0.05, inf, 1.6449}, {0.01, inf, 2.3263}, {0.5, inf, 0}, {0.025, 4, 2.7764}, {0.1, 1, 3.0777}} {
		e := FirstOrder{Value: 3, U: 0.2, K: 2, Dof: c.dof}
		for _, l := range []Limits{{-inf, 16}, {16, inf}} {
			a, err := SpecificRisk{c.risk}.Accept(Question{Value: 3, Tolerance: l}, e)
			if err != nil {
				t.Fatal(err)
			}
			if math.IsInf(l.Lower, -1) {
				near(t, "upper", a.Upper, 16-0.1*c.z, 6e-6)
			} else {
				near(t, "lower", a.Lower, 16+0.1*c.z, 6e-6)
			}
		}
	}
	// On both sides together: 9 to 11 with u = 0.5 and a risk of 10 % in all; at the acceptance limit the far side takes part of it.
	a, err := SpecificRisk{0.1}.Accept(Question{Value: 10, Tolerance: Limits{9, 11}}, FirstOrder{Value: 10, U: 1, K: 2, Dof: inf})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "symmetric", a.Lower+a.Upper, 20, 1e-9)
	risk := FirstOrder{Value: a.Upper, U: 1, K: 2, Dof: inf}.Outside(Limits{9, 11})
	near(t, "risk on the limit", risk, 0.1, 1e-9)
	if !(a.Upper < 11-0.5*1.2816) {
		t.Errorf("upper %g, want less than that of one side, %g", a.Upper, 11-0.5*1.2816)
	}
	for _, c := range []struct {
		value, u float64
		want     Verdict
	}{{a.Upper, 1, Conforms}, {a.Upper + 1e-6, 1, DoesNotConform}, {10, 3, NotDecided}, {12, 3, NotDecided}, {11, 0, Conforms}, {11.01, 0, DoesNotConform}} {
		if s := decide(t, c.value, c.u, Limits{9, 11}, SpecificRisk{0.1}); s.Verdict != c.want {
			t.Errorf("%g with U %g: %v, acceptance %v, risk %g, want %v", c.value, c.u, s.Verdict, s.Acceptance, s.Risk, c.want)
		}
	}
}

// The sample of a rectangular effect of ±0.3: 5 % lie beyond 0.27 (closed form), and of a skewed one each side has a guard band of its own (exponential: 5 % lie beyond
// ln 20 above and below -ln 0.95 from the least value).
func TestSpecificRiskOfSample(t *testing.T) {
	r := rand.New(rand.NewPCG(31, 31))
	const n = 200_000
	flat, skew := make([]float64, n), make([]float64, n)
	for i := range n {
		flat[i], skew[i] = 1+0.03*(2*r.Float64()-1), 1+0.1*r.ExpFloat64()
	}
	a, err := SpecificRisk{0.05}.Accept(Question{Value: 10, Tolerance: Limits{9, 11}}, MonteCarlo{U: 0.3, Sample: flat, Scale: 10})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "flat: lower (seed 31)", a.Lower, 9.27, 2e-3)
	near(t, "flat: upper (seed 31)", a.Upper, 10.73, 2e-3)
	a, err = SpecificRisk{0.05}.Accept(Question{Value: 1, Tolerance: Limits{0, 2}}, MonteCarlo{U: 0.3, Sample: skew, Scale: 1})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "skewed: upper (seed 31)", a.Upper, 2-0.1*math.Log(20), 3e-3)
	near(t, "skewed: lower (seed 31)", a.Lower, 0.1*math.Log(0.95), 1e-3)
	s, err := Decide(Question{Value: a.Upper, Tolerance: Limits{0, 2}}, SpecificRisk{0.05}, MonteCarlo{U: 0.3, Sample: skew, Scale: 1, Offset: a.Upper - 1})
	if err != nil || s.Verdict != Conforms || math.Abs(s.Risk-0.05) > 1e-4 {
		t.Errorf("on the limit: %v, risk %g, %v", s.Verdict, s.Risk, err)
	}
}

// Whatever the numbers, accepted means a risk of at most the stated one, and the acceptance limits are as far out as that allows.
func TestSpecificRiskHolds(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		value, u := rapid.Float64Range(-2, 2).Draw(t, "value"), rapid.Float64Range(0.001, 3).Draw(t, "U")
		dof := rapid.SampledFrom([]float64{1, 3.3, 50, math.Inf(1)}).Draw(t, "dof")
		rule := SpecificRisk{rapid.SampledFrom([]float64{0.001, 0.025, 0.1, 0.5}).Draw(t, "risk")}
		e := FirstOrder{Value: value, U: u, K: uncertainty.Coverage(0.9545, dof), Dof: dof}
		s, err := Decide(Question{Value: value, Tolerance: Limits{-1, 1}}, rule, e)
		if err != nil {
			t.Fatal(err)
		}
		accepted := s.Verdict == Conforms
		if accepted && s.Risk > rule.Largest+1e-12 || !accepted && s.Risk < rule.Largest-1e-9 {
			t.Fatalf("%v with a risk of %g, acceptance %v", s.Verdict, s.Risk, s.Acceptance)
		}
	})
}

// opinion is evidence that knows its own value only.
type opinion struct{}

func (opinion) Expanded() float64      { return 1 }
func (opinion) Outside(Limits) float64 { return 0.01 }
func (opinion) String() string         { return "opinion" }

func TestSpecificRiskRefuses(t *testing.T) {
	q := Question{Subject: "x", Tolerance: Limits{-1, 1}}
	e := FirstOrder{U: 0.1, K: 2, Dof: inf}
	for _, c := range []struct {
		rule SpecificRisk
		e    Evidence
		want string
	}{
		{SpecificRisk{}, e, "specific risk of 0 %"}, {SpecificRisk{0.6}, e, "specific risk of 60 %"}, {SpecificRisk{0.1}, opinion{}, "the evidence (opinion) says nothing"},
		{SpecificRisk{0.1}, MonteCarlo{U: 1}, "not known"},
	} {
		if _, err := Decide(q, c.rule, c.e); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%v, want %q", err, c.want)
		}
	}
}
