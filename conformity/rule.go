package conformity

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Rule is a decision rule: which values are accepted.
//
// Clause: ISO/IEC 17025 3.7
type Rule interface {
	Accept(q Question, evidence Evidence) (Limits, error) // acceptance limits, lower above upper where nothing can be accepted; an error where the rule does not fit
	Name() string                                         // as written in a job and read by ParseRule
	String() string                                       // in words, for a certificate
}

// conditional is a rule with verdicts between conforming and not: values within its outer limits do not conform conditionally only.
type conditional interface {
	outer(q Question, evidence Evidence) Limits
}

// within moves both limits inwards by w; a side without a limit stays without.
func (l Limits) within(w float64) Limits { return Limits{l.Lower + w, l.Upper - w} }

// SimpleAcceptance is the rule without a guard band: the acceptance limits are the tolerance limits.
//
// Clause: JCGM 106 8.2
type SimpleAcceptance struct{}

// Accept is the tolerance.
func (SimpleAcceptance) Accept(q Question, _ Evidence) (Limits, error) { return q.Tolerance, nil }

// Name is "simple acceptance".
func (SimpleAcceptance) Name() string { return simple }

func (SimpleAcceptance) String() string {
	return "simple acceptance: guard band w = 0 (acceptance interval equal to the tolerance interval)"
}

// GuardBand is the rule with a guard band of R times the expanded uncertainty: guarded acceptance, or guarded rejection where R is negative.
//
// Clause: JCGM 106 8.3.2
// Clause: JCGM 106 8.3.3
type GuardBand struct{ R float64 }

// Guard is the length of the guard band, w = R·U.
func (g GuardBand) Guard(expanded float64) float64 { return g.R * expanded }

// Accept moves the tolerance limits by the guard band.
func (g GuardBand) Accept(q Question, evidence Evidence) (Limits, error) {
	return q.Tolerance.within(g.Guard(evidence.Expanded())), nil
}

// Name is for example "guard band 1 U".
func (g GuardBand) Name() string { return guard + strconv.FormatFloat(g.R, 'f', -1, 64) + guardUnit }

func (g GuardBand) String() string {
	if g.R < 0 {
		return "guard band w = " + factor(-g.R) + " U outside each tolerance limit (acceptance interval wider than the tolerance interval)"
	}
	return "guard band w = " + factor(g.R) + " U inside each tolerance limit (acceptance interval narrower than the tolerance interval)"
}

// factor writes a factor of U with at least two decimals.
func factor(r float64) string {
	text := strconv.FormatFloat(r, 'f', -1, 64)
	if _, decimals, _ := strings.Cut(text, "."); len(decimals) < 2 {
		return strconv.FormatFloat(r, 'f', 2, 64)
	}
	return text
}

// NonBinary is the rule of four verdicts with a guard band of R·U, above 0, on both sides of every tolerance limit: pass, conditional pass, conditional fail, fail.
//
// Clause: ILAC-G8 4.2.3
type NonBinary struct{ R float64 }

// Guard is the length of the guard band, w = R·U.
func (g NonBinary) Guard(expanded float64) float64 { return g.R * expanded }

// Accept is where a value conforms without condition.
func (g NonBinary) Accept(q Question, evidence Evidence) (Limits, error) {
	return q.Tolerance.within(g.Guard(evidence.Expanded())), nil
}

func (g NonBinary) outer(q Question, evidence Evidence) Limits {
	return q.Tolerance.within(-g.Guard(evidence.Expanded()))
}

// Name is for example "non-binary guard band 1 U".
func (g NonBinary) Name() string { return nonBinary + GuardBand(g).Name() }

func (g NonBinary) String() string {
	return "non-binary, guard band w = " + factor(g.R) + " U on both sides of each tolerance limit: conforms (pass) inside it by w or more, conditionally conforms (conditional pass) " +
		"inside it by less, conditionally does not conform (conditional fail) outside it by w or less, does not conform (fail) outside it by more"
}

// ManagedGuardBand is the rule with the guard band that keeps the global consumer's risk below 2 % for two limits, items distributed normally about their middle however
// widely, and an expanded uncertainty U with k = 2 (2.02 % with 1.96; Dobbert 2008): w = U (1.04 - exp(0.38 ln TUR - 0.54)), TUR = T/U with T half the tolerance. From
// a TUR of about 4.6 on there is no guard band; it is never negative.
type ManagedGuardBand struct{}

// Guard is the length of the guard band for a tolerance of ±half.
func (ManagedGuardBand) Guard(half, expanded float64) float64 {
	if expanded == 0 {
		return 0
	}
	return expanded * math.Max(0, 1.04-math.Exp(0.38*math.Log(half/expanded)-0.54))
}

