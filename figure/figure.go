// Package figure draws the figures of a calibration, once for every output.
package figure

import (
	"io"

	"gonum.org/v1/plot/vg"
)

// Fonts is the typeface as TrueType files.
type Fonts struct{ Regular, Semibold, Bold, Italic []byte }

// Figure is a description of something to draw.
type Figure interface {
	// About returns a title and a description in words for those who do not see the figure.
	About() (title, description string)
	// Draw draws the figure into the rectangle from the origin to (width, height).
	Draw(c vg.Canvas, width, height vg.Length, t *Type) error
}

// Type is the fonts made ready for drawing.
type Type struct{}

// NewType reads the fonts.
func NewType(f Fonts) (*Type, error) { return &Type{}, nil }

// SVG writes the figure as a scalable drawing.
func SVG(w io.Writer, f Figure, width, height vg.Length, t *Type) error { return nil }

// PNG writes the figure as an image of dpi dots in an inch.
func PNG(w io.Writer, f Figure, width, height vg.Length, dpi int, t *Type) error { return nil }

// Response is a frequency response: the deviation of the modulus from its value at the reference frequency, below it the phase.
type Response struct {
	Title     string
	Reference float64 // reference frequency, Hz
	Flatness  float64 // tolerance of the deviation, relative; 0 none
	Band      [2]float64
	Span      float64 // half the height of the scale, relative
	Points    []ResponsePoint
}

// ResponsePoint is one frequency of a response.
type ResponsePoint struct {
	Frequency float64 // Hz
	Deviation float64 // relative; NaN none
	U         float64 // expanded uncertainty of Deviation, relative
	Phase     float64 // rad; NaN none
	UPhase    float64 // expanded uncertainty of Phase, rad
}

// About describes the response in words.
func (r Response) About() (title, description string) { return r.Title, "" }

// Draw draws the response.
func (r Response) Draw(c vg.Canvas, width, height vg.Length, t *Type) error { return nil }
