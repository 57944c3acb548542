package history

import (
	"fmt"
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"

	"plumbline/conformity"
)

// drawSeries is any series that can be evaluated, with n results on different days.
func drawSeries(t *rapid.T, n int) Series {
	s := Series{Serial: "A-0401", Frequency: 100, Tolerance: conformity.Limits{Lower: 0.95, Upper: 1.05}}
	date := on("2020-01-01")
	for i := range n {
		date = date.AddDate(0, 0, rapid.IntRange(30, 800).Draw(t, "days"))
		std := rapid.Float64Range(1e-4, 1e-2).Draw(t, "std")
		s.Results = append(s.Results, Result{Certificate: fmt.Sprint("C-", i), Date: date, Modulus: 1 + rapid.Float64Range(-0.03, 0.03).Draw(t, "deviation"), Std: std, K: 2,
			StdCommon: std * rapid.Float64Range(0, 0.95).Draw(t, "common"), Shares: rapid.SampledFrom([]string{"R-201/1", "R-201/2"}).Draw(t, "reference")})
	}
	return s
}

func drawSettings(t *rapid.T) Settings {
	return Settings{Basis: rapid.SampledFrom(Bases()).Draw(t, "basis"), Probability: rapid.Float64Range(0.5, 0.99).Draw(t, "p"), Significance: 0.05}
}

// TestOrderAndUnit: the order of the results changes nothing, and another unit only the moduli.
func TestOrderAndUnit(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s, set := drawSeries(t, rapid.IntRange(2, 7).Draw(t, "n")), drawSettings(t)
		day := s.Results[len(s.Results)-1].Date.AddDate(1, 0, 0)
		a, err := Fit(s, set)
		if err != nil {
			t.Fatal(err)
		}
		const unit = 0.0102
		other := s
		other.Tolerance = conformity.Limits{Lower: s.Tolerance.Lower * unit, Upper: s.Tolerance.Upper * unit}
		other.Results = rapid.Permutation(s.Results).Draw(t, "order")
		for i := range other.Results {
			other.Results[i].Modulus *= unit
		}
		b, err := Fit(other, set)
		if err != nil {
			t.Fatal(err)
		}
		p, q := a.Predict(day), b.Predict(day)
		for _, c := range [][2]float64{{a.Rate, b.Rate}, {a.P, b.P}, {p.U, q.U}, {p.Within(s.Tolerance), q.Within(other.Tolerance)}, {p.High * unit, q.High}} {
			if math.IsNaN(c[0]) != math.IsNaN(c[1]) || math.Abs(c[0]-c[1]) > 1e-6*(1e-3+math.Abs(c[0])) {
				t.Fatalf("%v in another order and unit: %+v, %+v", c, a, b)
			}
		}
	})
}

// TestPredictionIsOne: the sides and the middle add to one, the interval holds its probability, both ways of saying it agree.
func TestPredictionIsOne(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s, set := drawSeries(t, rapid.IntRange(3, 7).Draw(t, "n")), drawSettings(t)
		l, err := Fit(s, set)
		if err != nil {
			t.Fatal(err)
		}
		p := l.Predict(l.Origin.Add(time.Duration(rapid.IntRange(-500, 1500).Draw(t, "days")) * 24 * time.Hour))
		if got := p.Within(conformity.Limits{Lower: p.Low, Upper: p.High}); math.Abs(got-set.Probability) > 1e-7 {
			t.Fatalf("the interval of %g holds %.10g", set.Probability, got)
		}
		low, high := rapid.Float64Range(0.9, 1).Draw(t, "low"), rapid.Float64Range(1, 1.1).Draw(t, "high")
		sum := p.Below(low) + p.Within(conformity.Limits{Lower: low, Upper: high}) + 1 - p.Below(high)
		if math.Abs(sum-1) > 1e-12 {
			t.Fatalf("the sides and the middle add to %.15g", sum)
		}
		if p.Within(conformity.Limits{Lower: math.Inf(-1), Upper: math.Inf(1)}) != 1 {
			t.Fatal("not certain to be within no limits")
		}
	})
}

// TestIntervalsKeepBounds: every method stays within its bounds whatever the history.
func TestIntervalsKeepBounds(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s, set := drawSeries(t, rapid.IntRange(1, 6).Draw(t, "n")), drawSettings(t)
		last := s.ordered()[len(s.Results)-1].Date
		all, err := Examine(Sensor{Serial: s.Serial, Due: last.AddDate(2, 0, 0), At: []Series{s}}, set, last.AddDate(0, 6, 0))
		if err != nil {
			t.Fatal(err)
		}
		b := Bounds{Shortest: rapid.Float64Range(30, 400).Draw(t, "shortest"), Longest: rapid.Float64Range(400, 3000).Draw(t, "longest")}
		for _, m := range []Method{Staircase{Current: 730, Fraction: 0.8, Extend: 1.5, Reduce: 0.6, Bounds: b}, DriftChart{Least: 3, Bounds: b}, Falling{Conformity: 0.95, Bounds: b}} {
			r, err := m.Recommend(all[0])
			if err != nil {
				t.Fatal(err)
			}
			switch {
			case r.Unknown != "":
				if !math.IsNaN(r.Days) || !r.Due.IsZero() {
					t.Fatalf("%s: unknown, but %+v", m.Name(), r)
				}
			case !(r.Days >= b.Shortest && r.Days <= b.Longest) || r.Reason == "" || len(r.Inputs) < 4:
				t.Fatalf("%s: %+v beyond %+v, or without reason and inputs", m.Name(), r, b)
			}
		}
	})
}
