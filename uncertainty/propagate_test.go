package uncertainty

import (
	"math"
	"math/cmplx"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// ratioSet is a ratio of two channels: gain is common to both, noise has real and imaginary part, delay turns the phase.
func ratioSet() (set *Set, model Model, uses []int) {
	set = NewSet()
	add := func(id, influence string, d Distribution, dof float64) int {
		i := set.Add(Input{ID: id, Influence: influence, Dist: d, Dof: dof})
		uses = append(uses, i)
		return i
	}
	gain := add("gain", "recorder", Normal{0.01}, inf)
	re := add("noise re", "repeatability", StudentT{0.003, 4}, 4)
	im := add("noise im", "repeatability", StudentT{0.004, 8}, 8)
	delay := add("delay", "timing", Rectangular{0.002 * math.Sqrt(3)}, inf)
	offset := add("gain of reference", "reference", Normal{0.004}, 50)
	return set, func(x []float64) complex128 {
		g := complex(1+x[gain], 0)
		return 2i * (g / g) * //nolint:staticcheck // a gain in both channels cancels: that is what is tested
			cmplx.Exp(complex(x[re], x[im]+x[delay])) * complex(1+x[offset], 0)
	}, uses
}

// One complex budget serves modulus and phase: closed forms beside each number.
//
// Verifies: GUM 5.1.2
// Verifies: GUM G.4.1
func TestComplexBudget(t *testing.T) {
	set, model, uses := ratioSet()
	b, err := Propagate(set, model, append(uses, uses[1]), 0.9545) // an input named twice counts once
	if err != nil {
		t.Fatal(err)
	}
	if b.Value != 2i {
		t.Errorf("value %v, want 2i", b.Value)
	}
	near(t, "u of modulus", b.Modulus.Std, 0.005, 1e-7)          // √(0.003² + 0.004²)
	near(t, "u of phase", b.Phase.Std, math.Sqrt(20)*1e-3, 1e-7) // √(0.004² + 0.002²)
	near(t, "dof of modulus", b.Modulus.Dof, 625/(81.0/4+256.0/50), 0.01)
	near(t, "dof of phase", b.Phase.Dof, 8*400.0/256, 0.01)
	near(t, "k", b.Modulus.K, Coverage(0.9545, b.Modulus.Dof), 0)
	near(t, "U", b.Modulus.Expanded, b.Modulus.K*b.Modulus.Std, 0)
	near(t, "correlation", b.Correlation, 0, 1e-6)
	if len(b.Rows) != 4 {
		t.Fatalf("%d rows, want recorder, repeatability, timing, reference", len(b.Rows))
	}
	if r := b.Rows[0]; r.Modulus != 0 || r.Phase != 0 || r.ShareModulus != 0 || r.Contributions[0].C != 0 {
		t.Errorf("a gain common to both channels: %+v, want exactly nothing", r)
	}
	r := b.Rows[1]
	near(t, "repeatability, modulus", r.Modulus, 0.003, 1e-7)
	near(t, "repeatability, phase", r.Phase, 0.004, 1e-7)
	near(t, "repeatability, dof", r.DofModulus, 4, 1e-3)
	near(t, "repeatability, share of modulus", r.ShareModulus, 0.36, 1e-4)
	near(t, "repeatability, share of phase", r.SharePhase, 0.8, 1e-4)
	if r.Distribution != "Student t" || b.Rows[2].Distribution != "rectangular" {
		t.Errorf("distributions %q, %q, want Student t, rectangular", r.Distribution, b.Rows[2].Distribution)
	}
}

// A phase that depends on the modulus: ln S = x(1+2j) gives u_modulus = u, u_phase = 2u, correlation 1 (closed form).
func TestCorrelationOfModulusAndPhase(t *testing.T) {
	set := NewSet()
	i := set.Add(Input{ID: "x", Dist: Normal{1e-3}, Dof: inf})
	for _, sign := range []float64{1, -1} {
		b, err := Propagate(set, func(x []float64) complex128 { return cmplx.Exp(complex(x[i], sign*2*x[i])) }, []int{i}, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "correlation", b.Correlation, sign, 1e-12)
		near(t, "phase", b.Phase.Std, 2e-3, 1e-8)
	}
}

// Two sensitivities measured with one reference: the shared input gives their covariance, and drops out of their ratio (closed form).
//
// Verifies: GUM F.1.2.3
func TestCovarianceThroughSharedInput(t *testing.T) {
	set := NewSet()
	ref := set.Add(Input{ID: "reference", Dist: Normal{0.003}, Dof: inf})
	turn := set.Add(Input{ID: "phase of reference", Dist: Normal{0.002}, Dof: inf})
	own := []int{set.Add(Input{ID: "noise 1", Dist: Normal{0.001}, Dof: inf}), set.Add(Input{ID: "noise 2", Dist: Normal{0.0005}, Dof: inf})}
	model := func(k int) Model {
		return func(x []float64) complex128 { return cmplx.Exp(complex(x[ref]+x[own[k]], x[turn]+x[ref]/3)) }
	}
	var b []Budget
	for k := range own {
		one, err := Propagate(set, model(k), []int{ref, turn, own[k]}, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		b = append(b, one)
	}
	c := Covariance(b[0], b[1])
	near(t, "moduli", c.Modulus, 9e-6, 1e-10)
	near(t, "phases", c.Phase, 5e-6, 1e-10)
	near(t, "modulus and phase", c.ModulusPhase, 3e-6, 1e-10)
	near(t, "phase and modulus", c.PhaseModulus, 3e-6, 1e-10)
	near(t, "variance", Covariance(b[0], b[0]).Modulus, b[0].Modulus.Std*b[0].Modulus.Std, 1e-18)
	both, err := Propagate(set, func(x []float64) complex128 { return model(0)(x) / model(1)(x) }, []int{ref, turn, own[0], own[1]}, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	variance := b[0].Modulus.Std*b[0].Modulus.Std + b[1].Modulus.Std*b[1].Modulus.Std - 2*c.Modulus
	near(t, "u of the ratio", both.Modulus.Std, math.Sqrt(variance), 1e-8)
}

// Whatever the numbers, x - x is exactly zero and x/x exactly one without uncertainty, by first order and by Monte Carlo.
func TestSharedInputCancels(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		set := NewSet()
		value := rapid.Float64Range(0.1, 1e6).Draw(t, "value")
		u := rapid.Float64Range(0, 0.01).Draw(t, "relative u") * value
		i := set.Add(Input{ID: "x", Value: value, Dist: Normal{u}, Dof: inf})
		k := set.Add(Input{ID: "y", Value: value, Dist: Normal{u}, Dof: inf})
		b, err := PropagateReal(set, func(x []float64) float64 { return x[i] - x[i] }, []int{i}, 0.95)
		if err != nil || b.Value != 0 || b.Std != 0 || b.Expanded != 0 || b.StdSecondOrder != 0 || len(b.Terms) != 0 || !math.IsInf(b.Dof, 1) {
			t.Fatalf("x - x: %+v, %v", b, err)
		}
		same := func(x []float64) complex128 { return complex(x[i]/x[i], x[k]-x[k]) }
		q, err := Propagate(set, same, []int{i, k}, 0.95)
		if err != nil || q.Value != 1 || q.Modulus.Std != 0 || q.Phase.Std != 0 || len(q.SecondOrder.Terms) != 0 {
			t.Fatalf("x/x: %+v, %v", q, err)
		}
		s, err := Simulate(set, same, []int{i, k}, SimulationSettings{Trials: 2000, Seed: 1, Probability: 0.95})
		if err != nil || s.Modulus != (Interval{Mean: 1, Low: 1, High: 1, ShortestLow: 1, ShortestHigh: 1}) || s.Phase != (Interval{}) {
			t.Fatalf("x/x by Monte Carlo: %+v, %v", s, err)
		}
	})
}

// The combined uncertainty is the root of the sum of squares of the contributions, shares add up, and the order of the uses changes only the order of the rows.
func TestBudgetAddsUp(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		set := NewSet()
		n := rapid.IntRange(1, 8).Draw(t, "inputs")
		var uses []int
		c := make([]complex128, n)
		for i := range n {
			c[i] = complex(rapid.Float64Range(0.1, 2).Draw(t, "re"), rapid.Float64Range(-2, -0.1).Draw(t, "im"))
			in := TypeA(string(rune('a'+i)), rapid.SampledFrom([]string{"one", "two", "three"}).Draw(t, "influence"), 0,
				rapid.Float64Range(1e-6, 1e-3).Draw(t, "u"), rapid.Float64Range(1, 100).Draw(t, "dof"))
			uses = append(uses, set.Add(in))
		}
		model := func(x []float64) complex128 {
			sum := complex(5, 0)
			for i := range n {
				sum += c[i] * complex(x[i], 0)
			}
			return sum
		}
		b, err := Propagate(set, model, uses, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		var modulus, phase, shareM, shareP float64
		for _, r := range b.Rows {
			modulus += r.Modulus * r.Modulus
			phase += r.Phase * r.Phase
			shareM += r.ShareModulus
			shareP += r.SharePhase
		}
		if math.Abs(math.Sqrt(modulus)-b.Modulus.Std) > 1e-12 || math.Abs(math.Sqrt(phase)-b.Phase.Std) > 1e-12 || math.Abs(b.Correlation) > 1+1e-12 {
			t.Fatalf("rows give %g and %g, combined %g and %g, correlation %g", math.Sqrt(modulus), math.Sqrt(phase), b.Modulus.Std, b.Phase.Std, b.Correlation)
		}
		if math.Abs(shareM-1) > 1e-9 || math.Abs(shareP-1) > 1e-9 {
			t.Fatalf("shares add up to %g and %g", shareM, shareP)
		}
		if !(b.Modulus.Dof >= 1-1e-9) || b.Modulus.K < Coverage(0.95, inf) {
			t.Fatalf("dof %g, k %g", b.Modulus.Dof, b.Modulus.K)
		}
		reversed := make([]int, n)
		for i, u := range uses {
			reversed[n-1-i] = u
		}
		again, err := Propagate(set, model, reversed, 0.95)
		if err != nil || math.Abs(again.Modulus.Std-b.Modulus.Std) > 1e-15 || len(again.Rows) != len(b.Rows) {
			t.Fatalf("reversed: %+v, %v", again, err)
		}
	})
}

