package uncertainty

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// The same seed gives the same bits for any number of workers, and kept samples are those of the trials.
//
// Verifies: JCGM 101 7.3
func TestWorkersDoNotMatter(t *testing.T) {
	set, model, uses := ratioSet()
	rapid.Check(t, func(t *rapid.T) {
		s := SimulationSettings{Trials: rapid.IntRange(2500, 5*block).Draw(t, "trials"), Seed: rapid.Uint64().Draw(t, "seed"), Probability: 0.95, Keep: true}
		one, err := Simulate(set, model, uses, s)
		if err != nil {
			t.Fatal(err)
		}
		s.Workers = rapid.IntRange(2, 9).Draw(t, "workers")
		many, err := Simulate(set, model, uses, s)
		if err != nil {
			t.Fatal(err)
		}
		if one.Modulus != many.Modulus || one.Phase != many.Phase || !slices.Equal(one.ModulusSample, many.ModulusSample) || !slices.Equal(one.PhaseSample, many.PhaseSample) {
			t.Fatalf("%d workers: %+v, one: %+v", s.Workers, many.Modulus, one.Modulus)
		}
		s.Keep = false
		bare, err := Simulate(set, model, uses, s)
		if err != nil || bare.Modulus != one.Modulus || bare.ModulusSample != nil || bare.Seed != s.Seed || bare.Trials != s.Trials {
			t.Fatalf("without keeping: %+v, %v", bare, err)
		}
	})
}

// A first part of the trials does not depend on how many follow, and inputs of other results in the Set change nothing.
func TestTrialsDependOnSeedAlone(t *testing.T) {
	set, model, uses := ratioSet()
	short, err := Simulate(set, model, uses, SimulationSettings{Trials: block + 1000, Seed: 8, Probability: 0.95, Keep: true})
	if err != nil {
		t.Fatal(err)
	}
	set.Add(Input{ID: "other", Value: 5, Dist: Normal{1}, Dof: inf})
	long, err := Simulate(set, func(x []float64) complex128 {
		if x[len(x)-1] != 5 {
			t.Error("an unused input must be at its value")
		}
		return model(x)
	}, uses, SimulationSettings{Trials: 2 * block, Seed: 8, Probability: 0.95, Keep: true})
	if err != nil {
		t.Fatal(err)
	}
	if !slices.Equal(short.ModulusSample, long.ModulusSample[:len(short.ModulusSample)]) {
		t.Error("the first trials changed with the number of trials or of inputs")
	}
	other, err := Simulate(set, model, uses, SimulationSettings{Trials: 2 * block, Seed: 9, Probability: 0.95})
	if err != nil || other.Modulus == long.Modulus {
		t.Errorf("another seed gives the same result (%v)", err)
	}
}

// For a nearly linear model with normal inputs Monte Carlo and first order agree, in modulus and phase.
//
// Verifies: JCGM 101 7.7.2
func TestSimulationAgreesWithFirstOrder(t *testing.T) {
	set := NewSet()
	uses := inputs(set, make([]float64, 4), Normal{0.003}, Normal{0.002}, Normal{0.001}, Normal{0.0005})
	model := func(x []float64) complex128 {
		return cmplx.Rect(10, 2) * cmplx.Exp(complex(x[0]+x[2], x[1]-x[2]+x[3]))
	}
	b, err := Propagate(set, model, uses, 0.9545)
	if err != nil {
		t.Fatal(err)
	}
	s, err := Simulate(set, model, uses, SimulationSettings{Trials: 1_000_000, Seed: 1, Probability: 0.9545, Workers: 2})
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name     string
		in       Interval
		value    float64
		combined Combined
	}{{"modulus", s.Modulus, 1, b.Modulus}, {"phase", s.Phase, 0, b.Phase}} {
		u := c.combined.Std
		near(t, c.name+": mean", c.in.Mean, c.value, 4e-3*u+u*u)
		near(t, c.name+": u", c.in.Std, u, 4e-3*u)
		near(t, c.name+": low", c.in.Low, c.value-c.combined.Expanded, 0.012*u)
		near(t, c.name+": high", c.in.High, c.value+c.combined.Expanded, 0.012*u)
	}
}

// Large phases, far from the series, are those of the library; q is the ratio to the value at the estimates.
func TestArgument(t *testing.T) {
	for i := -314; i <= 314; i++ {
		for _, r := range []float64{0.3, 1, 2} {
			phase := float64(i) / 100
			near(t, "argument", argument(cmplx.Rect(r, phase)), phase, 1e-15)
			small := phase / 100
			near(t, "small argument", argument(cmplx.Rect(r, small)), small, 2e-17)
		}
	}
	if argument(complex(2, 0)) != 0 || argument(complex(-2, 0)) != math.Pi {
		t.Error("argument of a real number: want exactly 0 or π")
	}
}

