package pdf

import (
	"errors"
	"image"
	"image/color"
	"math"

	xfont "golang.org/x/image/font"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"

	"plumbline/certificate"
	"plumbline/figure"
)

// leastPlot is how far a figure may shrink to fit what is left of a page.
const leastPlot = 0.85

// plotCaption is the room that the caption of a figure takes below it.
func (p *press) plotCaption(b certificate.Plot) float64 {
	return 2 + float64(len(p.wrap(b.Caption, smallSize, full)))*smallLine
}

// Heights of a figure in mm, without and with a panel for the phase.
const (
	plotHeight      = 60.0
	plotPhaseHeight = 88.0
)

func (p *press) plotHeight(b certificate.Plot) float64 {
	if b.Figure.HasPhase() {
		return plotPhaseHeight
	}
	return plotHeight
}

func (p *press) plot(b certificate.Plot) {
	h := p.plotHeight(b)
	caption := p.plotCaption(b)
	if rest := bottom - p.y - caption; rest < h && rest > leastPlot*h {
		h = rest
	}
	p.need(h + caption)
	c := &canvas{State: figure.NewState(), p: p, x: left, y: p.y + h}
	if err := b.Figure.Draw(c, vg.Length(full*millimetre), vg.Length(h*millimetre), p.plots); err != nil {
		p.fail(err)
		return
	}
	if c.err != nil {
		p.fail(c.err)
	}
	p.f.SetDashPattern(nil, 0)
	p.y += h + 4.4
	p.lines(left, b.Caption, smallSize, smallLine, full, grey)
}

// canvas is a vg.Canvas whose origin lies at (x, y) of the page, so that figures share the page's fonts.
type canvas struct {
	figure.State
	p    *press
	x, y float64 // mm
	err  error
}

// at is a point of the drawing on the page in mm.
func (c *canvas) at(p vg.Point) (x, y float64) {
	p = c.At(p)
	return c.x + float64(p.X)/millimetre, c.y - float64(p.Y)/millimetre
}

func (c *canvas) path(p vg.Path) {
	for _, s := range figure.Flatten(p) {
		x, y := c.at(s.Pos)
		switch s.Type {
		case vg.MoveComp:
			c.p.f.MoveTo(x, y)
		case vg.LineComp:
			c.p.f.LineTo(x, y)
		case vg.CurveComp:
			x0, y0 := c.at(s.Control[0])
			x1, y1 := c.at(s.Control[1])
			c.p.f.CurveBezierCubicTo(x0, y0, x1, y1, x, y)
		case vg.CloseComp:
			c.p.f.ClosePath()
		}
	}
}

func rgb(c color.Color) (r, g, b int) {
	n := color.NRGBAModel.Convert(c).(color.NRGBA)
	return int(n.R), int(n.G), int(n.B)
}

// Stroke implements vg.Canvas.
func (c *canvas) Stroke(p vg.Path) {
	if c.Width <= 0 {
		return
	}
	c.p.f.SetDrawColor(rgb(c.Color))
	c.p.f.SetLineWidth(float64(c.Width) / millimetre)
	dashes := make([]float64, len(c.Dashes))
	for i, d := range c.Dashes {
		dashes[i] = float64(d) / millimetre
	}
	c.p.f.SetDashPattern(dashes, float64(c.Offset)/millimetre)
	c.path(p)
	c.p.f.DrawPath("D")
}

// Fill implements vg.Canvas.
func (c *canvas) Fill(p vg.Path) {
	c.p.f.SetFillColor(rgb(c.Color))
	c.path(p)
	c.p.f.DrawPath("F")
}

// FillString implements vg.Canvas.
func (c *canvas) FillString(f font.Face, at vg.Point, s string) {
	if f.Font.Size == 0 || s == "" {
		return
	}
	x, y := c.at(at)
	span := certificate.Span{Text: s}
	switch {
	case f.Font.Style == xfont.StyleItalic:
		span.Face = certificate.Italic
	case f.Font.Weight > xfont.WeightNormal:
		span.Face = certificate.Strong
	}
	r, g, b := rgb(c.Color)
	angle := c.Angle()
	if angle != 0 {
		c.p.f.TransformBegin()
		c.p.f.TransformRotate(angle*180/math.Pi, x, y)
		defer c.p.f.TransformEnd()
	}
	c.p.set(x, y, certificate.Text{span}, float64(f.Font.Size), ink{r, g, b})
}

// DrawImage implements vg.Canvas. A certificate's figures are lines and text only.
func (c *canvas) DrawImage(vg.Rectangle, image.Image) {
	c.err = errors.New("a figure of a certificate may not hold images")
}

var _ vg.Canvas = (*canvas)(nil)
