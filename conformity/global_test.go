package conformity

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"plumbline/uncertainty"
)

// Two limits ±1, normal items of which 95 % lie within, simple acceptance: consumer 0.858, 1.337 and 1.801 %, producer 1.554, 4.178 and 12.957 % for T/U of 4, 2 and 1
// with k = 2 (recomputed by an independent quadrature; the widely printed "0.8 % and 1.5 % at 4:1" agrees, from memory).
//
// Verifies: JCGM 106 9.5
func TestGlobalRisk(t *testing.T) {
	tolerance := Limits{-1, 1}
	prior, err := PriorWithin(tolerance, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ ratio, consumer, producer float64 }{{4, 0.00858, 0.01554}, {2, 0.01337, 0.04178}, {1, 0.01801, 0.12957}} {
		r, err := GlobalOf(prior, SimpleAcceptance{}, tolerance, FirstOrder{U: 1 / c.ratio, K: 2, Dof: inf})
		if err != nil {
			t.Fatal(err)
		}
		name := fmt.Sprintf("T/U %g", c.ratio)
		near(t, name+": consumer", r.Consumer, c.consumer, 5.1e-6)
		near(t, name+": producer", r.Producer, c.producer, 5.1e-6)
		near(t, name+": conforming", r.Conforming, 0.95, 1e-9)
		sigma := 1 / 1.9599639845
		near(t, name+": accepted", r.Accepted, 1-2*uncertainty.NormalCDF(-1/math.Hypot(sigma, 0.5/c.ratio)), 1e-9) // closed form: the measured values are normal
		near(t, name+": accounts", r.Accepted, r.Conforming-r.Producer+r.Consumer, 1e-9)
		near(t, name+": of the accepted", r.OfAccepted(), r.Consumer/r.Accepted, 0)
		near(t, name+": of the rejected", r.OfRejected(), r.Producer/(1-r.Accepted), 0)
	}
}

// The managed guard band (formula of Dobbert 2008 from memory, verified by quadrature): A/T 0.7599 0.8592 0.9482 0.9867 for TUR 1.5 2 3 4, and the largest consumer's risk
// over all centred normal priors 1.91 1.92 1.94 1.96 %; from TUR 4.6 on no guard band, and never one outside the tolerance.
func TestManagedGuardBand(t *testing.T) {
	tolerance := Limits{-1, 1}
	for _, c := range []struct{ tur, acceptance, risk float64 }{{1.5, 0.7599, 0.0191}, {2, 0.8592, 0.0192}, {3, 0.9482, 0.0194}, {4, 0.9867, 0.0196}, {4.65, 1, 0}, {10, 1, 0}} {
		e := FirstOrder{U: 1 / c.tur, K: 2, Dof: inf}
		a, err := ManagedGuardBand{}.Accept(Question{Tolerance: tolerance}, e)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "acceptance limit", a.Upper, c.acceptance, 5e-5)
		near(t, "acceptance limit", a.Lower, -c.acceptance, 5e-5)
		if c.acceptance == 1 && a != tolerance {
			t.Errorf("TUR %g: acceptance %v, want the tolerance", c.tur, a)
		}
		if c.risk == 0 {
			continue
		}
		var largest float64
		for sigma := 0.1; sigma < 3; sigma *= 1.04 {
			r, err := GlobalOf(NormalPrior(0, sigma), ManagedGuardBand{}, tolerance, e)
			if err != nil {
				t.Fatal(err)
			}
			largest = max(largest, r.Consumer)
		}
		near(t, fmt.Sprintf("TUR %g: largest risk", c.tur), largest, c.risk, 6e-5)
	}
	if s := decide(t, 0, 2, tolerance, ManagedGuardBand{}); s.Verdict != NotDecided { // the formula leaves nothing below a TUR of about 0.58
		t.Errorf("U twice the tolerance: %v, acceptance %v", s.Verdict, s.Acceptance)
	}
	if s := decide(t, 0.99, 0, tolerance, ManagedGuardBand{}); s.Verdict != Conforms || s.Acceptance != tolerance {
		t.Errorf("without uncertainty: %v, acceptance %v", s.Verdict, s.Acceptance)
	}
	if _, err := Decide(Question{Subject: "x", Tolerance: Limits{-inf, 1}}, ManagedGuardBand{}, FirstOrder{U: 0.1, K: 2, Dof: inf}); err == nil || !strings.Contains(err.Error(), `x: decision rule "managed guard band": tolerance limits -Inf and 1`) {
		t.Errorf("one limit: %v", err)
	}
}

