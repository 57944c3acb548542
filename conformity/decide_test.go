package conformity

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"plumbline/uncertainty"
)

var inf = math.Inf(1)

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: %.10g, want %.10g within %.2g", what, got, want, tolerance)
	}
}

// decide is Decide for a value with k = 2 and infinite degrees of freedom.
func decide(t *testing.T, value, u float64, l Limits, rule Rule) Statement {
	t.Helper()
	s, err := Decide(Question{Subject: "x", Value: value, Tolerance: l}, rule, FirstOrder{Value: value, U: u, K: 2, Dof: inf})
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// JCGM 106, breakdown voltage of a Zener diode: limit -5.40 V, measured -5.47 V with u = 0.05 V, conformance probability 0.92 (from memory; recomputed
// 0.91924); and its table of one-sided z (0.8416 1.2816 1.6449 2.3263 3.0902).
//
// Verifies: JCGM 106 7
func TestConformanceProbability(t *testing.T) {
	s := decide(t, -5.47, 0.1, Limits{-inf, -5.40}, SimpleAcceptance{})
	near(t, "conformance probability", 1-s.Risk, 0.91924, 5e-6)
	if s.Verdict != Conforms {
		t.Errorf("verdict %v, want conforms", s.Verdict)
	}
	for p, z := range map[float64]float64{0.80: 0.8416, 0.90: 1.2816, 0.95: 1.6449, 0.99: 2.3263, 0.999: 3.0902} {
		near(t, "upper limit", 1-decide(t, 0, 2, Limits{-inf, z}, SimpleAcceptance{}).Risk, p, 2e-5)
		near(t, "lower limit", 1-decide(t, 0, 2, Limits{-z, inf}, SimpleAcceptance{}).Risk, p, 2e-5)
		near(t, "both limits", decide(t, 0, 2, Limits{-z, z}, SimpleAcceptance{}).Risk, 2*(1-p), 4e-5)
	}
}

// ILAC-G8:09/2019 Table 1 (from memory, recomputed): probability of false acceptance of a value on the acceptance limit of a one-sided tolerance, for a
// guard band of r U. The printed 0.16 % at r = 1.5 belongs to k = 1.96 and the printed 5 % at r = 0.83 to k = 2.
//
// Verifies: JCGM 106 8.2
// Verifies: JCGM 106 8.3.2
func TestRiskOnTheAcceptanceLimit(t *testing.T) {
	for _, c := range []struct{ r, k, risk float64 }{
		{3, 2, 9.9e-10}, {1.5, 2, 0.00135}, {1, 2, 0.02275}, {0.83, 2, 0.0485}, {0, 2, 0.5},
		{3, 1.959964, 2.1e-9}, {1.5, 1.959964, 0.00164}, {1, 1.959964, 0.0250}, {0.83, 1.959964, 0.0519}, {0, 1.959964, 0.5},
	} {
		const limit = 16.0
		q := Question{Subject: "x", Tolerance: Limits{-inf, limit}}
		q.Value = limit - c.r*0.5 // U = 0.5; exact in binary but for r = 0.83
		s, err := Decide(q, GuardBand{c.r}, FirstOrder{Value: q.Value, U: 0.5, K: c.k, Dof: inf})
		if err != nil {
			t.Fatal(err)
		}
		near(t, "specific risk", s.Risk, c.risk, 0.025*c.risk) // the numbers have two or three digits
		if s.Verdict != Conforms || s.Acceptance != (Limits{-inf, q.Value}) {
			t.Errorf("r %g: %v with acceptance limits %v; a value on the limit %v conforms", c.r, s.Verdict, s.Acceptance, q.Value)
		}
		q.Value = math.Nextafter(q.Value, inf)
		if s, err = Decide(q, GuardBand{c.r}, FirstOrder{Value: q.Value, U: 0.5, K: c.k, Dof: inf}); err != nil || s.Verdict != DoesNotConform {
			t.Errorf("r %g: %v, %v just above the acceptance limit", c.r, s.Verdict, err)
		}
	}
}

// A 10 V/g sensor with ±10 % at the reference frequency: 9.0 to 11.0 V/g is within tolerance (common practice, no source).
//
// Verifies: ISO/IEC 17025 7.8.6.1
// Verifies: ISO/IEC 17025 7.8.6.2
// Verifies: JCGM 106 8.3.3
func TestVerdicts(t *testing.T) {
	tolerance := Limits{9, 11}
	for _, c := range []struct {
		name    string
		value   float64
		u       float64
		rule    Rule
		want    Verdict
		remarks int
	}{
		{"inside, simple", 10.99, 0.1, SimpleAcceptance{}, Conforms, 0},
		{"on the limit, simple", 11, 0.1, SimpleAcceptance{}, Conforms, 0},
		{"on the lower limit, simple", 9, 0.1, SimpleAcceptance{}, Conforms, 0},
		{"outside, simple", 11.0000001, 0.1, SimpleAcceptance{}, DoesNotConform, 0},
		{"would round to 11.0 but lies outside", 11.04, 0.1, SimpleAcceptance{}, DoesNotConform, 0},
		{"within the guard band", 10.9, 0.125, GuardBand{1}, DoesNotConform, 0},
		{"on the guarded limit", 10.875, 0.125, GuardBand{1}, Conforms, 0},
		{"on the lower guarded limit", 9.125, 0.125, GuardBand{1}, Conforms, 0},
		{"guarded rejection: beyond the tolerance by less than U", 11.1, 0.125, GuardBand{-1}, Conforms, 0},
		{"guarded rejection: beyond it by more", 11.126, 0.125, GuardBand{-1}, DoesNotConform, 0},
		{"no uncertainty", 10.5, 0, GuardBand{1}, Conforms, 0},
		{"the acceptance interval is one value", 10, 1, GuardBand{1}, Conforms, 0},
		{"no acceptance interval", 10, 1.0001, GuardBand{1}, NotDecided, 1},
		{"no acceptance interval, value outside", 12, 1.5, GuardBand{1}, NotDecided, 2},
	} {
		s := decide(t, c.value, c.u, tolerance, c.rule)
		if s.Verdict != c.want || len(s.Remarks) != c.remarks {
			t.Errorf("%s: %v, remarks %q, want %v with %d", c.name, s.Verdict, s.Remarks, c.want, c.remarks)
		}
		if s.Value != c.value || s.U != c.u || s.Tolerance != tolerance || s.Rule != c.rule.String() || s.Evaluation != "first order" {
			t.Errorf("%s: the statement lost what it was taken on: %+v", c.name, s)
		}
	}
	if s := decide(t, 10, 1.5, tolerance, GuardBand{1}); !strings.Contains(s.Remarks[0], "no result could conform") {
		t.Errorf("remark %q", s.Remarks[0])
	}
	if s := decide(t, 10.5, 0, tolerance, SimpleAcceptance{}); s.Risk != 0 {
		t.Errorf("risk without uncertainty inside: %g, want 0", s.Risk)
	}
	if s := decide(t, 11.5, 0, tolerance, SimpleAcceptance{}); s.Risk != 1 {
		t.Errorf("risk without uncertainty outside: %g, want 1", s.Risk)
	}
}

// With few degrees of freedom the true value is scaled Student t: 2.5 % beyond t(4) = 2.7764 standard uncertainties (GUM Table G.2), where a normal
// distribution would say 0.28 %.
func TestRiskWithFewDegreesOfFreedom(t *testing.T) {
	k := uncertainty.Coverage(0.95, 4)
	s, err := Decide(Question{Value: 10, Tolerance: Limits{-inf, 10 + 2.7764*0.1}}, SimpleAcceptance{}, FirstOrder{Value: 10, U: k * 0.1, K: k, Dof: 4})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "risk", s.Risk, 0.025, 2e-6)
}

