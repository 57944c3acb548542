// Package figure draws the figures of a calibration, each described once for every output.
package figure

import (
	"fmt"
	"image/color"
	"io"

	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/vgimg"
)

// Figure is a description of something to draw.
type Figure interface {
	// About returns a title and a description in words for those who do not see the figure.
	About() (title, description string)
	// Draw draws the figure into the rectangle from the canvas's origin to (width, height).
	// It is an error where the description cannot be drawn or a glyph is missing from the fonts.
	Draw(c vg.Canvas, width, height vg.Length, t *Type) error
}

// SVG writes the figure as a drawing to be set in a page: labelled for assistive programs, with a class beside every colour.
func SVG(w io.Writer, f Figure, width, height vg.Length, t *Type) error {
	c := newSVG(width, height)
	if err := f.Draw(c, width, height, t); err != nil {
		return err
	}
	title, description := f.About()
	_, err := w.Write(c.document(title, description))
	return err
}

// PNG writes the figure as an image of dpi dots in an inch on a white ground.
func PNG(w io.Writer, f Figure, width, height vg.Length, dpi int, t *Type) error {
	if dpi < 1 {
		return fmt.Errorf("figure as PNG: resolution of %d dots in an inch: must be at least 1", dpi)
	}
	c := vgimg.NewWith(vgimg.UseWH(width, height), vgimg.UseDPI(dpi), vgimg.UseBackgroundColor(color.White))
	if err := f.Draw(c, width, height, t); err != nil {
		return err
	}
	_, err := vgimg.PngCanvas{Canvas: c}.WriteTo(w)
	return err
}
