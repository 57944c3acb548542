package uncertainty

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// With V = s²·1 of the thermometer's residuals the line is the one published (GUM H.3; recomputed to more digits), and chi-squared is n - 2 by construction.
//
// Verifies: GUM H.3.2
// Verifies: GUM H.3.4
func TestCorrelatedLineOfThermometer(t *testing.T) {
	x := []float64{21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511}
	y := []float64{-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160}
	l, err := FitCorrelatedLine(x, y, scaled(len(x), 1.10096583e-4/9), 20)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "y1", l.A, -0.17120379, 5e-9)
	near(t, "u(y1)", l.UA, 0.0028776, 5e-8)
	near(t, "y2", l.B, 0.0021827, 5e-8)
	near(t, "u(y2)", l.UB, 0.00066794, 5e-9)
	near(t, "r(y1,y2)", l.Correlation, -0.93043, 5e-6)
	near(t, "chi-squared", l.ChiSquare, 9, 1e-6)
	at, u := l.At(30)
	near(t, "b(30)", at, -0.149377, 5e-7)
	near(t, "u(b(30))", u, 0.0041386, 5e-8)
}

func scaled(n int, variance float64) [][]float64 {
	v := make([][]float64, n)
	for i := range v {
		v[i] = make([]float64, n)
		v[i][i] = variance
	}
	return v
}

// TestCorrelatedLineProperties: the weights make the line and its uncertainty, a part common to all values moves the level alone, equal variances make FitLine.
func TestCorrelatedLineProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(3, 9).Draw(t, "n")
		x, y := make([]float64, n), make([]float64, n)
		v := scaled(n, 0)
		for i := range x {
			x[i] = 2*float64(i) + rapid.Float64Range(-0.9, 0.9).Draw(t, "x")
			y[i] = rapid.Float64Range(-1, 1).Draw(t, "y")
			u := rapid.Float64Range(0.1, 2).Draw(t, "u")
			v[i][i] = u * u
		}
		common := rapid.Float64Range(0, 3).Draw(t, "common")
		w := scaled(n, 0)
		for i := range w {
			for k := range w {
				w[i][k] = v[i][k] + common*common
			}
		}
		x0, at := rapid.Float64Range(-5, 20).Draw(t, "x0"), rapid.Float64Range(-5, 25).Draw(t, "at")
		a, err := FitCorrelatedLine(x, y, v, x0)
		if err != nil {
			t.Fatal(err)
		}
		b, err := FitCorrelatedLine(x, y, w, x0)
		if err != nil {
			t.Fatal(err)
		}
		same := func(what string, got, want float64) {
			if math.Abs(got-want) > 1e-8*(1+math.Abs(want)) {
				t.Fatalf("%s: %g, want %g", what, got, want)
			}
		}
		ya, ua := a.At(at)
		yb, ub := b.At(at)
		same("line", yb, ya)
		same("slope", b.UB, a.UB)
		same("level", ub*ub, ua*ua+common*common)
		same("chi-squared", b.ChiSquare, a.ChiSquare)
		var sum, value, slope, variance float64
		for i, wi := range b.Weights(at) {
			sum, value, slope = sum+wi, value+wi*y[i], slope+b.SlopeWeights()[i]*y[i]
			for k, wk := range b.Weights(at) {
				variance += wi * wk * w[i][k]
			}
		}
		same("sum of weights", sum, 1)
		same("weighted values", value, yb)
		same("weighted slope", slope, b.B)
		same("weighted variances", variance, ub*ub)
		c, err := FitCorrelatedLine(x, y, scaled(n, 1), x0)
		if err != nil {
			t.Fatal(err)
		}
		l, err := FitLine(x, y, x0)
		if err != nil {
			t.Fatal(err)
		}
		same("A", c.A, l.A)
		same("B", c.B, l.B)
		same("S", math.Sqrt(c.ChiSquare/c.Dof), l.S)
		same("UA", c.UA*l.S, l.UA)
		same("correlation", c.Correlation, l.Correlation)
	})
}

func TestCorrelatedLineRefuses(t *testing.T) {
	for name, c := range map[string]struct {
		x, y []float64
		v    [][]float64
	}{
		"one":          {[]float64{1}, []float64{1}, scaled(1, 1)},
		"lengths":      {[]float64{1, 2}, []float64{1}, scaled(2, 1)},
		"same x":       {[]float64{1, 1, 1}, []float64{1, 2, 3}, scaled(3, 1)},
		"not finite":   {[]float64{1, 2}, []float64{1, math.NaN()}, scaled(2, 1)},
		"matrix":       {[]float64{1, 2}, []float64{1, 2}, scaled(3, 1)},
		"no variance":  {[]float64{1, 2}, []float64{1, 2}, scaled(2, 0)},
		"wholly bound": {[]float64{1, 2}, []float64{1, 2}, [][]float64{{1, 1}, {1, 1}}},
	} {
		if _, err := FitCorrelatedLine(c.x, c.y, c.v, 0); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
	l, err := FitCorrelatedLine([]float64{1, 2}, []float64{1, 2}, scaled(2, 1), 0)
	if err != nil || !math.IsNaN(l.Probability()) || math.Abs(l.UB-math.Sqrt2) > 1e-15 {
		t.Errorf("two values: %+v, %v", l, err)
	}
}
