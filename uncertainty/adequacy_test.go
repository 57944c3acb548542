package uncertainty

import (
	"math"
	"math/cmplx"
	"strings"
	"testing"
)

// JCGM 101 9.4 (first order gives u = 0), GUM H.1 (second order 33.8 nm instead of 31.7), a linear model (nothing), a shift: the cases named where they stand.
//
// Verifies: GUM 5.1.2 NOTE
func TestDoubt(t *testing.T) {
	gauge := NewSet()
	fGauge, usesGauge := endGauge(gauge)
	for _, c := range []struct {
		name string
		f    RealModel
		set  *Set
		uses []int
		want []string
	}{
		{"9.4, x1 = 0", func(x []float64) float64 { return x[0]*x[0] + x[1]*x[1] }, nil, nil, []string{"no input acts in first order", "a acts", "5e-05"}},
		{"9.4, x1 = 0.010", func(x []float64) float64 { return (x[0]+0.010)*(x[0]+0.010) + x[1]*x[1] }, nil, nil, []string{"in second order: the standard uncertainty is 0.000112", "0.0001 without"}},
		{"as 9.4, x1 = 0.045", func(x []float64) float64 { return (x[0]+0.045)*(x[0]+0.045) + x[1]*x[1] }, nil, nil, []string{"the expectation is shifted by 5e-05, which is 0.11"}},
		{"product", func(x []float64) float64 { return 3 + x[0]*x[1] }, nil, nil, []string{"no input acts in first order; the product of a and b acts"}},
		{"linear", func(x []float64) float64 { return 1e6 + 3*x[0] - x[1] }, nil, nil, nil},
		{"nothing", func(x []float64) float64 { return 5 }, nil, nil, nil},
		{"H.1", fGauge, gauge, usesGauge, []string{"33.8", "31.7"}},
	} {
		set, uses := c.set, c.uses
		if set == nil {
			set = NewSet()
			uses = inputs(set, []float64{0, 0}, Normal{0.005}, Normal{0.005})
		}
		b, err := PropagateReal(set, c.f, uses, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		got := b.Doubt(set)
		if (got == "") != (c.want == nil) {
			t.Errorf("%s: %q", c.name, got)
		}
		for _, want := range c.want {
			if !strings.Contains(got, want) {
				t.Errorf("%s: %q, want %q in it", c.name, got, want)
			}
		}
	}
	set := NewSet()
	uses := inputs(set, []float64{0, 0}, Normal{0.02}, Normal{0.001})
	b, err := Propagate(set, func(x []float64) complex128 { return cmplx.Rect(math.Cos(x[0]), x[1]) }, uses, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	if d := b.Doubt(set); !strings.Contains(d.Modulus, "no input acts in first order; a acts") || d.Phase != "" {
		t.Errorf("cosine of a tilt: %+v", d)
	}
}

// JCGM 101 9.2: first order is validated for normal inputs, not for four rectangular ones of 2.0 (ends 3.92 and 3.88 differ by 0.04, tolerance of two digits 0.05:
// valid) nor for a dominant one (19.9 against 17.0: not valid); published comparisons from memory.
//
// Verifies: JCGM 101 8.1
func TestValidation(t *testing.T) {
	one := Rectangular{math.Sqrt(3)}
	for _, c := range []struct {
		dists  []Distribution
		digits int
		valid  bool
	}{
		{[]Distribution{Normal{1}, Normal{1}, Normal{1}, Normal{1}}, 2, true},
		{[]Distribution{one, one, one, one}, 2, true},
		{[]Distribution{one, one, one, Rectangular{10 * math.Sqrt(3)}}, 2, false},
		{[]Distribution{one, one, one, Rectangular{10 * math.Sqrt(3)}}, 1, true}, // δ = 5
	} {
		set := NewSet()
		uses := inputs(set, make([]float64, 4), c.dists...)
		f := func(x []float64) float64 { return x[0] + x[1] + x[2] + x[3] }
		b, err := PropagateReal(set, f, uses, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		if v := b.Validate(b.Value, simulated(t, set, f, uses, 0.95), c.digits); v.Valid() != c.valid {
			t.Errorf("%v, %d digits: %+v, want valid: %v", c.dists, c.digits, v, c.valid)
		}
	}
	set, model, uses := ratioSet()
	b, err := Propagate(set, model, uses, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	s, err := Simulate(set, model, uses, settings(200_000, 1))
	if err != nil {
		t.Fatal(err)
	}
	// t(4) holds a third of the modulus's variance: Welch-Satterthwaite states less than the propagated t. The phase has eight and a rectangle.
	if m, p := b.Validate(s, 1); m.Valid() || !p.Valid() || m.Tolerance != 0.0005 {
		t.Errorf("ratio: %+v, %+v", m, p)
	}
}
