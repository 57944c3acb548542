package history

import (
	"encoding/json"
	"fmt"
	"math"
	"os/exec"
	"testing"

	"plumbline/conformity"
)

// sixResults are those of testdata/reference.py.
func sixResults() Series {
	s := Series{Serial: "A-0402", Frequency: 100, Tolerance: conformity.Limits{Lower: 0.996, Upper: 1.001}}
	x := []float64{-5.1, -4.0, -3.05, -2.0, -0.9, 0.0}
	m := []float64{1.0021, 1.0008, 1.0012, 0.9990, 0.9981, 0.9987}
	u := []float64{2.5e-3, 2.2e-3, 2.0e-3, 2.2e-3, 1.8e-3, 1.9e-3}
	c := []float64{2.0e-3, 2.0e-3, 1.7e-3, 1.5e-3, 1.5e-3, 1.5e-3}
	for i := range x {
		s.Results = append(s.Results, Result{Certificate: fmt.Sprint("C-", i), Date: after(on("2026-01-01"), x[i]*year), Modulus: m[i], Std: u[i], K: 2, StdCommon: c[i], Shares: fmt.Sprint("R-201/", i/3)})
	}
	return s
}

// TestAgainstScipy compares the line, its predictions, the mixture of normal and t, the adjusted probabilities, the run lengths and the charts with numpy and scipy.
//
// Verifies: GUM H.3.2
// Verifies: GUM H.3.4
func TestAgainstScipy(t *testing.T) {
	out, err := exec.Command("/usr/bin/python3", "testdata/reference.py").Output()
	if err != nil {
		t.Fatalf("scipy reference: %v (Debian package python3-scipy)", err)
	}
	var ref struct {
		Stated           struct{ A, B, Ua, Ub, R, Chi2, P_scatter, P float64 }
		Scatter          struct{ Tau, Modulus, U, Within, Half float64 }
		Mixtures         [][5]float64
		Lengths          [][4]float64
		Adjusted, Robust []float64
		Chart            struct {
			Base, New []float64
			Sigma     float64
			Path      [][2]float64
		}
	}
	if err := json.Unmarshal(out, &ref); err != nil {
		t.Fatal(err)
	}
	s := sixResults()
	l, err := Fit(s, Settings{Basis: Stated, Probability: 0.95, Significance: 0.05})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "level", l.Modulus, 1.0021*math.Exp(ref.Stated.A), 1e-9)
	near(t, "rate", l.Rate, ref.Stated.B, 1e-10)
	near(t, "u(rate)", l.Std, ref.Stated.Ub, 1e-10)
	near(t, "P", l.P, ref.Stated.P, 1e-7)
	near(t, "P of the scatter", l.PScatter, ref.Stated.P_scatter, 1e-7)
	near(t, "u(level)", l.Predict(l.Origin).Std, ref.Stated.Ua, 1e-10)
	if l, err = Fit(s, Settings{Basis: Scatter, Probability: 0.95, Significance: 0.05}); err != nil {
		t.Fatal(err)
	}
	p := l.Predict(after(l.Origin, year))
	near(t, "factor", l.Factor, ref.Scatter.Tau, 1e-7)
	near(t, "prediction", p.Modulus, ref.Scatter.Modulus, 1e-9)
	near(t, "u(prediction)", p.Std, ref.Scatter.U, 1e-9)
	near(t, "U(prediction)", p.U, ref.Scatter.Half, 1e-9)
	near(t, "within", p.Within(s.Tolerance), ref.Scatter.Within, 1e-7)
	for _, m := range ref.Mixtures {
		near(t, fmt.Sprint("mixture ", m[:4]), spread{normal: m[0], scale: m[1], dof: m[2]}.cdf(m[3]), m[4], 1e-9)
	}
	checkLengths(t, ref.Lengths)
	rows := make([]Row, len(ref.Adjusted))
	for i, p := range []float64{0.001, 0.012, 0.9, 0.03, 0.04, 0.2, 0.011} {
		rows[i].Line.P = p
	}
	adjust(rows, 0.05)
	for i, want := range ref.Adjusted {
		near(t, "adjusted P", rows[i].PAdjusted, want, 1e-12)
		if rows[i].Drifts != (want <= 0.05) {
			t.Errorf("row %d of adjusted P %g drifts: %v", i, want, rows[i].Drifts)
		}
	}
	middle, spread := robust([]float64{1.02, 0.97, 1.0, 1.05, 0.99, 1.4})
	near(t, "median", middle, ref.Robust[0], 1e-12)
	near(t, "spread", spread, ref.Robust[1], 1e-9)
	limits, _, err := Establish(checksOf("I", "2025-01-01", ref.Chart.Base...), nil, ChartSettings{Least: 20, Width: 3, Lambda: 0.2, WidthEWMA: 2.7})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "sigma", limits.Sigma, ref.Chart.Sigma, 1e-14)
	points, alarms, err := limits.Judge(checksOf("II", "2026-01-01", ref.Chart.New...))
	if err != nil {
		t.Fatal(err)
	}
	beyond := 0
	for i, want := range ref.Chart.Path {
		near(t, "EWMA", points[i].EWMA, want[0], 1e-12)
		near(t, "limit of the EWMA", points[i].UpperEWMA, want[1], 1e-12)
		if want[0] > want[1] {
			beyond++
		}
	}
	for _, a := range alarms {
		if a.Rule == BeyondEWMA {
			beyond--
		}
	}
	if beyond != 0 {
		t.Errorf("%d alarms of the EWMA too few", beyond)
	}
}

// checkLengths compares run lengths with a Markov chain's, whose own error is some 1e-5, and with those of Lucas and Saccucci 1990, Table 3 (from memory: the pairs of λ and
// L of the first two lines are those for 500 checks between false alarms).
func checkLengths(t *testing.T, reference [][4]float64) {
	t.Helper()
	for _, r := range reference {
		got, err := RunLength(r[0], r[1], r[2])
		if err != nil {
			t.Fatal(err)
		}
		near(t, fmt.Sprint("run length ", r[:3]), got, r[3], 3e-4*r[3])
	}
	for _, c := range [][4]float64{{0.1, 2.814, 500, 1}, {0.25, 2.998, 500, 1}, {1, 3, 370.4, 0.05}} {
		got, err := RunLength(c[0], c[1], 0)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "published run length", got, c[2], c[3])
	}
	if _, err := RunLength(0, 3, 0); err == nil {
		t.Error("a run length without a lambda")
	}
}
