package pdf_test

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"plumbline/certificate/pdf"
	"plumbline/figure"
	"plumbline/internal/assets"
)

// envelope is an invented envelope of two limits and two points.
func envelope() figure.Envelope {
	return figure.Envelope{
		Title: "Levels of A-0412 on X-03", Unit: "g peak",
		Points: []figure.EnvelopePoint{{Frequency: 1, Level: 0.018}, {Frequency: 10, Level: 0.1}},
		Limits: []figure.EnvelopeLimit{
			{Name: "stroke", At: []float64{0.5, 1, 5, 20}, Levels: []float64{0.005, 0.02, 0.5, 8}},
			{Name: "level cap", At: []float64{0.5, 20}, Levels: []float64{0.3, 0.3}},
		},
	}
}

// TestFigure checks the file of a figure with programs of others: structure, size, title, fonts, text; and that it is the same to the byte when made twice.
func TestFigure(t *testing.T) {
	files, err := assets.Fonts()
	if err != nil {
		t.Fatal(err)
	}
	made := time.Date(2026, 11, 9, 0, 0, 0, 0, time.UTC)
	var b, again bytes.Buffer
	for _, w := range []*bytes.Buffer{&b, &again} {
		if err := pdf.Figure(w, envelope(), 482, 320, made, pdf.Fonts(files)); err != nil {
			t.Fatal(err)
		}
	}
	if !bytes.Equal(b.Bytes(), again.Bytes()) {
		t.Error("the same figure gives other bytes")
	}
	name := filepath.Join(t.TempDir(), "figure.pdf")
	if err := os.WriteFile(name, b.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
	if out := run(t, "qpdf", "--check", name); !strings.Contains(out, "No syntax or stream encoding errors found") || strings.Contains(out, "WARNING") {
		t.Errorf("qpdf: %s", out)
	}
	info := run(t, "pdfinfo", name)
	for _, want := range []string{"Title:           Levels of A-0412 on X-03", "482 x 320 pts", "Producer:        Plumbline", "Pages:           1", "Mon Nov  9 00:00:00 2026"} {
		if !strings.Contains(info, want) {
			t.Errorf("pdfinfo does not say %q:\n%s", want, info)
		}
	}
	for _, l := range strings.Split(strings.TrimSpace(run(t, "pdffonts", name)), "\n")[2:] {
		if f := strings.Fields(l); len(f) < 8 || f[len(f)-5] != "yes" || f[len(f)-3] != "yes" {
			t.Errorf("a font is not embedded, or its text is lost: %s", l)
		}
	}
	text := run(t, "pdftotext", name, "-")
	for _, want := range []string{"within every limit", "Frequency, in Hz"} {
		if !strings.Contains(text, want) {
			t.Errorf("the text does not hold %q:\n%s", want, text)
		}
	}
	if err := pdf.Figure(&b, envelope(), 482, 320, made, pdf.Fonts{}); err == nil {
		t.Error("drawn without fonts")
	}
	e := envelope()
	e.Title, e.Limits[0].Name = "no glyph", "\U0001F600"
	if err := pdf.Figure(&b, e, 482, 320, made, pdf.Fonts(files)); err == nil || !strings.Contains(err.Error(), `figure "no glyph" as PDF`) {
		t.Errorf("a name without a glyph: error %v", err)
	}
}
