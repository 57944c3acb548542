package figure

import (
	"image/color"
	"math"

	"gonum.org/v1/plot/vg"
)

// State is the part of a vg.Canvas that is the same for every output: the pen and the transform, and the stack of both.
type State struct {
	pen
	stack []pen
}

type pen struct {
	Width  vg.Length
	Dashes []vg.Length
	Offset vg.Length
	Color  color.Color

	xx, xy, yx, yy float64 // x' = xx x + xy y + dx, y' = yx x + yy y + dy
	dx, dy         float64
}

// NewState is the state a canvas starts with.
func NewState() State {
	return State{pen: pen{Width: 1, Color: color.Black, xx: 1, yy: 1}}
}

// SetLineWidth implements vg.Canvas.
func (s *State) SetLineWidth(w vg.Length) { s.Width = w }

// SetLineDash implements vg.Canvas.
func (s *State) SetLineDash(pattern []vg.Length, offset vg.Length) {
	s.Dashes, s.Offset = pattern, offset
}

// SetColor implements vg.Canvas.
func (s *State) SetColor(c color.Color) {
	if c == nil {
		c = color.Black
	}
	s.Color = c
}

// Rotate implements vg.Canvas.
func (s *State) Rotate(rad float64) {
	sin, cos := math.Sincos(rad)
	s.xx, s.xy = s.xx*cos+s.xy*sin, s.xy*cos-s.xx*sin
	s.yx, s.yy = s.yx*cos+s.yy*sin, s.yy*cos-s.yx*sin
}

// Translate implements vg.Canvas.
func (s *State) Translate(p vg.Point) {
	at := s.At(p)
	s.dx, s.dy = float64(at.X), float64(at.Y)
}

// Scale implements vg.Canvas.
func (s *State) Scale(x, y float64) {
	s.xx, s.yx = s.xx*x, s.yx*x
	s.xy, s.yy = s.xy*y, s.yy*y
}

// Push implements vg.Canvas.
func (s *State) Push() { s.stack = append(s.stack, s.pen) }

// Pop implements vg.Canvas.
func (s *State) Pop() {
	s.pen = s.stack[len(s.stack)-1]
	s.stack = s.stack[:len(s.stack)-1]
}

// At is where a point of the user's space lies on the canvas.
func (s *State) At(p vg.Point) vg.Point {
	x, y := float64(p.X), float64(p.Y)
	return vg.Point{X: vg.Length(s.xx*x + s.xy*y + s.dx), Y: vg.Length(s.yx*x + s.yy*y + s.dy)}
}

// Angle is the rotation in rad, counter-clockwise.
func (s *State) Angle() float64 { return math.Atan2(s.yx, s.xx) }
