package figure_test

import (
	"bytes"
	"encoding/xml"
	"image/png"
	"io"
	"math"
	"regexp"
	"strings"
	"testing"

	"plumbline/figure"
	"plumbline/internal/assets"
)

func typeface(t *testing.T) *figure.Type {
	t.Helper()
	f, err := assets.Fonts()
	if err != nil {
		t.Fatal(err) // names `make assets`
	}
	faces, err := figure.NewType(figure.Fonts(f))
	if err != nil {
		t.Fatal(err)
	}
	return faces
}

// aldermere is an invented response of a 10 V/g transducer with one point far outside its flatness tolerance.
func aldermere() figure.Response {
	const deg = math.Pi / 180
	r := figure.Response{Title: "Frequency response of A-0407", Reference: 100, Flatness: 0.05, Span: 0.08}
	for _, p := range [][5]float64{{1, -0.041, 0.011, 12.4, 0.9}, {2, -0.012, 0.008, 6.1, 0.6}, {5, 0.001, 0.006, 2.2, 0.4}, {10, 0.002, 0.005, 1, 0.3},
		{50, 0.001, 0.004, -0.1, 0.3}, {100, 0, 0, -0.5, 0.3}, {200, 0.013, 0.005, -1, 0.4}, {400, 0.112, 0.012, -2.6, 0.6}} {
		r.Points = append(r.Points, figure.ResponsePoint{Frequency: p[0], Deviation: p[1], U: p[2], Phase: p[3] * deg, UPhase: p[4] * deg, Reference: p[0] == 100, Label: "+11.2\u2009%"})
	}
	return r
}

func svg(t *testing.T, r figure.Response) string {
	t.Helper()
	var b bytes.Buffer
	if err := figure.SVG(&b, r, 482, 280, typeface(t)); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// TestSVG reads the drawing as XML and looks for what assistive programs need and what the reader sees.
func TestSVG(t *testing.T) {
	s := svg(t, aldermere())
	d := xml.NewDecoder(strings.NewReader(s))
	for {
		if _, err := d.Token(); err == io.EOF {
			break
		} else if err != nil {
			t.Fatalf("not well formed: %v\n%s", err, s)
		}
	}
	for _, want := range []string{`role="img"`, "<title>Frequency response of A-0407</title>", "The flatness tolerance is ±5 %.", "1 Hz: −4.1 %",
		">+11.2\u2009%</text>", ">φ</text>", "flatness tolerance ±5", `class="pl-band-fill"`, ">−5</text>"} {
		if !strings.Contains(s, want) {
			t.Errorf("%q is not in the drawing", want)
		}
	}
	if strings.Contains(s, "id=") || strings.Contains(s, "NaN") {
		t.Error("the drawing has identifiers, which must be unique in a page, or numbers that are none")
	}
	if svg(t, aldermere()) != s {
		t.Error("drawn twice, the drawing differs")
	}
}

var tick = regexp.MustCompile(`<text[^>]*>([+−]?[\d.]+)</text>`)

func ticks(s string) string {
	var all []string
	for _, m := range tick.FindAllStringSubmatch(s, -1) {
		all = append(all, m[1])
	}
	return strings.Join(all, " ")
}

// TestScale expects the scale of deviations to follow the tolerance whatever the data are, and labels 1, 2, 5 in every decade of frequency.
func TestScale(t *testing.T) {
	r := aldermere()
	for i := range r.Points {
		r.Points[i].Phase = math.NaN()
	}
	const want = "1 2 5 10 20 50 100 200 −7.5 −5 −2.5 0 +2.5 +5 +7.5"
	if got := ticks(svg(t, r)); got != want {
		t.Errorf("labels %s, want %s", got, want)
	}
	for i := range r.Points {
		r.Points[i].Deviation *= 20
	}
	if got := ticks(svg(t, r)); got != want {
		t.Errorf("with data 20 times as large: labels %s, want %s", got, want)
	}
	if strings.Contains(svg(t, r), "φ") {
		t.Error("a response without phase has a panel for it")
	}
}

// TestTolerance expects the limits of the value at the reference frequency where there is no flatness tolerance, about the value found and named.
func TestTolerance(t *testing.T) {
	r := aldermere()
	r.Tolerance, r.Limits = [2]float64{-0.104, 0.095}, "tolerance ±10 % of 10 V/g"
	if s := svg(t, r); strings.Contains(s, r.Limits) || !strings.Contains(s, "flatness tolerance ±5") {
		t.Error("both tolerances are drawn")
	}
	r.Flatness, r.Span = 0, 0.16
	s := svg(t, r)
	for _, want := range []string{">tolerance ±10 % of 10 V/g</text>", "At 100 Hz: tolerance ±10 % of 10 V/g, which is −10.4 % to +9.5 % from the value."} {
		if !strings.Contains(s, want) {
			t.Errorf("%q is not in the drawing", want)
		}
	}
	if n := strings.Count(s, `class="pl-band-fill"`); n != 2 || strings.Contains(s, "flatness") {
		t.Errorf("%d bands, want one at the reference frequency and one in the legend", n)
	}
}

// TestWide expects only whole decades to be labelled over more than four of them.
func TestWide(t *testing.T) {
	r := figure.Response{Reference: 10, Span: 0.1, Points: []figure.ResponsePoint{
		{Frequency: 0.1, Phase: math.NaN()}, {Frequency: 10, Phase: math.NaN()}, {Frequency: 10000, Phase: math.NaN()}}}
	if got := ticks(svg(t, r)); !strings.HasPrefix(got, "0.1 1 10 100 ") || !strings.Contains(svg(t, r), ">10\u2009k</text>") {
		t.Errorf("labels %s, want whole decades only", got)
	}
}

// TestPNG: 482 pt at 144 dots in an inch are 964 dots.
func TestPNG(t *testing.T) {
	var b bytes.Buffer
	if err := figure.PNG(&b, aldermere(), 482, 280, 144, typeface(t)); err != nil {
		t.Fatal(err)
	}
	img, err := png.Decode(&b)
	if err != nil {
		t.Fatal(err)
	}
	if s := img.Bounds().Size(); s.X != 964 || s.Y != 560 {
		t.Errorf("%d x %d dots, want 964 x 560", s.X, s.Y)
	}
	if err := figure.PNG(&b, aldermere(), 482, 280, 0, typeface(t)); err == nil {
		t.Error("an image of no dots was drawn")
	}
}

// TestRefused: what cannot be drawn is an error that names the fault.
func TestRefused(t *testing.T) {
	faces := typeface(t)
	for name, c := range map[string]struct {
		edit func(*figure.Response)
		want string
	}{
		"no points": {func(r *figure.Response) { r.Points = nil }, "no points"},
		"no scale":  {func(r *figure.Response) { r.Span = 0 }, "scale"},
		"frequency": {func(r *figure.Response) { r.Points[2].Frequency = 0 }, "point 3"},
		"glyph":     {func(r *figure.Response) { r.Points[7].Label = "木" }, "U+6728"},
	} {
		r := aldermere()
		c.edit(&r)
		if err := figure.SVG(io.Discard, r, 482, 280, faces); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: got %v, want an error with %q", name, err, c.want)
		}
	}
	if _, err := figure.NewType(figure.Fonts{}); err == nil || !strings.Contains(err.Error(), "font regular, 0 bytes") {
		t.Errorf("no fonts: got %v", err)
	}
}
