package history

import (
	"math"
	"strings"
	"testing"

	"plumbline/conformity"
)

func examine(t *testing.T, s Series, set Settings) Examination {
	t.Helper()
	all, err := Examine(Sensor{Serial: s.Serial, Due: on("2027-01-01"), At: []Series{s}}, set, on("2026-07-01"))
	if err != nil {
		t.Fatal(err)
	}
	return all[0]
}

// TestStaircase walks the three steps on constructed numbers: tolerance 0.97 to 1.03, middle 1, half width 0.03, U 0.002.
//
// Verifies: ILAC-G24 6.2 staircase (title read, contents from memory)
func TestStaircase(t *testing.T) {
	m := Staircase{Current: 365, Fraction: 0.8, Extend: 1.5, Reduce: 0.5, Bounds: Bounds{90, 1000}}
	for _, c := range []struct {
		modulus, guard, current, want float64
		bound, words                  string
	}{
		{1.01, 0, 365, 547.5, "", "extended"},
		{1.024, 0, 365, 547.5, "", "extended"}, // 0.8 exactly counts as within
		{1.025, 0, 365, 365, "", "stays"},
		{0.969, 0, 365, 182.5, "", "reduced"},
		{1.0285, 1, 365, 182.5, "", "1 U counted on top"},
		{1, 0, 900, 1000, "longest interval", "extended"},
		{1.2, 0, 100, 90, "shortest interval", "reduced"},
	} {
		m.Current, m.Guard = c.current, c.guard
		s := yearly(1e-3, 0, c.modulus)
		s.Tolerance = conformity.Limits{Lower: 0.97, Upper: 1.0300000000000002}
		r, err := m.Recommend(examine(t, s, stated))
		if err != nil {
			t.Fatal(err)
		}
		near(t, "interval", r.Days, c.want, 1e-9)
		if r.Bound != c.bound || !strings.Contains(r.Reason, c.words) || !r.Due.Equal(after(on("2026-01-01"), c.want)) {
			t.Errorf("%g: %+v", c.modulus, r)
		}
	}
	one := yearly(1e-3, 0, 1)
	one.Tolerance.Upper = math.Inf(1)
	if r, err := m.Recommend(examine(t, one, stated)); err != nil || !strings.Contains(r.Unknown, "needs both") {
		t.Errorf("one limit: %+v, %v", r, err)
	}
}

// TestDriftChart: constructed. Two results without common part, u = 1e-3, drift ln 1.01 a year: at the last calibration U = 1.96e-3, U of the rate 1.96·√2e-3.
//
// Verifies: ILAC-G24 6.3 control chart (title read, contents from memory)
func TestDriftChart(t *testing.T) {
	m := DriftChart{Least: 2, Bounds: Bounds{30, 3000}}
	s := yearly(1e-3, 0, 1, 1.01)
	r, err := m.Recommend(examine(t, s, stated))
	if err != nil {
		t.Fatal(err)
	}
	const k = 1.959963984540054
	want := (math.Log(1.03/1.01) - k*1e-3) / (math.Log(1.01) + k*math.Sqrt2*1e-3) * year
	near(t, "interval", r.Days, want, 1e-6)
	if !strings.Contains(r.Reason, "upper limit") || r.Bound != "" {
		t.Errorf("%+v", r)
	}
	down := yearly(1e-3, 0, 1, 1/1.01)
	down.Tolerance.Upper = math.Inf(1)
	if r, err = m.Recommend(examine(t, down, stated)); err != nil || !strings.Contains(r.Reason, "lower limit") {
		t.Errorf("%+v, %v", r, err)
	}
	if r, err = m.Recommend(examine(t, yearly(1e-3, 0, 1, 1.029), stated)); err != nil || r.Found != 0 || r.Bound != "shortest interval" {
		t.Errorf("beyond the limit: %+v, %v", r, err)
	}
	up := yearly(1e-3, 0, 1, 1.02)
	up.Tolerance = conformity.Limits{Lower: 0.97, Upper: math.Inf(1)}
	if r, err = m.Recommend(examine(t, up, stated)); err != nil || !math.IsInf(r.Found, 1) || r.Bound != "longest interval" {
		t.Errorf("away from the only limit: %+v, %v", r, err)
	}
	m.Least = 3
	if r, err = m.Recommend(examine(t, s, stated)); err != nil || !strings.Contains(r.Unknown, "needs 3") {
		t.Errorf("too few: %+v, %v", r, err)
	}
}

// TestFalling: on the day recommended the probability of conformity is what was asked for.
func TestFalling(t *testing.T) {
	m := Falling{Conformity: 0.9, Bounds: Bounds{30, 3000}}
	for _, set := range []Settings{stated, {Basis: Scatter, Probability: 0.95, Significance: 0.05}} {
		s := yearly(2e-3, 1e-3, 1, 1.002, 1.007, 1.01, 1.012)
		e := examine(t, s, set)
		r, err := m.Recommend(e)
		if err != nil {
			t.Fatal(err)
		}
		before, at := e.Line.Predict(after(r.Due, -1)).Within(s.Tolerance), e.Line.Predict(after(r.Due, 1)).Within(s.Tolerance)
		if r.Bound != "" || !(before >= 0.9 && at < 0.9) {
			t.Errorf("%s: %+v, probability the day before %g, the day after %g", set.Basis, r, before, at)
		}
	}
	e := examine(t, yearly(2e-3, 1e-3, 1.03, 1.03, 1.03), stated)
	if r, err := m.Recommend(e); err != nil || r.Found != 0 || !strings.Contains(r.Reason, "already") {
		t.Errorf("on the limit: %+v, %v", r, err)
	}
	e = examine(t, yearly(2e-3, 1e-3, 1), stated)
	if r, err := m.Recommend(e); err != nil || !strings.Contains(r.Unknown, "one calibration") {
		t.Errorf("one calibration: %+v, %v", r, err)
	}
}

// TestMethodsRefuse settings that are missing: nothing has a default.
func TestMethodsRefuse(t *testing.T) {
	e := examine(t, yearly(2e-3, 1e-3, 1, 1, 1), stated)
	good := Bounds{30, 3000}
	for _, m := range []Method{Staircase{}, DriftChart{}, Falling{}, DriftChart{Least: 3}, Falling{Conformity: 0.9}, Falling{Conformity: 1, Bounds: good},
		Staircase{Current: 365, Fraction: 0.8, Extend: 0.5, Reduce: 0.5, Bounds: good}, Staircase{Current: 365, Fraction: 0.8, Extend: 2, Reduce: 2, Bounds: good},
		Staircase{Current: 365, Fraction: 0.8, Extend: 2, Reduce: 0.5, Guard: -1, Bounds: good}, Staircase{Current: 365, Extend: 2, Reduce: 0.5, Bounds: good},
		Staircase{Current: 365, Fraction: 0.8, Extend: 2, Reduce: 0.5, Bounds: Bounds{400, 300}}} {
		if _, err := m.Recommend(e); err == nil || !strings.Contains(err.Error(), "A-0403") {
			t.Errorf("%+v: error %v", m, err)
		}
	}
	a, b := Recommendation{Due: on("2027-01-01")}, Recommendation{Due: on("2026-01-01"), Unknown: "why"}
	if first, ok := Shortest([]Recommendation{b, a}); !ok || !first.Due.Equal(a.Due) {
		t.Errorf("the shortest is %+v", first)
	}
	if _, ok := Shortest([]Recommendation{b}); ok {
		t.Error("an interval where none is known")
	}
}
