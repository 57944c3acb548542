package figure

import (
	"math"

	"gonum.org/v1/plot/vg"
)

// Flatten returns the path with arcs and quadratic curves as cubic curves, so that a canvas needs to know
// moves, lines, cubic curves (two control points) and closings only.
func Flatten(p vg.Path) vg.Path {
	var out vg.Path
	var last vg.Point
	for _, s := range p {
		switch {
		case s.Type == vg.ArcComp:
			out, last = arc(out, s)
			continue
		case s.Type == vg.CurveComp && len(s.Control) == 1:
			q := s.Control[0]
			out.CubeTo(between(last, q, 2./3), between(s.Pos, q, 2./3), s.Pos)
		default:
			out = append(out, s)
		}
		if s.Type != vg.CloseComp {
			last = s.Pos
		}
	}
	return out
}

func between(a, b vg.Point, t float64) vg.Point {
	return vg.Point{X: a.X + vg.Length(t)*(b.X-a.X), Y: a.Y + vg.Length(t)*(b.Y-a.Y)}
}

// arc appends an arc as cubic curves of at most a quarter turn each; the distance of the control points is 4/3 tan(angle/4) radii.
func arc(p vg.Path, s vg.PathComp) (vg.Path, vg.Point) {
	on := func(a float64) vg.Point {
		sin, cos := math.Sincos(a)
		return vg.Point{X: s.Pos.X + s.Radius*vg.Length(cos), Y: s.Pos.Y + s.Radius*vg.Length(sin)}
	}
	n := int(math.Ceil(math.Abs(s.Angle)/(math.Pi/2) - 1e-9))
	step := s.Angle / float64(max(n, 1))
	k := s.Radius * vg.Length(4./3*math.Tan(step/4))
	at := on(s.Start)
	if len(p) == 0 || p[len(p)-1].Type == vg.CloseComp {
		p.Move(at)
	} else {
		p.Line(at)
	}
	for i := range n {
		a, b := s.Start+float64(i)*step, s.Start+float64(i+1)*step
		sa, ca := math.Sincos(a)
		sb, cb := math.Sincos(b)
		end := on(b)
		p.CubeTo(
			vg.Point{X: at.X - k*vg.Length(sa), Y: at.Y + k*vg.Length(ca)},
			vg.Point{X: end.X + k*vg.Length(sb), Y: end.Y - k*vg.Length(cb)}, end)
		at = end
	}
	return p, at
}
