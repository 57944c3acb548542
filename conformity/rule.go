package conformity

import "fmt"

// Rule is a decision rule (ISO/IEC 17025 3.7): how far the acceptance limits lie inside the tolerance limits.
type Rule interface {
	Guard(expanded float64) float64 // length of the guard band w for an expanded uncertainty, same unit; negative: outside the tolerance
	Name() string                   // as written in a job and read by ParseRule
	String() string                 // in words, for a certificate
}

// SimpleAcceptance is the rule without a guard band: the acceptance limits are the tolerance limits.
type SimpleAcceptance struct{}

// Guard is 0.
func (SimpleAcceptance) Guard(float64) float64 { return 0 }

// Name is "simple acceptance".
func (SimpleAcceptance) Name() string { return "simple acceptance" }

func (SimpleAcceptance) String() string {
	return "simple acceptance: acceptance limits equal to the tolerance limits (guard band w = 0)"
}

// GuardBand is the rule with a guard band of R times the expanded uncertainty.
type GuardBand struct{ R float64 }

// Guard is w = R·U.
func (g GuardBand) Guard(expanded float64) float64 { return g.R * expanded }

// Name is for example "guard band 1.00 U".
func (g GuardBand) Name() string { return fmt.Sprintf("guard band %.2f U", g.R) }

func (g GuardBand) String() string {
	return fmt.Sprintf("guard band w = %.2f U on both sides (acceptance interval narrower than tolerance)", g.R)
}

// Rules is the decision rules offered, in order.
func Rules() []Rule { return []Rule{SimpleAcceptance{}, GuardBand{R: 1}} }
