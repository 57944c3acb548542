package figure

import (
	"bytes"
	"encoding/base64"
	"encoding/xml"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"math"
	"strconv"
	"strings"

	xfont "golang.org/x/image/font"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"
)

// svg is a vg.Canvas that writes scalable vector graphics. Points are transformed here, so that the drawing has no nested groups.
type svg struct {
	State
	width, height vg.Length
	body          bytes.Buffer
}

func newSVG(width, height vg.Length) *svg {
	return &svg{State: NewState(), width: width, height: height}
}

func (c *svg) Stroke(p vg.Path) {
	if c.Width <= 0 {
		return
	}
	fmt.Fprintf(&c.body, `<path fill="none"%s stroke-width="%s"`, c.paint("stroke"), number(c.Width))
	if len(c.Dashes) > 0 {
		var d []string
		for _, l := range c.Dashes {
			d = append(d, number(l))
		}
		fmt.Fprintf(&c.body, ` stroke-dasharray="%s"`, strings.Join(d, " "))
		if c.Offset != 0 {
			fmt.Fprintf(&c.body, ` stroke-dashoffset="%s"`, number(c.Offset))
		}
	}
	fmt.Fprintf(&c.body, ` d="%s"/>`+"\n", c.data(p))
}

func (c *svg) Fill(p vg.Path) {
	fmt.Fprintf(&c.body, `<path%s d="%s"/>`+"\n", c.paint("fill"), c.data(p))
}

// paint is the colour as a presentation attribute, which a page's style sheet overrides by the class.
func (c *svg) paint(attribute string) string {
	n := color.NRGBAModel.Convert(c.Color).(color.NRGBA)
	s := fmt.Sprintf(` %s="#%02x%02x%02x"`, attribute, n.R, n.G, n.B)
	if n.A != 255 {
		s += fmt.Sprintf(` %s-opacity="%.3g"`, attribute, float64(n.A)/255)
	}
	if k, ok := c.Color.(Ink); ok {
		s = fmt.Sprintf(` class="%s-%s"%s`, k.Class, attribute, s)
	}
	return s
}

func (c *svg) data(p vg.Path) string {
	var b strings.Builder
	for _, s := range Flatten(p) {
		switch s.Type {
		case vg.MoveComp:
			fmt.Fprintf(&b, "M%s", c.point(s.Pos))
		case vg.LineComp:
			fmt.Fprintf(&b, "L%s", c.point(s.Pos))
		case vg.CurveComp:
			fmt.Fprintf(&b, "C%s %s %s", c.point(s.Control[0]), c.point(s.Control[1]), c.point(s.Pos))
		case vg.CloseComp:
			b.WriteString("Z")
		}
	}
	return b.String()
}

// point is a point in the drawing's coordinates, whose y runs down.
func (c *svg) point(p vg.Point) string {
	p = c.At(p)
	return number(p.X) + " " + number(c.height-p.Y)
}

func (c *svg) FillString(f font.Face, pt vg.Point, s string) {
	if f.Font.Size == 0 || s == "" {
		return
	}
	at := c.At(pt)
	x, y := number(at.X), number(c.height-at.Y)
	fmt.Fprintf(&c.body, `<text x="%s" y="%s"`, x, y)
	if angle := c.Angle(); angle != 0 {
		fmt.Fprintf(&c.body, ` transform="rotate(%s %s %s)"`, number(vg.Length(-angle*180/math.Pi)), x, y)
	}
	// textLength keeps the layout where another font has to stand in.
	fmt.Fprintf(&c.body, ` font-size="%s" textLength="%s" lengthAdjust="spacingAndGlyphs"`, number(f.Font.Size), number(f.Width(s)))
	if f.Font.Style == xfont.StyleItalic {
		c.body.WriteString(` font-style="italic"`)
	}
	if f.Font.Weight != xfont.WeightNormal {
		fmt.Fprintf(&c.body, ` font-weight="%d"`, 400+100*int(f.Font.Weight))
	}
	fmt.Fprintf(&c.body, `%s>%s</text>`+"\n", c.paint("fill"), escaped(s))
}

func (c *svg) DrawImage(rect vg.Rectangle, img image.Image) {
	var b bytes.Buffer
	if err := png.Encode(&b, img); err != nil {
		panic("figure: an image in memory cannot be encoded")
	}
	low, high := c.At(rect.Min), c.At(rect.Max)
	fmt.Fprintf(&c.body, `<image x="%s" y="%s" width="%s" height="%s" href="data:image/png;base64,%s"/>`+"\n",
		number(low.X), number(c.height-high.Y), number(high.X-low.X), number(high.Y-low.Y), base64.StdEncoding.EncodeToString(b.Bytes()))
}

// document is the whole drawing. It has no identifiers, so that several may stand in one page.
func (c *svg) document(title, description string) []byte {
	var b bytes.Buffer
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" role="img" class="pl-figure" xml:space="preserve" width="%spt" height="%spt" viewBox="0 0 %[1]s %[2]s" font-family="'%s', sans-serif">`+"\n",
		number(c.width), number(c.height), Typeface)
	fmt.Fprintf(&b, "<title>%s</title>\n<desc>%s</desc>\n", escaped(title), escaped(description))
	b.Write(c.body.Bytes())
	b.WriteString("</svg>\n")
	return b.Bytes()
}

func escaped(s string) string {
	var b strings.Builder
	if err := xml.EscapeText(&b, []byte(s)); err != nil {
		panic("figure: a string builder refused to be written")
	}
	return b.String()
}

func number(l vg.Length) string {
	s := strconv.FormatFloat(math.Round(float64(l)*100)/100, 'f', -1, 64)
	if s == "-0" {
		return "0"
	}
	return s
}
