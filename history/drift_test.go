package history

import (
	"math"
	"strings"
	"testing"
	"time"

	"plumbline/conformity"
	"plumbline/uncertainty"
)

var stated = Settings{Basis: Stated, Probability: 0.95, Significance: 0.05}

// yearly are results one year apart up to 2026-01-01, all with one reference.
func yearly(std, common float64, moduli ...float64) Series {
	s := Series{Serial: "A-0403", Frequency: 100, Tolerance: conformity.Limits{Lower: 0.97, Upper: 1.03}}
	for i, m := range moduli {
		s.Results = append(s.Results, Result{Certificate: "C-" + string(rune('1'+i)), Date: after(on("2026-01-01"), float64(i-len(moduli)+1)*year), Modulus: m, Std: std, K: 2, StdCommon: common, Shares: "R-201/7"})
	}
	return s
}

func has(t *testing.T, remarks []string, words string) {
	t.Helper()
	if !strings.Contains(strings.Join(remarks, "\n"), words) {
		t.Errorf("remarks %q do not say %q", remarks, words)
	}
}

// TestOne: one calibration tells its day, and later ones only with an assumed drift.
func TestOne(t *testing.T) {
	s := yearly(2e-3, 1e-3, 1)
	l, err := Fit(s, stated)
	if err != nil {
		t.Fatal(err)
	}
	has(t, l.Remarks, "nothing of drift")
	if p := l.Predict(l.Origin); math.Abs(p.U-1.96*2e-3) > 1e-6 || math.IsNaN(p.Within(s.Tolerance)) {
		t.Errorf("on its day %+v", p)
	}
	p := l.Predict(l.Origin.AddDate(1, 0, 0))
	if p.Unknown == "" || !math.IsNaN(p.Modulus) || !math.IsNaN(p.Within(s.Tolerance)) || !math.IsNaN(l.Rate) || l.Significant {
		t.Errorf("a year later %+v of line %+v: want nothing known", p, l)
	}
	set := stated
	set.Assumed = &Assumption{Std: 5e-3, Source: "40 sensors of the kind"}
	if l, err = Fit(s, set); err != nil {
		t.Fatal(err)
	}
	has(t, l.Remarks, "40 sensors")
	p = l.Predict(after(l.Origin, 2*year))
	near(t, "u after two years", p.Std, math.Hypot(2e-3, 2*5e-3), 1e-12)
}

// TestTwo: the slope is the difference over the time, its uncertainty that of the independent parts, √2 u/Δt; the basis of the scatter says nothing.
func TestTwo(t *testing.T) {
	s := yearly(math.Hypot(3e-3, 4e-3), 3e-3, 1, 1.01)
	l, err := Fit(s, stated)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "rate", l.Rate, math.Log(1.01), 1e-12)
	near(t, "u(rate)", l.Std, math.Sqrt2*4e-3, 1e-12)
	near(t, "P", l.P, 2*uncertainty.NormalCDF(-math.Log(1.01)/(math.Sqrt2*4e-3)), 1e-12)
	near(t, "u at the last", l.Predict(l.Origin).Std, 5e-3, 1e-12)
	near(t, "u a year later", l.Predict(after(l.Origin, year)).Std, math.Sqrt(9e-6+5*16e-6), 1e-12)
	has(t, l.Remarks, "nothing tests")
	if !math.IsNaN(l.Factor) || !math.IsNaN(l.PScatter) {
		t.Errorf("two calibrations have a scatter: %+v", l)
	}
	set := stated
	set.Basis = Scatter
	if l, err = Fit(s, set); err != nil {
		t.Fatal(err)
	}
	if l.Unknown == "" || !math.IsNaN(l.Std) || math.IsNaN(l.Rate) || l.Predict(l.Origin).Unknown == "" {
		t.Errorf("two calibrations by their scatter: %+v", l)
	}
}