// Accept moves the tolerance limits by the guard band. It is an error where the tolerance has one limit only.
func (g ManagedGuardBand) Accept(q Question, evidence Evidence) (Limits, error) {
	half := (q.Tolerance.Upper - q.Tolerance.Lower) / 2
	if math.IsInf(half, 0) {
		return Limits{}, fmt.Errorf("decision rule %q: tolerance limits %g and %g, want two finite ones", g.Name(), q.Tolerance.Lower, q.Tolerance.Upper)
	}
	return q.Tolerance.within(g.Guard(half, evidence.Expanded())), nil
}

// Name is "managed guard band".
func (ManagedGuardBand) Name() string { return managed }

func (ManagedGuardBand) String() string {
	return "guard band w = U (1.04 - exp(0.38 ln TUR - 0.54)) inside each tolerance limit, none where that is negative, with TUR half the tolerance over U: " +
		"the probability that an item lies outside the tolerance and is accepted is at most about 2 % for items distributed normally about its middle, however widely"
}

const (
	simple    = "simple acceptance"
	guard     = "guard band "
	guardUnit = " U"
	nonBinary = "non-binary "
	specific  = "specific risk "
	percent   = " %"
	managed   = "managed guard band"
)

// The lengths a guard band may have, in expanded uncertainties: those of ILAC-G8 table 1 (from memory), whose ends are rejection only beyond the tolerance by U, and less
// than one wrong acceptance in a million.
const (
	SmallestR = -1
	LargestR  = 3
)

// rules is every decision rule: an example of it, and how its name is read. Own is false where the text is not of its form.
var rules = []struct {
	example Rule
	read    func(name string) (rule Rule, own bool, err error)
}{
	{SimpleAcceptance{}, func(name string) (Rule, bool, error) { return SimpleAcceptance{}, name == simple, nil }},
	{GuardBand{R: 1}, func(name string) (Rule, bool, error) {
		r, own := numbered(name, guard, guardUnit)
		return GuardBand{R: r}, own, checkFactor(r, SmallestR)
	}},
	{NonBinary{R: 1}, func(name string) (Rule, bool, error) {
		r, own := numbered(name, nonBinary+guard, guardUnit)
		return NonBinary{R: r}, own, checkFactor(r, 0)
	}},
	{SpecificRisk{Largest: 0.025}, func(name string) (Rule, bool, error) {
		r, own := numbered(name, specific, percent)
		s := SpecificRisk{Largest: fraction(r)}
		return s, own, s.check()
	}},
	{ManagedGuardBand{}, func(name string) (Rule, bool, error) { return ManagedGuardBand{}, name == managed, nil }},
}

// numbered reads the number between a prefix and a unit.
func numbered(name, prefix, unit string) (x float64, own bool) {
	text, begins := strings.CutPrefix(name, prefix)
	text, ends := strings.CutSuffix(text, unit)
	x, err := strconv.ParseFloat(strings.TrimSpace(text), 64)
	return x, begins && ends && err == nil
}

// fraction is a percentage as a fraction, rounded as its decimals are, so that 2.5 % is exactly 0.025.
func fraction(percentage float64) float64 {
	x, err := strconv.ParseFloat(strconv.FormatFloat(percentage, 'f', -1, 64)+"e-2", 64)
	if err != nil {
		return math.NaN()
	}
	return x
}

func checkFactor(r, smallest float64) error {
	switch {
	case smallest == 0 && !(r > 0 && r <= LargestR):
		return fmt.Errorf("guard band of %g U, want more than 0 and at most %d", r, LargestR)
	case !(r >= smallest && r <= LargestR):
		return fmt.Errorf("guard band of %g U, want %g to %d", r, smallest, LargestR)
	}
	return nil
}

// Rules is the decision rules offered, in order, each with an example of its number. A guard band may have any other length from -1 to 3 times U, a risk
// any other size up to 50 %.
func Rules() []Rule {
	list := make([]Rule, len(rules))
	for i, r := range rules {
		list[i] = r.example
	}
	return list
}

// ParseRule reads the name of a rule: "simple acceptance", "guard band 0.83 U", "non-binary guard band 1 U", "specific risk 2.5 %", "managed guard band".
func ParseRule(name string) (Rule, error) {
	var examples []string
	for _, r := range rules {
		rule, own, err := r.read(name)
		switch {
		case own && err != nil:
			return nil, fmt.Errorf("decision rule %q: %w", name, err)
		case own:
			return rule, nil
		}
		examples = append(examples, strconv.Quote(r.example.Name()))
	}
	return nil, fmt.Errorf("decision rule %q: want one such as %s", name, strings.Join(examples, ", "))
}