// The modulus of a noisy ratio is biased by half the variance of its imaginary part (method study: +s²/2 for equal components in quadrature), and a
// cosine of a small angle acts in second order only (closed forms).
//
// Verifies: GUM 5.1.2 NOTE
func TestSecondOrderOfComplex(t *testing.T) {
	set := NewSet()
	re := set.Add(Input{ID: "re", Dist: Normal{0.01}, Dof: inf})
	im := set.Add(Input{ID: "im", Dist: Normal{0.01}, Dof: inf})
	b, err := Propagate(set, func(x []float64) complex128 { return complex(5+5*x[re], 5*x[im]) }, []int{re, im}, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "bias of modulus", b.SecondOrder.BiasModulus, 0.01*0.01/2, 1e-8)
	near(t, "bias of phase", b.SecondOrder.BiasPhase, 0, 1e-12)
	near(t, "u of modulus with second order", b.SecondOrder.StdModulus, 0.01, 1e-5)
	set = NewSet()
	tilt := set.Add(Input{ID: "tilt", Dist: Normal{0.02}, Dof: inf})
	b, err = Propagate(set, func(x []float64) complex128 { return complex(math.Cos(x[tilt]), 0) }, []int{tilt}, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	u := 0.02 * 0.02 / math.Sqrt2 // of tilt²/2 for a normal tilt
	if b.Modulus.Std != 0 || len(b.SecondOrder.Terms) != 1 || b.SecondOrder.Terms[0].I != tilt || b.SecondOrder.Terms[0].J != tilt {
		t.Fatalf("cosine of a tilt: first order %g, terms %+v; want nothing in first order and the tilt named", b.Modulus.Std, b.SecondOrder.Terms)
	}
	near(t, "term", b.SecondOrder.Terms[0].Modulus, u, 1e-3*u)
	near(t, "u with second order", b.SecondOrder.StdModulus, u, 1e-3*u)
	near(t, "bias", b.SecondOrder.BiasModulus, -0.02*0.02/2, 1e-7)
}

func TestPropagateRefuses(t *testing.T) {
	fine := Input{ID: "x", Value: 1, Dist: Normal{0.1}, Dof: inf}
	with := func(change func(*Input)) Input {
		in := fine
		change(&in)
		return in
	}
	one := func(x []float64) complex128 { return complex(x[0], 0) }
	for _, c := range []struct {
		in    Input
		model Model
		uses  []int
		p     float64
		want  string
	}{
		{fine, one, []int{0}, 0, "coverage probability 0"},
		{fine, one, []int{0}, 1, "coverage probability 1"},
		{fine, one, []int{1}, 0.95, "input of index 1 used, the set holds 1"},
		{with(func(in *Input) { in.Value = math.NaN() }), one, []int{0}, 0.95, "input x: value NaN"},
		{with(func(in *Input) { in.Dist = Normal{math.NaN()} }), one, []int{0}, 0.95, "input x: standard uncertainty NaN"},
		{with(func(in *Input) { in.Dist = Normal{-1} }), one, []int{0}, 0.95, "input x: standard uncertainty -1"},
		{with(func(in *Input) { in.Dof = 0 }), one, []int{0}, 0.95, "input x: 0 degrees of freedom"},
		{fine, func([]float64) complex128 { return 0 }, []int{0}, 0.95, "model at the estimates is (0+0i)"},
		{fine, func(x []float64) complex128 { return cmplx.NaN() }, []int{0}, 0.95, "model at the estimates is (NaN"},
		{fine, func(x []float64) complex128 { return complex(math.Sqrt(1-x[0])+1, 0) }, []int{0}, 0.95, "input x: model is (NaN"},
	} {
		set := NewSet()
		set.Add(c.in)
		if _, err := Propagate(set, c.model, c.uses, c.p); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("Propagate: %v, want %q", err, c.want)
		}
		_, err := PropagateReal(set, func(x []float64) float64 { return real(c.model(x)) }, c.uses, c.p)
		if zero := strings.Contains(c.want, "(0+0i)"); zero != (err == nil) {
			t.Errorf("PropagateReal: %v, want an error unless the value is merely zero (%s)", err, c.want)
		}
	}
}