// TestAlong: evenly spaced, with both ends, each what Predict says.
func TestAlong(t *testing.T) {
	l, err := Fit(yearly(5e-3, 3e-3, 1, 1.01, 1.015), stated)
	if err != nil {
		t.Fatal(err)
	}
	from, to := on("2024-01-01"), on("2028-01-01")
	all := l.Along(from, to, 4)
	if len(all) != 5 || !all[0].Date.Equal(from) || !all[4].Date.Equal(to) || all[4] != l.Predict(to) {
		t.Errorf("%+v", all)
	}
	for i := 3; i < 5; i++ {
		if !(all[i].U > all[i-1].U) { // the farther from the calibrations the wider
			t.Errorf("U %g on %s after %g", all[i].U, all[i].Date.Format(time.DateOnly), all[i-1].U)
		}
	}
	one, err := Fit(yearly(5e-3, 3e-3, 1), stated)
	if err != nil || one.Along(from, to, 4) != nil || l.Along(to, from, 4) != nil {
		t.Errorf("%v: a line where there is none", err)
	}
}

// TestScatterIsH3: with equal uncertainties and no common part the basis of the scatter is the line of GUM H.3 with its own standard uncertainty and degrees of freedom.
//
// Verifies: GUM H.3.2
func TestScatterIsH3(t *testing.T) {
	s := yearly(1e-2, 0, 1, 1.002, 1.001, 1.005, 1.004) // stated far too large: no excess
	l, err := Fit(s, Settings{Basis: Scatter, Probability: 0.95, Significance: 0.05})
	if err != nil {
		t.Fatal(err)
	}
	var x, y []float64
	for _, r := range s.Results {
		x, y = append(x, years(l.Origin, r.Date)), append(y, math.Log(r.Modulus))
	}
	line, err := uncertainty.FitLine(x, y, 0)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "rate", l.Rate, line.B, 1e-10)
	near(t, "u(rate)", l.Std, line.UB, 1e-10)
	near(t, "U(rate)", l.U, uncertainty.Coverage(0.95, 3)*line.UB, 1e-10)
	at, u := line.At(1)
	p := l.Predict(after(l.Origin, year))
	near(t, "prediction", p.Modulus, math.Exp(at), 1e-9)
	near(t, "u(prediction)", p.Std, u, 1e-9)
	near(t, "dof", l.Dof, 3, 0)
}

// TestThree: steps beyond what is stated are told, and only the larger basis widens for them.
func TestThree(t *testing.T) {
	s := yearly(1e-3, 0, 1, 1.02, 1.001)
	l, err := Fit(s, stated)
	if err != nil {
		t.Fatal(err)
	}
	has(t, l.Remarks, "one degree of freedom")
	has(t, l.Remarks, "steps, a mounting that differs")
	has(t, l.Remarks, "too favourable")
	set := stated
	set.Basis = Larger
	wide, err := Fit(s, set)
	if err != nil {
		t.Fatal(err)
	}
	if !(wide.U > 30*l.U) || wide.Dof != 1 || l.Dof != math.Inf(1) {
		t.Errorf("U of the rate %g by the larger basis, %g as stated; degrees of freedom %g and %g", wide.U, l.U, wide.Dof, l.Dof)
	}
}

// TestUnsplit: where the split is not known nothing that any correlation allows is left out.
func TestUnsplit(t *testing.T) {
	s := yearly(2e-3, math.NaN(), 1, 1.001, 1.002, 1.001)
	l, err := Fit(s, stated)
	if err != nil {
		t.Fatal(err)
	}
	has(t, l.Remarks, "4 of 4 certificates do not tell")
	p := l.Predict(after(l.Origin, year))
	for _, common := range []float64{0, 1e-3, 1.9e-3} {
		for _, references := range []int{1, 2, 4} {
			q := yearly(2e-3, common, 1, 1.001, 1.002, 1.001)
			for i := range q.Results {
				q.Results[i].Shares = string(rune('a' + i%references))
			}
			k, err := Fit(q, stated)
			if err != nil {
				t.Fatal(err)
			}
			if other := k.Predict(after(k.Origin, year)); k.Std > l.Std*(1+1e-9) || other.Std > p.Std*(1+1e-9) {
				t.Errorf("common part %g of %d references: u of rate and prediction %g, %g; stated where it is not known: %g, %g", common, references, k.Std, other.Std, l.Std, p.Std)
			}
		}
	}
}