// Student t with too few degrees of freedom has no variance: no u from the sample, but quantiles (closed form: ±4.303 for two degrees of freedom).
//
// Verifies: JCGM 101 6.4.9
func TestNoVariance(t *testing.T) {
	for _, c := range []struct {
		d         Distribution
		mean, std bool
	}{
		{StudentT{1, 1}, false, false}, {StudentT{1, 2}, true, false}, {StudentT{1, 2.5}, true, true},
		{Product{Normal{1}, StudentT{1, 2}}, true, false}, {Product{Product{StudentT{1, 1}, Normal{1}}, Normal{1}}, false, false}, {Normal{1}, true, true},
	} {
		set := NewSet()
		in, _, err := SimulateReal(set, func(x []float64) float64 { return x[0] }, inputs(set, []float64{0}, c.d), settings(10000, 1))
		if err != nil {
			t.Fatal(err)
		}
		if math.IsNaN(in.Mean) == c.mean || math.IsNaN(in.Std) == c.std || math.IsNaN(in.Low) {
			t.Errorf("%#v: mean %g, std %g, low %g; want a mean: %v, a standard deviation: %v", c.d, in.Mean, in.Std, in.Low, c.mean, c.std)
		}
	}
	set := NewSet()
	in := simulated(t, set, func(x []float64) float64 { return x[0] }, inputs(set, []float64{0}, StudentT{1, 2}), 0.95)
	near(t, "t(2)", in.High, 4.3027, 0.06)
}

// Readings taken together follow the multivariate t: each mean, and any combination of them, is t with n-1 degrees of freedom (JCGM 101 6.4.9; quantile 2.7764 of t(4)).
//
// Verifies: JCGM 102 5.3.2
func TestMultivariateT(t *testing.T) {
	set := NewSet()
	j, err := AddReadings(set, "VIphi", "readings", h2)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range [][3]float64{{1, 0, 0}, {0, 0, 1}, {1, 200, 0}, {1, -300, 5}} {
		f := func(x []float64) float64 { return c[0]*j.At(x, 0) + c[1]*j.At(x, 1) + c[2]*j.At(x, 2) }
		b, err := PropagateReal(set, f, j.Uses(), 0.95)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "k", b.K, 2.7764, 5e-5)
		in := simulated(t, set, f, j.Uses(), 0.95)
		near(t, "end of the interval", (in.High-b.Value)/b.Std, 2.7764, 0.03)
		near(t, "u", in.Std/b.Std, math.Sqrt2, 0.03) // √(4/2)
	}
}

// The interval's ends against a full sort, and the shortest interval against trying every place.
//
// Verifies: JCGM 101 7.7.2
// Verifies: JCGM 101 7.7.4
func TestIntervalEnds(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := rapid.IntRange(3, 5000).Draw(t, "trials")
		p := rapid.Float64Range(0.01, 0.999).Draw(t, "p")
		r := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
		coarse := rapid.Bool().Draw(t, "with equal values")
		y := make([]float64, m)
		for i := range y {
			if y[i] = r.ExpFloat64(); coarse {
				y[i] = math.Floor(4 * y[i])
			}
		}
		sorted := slices.Sorted(slices.Values(y))
		var in Interval
		in.cover(y, p)
		q := min(max(int(p*float64(m)+0.5), 1), m-1)
		low := max(1, (m-q+1)/2)
		if in.Low != sorted[low-1] || in.High != sorted[low-1+q] {
			t.Fatalf("symmetric [%g; %g], want [%g; %g]", in.Low, in.High, sorted[low-1], sorted[low-1+q])
		}
		shortest := math.Inf(1)
		for i := 0; i+q < m; i++ {
			shortest = min(shortest, sorted[i+q]-sorted[i])
		}
		if in.ShortestHigh-in.ShortestLow != shortest {
			t.Fatalf("shortest [%g; %g], want a width of %g", in.ShortestLow, in.ShortestHigh, shortest)
		}
		if slices.Sort(y); !slices.Equal(y, sorted) {
			t.Fatal("selection lost or changed a value")
		}
	})
}

