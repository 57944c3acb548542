package figure_test

import (
	"bytes"
	"encoding/xml"
	"image/png"
	"io"
	"math"
	"strings"
	"testing"
	"time"

	"plumbline/figure"
)

// fenwick is an invented history of five calibrations with its drift line up to the due date.
func fenwick() figure.History {
	h := figure.History{Title: "History of A-0402 at 100 Hz", Frequency: 100, Unit: "V/g", Band: "drift line, 95\u2009%", Tolerance: [2]float64{9.5, 10.5},
		Today: time.Date(2026, 11, 25, 0, 0, 0, 0, time.UTC), Due: time.Date(2027, 9, 1, 0, 0, 0, 0, time.UTC)}
	start := time.Date(2020, 9, 3, 0, 0, 0, 0, time.UTC)
	for i, v := range []float64{10.02, 10.06, 10.17, 10.15, 10.26} {
		h.Points = append(h.Points, figure.HistoryPoint{Date: start.AddDate(i, 3*i/2, 0), Value: v, U: 0.08, Certificate: "FL-" + string(rune('1'+i))})
	}
	for d := start; d.Before(h.Due); d = d.AddDate(0, 1, 0) {
		t := d.Sub(start).Hours() / 24 / 365.25
		v, u := 10.02+0.05*t, 0.05*math.Hypot(1, 0.5*(t-2.8))
		h.Line = append(h.Line, figure.HistoryLine{Date: d, Value: v, Low: v - u, High: v + u})
	}
	return h
}

func drawn(t *testing.T, h figure.History) string {
	t.Helper()
	var b bytes.Buffer
	if err := figure.SVG(&b, h, 482, 240, typeface(t)); err != nil {
		t.Fatal(err)
	}
	d := xml.NewDecoder(strings.NewReader(b.String()))
	for {
		if _, err := d.Token(); err == io.EOF {
			break
		} else if err != nil {
			t.Fatalf("not well formed: %v\n%s", err, b.String())
		}
	}
	if s := b.String(); strings.Contains(s, "NaN") || strings.Contains(s, "Inf") {
		t.Error("the drawing holds numbers that are none")
	}
	return b.String()
}

// TestHistory looks for what the reader sees and what those get who do not see it.
func TestHistory(t *testing.T) {
	s := drawn(t, fenwick())
	for _, want := range []string{">due 2027-09-01<", ">today<", ">tolerance<", "drift line, 95", "2020-09-03, certificate FL-1: 10.02 ± 0.08.", ">2024<", ">10.2<",
		"The upper tolerance limit is 10.5.", "due on 2027-09-01", `class="pl-drift-fill"`, "The drift line goes from 10.02"} {
		if !strings.Contains(s, want) {
			t.Errorf("%q is not in the drawing", want)
		}
	}
	if drawn(t, fenwick()) != s {
		t.Error("drawn twice, the drawing differs")
	}
	var b bytes.Buffer
	if err := figure.PNG(&b, fenwick(), 482, 240, 144, typeface(t)); err != nil {
		t.Fatal(err)
	}
	if img, err := png.Decode(&b); err != nil || img.Bounds().Dx() != 964 {
		t.Errorf("image %v, %v", img, err)
	}
}

// TestHistoryOfLess: one calibration, one limit, no dates.
func TestHistoryOfLess(t *testing.T) {
	h := fenwick()
	h.Points, h.Line, h.Today, h.Due = h.Points[:1], nil, time.Time{}, time.Time{}
	h.Tolerance[0] = math.Inf(-1)
	s := drawn(t, h)
	for _, not := range []string{"due", "today", "drift", "lower"} {
		if strings.Contains(s, not) {
			t.Errorf("%q is in a drawing without it", not)
		}
	}
	h.Tolerance[1] = math.Inf(1)
	h.Points[0].U = 0
	if s = drawn(t, h); strings.Contains(s, "tolerance") {
		t.Error("a tolerance without limits")
	}
}

// TestHistoryRefuses what cannot be drawn.
func TestHistoryRefuses(t *testing.T) {
	for name, change := range map[string]func(*figure.History){
		"no points":  func(h *figure.History) { h.Points = nil },
		"value":      func(h *figure.History) { h.Points[1].Value = math.NaN() },
		"U":          func(h *figure.History) { h.Points[1].U = -1 },
		"date":       func(h *figure.History) { h.Points[1].Date = time.Time{} },
		"band":       func(h *figure.History) { h.Line[3].Low = 11 },
		"descending": func(h *figure.History) { h.Line[3].Date = h.Line[2].Date },
		"tolerance":  func(h *figure.History) { h.Tolerance = [2]float64{} },
	} {
		h := fenwick()
		change(&h)
		if err := figure.SVG(io.Discard, h, 482, 240, typeface(t)); err == nil {
			t.Errorf("%s: is drawn", name)
		}
	}
}
