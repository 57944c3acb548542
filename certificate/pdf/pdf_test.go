package pdf_test

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"plumbline/certificate/certificatetest"
	"plumbline/certificate/pdf"
	"plumbline/internal/assets"
)

func fonts(t *testing.T) pdf.Fonts {
	t.Helper()
	f, err := assets.Fonts()
	if err != nil {
		t.Fatal(err) // names `make assets`
	}
	return pdf.Fonts(f)
}

// write makes a certificate's PDF and returns its bytes and the file it was written to.
func write(t *testing.T, c certificatetest.Case) ([]byte, string) {
	t.Helper()
	d, err := c.New()
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := pdf.Write(&b, d, fonts(t)); err != nil {
		t.Fatal(err)
	}
	name := filepath.Join(t.TempDir(), "certificate.pdf")
	if err := os.WriteFile(name, b.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
	return b.Bytes(), name
}

// run runs a program that must be there: `make test` installs it.
func run(t *testing.T, name string, args ...string) string {
	t.Helper()
	out, err := exec.Command(name, args...).CombinedOutput()
	if err != nil {
		t.Fatalf("%s %s: %v (make test installs what is missing)\n%s", name, strings.Join(args, " "), err, out)
	}
	return string(out)
}

var cases = map[string]func() certificatetest.Case{
	"fenwick": certificatetest.Fenwick, "forty points": func() certificatetest.Case { return certificatetest.Many(40) },
	"read off": certificatetest.ReadOff, "overlong": certificatetest.Overlong,
}

// TestFile checks each file with programs of others: structure, paper, title, fonts, text.
func TestFile(t *testing.T) {
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			k := c()
			_, file := write(t, k)
			if out := run(t, "qpdf", "--check", file); !strings.Contains(out, "No syntax or stream encoding errors found") || strings.Contains(out, "WARNING") {
				t.Errorf("qpdf: %s", out)
			}
			info := run(t, "pdfinfo", file)
			for _, want := range []string{"Title:           " + k.Particulars.Title + " " + k.Particulars.Number, "595.28 x 841.89 pts (A4)", "Producer:        Plumbline", "Thu Nov 26 00:00:00 2026"} {
				if !strings.Contains(info, want) {
					t.Errorf("pdfinfo does not say %q:\n%s", want, info)
				}
			}
			checkFonts(t, run(t, "pdffonts", file))
			checkText(t, k, info, run(t, "pdftotext", "-layout", file, "-"))
		})
	}
}

// checkFonts expects three fonts, all embedded as subsets' worth of glyphs with their text.
func checkFonts(t *testing.T, list string) {
	t.Helper()
	lines := strings.Split(strings.TrimSpace(list), "\n")[2:]
	if len(lines) != 3 {
		t.Errorf("%d fonts, want regular, semibold and italic:\n%s", len(lines), list)
	}
	for _, l := range lines {
		if f := strings.Fields(l); len(f) < 8 || f[len(f)-5] != "yes" || f[len(f)-3] != "yes" {
			t.Errorf("a font is not embedded, or its text is lost: %s", l)
		}
	}
}

func checkText(t *testing.T, k certificatetest.Case, info, text string) {
	t.Helper()
	n := regexp.MustCompile(`Pages:\s+(\d+)`).FindStringSubmatch(info)[1]
	pages := strings.Split(strings.TrimSuffix(text, "\f"), "\f")
	for i, p := range pages {
		if !regexp.MustCompile(`Page ` + strconv.Itoa(i+1) + ` of ` + n + `\b`).MatchString(p) {
			t.Errorf("page %d does not say that it is page %d of %s", i+1, i+1, n)
		}
		if !strings.Contains(p, k.Particulars.Number) {
			t.Errorf("page %d does not bear the certificate's number", i+1)
		}
	}
	end := "End of certificate " + k.Particulars.Number
	if strings.Count(text, end) != 1 || !strings.Contains(pages[len(pages)-1], end) {
		t.Errorf("the mark %q does not stand once, on the last page", end)
	}
	for _, want := range []string{k.Particulars.AuthorisedBy[:12], "Serial number", "A-0407", "relate only to the item calibrated", "10.042", "coverage factor", k.Origin.Digest} {
		if !strings.Contains(text, want) {
			t.Errorf("%q is not in the text", want)
		}
	}
}

func number(t *testing.T, s string) float64 {
	t.Helper()
	x, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return x
}

// TestSame makes files twice.
func TestSame(t *testing.T) {
	for name, c := range map[string]func() certificatetest.Case{"recorded": certificatetest.Fenwick, "read off": certificatetest.ReadOff} {
		a, _ := write(t, c())
		b, _ := write(t, c())
		if !bytes.Equal(a, b) {
			t.Errorf("%s: two files of the same certificate differ", name)
		}
	}
}

