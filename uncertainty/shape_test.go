package uncertainty

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
)

// curvilinear is the distribution function of a curvilinear trapezoid by the midpoint rule over its half-width.
func curvilinear(a, d float64) func(x float64) float64 {
	return func(x float64) float64 {
		const n = 20000
		var sum float64
		for i := range n {
			w := a - d + 2*d*(float64(i)+0.5)/n
			sum += 0.5 + 0.5*within(-1, x/w, 1)
		}
		return sum / n
	}
}

// Distribution functions against closed forms, quantiles back through them, and second moments by quadrature against the closed forms of the variances.
//
// Verifies: JCGM 101 6.4.3
func TestDistributionFunctions(t *testing.T) {
	for _, s := range append(slices.Clone(shapes), []struct {
		d   Distribution
		std float64
		cdf func(x float64) float64
	}{
		{CurvilinearTrapezoid{3, 0.5}, math.Sqrt(3 + 0.25/9), curvilinear(3, 0.5)},
		{CurvilinearTrapezoid{2, 2}, math.Sqrt(4.0/3 + 4.0/9), curvilinear(2, 2)},
		{CurvilinearTrapezoid{3, 0}, math.Sqrt(3), func(x float64) float64 { return (x + 3) / 6 }},
		{Trapezoidal{3, 1}, math.Sqrt(3), func(x float64) float64 { return (x + 3) / 6 }},
		{Product{Normal{1}, Normal{2}}, 2, nil},
	}...) {
		d := s.d.(Shape)
		for _, p := range []float64{0, 1e-7, 0.01, 0.025, 0.2, 0.5, 0.7, 0.975, 1 - 1e-7, 1} {
			x := d.Quantile(p)
			if s.cdf != nil && !math.IsInf(x, 0) {
				near(t, d.String()+": closed form", d.CDF(x), s.cdf(x), 1e-7)
			}
			near(t, d.String()+": there and back", d.CDF(x), p, 1e-8)
			if !math.IsInf(x, 0) {
				near(t, d.String()+": symmetry", d.Quantile(1-p)+x, 0, 2e-7*math.Abs(x)+1e-8)
			}
		}
		if u := d.Std(); d.CDF(-1e9*u) > 1e-8 || d.CDF(1e9*u) < 1-1e-8 || !math.IsNaN(d.Quantile(1.1)) || !math.IsNaN(d.Quantile(-0.1)) || !math.IsNaN(d.Quantile(math.NaN())) {
			t.Errorf("%v: far away and beyond probabilities", d)
		}
		if !math.IsNaN(s.std) && s.d != (StudentT{1, 2.5}) {
			near(t, d.String()+": variance", Expect(d, func(x float64) float64 { return x * x }), s.std*s.std, 1e-6*s.std*s.std)
		}
	}
	for _, d := range []Shape{Normal{}, Rectangular{}, Triangular{}, Trapezoidal{}, Arcsine{}, StudentT{0, 3}, Product{Normal{}, Normal{1}}, Constant{}, CurvilinearTrapezoid{}} {
		if d.CDF(-1e-9) != 0 || d.CDF(1e-9) != 1 || d.Quantile(0.3) != 0 || Expect(d, func(x float64) float64 { return x + 2 }) != 2 {
			t.Errorf("%#v without dispersion: want all at 0", d)
		}
	}
}

// foreign is a distribution of another package, without a distribution function.
type foreign struct{ Normal }

func (foreign) CDF() {}

// Expectations against closed forms: of a normal distribution function over a normal quantity, of a step, and of |ab| over a product of rectangles (1/4).
func TestExpect(t *testing.T) {
	for _, u := range []float64{0.01, 0.3, 1, 20} {
		var breaks []float64
		for _, k := range []float64{-8, -4, -2, -1, 0, 1, 2, 4, 8} {
			breaks = append(breaks, 0.7+k*u)
		}
		got := Expect(Normal{2}, func(x float64) float64 { return NormalCDF((0.7 - x) / u) }, breaks...)
		near(t, "normal over normal", got, NormalCDF(0.7/math.Hypot(2, u)), 1e-9)
	}
	above := func(x float64) float64 { return 1 - step(-x+0.4) }
	for _, d := range []Shape{Normal{1}, Rectangular{1}, Triangular{1}, Arcsine{1}, StudentT{1, 1}, Product{Rectangular{1}, Rectangular{1}}, CurvilinearTrapezoid{1, 0.2}} {
		near(t, d.String()+": step", Expect(d, above, 0.4), 1-d.CDF(0.4), 1e-7)
	}
	near(t, "|ab|", Expect(Product{Rectangular{1}, Rectangular{1}}, math.Abs, 0), 0.25, 1e-9)
	bad := Product{Rectangular{1}, foreign{}}
	if !math.IsNaN(Expect(bad, math.Abs)) || !math.IsNaN(bad.CDF(1)) || !math.IsNaN(bad.Quantile(0.5)) {
		t.Error("a factor without distribution function: want NaN")
	}
}