// The evaluation that is stated decides: a rectangular effect that just fits the tolerance has no risk by Monte Carlo, but one by first order
// (closed forms: 0, and 2Φ(-√3) = 8.33 %).
func TestEvaluationThatDecides(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 1))
	sample := make([]float64, 100_000) // relative modulus within 1 ± 0.05
	for i := range sample {
		sample[i] = 1 + 0.05*(2*r.Float64()-1)
	}
	q := Question{Value: 10, Tolerance: Limits{9.5, 10.5}}
	u := 10 * 0.05 / math.Sqrt(3)
	first, err := Decide(q, SimpleAcceptance{}, FirstOrder{Value: 10, U: 2 * u, K: 2, Dof: inf})
	if err != nil {
		t.Fatal(err)
	}
	second, err := Decide(q, SimpleAcceptance{}, MonteCarlo{U: 0.475, Sample: sample, Scale: 10})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "first order", first.Risk, 2*uncertainty.NormalCDF(-math.Sqrt(3)), 1e-12)
	near(t, "Monte Carlo", second.Risk, 0, 0)
	if first.Evaluation != "first order" || second.Evaluation != "Monte Carlo" || second.U != 0.475 {
		t.Errorf("evaluations %q, %q, U %g", first.Evaluation, second.Evaluation, second.U)
	}
	// As a deviation: offset -1; beyond +4 % lies a tenth of the sample.
	q = Question{Value: 0, Relative: true, Tolerance: Limits{-0.05, 0.04}}
	third, err := Decide(q, SimpleAcceptance{}, MonteCarlo{U: 0.0475, Sample: sample, Scale: 1, Offset: -1})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "tenth", third.Risk, 0.1, 5e-3)
}

