package history

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// checksOf are checks every ten days from a day on.
func checksOf(prefix, from string, values ...float64) []Check {
	var all []Check
	for i, v := range values {
		all = append(all, Check{ID: fmt.Sprint(prefix, "-", i+1), Date: on(from).AddDate(0, 0, 10*i), Value: v})
	}
	return all
}

// TestNISTIndividuals is the example of individuals control charts of the NIST/SEMATECH e-Handbook, 6.3.2.2 (from memory; recomputed by hand: mean moving range
// 16.9/9 = 1.8778, 50.81 ± 3·1.8778/1.128).
func TestNISTIndividuals(t *testing.T) {
	l, alarms, err := Establish(checksOf("batch", "2025-01-01", 49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1), nil, ChartSettings{Least: 10, Width: 3})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "centre", l.Centre, 50.81, 1e-9)
	near(t, "mean range", l.MeanRange, 1.8778, 5e-5)
	near(t, "upper limit", l.Upper, 55.8041, 2e-3) // the example rounds d₂ to 1.128
	near(t, "lower limit", l.Lower, 45.8159, 2e-3)
	near(t, "largest range", l.LargestRange, 3.267*1.8778, 1e-3) // D₄ = 3.267 of tables
	if len(alarms) != 0 {
		t.Errorf("alarms %v, the example has none", alarms)
	}
}

// TestNISTEWMA is the example of EWMA charts of the NIST/SEMATECH e-Handbook, 6.3.2.4 (from memory; recomputed in decimals by hand): centre 50, s = 2.0539, λ = 0.3.
func TestNISTEWMA(t *testing.T) {
	l := Limits{Checks: checksOf("old", "2025-01-01", 50), Centre: 50, Sigma: 2.0539, Lower: 0, Upper: 100, LargestRange: 100, set: ChartSettings{Lambda: 0.3, WidthEWMA: 3}}
	x := []float64{52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, 49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1}
	want := []float64{50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33, 50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99}
	points, alarms, err := l.Judge(checksOf("new", "2026-01-01", x...))
	if err != nil {
		t.Fatal(err)
	}
	for i := range want {
		near(t, fmt.Sprint("EWMA ", i+1), points[i].EWMA, want[i], 0.0051)
	}
	last := points[len(points)-1]
	near(t, "upper limit", last.UpperEWMA, 52.5884, 5e-4)
	near(t, "lower limit", last.LowerEWMA, 47.4115, 5e-4)
	if len(alarms) != 0 {
		t.Errorf("alarms %v, the example has none", alarms)
	}
}

// steady are 24 checks that scatter by 0.001 about 1 without a pattern.
func steady() []Check {
	values := make([]float64, 24)
	for i := range values {
		values[i] = 1 + 0.001*math.Sin(7*float64(i*i))
	}
	return checksOf("IC", "2025-01-01", values...)
}

var usual = ChartSettings{Least: 20, Width: 3, Run: 8, Lambda: 0.2, WidthEWMA: 2.962}

// TestAlarms: each kind of change breaks its own rule, and the words name check, rule and numbers.
func TestAlarms(t *testing.T) {
	l, alarms, err := Establish(steady(), nil, usual)
	if err != nil || len(alarms) > 0 || len(l.Remarks) > 0 {
		t.Fatalf("%v, %v, %v", err, alarms, l.Remarks)
	}
	for _, c := range []struct {
		name   string
		values []float64
		rule   Rule
		at     string
		words  []string
	}{
		{"spike", []float64{1, 1.006, 1}, BeyondLimits, "N-2", []string{"check N-2 of 2026-02-11", "1.006 is above the limit of 1.00", "3 standard deviations"}},
		{"jump", []float64{1, 1.0058, 1}, LargeRange, "N-2", []string{"away from the check before"}},
		{"run", []float64{1.0006, 1.0003, 1.0004, 1.0003, 1.0003, 1.0005, 1.0004, 1.0004, 1.0003}, LongRun, "N-5", []string{"8th in a row"}},
		{"drift", []float64{0.999, 0.9988, 0.9986, 0.9984}, BeyondEWMA, "N-3", []string{"λ = 0.2", "L = 2.962", "below its limit"}},
	} {
		_, alarms, err := l.Judge(checksOf("N", "2026-02-01", c.values...))
		if err != nil {
			t.Fatal(err)
		}
		i := slices.IndexFunc(alarms, func(a Alarm) bool { return a.Rule == c.rule })
		if i < 0 || alarms[i].Point.ID != c.at {
			t.Errorf("%s: alarms %v, want %q at %s", c.name, alarms, c.rule, c.at)
			continue
		}
		for _, w := range c.words {
			if !strings.Contains(alarms[i].Words, w) {
				t.Errorf("%s: %q does not say %q", c.name, alarms[i].Words, w)
			}
		}
	}
}