// Factors of single shapes at 95 %: rectangle 0.95√3, trapezoid with beta 1/3 1.834, triangle 1.902, arcsine 1.410 (EA-4/02 S9 and S10 from memory, recomputed);
// t(2) 4.3027 (GUM Table G.2).
func TestFactor(t *testing.T) {
	for _, c := range []struct {
		d Shape
		k float64
	}{{Rectangular{2}, 0.95 * math.Sqrt(3)}, {Trapezoidal{1, 1.0 / 3}, 1.834}, {Triangular{1}, 1.902}, {Arcsine{1}, 1.410}, {Normal{3}, 1.95996}, {StudentT{1, 2}, 4.3027}} {
		near(t, c.d.String(), Factor(c.d, 0.95), c.k, 5e-4)
	}
	if !math.IsNaN(Factor(Constant{}, 0.95)) || !math.IsNaN(Factor(Normal{1}, 1)) {
		t.Error("factor without dispersion or probability: want NaN")
	}
}

// A sample stands for the distribution it came from: standard deviation, quantiles and draws of a second simulation.
//
// Verifies: JCGM 101 6.5
// Verifies: JCGM 101 7.5
func TestEmpirical(t *testing.T) {
	mean, d, err := NewEmpirical([]float64{4, 1, 2, 2, 11})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "mean", mean, 4, 1e-15)
	near(t, "std", d.Std(), StdDev([]float64{4, 1, 2, 2, 11}), 1e-15)
	for _, c := range [][2]float64{{-3, 0.1}, {-3.1, 0}, {-2, 0.5}, {0, 0.7}, {3.5, 0.8}, {7, 1}, {9, 1}} { // (r - 1/2)/5, lines between
		near(t, "distribution function", d.CDF(c[0]), c[1], 1e-15)
	}
	for _, c := range [][2]float64{{0, -3}, {0.1, -3}, {0.2, -2.5}, {0.3, -2}, {0.7, 0}, {0.8, 3.5}, {0.9, 7}, {1, 7}} {
		near(t, "quantile", d.Quantile(c[0]), c[1], 1e-14)
	}
	near(t, "expectation", Expect(d, func(x float64) float64 { return x }), 0, 1e-15)
	set := NewSet()
	_, sample, err := SimulateReal(set, func(x []float64) float64 { return 5 + x[0] }, inputs(set, []float64{0}, Rectangular{1}), SimulationSettings{Trials: 200_000, Seed: 1, Probability: 0.95, Keep: true})
	if err != nil {
		t.Fatal(err)
	}
	mean, d, err = NewEmpirical(sample)
	if err != nil {
		t.Fatal(err)
	}
	again := NewSet()
	in := simulated(t, again, func(x []float64) float64 { return x[0] }, inputs(again, []float64{mean}, d), 0.95)
	near(t, "second stage: mean", in.Mean, 5, 4e-3)
	near(t, "second stage: u", in.Std, 1/math.Sqrt(3), 3e-3)
	near(t, "second stage: high", in.High, 5.95, 3e-3)
	r := rand.New(rand.NewPCG(1, 1))
	if x := d.Sample(r); math.Abs(x) > 1.01 || d.String() != "from a sample" {
		t.Errorf("draw %g of %q", x, d)
	}
	for _, bad := range [][]float64{nil, {1}, {1, math.NaN()}, {inf, 1}} {
		if _, _, err := NewEmpirical(bad); err == nil {
			t.Errorf("sample %v accepted", bad)
		}
	}
}

// Certificates: U = 0.5 with k = 2.87 and four degrees of freedom is t(4) scaled by u; 95 % within ±1.96 is a standard normal quantity; an even chance within ±a
// has u = 1.48 a (GUM 4.3.5), two of three within ±a nearly u = a (GUM 4.3.6).
//
// Verifies: GUM 4.3.3
// Verifies: GUM 4.3.4
// Verifies: GUM 4.3.5
// Verifies: JCGM 101 6.4.9
func TestFromStatements(t *testing.T) {
	d, err := FromCertificate(0.5, 2.87, 4)
	u, k := 0.5, 2.87
	if err != nil || d != (StudentT{Scale: u / k, Dof: 4}) {
		t.Errorf("certificate with degrees of freedom: %v, %v", d, err)
	}
	if d, err = FromCertificate(0.5, 2, inf); err != nil || d != (Normal{0.25}) {
		t.Errorf("certificate without: %v, %v", d, err)
	}
	for _, c := range []struct{ a, p, u, tolerance float64 }{{1.959964, 0.95, 1, 1e-6}, {1, 0.5, 1.48, 5e-3}, {1, 2.0 / 3, 1, 0.04}, {0, 0.9, 0, 0}} {
		n, err := NormalWithin(c.a, c.p)
		if err != nil {
			t.Error(err)
		}
		near(t, "normal within", n.Sigma, c.u, c.tolerance)
	}
	for _, c := range []struct {
		err  error
		want string
	}{
		{second(FromCertificate(-1, 2, inf)), "expanded uncertainty -1"}, {second(FromCertificate(1, 0, inf)), "coverage factor 0"}, {second(FromCertificate(1, 2, 0)), "0 degrees of freedom"},
		{second(NormalWithin(1, 1)), "with probability 1"}, {second(NormalWithin(-1, 0.5)), "within ±-1"},
	} {
		if c.err == nil || !strings.Contains(c.err.Error(), c.want) {
			t.Errorf("%v, want %q", c.err, c.want)
		}
	}
}

func second[T any](_ T, err error) error { return err }