// JCGM GUM-5:2026 example 10 (read in a public regression script; recomputed 0.1133): prior lognormal(-2.325; 0.434), reading 0.225 with u of 7 %,
// limit 0.2. The rejected item conforms nevertheless with probability 0.11. The sample is the quantiles of the posterior.
//
// Verifies: JCGM 106 7
func TestSpecificProducersRisk(t *testing.T) {
	const n, reading, u = 200_000, 0.225, 0.07 * 0.225
	cumulated := make([]float64, n+1)
	at := func(i float64) float64 { return i / n }
	for i := 1; i <= n; i++ {
		x := at(float64(i) - 0.5)
		prior := math.Exp(-math.Pow((math.Log(x)+2.325)/0.434, 2)/2) / x
		cumulated[i] = cumulated[i-1] + prior*math.Exp(-math.Pow((reading-x)/u, 2)/2)
	}
	const m = 20_000
	sample := make([]float64, m)
	k := 0
	for i := range sample {
		for cumulated[k+1] < (float64(i)+0.5)/m*cumulated[n] {
			k++
		}
		sample[i] = at(float64(k) + 0.5)
	}
	s, err := Decide(Question{Value: reading, Tolerance: Limits{-inf, 0.2}}, SimpleAcceptance{}, MonteCarlo{U: 2 * u, Sample: sample, Scale: 1})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "producer's risk", 1-s.Risk, 0.1133, 1e-4)
	if s.Verdict != DoesNotConform {
		t.Errorf("verdict %v, want does not conform", s.Verdict)
	}
}

// A longer guard band never accepts more, an accepted value with a guard band of U has a risk of 2.5 % or less, and the risk is a probability.
func TestGuardBandIsSafer(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		value, u := rapid.Float64Range(-2, 2).Draw(t, "value"), rapid.Float64Range(0.001, 1.5).Draw(t, "U")
		dof := rapid.SampledFrom([]float64{1, 3.3, 50, math.Inf(1)}).Draw(t, "dof")
		k := uncertainty.Coverage(0.9545, dof)
		l := Limits{-1, 1}
		accepted := true
		for _, r := range []float64{-1, 0, 0.5, 1, 2} {
			s, err := Decide(Question{Value: value, Tolerance: l}, GuardBand{r}, FirstOrder{Value: value, U: u, K: k, Dof: dof})
			if err != nil || !(s.Risk >= 0 && s.Risk <= 1) {
				t.Fatalf("%+v, %v", s, err)
			}
			if s.Verdict == Conforms && !accepted {
				t.Fatalf("guard band %g accepts what a shorter one does not: %+v", r, s)
			}
			accepted = s.Verdict == Conforms
			if accepted && r == 1 && s.Risk > 0.0455+1e-9 { // one tail at the limit, both where the acceptance interval shrinks to a value
				t.Fatalf("accepted with a risk of %g", s.Risk)
			}
		}
	})
}

