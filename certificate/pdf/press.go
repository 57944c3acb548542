package pdf

import (
	"codeberg.org/go-pdf/fpdf"

	"plumbline/certificate"
)

// The page, in mm.
const (
	pageWidth  = 210.0
	left       = 22.0
	right      = 190.0
	body       = 64.0  // where text starts beside the headings
	top        = 27.0  // of what stands below the running head
	bottom     = 273.0 // of what stands above the foot
	full       = right - left
	bodyWidth  = right - body
	millimetre = 72 / 25.4 // in points
)

// Sizes of type in points and distances of lines in mm.
const (
	textSize, textLine   = 9.3, 4.55
	smallSize, smallLine = 7.9, 3.75
	labelSize            = 7.6
)

// ink is a colour.
type ink [3]int

var (
	black = ink{0x1c, 0x26, 0x2d}
	grey  = ink{0x5d, 0x69, 0x72}
	faint = ink{0xc4, 0xcb, 0xd0}
	blue  = ink{0x12, 0x46, 0x62}
	sand  = ink{0xf5, 0xf2, 0xeb}
	edge  = ink{0x8a, 0x79, 0x58}
)

// press sets one document; y is the next free height on the page.
type press struct {
	*typesetter
	f     *fpdf.Fpdf
	d     certificate.Document
	pages int
	y     float64
	err   error
}

func (p *press) fail(err error) {
	if p.err == nil {
		p.err = err
	}
}

// resolve is the font, the name it has in the file, the size and the drop below the baseline in mm of a span set in a text of size.
func (p *press) resolve(s certificate.Span, size float64) (f *face, family string, points, drop float64) {
	if s.Face == certificate.Subscript {
		s.Face, points, drop = certificate.Upright, size*0.72, size*0.14/millimetre
	} else {
		points = size
	}
	for _, st := range styles {
		if st.face == s.Face {
			return p.faces[st.face], st.family, points, drop
		}
	}
	panic("pdf: a face that is not among the styles")
}

// width is the width of a line in mm.
func (p *press) width(t certificate.Text, size float64) float64 {
	w := 0.0
	for _, s := range t {
		f, _, sz, _ := p.resolve(s, size)
		_, em, err := f.pieces(s.Text)
		if err != nil {
			p.fail(err)
		}
		w += em * sz / millimetre
	}
	return w
}

// set draws a line with its baseline at y.
func (p *press) set(x, y float64, t certificate.Text, size float64, c ink) {
	p.f.SetTextColor(c[0], c[1], c[2])
	for _, s := range t {
		f, family, sz, drop := p.resolve(s, size)
		parts, em, err := f.pieces(s.Text)
		if err != nil {
			p.fail(err)
			return
		}
		p.f.SetFont(family, "", sz)
		for _, part := range parts {
			p.f.Text(x+part.at*sz/millimetre, y+drop, part.text)
		}
		x += em * sz / millimetre
	}
}

// setRight draws a line that ends at x.
func (p *press) setRight(x, y float64, t certificate.Text, size float64, c ink) {
	p.set(x-p.width(t, size), y, t, size, c)
}

// rule draws a horizontal line.
func (p *press) rule(x0, x1, y, width float64, c ink) {
	p.f.SetDrawColor(c[0], c[1], c[2])
	p.f.SetLineWidth(width)
	p.f.Line(x0, y, x1, y)
}

func upright(s string) certificate.Text { return certificate.Text{{Text: s}} }

func semibold(s string) certificate.Text {
	return certificate.Text{{Text: s, Face: certificate.Strong}}
}

// need starts a new page where less than h mm are left.
func (p *press) need(h float64) {
	if p.y+h > bottom {
		p.page()
	}
}
