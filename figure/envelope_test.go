package figure_test

import (
	"bytes"
	"encoding/xml"
	"image/png"
	"io"
	"math"
	"strings"
	"testing"

	"plumbline/figure"
)

// small is the envelope of an invented exciter: 10 mm peak-to-peak, 0.5 m/s, and a device of ±0.5 g.
func small() figure.Envelope {
	e := figure.Envelope{Title: "Levels of A-0407 on X-03", Unit: "g peak"}
	stroke := figure.EnvelopeLimit{Name: "stroke"}
	velocity, level := figure.EnvelopeLimit{Name: "velocity"}, figure.EnvelopeLimit{Name: "device range"}
	for i := range 60 {
		f := math.Pow(10, -0.3+2.6*float64(i)/59)
		omega := 2 * math.Pi * f
		for _, l := range []*figure.EnvelopeLimit{&stroke, &velocity, &level} {
			l.At = append(l.At, f)
		}
		stroke.Levels = append(stroke.Levels, 5e-3*omega*omega/9.80665)
		velocity.Levels = append(velocity.Levels, 0.5*omega/9.80665)
		level.Levels = append(level.Levels, 0.5)
	}
	e.Limits = []figure.EnvelopeLimit{stroke, velocity, level}
	e.Points = []figure.EnvelopePoint{{1, 0.018, true}, {3, 0.1, false}, {100, 0.1, false}}
	return e
}

// TestEnvelope reads the drawing as XML and looks for the names of the limits and the description.
func TestEnvelope(t *testing.T) {
	var b bytes.Buffer
	if err := figure.SVG(&b, small(), 482, 300, typeface(t)); err != nil {
		t.Fatal(err)
	}
	s := b.String()
	d := xml.NewDecoder(strings.NewReader(s))
	for {
		if _, err := d.Token(); err == io.EOF {
			break
		} else if err != nil {
			t.Fatalf("not well formed: %v\n%s", err, s)
		}
	}
	for _, want := range []string{">stroke<", ">device range<", "measured together", "Level, in g peak", "1 Hz at 0.018"} {
		if !strings.Contains(s, want) {
			t.Errorf("the drawing does not hold %q", want)
		}
	}
	if strings.Contains(s, "NaN") || strings.Contains(s, "Inf") {
		t.Error("the drawing holds numbers that are none")
	}
	b.Reset()
	if err := figure.PNG(&b, small(), 482, 300, 96, typeface(t)); err != nil {
		t.Fatal(err)
	}
	if img, err := png.Decode(&b); err != nil || img.Bounds().Dx() < 600 {
		t.Errorf("image %v, %v", img, err)
	}
}

// TestEnvelopeRefuses what cannot be drawn.
func TestEnvelopeRefuses(t *testing.T) {
	for name, change := range map[string]func(*figure.Envelope){
		"no limits":   func(e *figure.Envelope) { e.Limits = nil },
		"lengths":     func(e *figure.Envelope) { e.Limits[0].Levels = e.Limits[0].Levels[:3] },
		"descending":  func(e *figure.Envelope) { e.Limits[0].At[1] = 0.1 },
		"level":       func(e *figure.Envelope) { e.Points[0].Level = 0 },
		"frequencies": func(e *figure.Envelope) { e.Limits[1].At[0] = math.NaN() },
	} {
		e := small()
		change(&e)
		if err := figure.SVG(io.Discard, e, 482, 300, typeface(t)); err == nil {
			t.Errorf("%s: is drawn", name)
		}
	}
}