func TestDecideRefuses(t *testing.T) {
	fine := Question{Subject: "sensitivity at 100 Hz", Value: 10, Tolerance: Limits{9, 11}}
	e := FirstOrder{Value: 10, U: 0.1, K: 2, Dof: inf}
	for _, c := range []struct {
		q    Question
		rule Rule
		e    Evidence
		want string
	}{
		{fine, nil, e, "sensitivity at 100 Hz: no decision rule stated"},
		{Question{Value: math.NaN(), Tolerance: Limits{9, 11}}, SimpleAcceptance{}, e, "value NaN"},
		{fine, SimpleAcceptance{}, FirstOrder{Value: 10, U: math.NaN(), K: 2, Dof: inf}, "expanded uncertainty NaN"},
		{fine, SimpleAcceptance{}, FirstOrder{Value: 10, U: -1, K: 2, Dof: inf}, "expanded uncertainty -1"},
		{fine, SimpleAcceptance{}, FirstOrder{Value: 10, U: 0.1, Dof: inf}, "distribution of the true value is not known"},
		{fine, SimpleAcceptance{}, FirstOrder{Value: 10, U: 0.1, K: 2}, "distribution of the true value is not known"},
		{fine, SimpleAcceptance{}, MonteCarlo{U: 0.1, Scale: 1}, "distribution of the true value is not known"},
		{fine, SimpleAcceptance{}, MonteCarlo{U: 0.1, Sample: []float64{1}}, "distribution of the true value is not known"},
		{Question{Value: 1, Tolerance: Limits{2, 1}}, SimpleAcceptance{}, e, "tolerance limits 2 and 1"},
		{Question{Value: 1, Tolerance: Limits{math.NaN(), 1}}, SimpleAcceptance{}, e, "tolerance limits NaN and 1"},
		{Question{Value: 1, Tolerance: Limits{-inf, inf}}, SimpleAcceptance{}, e, "no tolerance limit"},
	} {
		if s, err := Decide(c.q, c.rule, c.e); err == nil || !strings.Contains(err.Error(), c.want) || s.Verdict != NotDecided {
			t.Errorf("Decide: %v, %v, want %q", s.Verdict, err, c.want)
		}
	}
}

// Verifies: ISO/IEC 17025 3.7
func TestRules(t *testing.T) {
	for _, rule := range append(Rules(), GuardBand{0.83}, GuardBand{-1}, GuardBand{1.125}, GuardBand{3}, NonBinary{0.5}, SpecificRisk{0.05}, SpecificRisk{0.001}, SpecificRisk{0.5}) {
		got, err := ParseRule(rule.Name())
		if err != nil || got != rule {
			t.Errorf("ParseRule(%q) = %v, %v, want %v", rule.Name(), got, err, rule)
		}
	}
	for rule, want := range map[Rule]string{
		SimpleAcceptance{}:  "simple acceptance: guard band w = 0 (acceptance interval equal to the tolerance interval)",
		GuardBand{1}:        "guard band w = 1.00 U inside each tolerance limit (acceptance interval narrower than the tolerance interval)",
		GuardBand{1.125}:    "guard band w = 1.125 U inside each tolerance limit (acceptance interval narrower than the tolerance interval)",
		GuardBand{-1}:       "guard band w = 1.00 U outside each tolerance limit (acceptance interval wider than the tolerance interval)",
		SpecificRisk{0.025}: "guard bands such that the probability of the true value lying outside the tolerance interval is at most 2.5 % for every accepted value (specific risk)",
		NonBinary{0.5}: "non-binary, guard band w = 0.50 U on both sides of each tolerance limit: conforms (pass) inside it by w or more, conditionally conforms (conditional pass) inside it by less, " +
			"conditionally does not conform (conditional fail) outside it by w or less, does not conform (fail) outside it by more",
	} {
		if rule.String() != want {
			t.Errorf("%s: %q, want %q", rule.Name(), rule.String(), want)
		}
	}
	for text, want := range map[string]string{
		"": `want one such as "simple acceptance", "guard band 1 U", "non-binary guard band 1 U", "specific risk 2.5 %", "managed guard band"`, "guard band": "such as", "guard band 1": "such as",
		"guard band x U": "such as", "1 U": "such as", "managed": "such as", "specific risk 2.5": "such as",
		"guard band 3.1 U": "guard band of 3.1 U, want -1 to 3", "guard band -1.5 U": "want -1 to 3", "guard band NaN U": "want -1 to 3",
		"non-binary guard band 0 U": "guard band of 0 U, want more than 0 and at most 3", "non-binary guard band -1 U": "want more than 0", "specific risk 0 %": "specific risk of 0 %, want more than 0 %",
		"specific risk 51 %": "at most 50 %", "specific risk NaN %": "specific risk of NaN %",
	} {
		if _, err := ParseRule(text); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("ParseRule(%q): %v, want %q", text, err, want)
		}
	}
}

