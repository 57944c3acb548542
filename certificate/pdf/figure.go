package pdf

import (
	"bytes"
	"fmt"
	"io"
	"time"

	"codeberg.org/go-pdf/fpdf"
	"gonum.org/v1/plot/vg"

	"plumbline/figure"
)

// Figure writes a figure as a PDF page of its size, with the fonts embedded and the date made. The same figure, date and fonts give the same bytes. It is
// an error where the figure cannot be drawn or a glyph is missing from the fonts.
func Figure(w io.Writer, drawn figure.Figure, width, height vg.Length, made time.Time, fonts Fonts) error {
	title, description := drawn.About()
	fail := func(err error) error { return fmt.Errorf("figure %q as PDF: %w", title, err) }
	set, err := newTypesetter(fonts)
	if err != nil {
		return fail(err)
	}
	f := fpdf.NewCustom(&fpdf.InitType{UnitStr: "mm", Size: fpdf.SizeType{Wd: float64(width) / millimetre, Ht: float64(height) / millimetre}})
	f.SetCreationDate(made)
	f.SetModificationDate(made)
	f.SetTitle(title, true)
	f.SetSubject(description, true)
	set.prepare(f)
	f.AddPage()
	p := &press{typesetter: set, f: f}
	c := &canvas{State: figure.NewState(), p: p, y: float64(height) / millimetre}
	if err := drawn.Draw(c, width, height, set.plots); err != nil {
		return fail(err)
	}
	for _, err := range []error{c.err, p.err, f.Error()} {
		if err != nil {
			return fail(err)
		}
	}
	var b bytes.Buffer
	if err := f.Output(&b); err != nil {
		return fail(err)
	}
	identified, err := identify(b.Bytes())
	if err != nil {
		return fail(err)
	}
	_, err = w.Write(identified)
	return err
}

// prepare sets what every file of ours has: fonts, language, no margins of its own.
func (t *typesetter) prepare(f *fpdf.Fpdf) {
	f.SetCatalogSort(true)
	f.SetProducer(producer, true)
	f.SetLang("en")
	f.SetAutoPageBreak(false, 0)
	f.SetCellMargin(0)
	f.SetMargins(0, 0, 0)
	for _, s := range styles {
		f.AddUTF8FontFromBytes(s.family, "", t.faces[s.face].file)
	}
}
