package figure

import (
	"fmt"
	"strings"

	xfont "golang.org/x/image/font"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/font/sfnt"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
)

// Fonts is the typeface as TrueType files.
type Fonts struct{ Regular, Semibold, Bold, Italic []byte }

// Typeface is the name under which the fonts are asked for by drawings that do not carry them.
const Typeface = "Source Sans 3"

// Type is the fonts made ready for drawing. It is not changed by use.
type Type struct{ cache *font.Cache }

// NewType reads the fonts.
func NewType(f Fonts) (*Type, error) {
	var faces font.Collection
	for _, face := range []struct {
		name  string
		bytes []byte
		font  font.Font
	}{
		{"regular", f.Regular, upright},
		{"semibold", f.Semibold, semibold},
		{"bold", f.Bold, font.Font{Typeface: Typeface, Weight: xfont.WeightBold}},
		{"italic", f.Italic, italic},
	} {
		parsed, err := opentype.Parse(face.bytes)
		if err != nil {
			return nil, fmt.Errorf("font %s, %d bytes: %w", face.name, len(face.bytes), err)
		}
		faces = append(faces, font.Face{Font: face.font, Face: parsed})
	}
	return &Type{cache: font.NewCache(faces)}, nil
}

var (
	upright  = font.Font{Typeface: Typeface}
	semibold = font.Font{Typeface: Typeface, Weight: xfont.WeightSemiBold}
	italic   = font.Font{Typeface: Typeface, Style: xfont.StyleItalic}
)

// setter sets text and remembers the first glyph that a font lacks.
type setter struct {
	text.Plain
	err error
}

func (t *Type) setter() *setter { return &setter{Plain: text.Plain{Fonts: t.cache}} }

// Draw implements text.Handler.
func (s *setter) Draw(c vg.Canvas, txt string, sty text.Style, pt vg.Point) {
	if s.err == nil {
		s.err = missing(s.Fonts.Lookup(sty.Font, sty.Font.Size), txt)
	}
	s.Plain.Draw(c, txt, sty, pt)
}

func missing(face font.Face, txt string) error {
	var buf sfnt.Buffer
	for _, r := range strings.ReplaceAll(txt, "\n", "") {
		if g, err := face.Face.GlyphIndex(&buf, r); err != nil || g == 0 {
			return fmt.Errorf("text %q: the font %s has no glyph for %q (%U)", txt, face.Name(), r, r)
		}
	}
	return nil
}