func TestSimulationRefuses(t *testing.T) {
	set, model, uses := ratioSet()
	fine := settings(10000, 1)
	for _, c := range []struct {
		model  Model
		change func(*SimulationSettings)
		want   string
	}{
		{model, func(s *SimulationSettings) { s.Trials = 1999 }, "simulation of 1999 trials, want at least 2000"},
		{model, func(s *SimulationSettings) { s.Probability = 1 }, "coverage probability 1"},
		{model, func(s *SimulationSettings) { s.Workers = -1 }, "by -1 workers"},
		{func([]float64) complex128 { return 0 }, func(*SimulationSettings) {}, "model at the estimates is (0+0i)"},
		{func(x []float64) complex128 { return complex(1+math.Sqrt(0.03+x[0]), 0) }, func(*SimulationSettings) {}, "(seed 1): model is NaN"},
	} {
		s := fine
		c.change(&s)
		if _, err := Simulate(set, c.model, uses, s); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("Simulate: %v, want %q", err, c.want)
		}
	}
	if _, err := Simulate(set, model, uses, settings(2000, 0)); err != nil {
		t.Errorf("least number of trials: %v", err)
	}
}

// Verifies: GUM 5.2.2
func TestJointRefuses(t *testing.T) {
	for _, c := range []struct {
		cov  [][]float64
		dof  float64
		want string
	}{
		{[][]float64{{1, 0}, {0, 1}}, 0, "0 degrees of freedom"},
		{[][]float64{{1, 0}}, inf, "1 rows for 2"},
		{[][]float64{{1, 0}, {0}}, inf, "row 2"},
		{[][]float64{{1, 0.5}, {0.4, 1}}, inf, "0.4 and 0.5"},
		{[][]float64{{1, 1.1}, {1.1, 1}}, inf, "within ±1"},
		{[][]float64{{-1, 0}, {0, 1}}, inf, "variance of quantity 1 is -1"},
	} {
		if _, err := AddJoint(NewSet(), "j", "i", []float64{0, 0}, c.cov, c.dof); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("AddJoint(%v, %g): %v, want %q", c.cov, c.dof, err, c.want)
		}
	}
	contradiction := [][]float64{{1, 0.9, -0.9}, {0.9, 1, 0.9}, {-0.9, 0.9, 1}}
	if _, err := AddJoint(NewSet(), "j", "i", make([]float64, 3), contradiction, inf); err == nil || !strings.Contains(err.Error(), "not positive semidefinite") {
		t.Errorf("contradicting correlations: %v", err)
	}
	contradiction = [][]float64{{1, 1, 0.5}, {1, 1, 0.6}, {0.5, 0.6, 1}}
	if _, err := AddJoint(NewSet(), "j", "i", make([]float64, 3), contradiction, inf); err == nil || !strings.Contains(err.Error(), "not positive semidefinite") {
		t.Errorf("equal quantities with unequal correlations to a third: %v", err)
	}
	for _, sets := range [][][]float64{nil, {{1}}, {{1, 2}, {1, 2, 3}}} {
		if _, err := AddReadings(NewSet(), "j", "i", sets); err == nil {
			t.Errorf("readings %v accepted", sets)
		}
	}
}

// Fully correlated quantities (a certificate's errors common to all frequencies) cancel in their difference; quantities without variance stay.
func TestJointFullyCorrelated(t *testing.T) {
	set := NewSet()
	j, err := AddJoint(set, "cert", "certificate", []float64{1, 2, 3}, [][]float64{{4, 6, 0}, {6, 9, 0}, {0, 0, 0}}, inf)
	if err != nil {
		t.Fatal(err)
	}
	b, err := PropagateReal(set, func(x []float64) float64 { return j.At(x, 0)/2 - j.At(x, 1)/3 + j.At(x, 2) }, j.Uses(), 0.95)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "value", b.Value, 0.5-2.0/3+3, 1e-15)
	near(t, "u", b.Std, 0, 1e-12)
}

// The half width about the value holds the coverage probability of the sample, however skewed it is.
func TestHalfWidthAboutTheValue(t *testing.T) {
	for _, sigma := range []float64{0.01, 0.3, 1} {
		set := NewSet()
		i := set.Add(Input{ID: "x", Influence: "x", Dist: Normal{Sigma: sigma}, Dof: math.Inf(1)})
		s, err := Simulate(set, func(x []float64) complex128 { return complex(math.Exp(x[i]), 0) }, []int{i}, SimulationSettings{Trials: 200_000, Seed: 4, Probability: 0.9545, Keep: true})
		if err != nil {
			t.Fatal(err)
		}
		inside := 0
		for _, v := range s.ModulusSample {
			if math.Abs(v-1) <= s.Modulus.Half {
				inside++
			}
		}
		if got := float64(inside) / 200_000; math.Abs(got-0.9545) > 2e-4 {
			t.Errorf("sigma %g: 1 ± %g holds %.5f of the sample, want 0.9545", sigma, s.Modulus.Half, got)
		}
	}
}
