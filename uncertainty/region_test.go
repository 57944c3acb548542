package uncertainty

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"strings"
	"testing"
)

// Factors from memory of JCGM 102 (2.45, 2.80, 3.08; 2.24, 2.39, 2.50), recomputed; with few degrees of freedom the closed form for two quantities,
// k² = ν((1-p)^(-2/(ν-1)) - 1), and for one quantity Student's t.
//
// Verifies: JCGM 102 6.5
func TestJointFactors(t *testing.T) {
	for m, want := range map[int][2]float64{1: {1.95996, 1.95996}, 2: {2.4477, 2.2414}, 3: {2.7955, 2.3940}, 4: {3.0802, 2.4977}} {
		near(t, "ellipsoid", EllipsoidFactorT(0.95, m, inf), want[0], 6e-5)
		near(t, "ellipsoid with many degrees of freedom", EllipsoidFactorT(0.95, m, 999999), want[0], 6e-5)
		near(t, "rectangle", RectangleFactor(0.95, m, inf), want[1], 6e-5)
	}
	for _, dof := range []float64{1.5, 2, 3.7, 4, 30} {
		near(t, "two quantities", EllipsoidFactorT(0.95, 2, dof), math.Sqrt(dof*(math.Pow(0.05, -2/(dof-1))-1)), 1e-6*EllipsoidFactorT(0.95, 2, dof))
		near(t, "one quantity", EllipsoidFactorT(0.95, 1, dof), Coverage(0.95, dof), 1e-7*Coverage(0.95, dof))
	}
	if !math.IsInf(EllipsoidFactorT(0.95, 2, 1), 1) || !math.IsNaN(EllipsoidFactorT(1, 2, 5)) || !math.IsNaN(EllipsoidFactorT(0.95, 0, 5)) || !math.IsNaN(EllipsoidFactorT(0.95, 2, math.NaN())) {
		t.Error("too few degrees of freedom: want infinite; unusable arguments: want NaN")
	}
}

// GUM H.2 as one complex impedance: modulus 254.260, phase 1.04446 (read), their correlation from the published ones of V, I and phi
// (r(V,phi) u(V)/V - r(I,phi) u(I)/I over u(Z)/Z: 0.9266). Ignoring it must show.
//
// Verifies: JCGM 102 6.5
func TestRegionOfImpedance(t *testing.T) {
	set := NewSet()
	j, err := AddReadings(set, "VIphi", "readings", h2)
	if err != nil {
		t.Fatal(err)
	}
	b, err := Propagate(set, func(x []float64) complex128 { return cmplx.Rect(j.At(x, 0)/j.At(x, 1), j.At(x, 2)) }, j.Uses(), 0.95)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "modulus", cmplx.Abs(b.Value), 254.2597, 5e-4)
	near(t, "phase", cmplx.Phase(b.Value), 1.04446, 1e-9)
	near(t, "correlation", b.Correlation, 0.9266, 2e-4)
	v := b.Covariance()
	near(t, "variance of modulus", math.Sqrt(v[0][0]), b.Modulus.Std, 1e-15)
	near(t, "variance of phase", math.Sqrt(v[1][1]), b.Phase.Std, 1e-15)
	near(t, "covariance", v[0][1]/b.Modulus.Std/b.Phase.Std, b.Correlation, 1e-12)
	r := b.Region(0.95)
	near(t, "factor of the ellipse", r.Ellipse, math.Sqrt(4*(math.Pow(0.05, -2.0/3)-1)), 1e-6)
	near(t, "factor of the rectangle", r.Rectangle, Coverage(0.975, 4), 1e-12)
	m, p := r.HalfWidths()
	near(t, "half-width of modulus", m, Coverage(0.975, 4)*b.Modulus.Std, 1e-12)
	near(t, "half-width of phase", p, Coverage(0.975, 4)*b.Phase.Std, 1e-12)
	along, across := 3*b.Modulus.Std, 3*b.Phase.Std
	if !r.InEllipse(along, across) || r.InEllipse(along, -across) || !r.InRectangle(along, -across) || r.InRectangle(4*b.Modulus.Std, 0) {
		t.Error("with the correlation, the ellipse must hold (3u, 3u) and not (3u, -3u); the rectangle both")
	}
	major, minor, angle := r.Axes()
	near(t, "area of the ellipse", major*minor, r.Ellipse*r.Ellipse*b.Modulus.Std*b.Phase.Std*math.Sqrt(1-b.Correlation*b.Correlation), 1e-12)
	near(t, "direction", math.Tan(2*angle), 2*v[0][1]/(v[0][0]-v[1][1]), 1e-9)
	for i, q := range r.Outline(50) {
		if d, _ := r.distances(q[0], q[1]); math.Abs(d-r.Ellipse) > 1e-9 {
			t.Fatalf("point %d of the outline is %g from the centre, want %g", i, d, r.Ellipse)
		}
	}
}

