package conformity

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Rule is a decision rule: how far the acceptance limits lie inside the tolerance limits.
//
// Clause: ISO/IEC 17025 3.7
type Rule interface {
	Guard(expanded float64) float64 // length of the guard band w for an expanded uncertainty, same unit; negative: outside the tolerance
	Name() string                   // as written in a job and read by ParseRule
	String() string                 // in words, for a certificate
}

// SimpleAcceptance is the rule without a guard band: the acceptance limits are the tolerance limits.
//
// Clause: JCGM 106 8.2
type SimpleAcceptance struct{}

// Guard is 0.
func (SimpleAcceptance) Guard(float64) float64 { return 0 }

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

// Guard is w = R·U.
func (g GuardBand) Guard(expanded float64) float64 { return g.R * expanded }

// Name is for example "guard band 1 U".
func (g GuardBand) Name() string { return guard + strconv.FormatFloat(g.R, 'f', -1, 64) + guardUnit }

func (g GuardBand) String() string {
	r := strconv.FormatFloat(math.Abs(g.R), 'f', -1, 64)
	if _, decimals, _ := strings.Cut(r, "."); len(decimals) < 2 {
		r = strconv.FormatFloat(math.Abs(g.R), 'f', 2, 64)
	}
	if g.R < 0 {
		return "guard band w = " + r + " U outside each tolerance limit (acceptance interval wider than the tolerance interval)"
	}
	return "guard band w = " + r + " U inside each tolerance limit (acceptance interval narrower than the tolerance interval)"
}

const (
	simple    = "simple acceptance"
	guard     = "guard band "
	guardUnit = " U"
	smallestR = -1 // rejection only beyond the tolerance by the expanded uncertainty
	largestR  = 3
)

// Rules is the decision rules offered, in order. A guard band may have any other length from -1 to 3 times U.
func Rules() []Rule { return []Rule{SimpleAcceptance{}, GuardBand{R: 1}} }

// ParseRule reads the name of a rule, for example "simple acceptance", "guard band 1 U" or "guard band 0.83 U".
func ParseRule(name string) (Rule, error) {
	if name == simple {
		return SimpleAcceptance{}, nil
	}
	text, isGuard := strings.CutPrefix(name, guard)
	text, hasUnit := strings.CutSuffix(text, guardUnit)
	r, err := strconv.ParseFloat(strings.TrimSpace(text), 64)
	switch {
	case !isGuard || !hasUnit || err != nil:
		return nil, fmt.Errorf("decision rule %q: want %q or a guard band as a multiple of the expanded uncertainty, such as %q",
			name, simple, GuardBand{R: 1}.Name())
	case !(r >= smallestR && r <= largestR):
		return nil, fmt.Errorf("decision rule %q: guard band of %g U, want %d to %d", name, r, smallestR, largestR)
	}
	return GuardBand{R: r}, nil
}