// TestIdentifier expects one identifier in the trailer, different for different certificates. When this fails because the writer below has
// learned to set it, identify can go.
func TestIdentifier(t *testing.T) {
	id := regexp.MustCompile(`/ID \[<([0-9a-f]{32})> <([0-9a-f]{32})>\]`)
	a, _ := write(t, certificatetest.Fenwick())
	b, _ := write(t, certificatetest.ReadOff())
	ia, ib := id.FindAllSubmatch(a, -1), id.FindAllSubmatch(b, -1)
	if len(ia) != 1 || len(ib) != 1 || !bytes.Equal(ia[0][1], ia[0][2]) || bytes.Equal(ia[0][1], ib[0][1]) {
		t.Fatalf("identifiers %q and %q", ia, ib)
	}
	if bytes.Count(a, []byte("/ID")) != 1 {
		t.Error("more than one identifier")
	}
}

// TestInvented expects every page of demo data to say so, and no other.
func TestInvented(t *testing.T) {
	const mark = "Invented data"
	c := certificatetest.Fenwick()
	_, file := write(t, c)
	if text := run(t, "pdftotext", file, "-"); strings.Contains(text, mark) {
		t.Error("a certificate that is not of invented data says it is")
	}
	c.Particulars.Invented = true
	_, file = write(t, c)
	for i, p := range strings.Split(strings.TrimSuffix(run(t, "pdftotext", file, "-"), "\f"), "\f") {
		if !strings.Contains(p, mark) {
			t.Errorf("page %d does not say that its data are invented", i+1)
		}
	}
}

// TestMissingGlyph expects an error that names text and sign, not a box on the page.
func TestMissingGlyph(t *testing.T) {
	for name, edit := range map[string]func(*certificatetest.Case){
		"facts":   func(c *certificatetest.Case) { c.Result.Job.Device.Condition = "clean 木" },
		"heading": func(c *certificatetest.Case) { c.Particulars.Title = "Certificate 木" },
		"footer":  func(c *certificatetest.Case) { c.Particulars.Number = "FL-木" },
		"note":    func(c *certificatetest.Case) { c.Result.Points[1].Remarks[2].Text = "the 木 was loose" },
	} {
		t.Run(name, func(t *testing.T) {
			c := certificatetest.Fenwick()
			c.Result.Points[1].Remarks = append(c.Result.Points[1].Remarks, c.Result.Points[2].Remarks...)
			edit(&c)
			d, err := c.New()
			if err != nil {
				t.Fatal(err)
			}
			err = pdf.Write(&bytes.Buffer{}, d, fonts(t))
			if err == nil || !strings.Contains(err.Error(), "U+6728") || !strings.Contains(err.Error(), "木") {
				t.Errorf("got %v, want an error that names the sign", err)
			}
		})
	}
}

// TestTyped expects what people type or paste to be set: letters with separate marks, line breaks, tabulators.
func TestTyped(t *testing.T) {
	c := certificatetest.Fenwick()
	c.Particulars.Mounting = "Fla\u0308che geölt,\n\tdann geklebt"
	_, file := write(t, c)
	if text := run(t, "pdftotext", file, "-"); !strings.Contains(text, "Fläche geölt, dann geklebt") {
		t.Error("the typed text is not in the file")
	}
}

// TestMargins looks at where the words stand: nothing leaves the space between the margins.
func TestMargins(t *testing.T) {
	box := regexp.MustCompile(`<word xMin="([\d.]+)" yMin="([\d.]+)" xMax="([\d.]+)" yMax="([\d.]+)">([^<]*)</word>`)
	for name, c := range map[string]func() certificatetest.Case{"recorded": certificatetest.Fenwick, "overlong": certificatetest.Overlong} {
		_, file := write(t, c())
		all := box.FindAllStringSubmatch(run(t, "pdftotext", "-bbox", file, "-"), -1)
		if len(all) < 500 {
			t.Errorf("%s: only %d words found", name, len(all))
		}
		for _, w := range all {
			if x0, x1, y1 := number(t, w[1]), number(t, w[3]), number(t, w[4]); x0 < 60 || x1 > 540.5 || y1 > 815 {
				t.Errorf("%s: the word %q lies outside the margins: x %g to %g, y to %g", name, w[5], x0, x1, y1)
			}
		}
	}
}

// TestNoFonts expects an error, not a panic.
func TestNoFonts(t *testing.T) {
	d, err := certificatetest.Fenwick().New()
	if err != nil {
		t.Fatal(err)
	}
	if err := pdf.Write(&bytes.Buffer{}, d, pdf.Fonts{}); err == nil || !strings.Contains(err.Error(), "font") {
		t.Errorf("got %v, want an error about the fonts", err)
	}
}