// A sample of a nearly linear model with normal inputs has the factors of the normal distribution, and fresh trials fall into the regions as often as they say.
//
// Verifies: JCGM 102 7.6
// Verifies: JCGM 102 7.7
func TestRegionOfSample(t *testing.T) {
	set := NewSet()
	uses := inputs(set, make([]float64, 3), Normal{0.003}, Normal{0.002}, Normal{0.001})
	model := func(x []float64) complex128 { return 3i * cmplx.Exp(complex(x[0]+x[1], x[0]-x[2])) }
	s := SimulationSettings{Trials: 400_000, Seed: 1, Probability: 0.95, Keep: true}
	sim, err := Simulate(set, model, uses, s)
	if err != nil {
		t.Fatal(err)
	}
	r, err := sim.Region(0.95)
	if err != nil {
		t.Fatal(err)
	}
	b, err := Propagate(set, model, uses, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "correlation", sim.Correlation, 9/math.Sqrt(13*10), 3e-3) // closed form
	near(t, "correlation to first order", b.Correlation, 9/math.Sqrt(13*10), 1e-5)
	near(t, "factor of the ellipse", r.Ellipse, 2.4477, 0.012)
	// The rectangle of the sample uses the correlation, so that it is smaller than Bonferroni's and larger than that of one quantity.
	if !(r.Rectangle > 1.96 && r.Rectangle < 2.2414) {
		t.Errorf("factor of the rectangle %.4f, want between 1.96 and 2.24", r.Rectangle)
	}
	s.Seed = 2
	fresh, err := Simulate(set, model, uses, s)
	if err != nil {
		t.Fatal(err)
	}
	first := b.Region(0.95)
	var inEllipse, inRectangle, inFirst int
	for i := range fresh.ModulusSample {
		m, p := fresh.ModulusSample[i]-1, fresh.PhaseSample[i]
		inEllipse += count(r.InEllipse(m, p))
		inRectangle += count(r.InRectangle(m, p))
		inFirst += count(first.InEllipse(m, p))
	}
	for name, n := range map[string]int{"ellipse": inEllipse, "rectangle": inRectangle, "ellipse to first order": inFirst} {
		near(t, name+": fresh trials (seed 2)", float64(n)/400_000, 0.95, 2e-3)
	}
	sim.Correlation = math.NaN()
	for _, c := range []struct {
		s    Simulation
		p    float64
		want string
	}{{Simulation{}, 0.95, "kept no sample"}, {fresh, 1, "probability 1"}, {sim, 0.95, "no finite variance"}} {
		if _, err := c.s.Region(c.p); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%v, want %q", err, c.want)
		}
	}
}

func count(is bool) int {
	if is {
		return 1
	}
	return 0
}

// Without variance of the phase, or with one component a multiple of the other, the ellipse is a line.
func TestRegionWithoutArea(t *testing.T) {
	for _, c := range []struct {
		r       Region
		in, out [2]float64
	}{
		{Region{Covariance: [2][2]float64{{4, 0}, {0, 0}}, Ellipse: 2, Rectangle: 2}, [2]float64{4, 0}, [2]float64{1, 1e-9}},
		{Region{Covariance: [2][2]float64{{4, -6}, {-6, 9}}, Ellipse: 2, Rectangle: 2}, [2]float64{2, -3}, [2]float64{2, 3}},
	} {
		if !c.r.InEllipse(c.in[0], c.in[1]) || c.r.InEllipse(c.out[0], c.out[1]) || !c.r.InRectangle(c.in[0], c.in[1]) {
			t.Errorf("%+v: want %v inside and %v outside", c.r, c.in, c.out)
		}
		if _, minor, _ := c.r.Axes(); minor > 1e-7 {
			t.Errorf("minor half axis %g, want 0", minor)
		}
	}
}

// Readings of both components together: the ellipse with Hotelling's factor covers the truth in 95 % of 20000 experiments of five readings.
func TestRegionCovers(t *testing.T) {
	const experiments, n = 20000, 5
	r := rand.New(rand.NewPCG(11, 11))
	inside := 0
	for range experiments {
		var x, y [n]float64
		for i := range n {
			a, b := r.NormFloat64(), r.NormFloat64()
			x[i], y[i] = a, 0.8*a+0.6*b
		}
		mx, my := Mean(x[:]), Mean(y[:])
		var v [2][2]float64
		for i := range n {
			dx, dy := x[i]-mx, y[i]-my
			v[0][0] += dx * dx / n / (n - 1)
			v[0][1] += dx * dy / n / (n - 1)
			v[1][1] += dy * dy / n / (n - 1)
		}
		inside += count(Region{Covariance: v, Ellipse: EllipsoidFactorT(0.95, 2, n-1)}.InEllipse(mx, my))
	}
	near(t, "coverage (seed 11)", float64(inside)/experiments, 0.95, 5e-3)
}
