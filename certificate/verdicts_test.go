package certificate_test

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"plumbline/certificate/certificatetest"
	"plumbline/conformity"
)

// judged is deviations from 1 Hz on, decided by a rule: well inside a tolerance of ±5 %, just inside, just outside and well outside, U = 1 %.
func judged(t *testing.T, rule conformity.Rule) []conformity.Statement {
	t.Helper()
	var list []conformity.Statement
	for i, value := range []float64{0, 0.02, 0.0455, 0.0545, 0.08} {
		s, err := conformity.Decide(conformity.Question{Subject: fmt.Sprintf("deviation at %d Hz from the sensitivity at 100 Hz", i+1), Requirement: "within ±5 %",
			Frequency: float64(i + 1), Value: value, Relative: true, Tolerance: conformity.Limits{Lower: -0.05, Upper: 0.05}}, rule, conformity.FirstOrder{Value: value, U: 0.01, K: 2, Dof: math.Inf(1)})
		if err != nil {
			t.Fatal(err)
		}
		list = append(list, s)
	}
	return list
}

// TestEveryVerdict decides by every rule there is and expects each verdict in words in the table, and on the first page with the number of its
// frequencies, none lost.
//
// Verifies: ISO/IEC 17025:2017 7.8.6.2
func TestEveryVerdict(t *testing.T) {
	seen := map[conformity.Verdict]bool{}
	for _, rule := range append(conformity.Rules(), conformity.GuardBand{R: 3}, conformity.NonBinary{R: 0.3}) {
		t.Run(rule.Name(), func(t *testing.T) {
			c := certificatetest.Fenwick()
			c.Statements = judged(t, rule)
			text := document(t, c).String()
			count := map[conformity.Verdict]int{}
			for _, s := range c.Statements {
				count[s.Verdict]++
				seen[s.Verdict] = true
				if row := fmt.Sprintf("| Deviation at %.0f\u2009Hz |", s.Frequency); !rowEnds(text, strings.ReplaceAll(row, "\u2009", " "), s.Verdict.String()) {
					t.Errorf("no row %s with %q", row, s.Verdict)
				}
			}
			_, brief, _ := strings.Cut(text, "Conformity: ")
			brief, _, _ = strings.Cut(brief, "\n")
			for v, n := range count {
				if want := fmt.Sprintf("%s at %d", v, n); !strings.Contains(brief, want) {
					t.Errorf("%q is not on the first page: %s", want, brief)
				}
			}
			if want := fmt.Sprintf("of %d frequencies", len(c.Statements)); !strings.HasSuffix(brief, want) {
				t.Errorf("got %q, want it to end with %q", brief, want)
			}
		})
	}
	for _, v := range conformity.Verdicts() {
		if v != conformity.NotDecided && !seen[v] {
			t.Errorf("no rule led to %q: the test does not show how it is printed", v)
		}
	}
	c := certificatetest.Fenwick()
	c.Statements = judged(t, conformity.GuardBand{R: 1})
	c.Statements[0].Verdict = conformity.NotDecided
	if text := document(t, c).String(); !strings.Contains(text, "conforms at 1, not decided at 1, does not conform at 3 of 5 frequencies") {
		t.Error("what is not decided is lost, or in another order")
	}
}

func rowEnds(text, start, verdict string) bool {
	for _, line := range strings.Split(text, "\n") {
		if strings.HasPrefix(line, start) && strings.Contains(line, "| "+verdict+" |") {
			return true
		}
	}
	return false
}

// TestRequirement expects of what and in which band: that judged, with the reference frequency where it belongs to it.
func TestRequirement(t *testing.T) {
	for want, edit := range map[string]func(*certificatetest.Case){
		"Deviation from 100\u2009Hz within ±5 % from 1\u2009Hz to 200\u2009Hz: ":  func(*certificatetest.Case) {},
		"Deviation from 100\u2009Hz within ±5 % from 1\u2009Hz to 100\u2009Hz: c": func(c *certificatetest.Case) { c.Statements = c.Statements[:8] },
		"Deviation from 100\u2009Hz within ±5 % from 1\u2009Hz to 50\u2009Hz: con": func(c *certificatetest.Case) {
			c.Statements, c.Result.Job.Device.FlatnessBand[1] = c.Statements[:8], 50
		},
		"Sensitivity at 100 Hz within ±10 % of 10 V/g: conforms": func(*certificatetest.Case) {},
		"Phase within ±2° of 0° from 1\u2009Hz to 200\u2009Hz: ": func(c *certificatetest.Case) {
			for i := range c.Statements {
				c.Statements[i].Phase, c.Statements[i].Relative, c.Statements[i].Requirement = true, false, "within ±2° of 0°"
			}
		},
	} {
		c := certificatetest.Fenwick()
		edit(&c)
		if text := document(t, c).String(); !strings.Contains(text, want) {
			t.Errorf("%q is not in the document", want)
		}
	}
}