// Priors and measurements of other shapes and off the middle against a simulation of a million items.
func TestGlobalRiskOfOtherShapes(t *testing.T) {
	const n = 1_000_000
	r := rand.New(rand.NewPCG(23, 23))
	for _, c := range []struct {
		prior       Prior
		measurement uncertainty.Shape
		tolerance   Limits
		w           float64
	}{
		{Prior{0.3, uncertainty.Rectangular{HalfWidth: 1.5}}, uncertainty.Normal{Sigma: 0.2}, Limits{-1, 1}, 0.3},
		{Prior{0, uncertainty.Arcsine{HalfWidth: 1.1}}, uncertainty.Rectangular{HalfWidth: 0.3}, Limits{-1, 1}, -0.1},
		{Prior{-0.2, uncertainty.StudentT{Scale: 0.5, Dof: 3}}, uncertainty.StudentT{Scale: 0.1, Dof: 4}, Limits{math.Inf(-1), 0.7}, 0.2},
		{NormalPrior(0.5, 0.4), uncertainty.Normal{}, Limits{-1, 1}, 0.1},
		{Prior{0.1, uncertainty.Constant{}}, uncertainty.Normal{Sigma: 0.5}, Limits{-1, 1}, 0},
	} {
		acceptance := c.tolerance.within(c.w)
		got, err := Global(c.prior, c.measurement, c.tolerance, acceptance)
		if err != nil {
			t.Fatal(err)
		}
		var want GlobalRisk
		for range n {
			x := c.prior.Mean + c.prior.Dist.Sample(r)
			inside, accepted := c.tolerance.hold(x), acceptance.hold(x+c.measurement.Sample(r))
			want.Conforming += indicator(inside) / n
			want.Accepted += indicator(accepted) / n
			want.Consumer += indicator(accepted && !inside) / n
			want.Producer += indicator(!accepted && inside) / n
		}
		for name, p := range map[string][2]float64{"conforming": {got.Conforming, want.Conforming}, "accepted": {got.Accepted, want.Accepted}, "consumer": {got.Consumer, want.Consumer}, "producer": {got.Producer, want.Producer}} {
			near(t, fmt.Sprintf("%v measured with %v (seed 23): %s", c.prior.Dist, c.measurement, name), p[0], p[1], 5*math.Sqrt(math.Abs(p[1]*(1-p[1]))/n)+1e-8)
		}
	}
}

// A history of 9.9, 10.1, 10.0, 10.2 has mean 10.05, s 0.1291 and is t with three degrees of freedom of scale s√1.25; a fraction of 95 % within ±1 is a normal prior of 1/1.96.
func TestPriors(t *testing.T) {
	p, err := PriorFromHistory([]float64{9.9, 10.1, 10.0, 10.2})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "mean", p.Mean, 10.05, 1e-12)
	near(t, "scale", p.Dist.Std(), math.Sqrt(0.05/3*1.25), 1e-12)
	near(t, "within two scales", p.Dist.CDF(2*p.Dist.Std()), uncertainty.StudentCDF(2, 3), 1e-12)
	if p, err = PriorWithin(Limits{9, 11}, 0.95); err != nil || p.Mean != 10 {
		t.Errorf("prior within: %+v, %v", p, err)
	}
	near(t, "sigma", p.Dist.Std(), 1/1.959964, 1e-6)
	for _, bad := range [][]float64{nil, {1, 2}, {1, 1, 1}, {1, 2, math.NaN()}, {1, 2, inf}} {
		if _, err := PriorFromHistory(bad); err == nil {
			t.Errorf("history %v accepted", bad)
		}
	}
	for _, c := range []struct {
		err  error
		want string
	}{
		{second(PriorWithin(Limits{-inf, 1}, 0.9)), "want two finite ones"}, {second(PriorWithin(Limits{0, 1}, 1)), "probability 1"},
		{second(Global(Prior{}, uncertainty.Normal{}, Limits{0, 1}, Limits{0, 1})), "no distribution"},
		{second(Global(NormalPrior(math.NaN(), 1), uncertainty.Normal{}, Limits{0, 1}, Limits{0, 1})), "mean of the items NaN"},
		{second(Global(NormalPrior(0, 1), uncertainty.Normal{}, Limits{1, 0}, Limits{0, 1})), "tolerance limits 1 and 0"},
		{second(Global(NormalPrior(0, 1), uncertainty.Normal{}, Limits{0, 1}, Limits{math.NaN(), 1})), "acceptance limits NaN"},
		{second(Global(NormalPrior(0, 1), uncertainty.Normal{Sigma: math.NaN()}, Limits{0, 1}, Limits{0, 1})), "unusable"},
		{second(GlobalOf(NormalPrior(0, 1), nil, Limits{0, 1}, FirstOrder{})), "no decision rule"},
		{second(GlobalOf(NormalPrior(0, 1), ManagedGuardBand{}, Limits{0, inf}, FirstOrder{U: 1, K: 2, Dof: inf})), "want two finite ones"},
		{second(GlobalOf(NormalPrior(0, 1), SimpleAcceptance{}, Limits{0, 1}, FirstOrder{U: 1, Dof: inf})), "not known"},
	} {
		if c.err == nil || !strings.Contains(c.err.Error(), c.want) {
			t.Errorf("%v, want %q", c.err, c.want)
		}
	}
	r, err := GlobalOf(NormalPrior(0, 1), GuardBand{1}, Limits{-1, 1}, FirstOrder{U: 1.5, K: 2, Dof: 5})
	if err != nil || r.Accepted != 0 || math.Abs(r.Producer-r.Conforming) > 1e-9 || r.Consumer != 0 {
		t.Errorf("nothing can be accepted: %+v, %v", r, err)
	}
}

func second[T any](_ T, err error) error { return err }
