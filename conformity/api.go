package conformity

import "errors"

var errUnfinished = errors.New("conformity: this decision is being written")

// ParseRule reads the name of a rule.
func ParseRule(name string) (Rule, error) { return nil, errUnfinished }

// Evidence is what is known about the true value.
type Evidence interface {
	Expanded() float64        // expanded uncertainty of the value
	Outside(l Limits) float64 // probability that the true value lies outside the limits
	String() string           // "first order" or "Monte Carlo"
}

// FirstOrder is a value with expanded uncertainty U = k·u: the true value is normal about it, or scaled Student t where Dof is finite.
type FirstOrder struct {
	Value, U, K float64
	Dof         float64 // effective degrees of freedom, +Inf for normal
}

// MonteCarlo is a sample of the true value: each is Offset + Scale·s. For a relative modulus Scale is the value itself and Offset 0.
type MonteCarlo struct {
	U             float64 // stated expanded uncertainty
	Sample        []float64
	Scale, Offset float64
}

// Decide takes the decision.
func Decide(q Question, rule Rule, evidence Evidence) (Statement, error) {
	return Statement{}, errUnfinished
}

// Overall is the verdict about all statements together.
func Overall(statements []Statement) Verdict { return NotDecided }

// Expanded is the stated expanded uncertainty.
func (e FirstOrder) Expanded() float64 { return e.U }

// Outside is the probability from the distribution.
func (e FirstOrder) Outside(l Limits) float64 { return 0 }

func (e FirstOrder) String() string { return "first order" }

// Expanded is the stated expanded uncertainty.
func (e MonteCarlo) Expanded() float64 { return e.U }

// Outside is the fraction of the sample.
func (e MonteCarlo) Outside(l Limits) float64 { return 0 }

func (e MonteCarlo) String() string { return "Monte Carlo" }