// TestPhaseStatement expects a phase in degrees: 0.0349 rad are 2.00° (closed form).
func TestPhaseStatement(t *testing.T) {
	c := certificatetest.Fenwick()
	c.Statements = []conformity.Statement{{Subject: "phase at 1 Hz", Requirement: "within ±2° of 0°", Frequency: 1, Value: 0.01, U: 0.002, Phase: true, Rule: "simple acceptance",
		Tolerance: conformity.Limits{Lower: -math.Pi / 90, Upper: math.Pi / 90}, Acceptance: conformity.Limits{Lower: -math.Pi / 90, Upper: math.Pi / 90}, Verdict: conformity.Conforms}}
	if text := document(t, c).String(); !strings.Contains(text, "| Phase at 1 Hz | 0.57 | 0.11 | −2 | 2 | −2.000 | 2.000 |") {
		t.Error("a phase is not stated in degrees")
	}
}

// TestRiskOfTrials: with none of N trials outside, no less than 3/N can be said (closed form); first order has no trials.
func TestRiskOfTrials(t *testing.T) {
	for _, c := range []struct {
		evaluation string
		risk       float64
		trials     int
		want       string
	}{
		{"Monte Carlo", 0, 200000, "| <\u20090.0015 | conforms |"}, {"Monte Carlo", 0, 10000, "| <\u20090.030 | conforms |"}, {"Monte Carlo", 1, 10000, "| >\u200999.970 | conforms |"},
		{"Monte Carlo", 0.0012, 10000, "| 0.12 | conforms |"}, {"first order", 0, 0, "| <\u20090.01 | conforms |"},
	} {
		k := certificatetest.Fenwick()
		k.Statements = k.Statements[:1]
		k.Statements[0].Trials = c.trials
		k.Statements[0].Evaluation, k.Statements[0].Risk = c.evaluation, c.risk
		if text := document(t, k).String(); !strings.Contains(text, c.want) {
			t.Errorf("%s, risk %g of %d trials: %q is not in the document", c.evaluation, c.risk, c.trials, c.want)
		}
	}
}

// TestGlobalRisk: what is stated of such items stands beside the rule, with the largest risks of the group.
func TestGlobalRisk(t *testing.T) {
	k := certificatetest.Fenwick()
	if strings.Contains(document(t, k).String(), "Global risk") {
		t.Error("a global risk although nothing is stated of such items")
	}
	for i := range k.Statements {
		k.Statements[i].Global = &conformity.ItemRisk{Prior: "items of which 95 % lie within the tolerance", GlobalRisk: conformity.GlobalRisk{Consumer: 0.004 + 0.001*float64(i), Producer: 0.0155}}
	}
	text := document(t, k).String()
	for _, want := range []string{"Global risk, for items of which 95 % lie within the tolerance: accepted though outside the tolerance 0.40", "accepted though outside the tolerance up to "} {
		if !strings.Contains(text, want) {
			t.Errorf("%q is not in\n%s", want, text)
		}
	}
}

// TestTrialsInWords: a number where all values took as many trials, a range where they stopped by themselves.
func TestTrialsInWords(t *testing.T) {
	k := certificatetest.Fenwick()
	if text := document(t, k).String(); !strings.Contains(text, "took 200\u2009000 trials for each value, seeds") {
		t.Error("a fixed number of trials is not stated")
	}
	k.Result.Job.Procedure.Digits = 2
	k.Result.Points[1].Simulation.Trials = 491520
	if text := document(t, k).String(); !strings.Contains(text, "took 200\u2009000 to 491\u2009520 trials for each value (until two significant digits of the uncertainty were stable), seeds") {
		t.Error("trials until digits are stable are not stated")
	}
}
