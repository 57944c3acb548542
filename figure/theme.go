package figure

import (
	"image/color"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// Ink is a colour with the class that a drawing in a page gives it.
type Ink struct {
	color.NRGBA
	Class string
}

func ink(class string, r, g, b uint8) Ink {
	return Ink{color.NRGBA{R: r, G: g, B: b, A: 255}, class}
}

// The inks. Meaning is never carried by colour alone.
var (
	inkText  = ink("pl-text", 0x26, 0x32, 0x3b)
	inkAxis  = ink("pl-axis", 0x5d, 0x69, 0x72)
	inkData  = ink("pl-data", 0x12, 0x46, 0x62)
	inkBand  = ink("pl-band", 0xf5, 0xf2, 0xeb)
	inkEdge  = ink("pl-edge", 0xa3, 0x94, 0x76)
	inkPaper = ink("pl-paper", 0xff, 0xff, 0xff)
)

const (
	sizeLabel = font.Length(8)
	sizeTitle = font.Length(8.5)
	radius    = vg.Length(1.9) // of a point
)

func line(c color.Color, width vg.Length, dashes ...vg.Length) draw.LineStyle {
	return draw.LineStyle{Color: c, Width: width, Dashes: dashes}
}

func (s *setter) style(f font.Font, size font.Length, c color.Color) text.Style {
	return text.Style{Color: c, Font: font.From(f, size), Handler: s}
}

// newPlot is an empty plot in the house's dress.
func newPlot(s *setter) *plot.Plot {
	p := plot.New()
	p.BackgroundColor = nil
	p.TextHandler = s
	p.Title.TextStyle = s.style(semibold, sizeTitle, inkText)
	p.Legend.TextStyle = s.style(upright, sizeLabel, inkText)
	for _, a := range []*plot.Axis{&p.X, &p.Y} {
		label, tick := a.Label.TextStyle, a.Tick.Label
		a.Label.TextStyle = s.style(upright, sizeTitle, inkText)
		a.Label.TextStyle.XAlign, a.Label.TextStyle.YAlign = label.XAlign, label.YAlign
		a.Label.Padding = 3
		a.Tick.Label = s.style(upright, sizeLabel, inkText)
		a.Tick.Label.XAlign, a.Tick.Label.YAlign = tick.XAlign, tick.YAlign
		a.LineStyle = line(inkAxis, 0.5)
		a.Tick.LineStyle = line(inkAxis, 0.5)
		a.Tick.Length = 3.5
		a.Padding = 0
	}
	return p
}

// run is a piece of a line of text.
type run struct {
	text   string
	italic bool
}

// setRuns draws runs from left to right on a baseline.
func (s *setter) setRuns(c draw.Canvas, x, baseline vg.Length, size font.Length, runs ...run) {
	for _, r := range runs {
		f := upright
		if r.italic {
			f = italic
		}
		face := s.Fonts.Lookup(f, size)
		if s.err == nil {
			s.err = missing(face, r.text)
		}
		c.SetColor(inkText)
		c.FillString(face, vg.Point{X: x, Y: baseline}, r.text)
		x += face.Width(r.text)
	}
}

func (s *setter) width(size font.Length, runs ...run) (w vg.Length) {
	for _, r := range runs {
		f := upright
		if r.italic {
			f = italic
		}
		face := s.Fonts.Lookup(f, size)
		w += face.Width(r.text)
	}
	return w
}
