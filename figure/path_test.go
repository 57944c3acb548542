package figure

import (
	"math"
	"testing"

	"gonum.org/v1/plot/vg"
)

// TestFlatten: a full circle of cubic curves stays within 0.03 % of its radius (closed form: a quarter turn's error is 2.7e-4 of the radius).
func TestFlatten(t *testing.T) {
	var p vg.Path
	centre := vg.Point{X: 3, Y: -2}
	p.Move(vg.Point{X: 13, Y: -2})
	p.Arc(centre, 10, 0, 2*math.Pi)
	var last vg.Point
	curves := 0
	for _, s := range Flatten(p) {
		if s.Type == vg.CurveComp {
			curves++
			for i := range 11 {
				u := float64(i) / 10
				v := 1 - u
				at := func(a, b, c, d vg.Length) float64 {
					return v*v*v*float64(a) + 3*v*v*u*float64(b) + 3*v*u*u*float64(c) + u*u*u*float64(d)
				}
				x := at(last.X, s.Control[0].X, s.Control[1].X, s.Pos.X) - 3
				y := at(last.Y, s.Control[0].Y, s.Control[1].Y, s.Pos.Y) + 2
				if r := math.Hypot(x, y); math.Abs(r/10-1) > 3e-4 {
					t.Errorf("radius %g, want 10", r)
				}
			}
		}
		last = s.Pos
	}
	if curves != 4 {
		t.Errorf("%d curves, want 4", curves)
	}
}

// TestState: translate by (10, 0), turn a quarter, stretch x by 2: (1, 0) goes to (10, 2); closed form.
func TestState(t *testing.T) {
	s := NewState()
	s.Push()
	s.Translate(vg.Point{X: 10})
	s.Rotate(math.Pi / 2)
	s.Scale(2, 1)
	if p := s.At(vg.Point{X: 1}); math.Abs(float64(p.X)-10) > 1e-12 || math.Abs(float64(p.Y)-2) > 1e-12 {
		t.Errorf("(1, 0) goes to %v, want (10, 2)", p)
	}
	if a := s.Angle(); math.Abs(a-math.Pi/2) > 1e-12 {
		t.Errorf("angle %g, want a quarter turn", a)
	}
	s.Pop()
	if p := s.At(vg.Point{X: 1}); p != (vg.Point{X: 1}) {
		t.Errorf("after Pop (1, 0) goes to %v", p)
	}
}

// TestSteps: closed forms.
func TestSteps(t *testing.T) {
	for half, want := range map[float64]float64{0.08: 0.025, 0.16: 0.05, 0.016: 0.005, 0.1: 0.025, 0.048: 0.01} {
		if got := stepFor(half); math.Abs(got/want-1) > 1e-9 {
			t.Errorf("stepFor(%g) = %g, want %g", half, got, want)
		}
	}
	for _, c := range [][5]float64{{-2.6, 13, -5, 15, 5}, {0, 0.3, 0, 0.5, 0.5}, {-180, 0, -225, 0, 45}} {
		from, to, step := degreesFor(c[0], c[1])
		if from > c[0] || to < c[1] || step <= 0 || (to-from)/step > 5.0001 {
			t.Errorf("degreesFor(%g, %g) = %g to %g by %g", c[0], c[1], from, to, step)
		}
	}
}