// TestPhases: what is out in phase I is shown and stays in until it is excluded with a reason; phase II does not move the limits.
func TestPhases(t *testing.T) {
	checks := steady()
	checks[10].Value = 1.02
	l, alarms, err := Establish(checks, nil, usual)
	if err != nil {
		t.Fatal(err)
	}
	if !slices.ContainsFunc(alarms, func(a Alarm) bool { return a.Rule == BeyondLimits && a.Point.ID == "IC-11" }) || len(l.Checks) != 24 {
		t.Errorf("alarms %v of %d checks, want IC-11 named and all 24 kept", alarms, len(l.Checks))
	}
	clean, alarms, err := Establish(checks, []Exclusion{{"IC-11", "cable found loose"}}, usual)
	if err != nil || len(alarms) > 0 || len(clean.Checks) != 23 || !(clean.Upper < l.Upper) {
		t.Errorf("%v, alarms %v, %d checks, upper limit %g after %g", err, alarms, len(clean.Checks), clean.Upper, l.Upper)
	}
	together, _, err := clean.Judge(checksOf("N", "2026-02-01", 1.001, 0.999, 1.0005))
	if err != nil {
		t.Fatal(err)
	}
	alone, _, err := clean.Judge(checksOf("N", "2026-02-01", 1.001))
	if err != nil || together[0] != alone[0] {
		t.Errorf("%v: the first check is %+v alone and %+v with later ones", err, alone[0], together[0])
	}
	for name, f := range map[string]func() error{
		"no reason": func() error { _, _, err := Establish(checks, []Exclusion{{"IC-11", ""}}, usual); return err },
		"no check":  func() error { _, _, err := Establish(checks, []Exclusion{{"IC-99", "why"}}, usual); return err },
		"few":       func() error { _, _, err := Establish(checks[:19], nil, usual); return err },
		"equal": func() error {
			_, _, err := Establish(checksOf("IC", "2025-01-01", make([]float64, 30)...), nil, usual)
			return err
		},
		"twice":     func() error { _, _, err := clean.Judge(checks[:1]); return err },
		"old":       func() error { _, _, err := clean.Judge(checksOf("N", "2024-02-01", 1)); return err },
		"no limits": func() error { _, _, err := Limits{}.Judge(nil); return err },
		"settings":  func() error { _, _, err := Establish(checks, nil, ChartSettings{}); return err },
		"not finite": func() error {
			_, _, err := clean.Judge([]Check{{ID: "N", Date: on("2026-02-01"), Value: math.NaN()}})
			return err
		},
	} {
		if f() == nil {
			t.Errorf("%s: no error", name)
		}
	}
}

// TestWandering: a baseline with a trend gets a remark, one without does not.
func TestWandering(t *testing.T) {
	checks := steady()
	for i := range checks {
		checks[i].Value += 0.0003 * float64(i)
	}
	l, _, err := Establish(checks, nil, usual)
	if err != nil || len(l.Remarks) != 1 || !(l.StdDev > 1.5*l.Sigma) {
		t.Errorf("%v, remarks %v", err, l.Remarks)
	}
}

// TestSoundCharts simulates 4000 charts of 20 normal checks: Sigma is right on average, StdSigma is what it scatters by, and one sound chart in a hundred is said to wander.
func TestSoundCharts(t *testing.T) {
	const charts, n, seed = 4000, 20, 20261127
	r := rand.New(rand.NewPCG(seed, 3))
	var sum, squares, claimed, wandering float64
	for range charts {
		values := make([]float64, n)
		for i := range values {
			values[i] = 10 + 0.1*r.NormFloat64()
		}
		l, _, err := Establish(checksOf("I", "2025-01-01", values...), nil, ChartSettings{Least: n, Width: 3})
		if err != nil {
			t.Fatal(err)
		}
		sum, squares, claimed, wandering = sum+l.Sigma/0.1, squares+l.Sigma*l.Sigma/0.01, l.StdSigma, wandering+float64(len(l.Remarks))
	}
	mean := sum / charts
	std := math.Sqrt(squares/charts - mean*mean)
	t.Logf("seed %d: sigma %.4f ± %.4f, claimed ± %.4f; %.4f wander", seed, mean, std, claimed, wandering/charts)
	near(t, "sigma", mean, 1, 4*claimed/math.Sqrt(charts))
	near(t, "standard deviation of sigma", std, claimed, 4*claimed/math.Sqrt(2*charts))
	near(t, "share that wanders", wandering/charts, 0.01, 0.006) // normal approximation of von Neumann's ratio
}

// TestChartMoves: another unit and origin move the chart along and change no alarm.
func TestChartMoves(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		values := rapid.SliceOfN(rapid.Float64Range(-1, 1), 20, 40).Draw(t, "values")
		factor, shift := rapid.Float64Range(0.1, 10).Draw(t, "factor"), rapid.Float64Range(-5, 5).Draw(t, "shift")
		if slices.Min(values) > slices.Max(values)-1e-3 {
			return
		}
		moved := make([]float64, len(values))
		for i, v := range values {
			moved[i] = shift + factor*v
		}
		a, _, err := Establish(checksOf("I", "2025-01-01", values...), nil, usual)
		if err != nil {
			t.Fatal(err)
		}
		b, _, err := Establish(checksOf("I", "2025-01-01", moved...), nil, usual)
		if err != nil {
			t.Fatal(err)
		}
		for _, c := range [][2]float64{{shift + factor*a.Upper, b.Upper}, {shift + factor*a.Lower, b.Lower}, {factor * a.LargestRange, b.LargestRange}} {
			if math.Abs(c[0]-c[1]) > 1e-9*(1+math.Abs(c[0])) {
				t.Fatalf("moved limits %v", c)
			}
		}
	})
}
