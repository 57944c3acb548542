package figure

import (
	"math"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// tolerance is the quiet band of the flatness tolerance with its edges or, without one, that of the value at the reference frequency, there alone.
type tolerance struct{ r Response }

// Plot implements plot.Plotter.
func (t tolerance) Plot(c draw.Canvas, p *plot.Plot) {
	x, y := p.Transforms(&c)
	inside := func(v float64) vg.Length { return y(max(p.Y.Min, min(v, p.Y.Max))) }
	if t.r.limited() {
		const half = 7
		at := x(t.r.Reference)
		bandBetween(c, at-half, at+half, inside(t.r.Tolerance[0]), inside(t.r.Tolerance[1]))
	}
	if !(t.r.Flatness > 0) {
		return
	}
	left, right := c.Min.X, c.Max.X
	if t.r.Band[1] > t.r.Band[0] {
		left, right = max(left, x(max(t.r.Band[0], p.X.Min))), min(right, x(min(t.r.Band[1], p.X.Max)))
	}
	bandBetween(c, left, right, inside(-t.r.Flatness), inside(t.r.Flatness))
}

// bandBetween is a band with its edges.
func bandBetween(c draw.Canvas, left, right, low, high vg.Length) {
	c.FillPolygon(inkBand, []vg.Point{{X: left, Y: low}, {X: right, Y: low}, {X: right, Y: high}, {X: left, Y: high}})
	for _, edge := range []vg.Length{low, high} {
		c.StrokeLine2(line(inkEdge, 0.6), left, edge, right, edge)
	}
}

// level is the line at zero.
type level struct{}

// Plot implements plot.Plotter.
func (level) Plot(c draw.Canvas, p *plot.Plot) {
	_, y := p.Transforms(&c)
	c.StrokeLine2(line(inkAxis, 0.35), c.Min.X, y(0), c.Max.X, y(0))
}

// frame closes the axes to a box.
type frame struct{}

// Plot implements plot.Plotter.
func (frame) Plot(c draw.Canvas, p *plot.Plot) {
	sty := line(inkAxis, 0.5)
	c.StrokeLine2(sty, c.Min.X, c.Max.Y, c.Max.X, c.Max.Y)
	c.StrokeLine2(sty, c.Max.X, c.Min.Y, c.Max.X, c.Max.Y)
}

// series is the points with their bars; a point beyond the scale is an arrow at the edge with its value.
type series struct {
	r     Response
	value func(ResponsePoint) (value, u float64)
}

// Plot implements plot.Plotter.
func (s series) Plot(c draw.Canvas, p *plot.Plot) {
	x, y := p.Transforms(&c)
	for _, q := range s.r.Points {
		v, u := s.value(q)
		if math.IsNaN(v) {
			continue
		}
		at := vg.Point{X: x(q.Frequency), Y: y(v)}
		if v < p.Y.Min || v > p.Y.Max {
			s.beyond(c, p, at.X, v > 0, q.Label)
			continue
		}
		if u > 0 {
			bar(c, at.X, max(y(v-u), c.Min.Y), min(y(v+u), c.Max.Y))
		}
		dot(c, at, q.Reference)
	}
}

func (s series) beyond(c draw.Canvas, p *plot.Plot, x vg.Length, up bool, label string) {
	edge, into := c.Max.Y-1, vg.Length(-1)
	if !up {
		edge, into = c.Min.Y+1, 1
	}
	var head vg.Path
	head.Move(vg.Point{X: x, Y: edge})
	head.Line(vg.Point{X: x - 2.6, Y: edge + into*6})
	head.Line(vg.Point{X: x + 2.6, Y: edge + into*6})
	head.Close()
	c.SetColor(inkData)
	c.Fill(head)
	c.StrokeLine2(line(inkData, 0.9), x, edge+into*6, x, edge+into*13)
	sty := p.X.Tick.Label
	sty.XAlign, sty.YAlign = draw.XLeft, draw.YCenter
	if x > c.Max.X-40 {
		sty.XAlign, x = draw.XRight, x-5
	} else {
		x += 5
	}
	c.FillText(sty, vg.Point{X: x, Y: edge + into*7 + 1.5}, label)
}

// bar is an uncertainty bar with short ends.
func bar(c draw.Canvas, x, low, high vg.Length) {
	const end = 1.8
	sty := line(inkData, 0.7)
	c.StrokeLine2(sty, x, low, x, high)
	for _, y := range []vg.Length{low, high} {
		if y > c.Min.Y && y < c.Max.Y {
			c.StrokeLine2(sty, x-end, y, x+end, y)
		}
	}
}

// dot is a value: filled, or open for the reference frequency, where the deviation is zero by definition.
func dot(c draw.Canvas, at vg.Point, open bool) {
	circle := func(r vg.Length) {
		var p vg.Path
		p.Move(vg.Point{X: at.X + r, Y: at.Y})
		p.Arc(at, r, 0, 2*math.Pi)
		p.Close()
		c.Fill(p)
	}
	c.SetColor(inkData)
	circle(radius)
	if open {
		c.SetColor(inkPaper)
		circle(radius - 0.8)
	}
}
