package pdf

import (
	"fmt"

	xfont "golang.org/x/image/font"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/math/fixed"
	"golang.org/x/text/unicode/norm"

	"plumbline/certificate"
	"plumbline/figure"
)

// style is one way to set text with the font it needs.
type style struct {
	face   certificate.Face
	family string
}

var styles = []style{
	{certificate.Upright, "sourcesans3-regular"},
	{certificate.Strong, "sourcesans3-semibold"},
	{certificate.Italic, "sourcesans3-italic"},
}

// face is one font with what measuring needs.
type face struct {
	file   []byte
	font   *sfnt.Font
	perEm  float64
	buffer sfnt.Buffer
	glyphs map[rune]glyph
	kerns  map[[2]sfnt.GlyphIndex]float64
}

// The space between a number and its unit: the typeface's own is too narrow for small type, so what follows is placed after this width in em.
const (
	thinSpace = '\u2009'
	thinWidth = 0.16
)

type glyph struct {
	index   sfnt.GlyphIndex
	advance float64 // em
}

// typesetter measures text. It is not safe for concurrent use.
type typesetter struct {
	faces map[certificate.Face]*face
	plots *figure.Type
}

func newTypesetter(fonts Fonts) (*typesetter, error) {
	plots, err := figure.NewType(fonts)
	if err != nil {
		return nil, err
	}
	t := &typesetter{faces: map[certificate.Face]*face{}, plots: plots}
	for _, s := range styles {
		file := map[certificate.Face][]byte{certificate.Upright: fonts.Regular, certificate.Strong: fonts.Semibold, certificate.Italic: fonts.Italic}[s.face]
		font, err := sfnt.Parse(file)
		if err != nil {
			return nil, fmt.Errorf("font %s, %d bytes: %w", s.family, len(file), err)
		}
		t.faces[s.face] = &face{file: file, font: font, perEm: float64(font.UnitsPerEm()), glyphs: map[rune]glyph{}, kerns: map[[2]sfnt.GlyphIndex]float64{}}
	}
	return t, nil
}

// glyph finds a rune's glyph; a font without it is an error, since a box would be drawn in its place.
func (f *face) glyph(r rune) (glyph, error) {
	if g, ok := f.glyphs[r]; ok {
		return g, nil
	}
	i, err := f.font.GlyphIndex(&f.buffer, r)
	if err != nil || i == 0 {
		return glyph{}, fmt.Errorf("the font has no glyph for %q (%U)", r, r)
	}
	em := fixed.Int26_6(f.font.UnitsPerEm())
	a, err := f.font.GlyphAdvance(&f.buffer, i, em, xfont.HintingNone)
	if err != nil {
		return glyph{}, fmt.Errorf("the font has no width for %q (%U): %w", r, r, err)
	}
	g := glyph{index: i, advance: float64(a) / f.perEm}
	if r == thinSpace {
		g.advance = thinWidth
	}
	f.glyphs[r] = g
	return g, nil
}

// kern is the correction of the distance between two glyphs in em; most pairs have none.
func (f *face) kern(a, b sfnt.GlyphIndex) float64 {
	pair := [2]sfnt.GlyphIndex{a, b}
	if k, ok := f.kerns[pair]; ok {
		return k
	}
	k := 0.0
	if v, err := f.font.Kern(&f.buffer, a, b, fixed.Int26_6(f.font.UnitsPerEm()), xfont.HintingNone); err == nil {
		k = float64(v) / f.perEm
	}
	f.kerns[pair] = k
	return k
}

// piece is a run of text between two kerned pairs.
type piece struct {
	text string
	at   float64 // em from the start
}

// pieces splits a string where glyphs are moved together or apart; width is that of the whole in em.
func (f *face) pieces(s string) (out []piece, width float64, err error) {
	s = blanks.Replace(norm.NFC.String(s)) // an umlaut may come as a letter and a mark, from the name of a file for example
	start, from := 0, 0.0
	var last glyph
	var before rune
	for i, r := range s {
		g, err := f.glyph(r)
		if err != nil {
			return nil, 0, fmt.Errorf("text %q: %w", s, err)
		}
		if i > 0 {
			if k := f.kern(last.index, g.index); k != 0 || before == thinSpace {
				out = append(out, piece{s[start:i], from})
				width += k
				start, from = i, width
			}
		}
		width += g.advance
		last, before = g, r
	}
	return append(out, piece{s[start:], from}), width, nil
}