func TestSet(t *testing.T) {
	set := NewSet()
	in := Input{ID: "T", Influence: "temperature", Value: math.NaN(), Dist: Product{Rectangular{1}, Normal{2}}, Dof: inf}
	a := set.Add(in)
	b := set.Add(Input{ID: "g", Value: 3, Dist: Constant{}, Dof: inf})
	if again := set.Add(in); again != a || set.Len() != 2 {
		t.Errorf("same definition again: index %d of %d, want %d of 2", again, set.Len(), a)
	}
	if i, ok := set.Index("g"); !ok || i != b || set.Input(b).Value != 3 {
		t.Errorf("index of g: %d, %v", i, ok)
	}
	if _, ok := set.Index("h"); ok {
		t.Error("index of an unknown ID found")
	}
	x := set.Values()
	x[b] = 7
	if set.Values()[b] != 3 {
		t.Error("Values must be fresh")
	}
	for _, bad := range []Input{{ID: "g", Value: 4, Dist: Constant{}, Dof: inf}, {ID: "g", Value: 3, Dist: Constant{}, Dof: 5}, {ID: "g", Value: 3, Dist: Normal{}, Dof: inf}, {Dist: Normal{}}, {ID: "n"}} {
		func() {
			defer func() {
				if recover() == nil {
					t.Errorf("Add(%+v) accepted, want a panic", bad)
				}
			}()
			set.Add(bad)
		}()
	}
}
