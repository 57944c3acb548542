package uncertainty

import (
	"math"
	"strings"
	"testing"
)

// sampled is a simulation of modulus 1 + x0 and phase x1 + c x0, kept.
func sampled(t *testing.T, a, b Distribution, c float64, trials int) Simulation {
	t.Helper()
	set := NewSet()
	uses := []int{set.Add(Input{ID: "a", Dist: a, Dof: inf}), set.Add(Input{ID: "b", Dist: b, Dof: inf})}
	s, err := Simulate(set, func(x []float64) complex128 {
		sin, cos := math.Sincos(x[1] + c*x[0])
		return complex((1+x[0])*cos, (1+x[0])*sin)
	}, uses, SimulationSettings{Trials: trials, Seed: 31, Probability: 0.95, Keep: true})
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// The smallest region of a binormal distribution is the ellipse of JCGM 102 6.5, of area π χ²_0.95(2) √det C with χ² = 5.9915 (closed form -2 ln 0.05), whatever
// the correlation.
//
// Verifies: JCGM 102 7.7.4
func TestSmallestRegionOfNormal(t *testing.T) {
	for _, c := range []float64{0, 0.8} {
		s := sampled(t, Normal{0.002}, Normal{0.001}, c, 1000000)
		r, err := s.SmallestRegion(0.95, 100)
		if err != nil {
			t.Fatal(err)
		}
		want := -2 * math.Log(0.05) * math.Pi * 0.002 * 0.001
		near(t, "area (seed 31)", r.Area/want, 1, 0.02)
		if r.Fraction < 0.95 || r.Fraction > 0.9502 {
			t.Errorf("fraction %g, want 0.95", r.Fraction)
		}
		e, _ := s.Region(0.95)
		near(t, "area of the ellipse", e.EllipseArea()/want, 1, 0.005)
		if !r.Holds(0, 0) || r.Holds(0.002*3.5, c*0.002*3.5) || r.Holds(1, 1) {
			t.Error("the centre is in it, a point of 3.5 standard deviations and one outside of the grid are not")
		}
	}
}

// Two rectangles: every region of 95 % has the same area, 0.95 of the whole 4ab; the ellipse of 95 % and the rectangle with sides along both are not smaller. Two arcsine effects,
// which crowd at their ends, leave a region at the edges that is much smaller than the ellipse.
func TestSmallestRegionOfRectangles(t *testing.T) {
	s := sampled(t, Rectangular{0.002}, Rectangular{0.001}, 0, 1000000)
	r, err := s.SmallestRegion(0.95, 60)
	if err != nil {
		t.Fatal(err)
	}
	whole := 4 * 0.002 * 0.001
	e, _ := s.Region(0.95)
	near(t, "area over the whole", r.Area/whole, 0.95, 0.02)
	if !(r.Area < e.EllipseArea()) || !(r.Area <= e.RectangleArea()) {
		t.Errorf("area %g, ellipse %g, rectangle %g: want the smallest", r.Area, e.EllipseArea(), e.RectangleArea())
	}
	s = sampled(t, Arcsine{0.002}, Arcsine{0.001}, 0, 1000000)
	if r, err = s.SmallestRegion(0.5, 60); err != nil {
		t.Fatal(err)
	}
	e, _ = s.Region(0.5)
	if r.Holds(0, 0) || !(r.Area < e.EllipseArea()/2) {
		t.Errorf("two arcsines: area %g, ellipse %g, centre within %v: want a region at the edges", r.Area, e.EllipseArea(), r.Holds(0, 0))
	}
}

func TestSmallestRegionRefuses(t *testing.T) {
	kept := sampled(t, Normal{0.002}, Normal{0.001}, 0, 20000)
	bare := kept
	bare.ModulusSample, bare.PhaseSample = nil, nil
	for _, c := range []struct {
		s    Simulation
		p    float64
		side int
		want string
	}{{bare, 0.95, 20, "kept no sample"}, {kept, 1, 20, "probability 1"}, {kept, 0.95, 1, "1 cells a side"},
		{sampled(t, Normal{0.002}, Constant{}, 0, 20000), 0.95, 20, "fill no area"}, {sampled(t, Normal{0.002}, Constant{}, 1, 20000), 0.95, 20, "fill no area"}} {
		if _, err := c.s.SmallestRegion(c.p, c.side); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%v, want %q", err, c.want)
		}
	}
}