// TestRefusals: every fault of a series and of the settings is named.
func TestRefusals(t *testing.T) {
	for want, f := range map[string]func(*Series, *Settings){
		"no basis":                  func(_ *Series, s *Settings) { s.Basis = NoBasis },
		"coverage probability 0":    func(_ *Series, s *Settings) { s.Probability = 0 },
		"significance 1":            func(_ *Series, s *Settings) { s.Significance = 1 },
		"assumed drift":             func(_ *Series, s *Settings) { s.Assumed = &Assumption{Std: 1} },
		"the frequency must be":     func(s *Series, _ *Settings) { s.Frequency = 0 },
		"tolerance from":            func(s *Series, _ *Settings) { s.Tolerance.Upper = 0 },
		"no results":                func(s *Series, _ *Settings) { s.Results = nil },
		"no certificate number":     func(s *Series, _ *Settings) { s.Results[1].Certificate = "" },
		`"C-1" stands there twice`:  func(s *Series, _ *Settings) { s.Results[1].Certificate = "C-1" },
		"no date":                   func(s *Series, _ *Settings) { s.Results[1].Date = time.Time{} },
		"modulus -1":                func(s *Series, _ *Settings) { s.Results[1].Modulus = -1 },
		"standard uncertainty 0":    func(s *Series, _ *Settings) { s.Results[1].Std = 0 },
		"coverage factor 0":         func(s *Series, _ *Settings) { s.Results[1].K = 0 },
		"common part 0.002":         func(s *Series, _ *Settings) { s.Results[1].StdCommon = 2e-3 },
		"no certificate of a refer": func(s *Series, _ *Settings) { s.Results[1].Shares = "" },
	} {
		s, set := yearly(2e-3, 1e-3, 1, 1, 1), stated
		f(&s, &set)
		if _, err := Fit(s, set); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("error %v, want %q", err, want)
		}
	}
	one := yearly(2e-3, 1e-3, 1, 1)
	one.Results[0].Date = one.Results[1].Date
	if l, err := Fit(one, stated); err != nil || !strings.Contains(l.Unknown, "of one day") || l.Predict(l.Origin).Unknown == "" {
		t.Errorf("two calibrations of one day: %+v, %v", l, err)
	}
}

// TestSuccessive: constructed numbers. U₁ = U₂ = 2·5e-3 with a common part of 3e-3: r = 9/25, U of the change 2·√2·4e-3.
func TestSuccessive(t *testing.T) {
	s := yearly(5e-3, 3e-3, 1, 1, 1.02)
	all, err := Successive(s)
	if err != nil || len(all) != 2 {
		t.Fatal(all, err)
	}
	near(t, "En of no change", all[0].En, 0, 0)
	near(t, "r", all[0].Correlation, 0.36, 1e-12)
	near(t, "U", all[0].U, 2*math.Sqrt2*4e-3, 1e-12)
	u := math.Sqrt(1 + 1.02*1.02 - 2*0.36*1.02)
	near(t, "En", all[1].En, 0.02/(0.01*u), 1e-12)
	if all[1].Agree || !all[0].Agree || all[1].Before.Certificate != "C-2" || all[1].After.Certificate != "C-3" {
		t.Errorf("%+v", all)
	}
	s.Results[2].Shares = "R-201/8"
	if all, err = Successive(s); err != nil || all[1].Correlation != 0 || math.Abs(all[1].En-0.02/(0.01*math.Hypot(1, 1.02))) > 1e-12 || all[1].Agree {
		t.Errorf("another reference: %+v, %v", all, err)
	}
	s.Results[2].StdCommon = math.NaN()
	if all, err = Successive(s); err != nil || !strings.Contains(all[1].Remark, "En is larger") {
		t.Errorf("split not known: %+v, %v", all, err)
	}
}