// The worst verdict is that of the whole.
func TestOverall(t *testing.T) {
	for _, c := range []struct {
		verdicts []Verdict
		want     Verdict
	}{
		{nil, NotDecided}, {[]Verdict{Conforms}, Conforms}, {[]Verdict{Conforms, Conforms}, Conforms}, {[]Verdict{Conforms, NotDecided}, NotDecided},
		{[]Verdict{NotDecided, Conforms}, NotDecided}, {[]Verdict{NotDecided, DoesNotConform, Conforms}, DoesNotConform}, {[]Verdict{DoesNotConform}, DoesNotConform},
		{[]Verdict{Conforms, ConditionallyConforms}, ConditionallyConforms}, {[]Verdict{ConditionallyConforms, NotDecided}, NotDecided},
		{[]Verdict{NotDecided, ConditionallyDoesNotConform, Conforms}, ConditionallyDoesNotConform}, {[]Verdict{ConditionallyDoesNotConform, DoesNotConform}, DoesNotConform},
	} {
		var statements []Statement
		for _, v := range c.verdicts {
			statements = append(statements, Statement{Verdict: v})
		}
		if got := Overall(statements); got != c.want {
			t.Errorf("Overall(%v) = %v, want %v", c.verdicts, got, c.want)
		}
	}
	var words []string
	for _, v := range Verdicts() {
		words = append(words, v.String())
	}
	if got := strings.Join(words, ", "); got != "conforms, conditionally conforms, not decided, conditionally does not conform, does not conform" {
		t.Errorf("verdicts in words: %s", got)
	}
}

// Four verdicts about 9 to 11 with U = 0.125 and a guard band of U; the limits belong to the better side. ILAC-G8 4.2.3 (names read in public copies, limits from memory).
//
// Verifies: ILAC-G8 4.2.3
func TestNonBinary(t *testing.T) {
	for _, c := range []struct {
		value   float64
		want    Verdict
		remarks int
	}{
		{10, Conforms, 0}, {10.875, Conforms, 0}, {9.125, Conforms, 0}, {10.88, ConditionallyConforms, 1}, {11, ConditionallyConforms, 1}, {9, ConditionallyConforms, 1},
		{11.0001, ConditionallyDoesNotConform, 1}, {11.125, ConditionallyDoesNotConform, 1}, {8.875, ConditionallyDoesNotConform, 1}, {11.126, DoesNotConform, 0}, {8, DoesNotConform, 0},
	} {
		s := decide(t, c.value, 0.125, Limits{9, 11}, NonBinary{1})
		if s.Verdict != c.want || len(s.Remarks) != c.remarks || s.Acceptance != (Limits{9.125, 10.875}) {
			t.Errorf("%g: %v, acceptance %v, remarks %q, want %v", c.value, s.Verdict, s.Acceptance, s.Remarks, c.want)
		}
	}
	// A guard band wider than the tolerance leaves no pass, but still a conditional one.
	for value, want := range map[float64]Verdict{10: ConditionallyConforms, 12: ConditionallyDoesNotConform, 13: DoesNotConform} {
		if s := decide(t, value, 1.5, Limits{9, 11}, NonBinary{1}); s.Verdict != want || !strings.Contains(s.Remarks[0], "no result could conform without condition") {
			t.Errorf("%g with U 1.5: %v, %q, want %v", value, s.Verdict, s.Remarks, want)
		}
	}
	if s := decide(t, 10.99, 0.125, Limits{math.Inf(-1), 11}, NonBinary{1}); s.Verdict != ConditionallyConforms {
		t.Errorf("one limit: %v", s.Verdict)
	}
}
