// Package conformity decides whether a result conforms to its limits and states the risk of a wrong decision.
package conformity

// Verdict is the outcome of a decision. NotDecided is the zero value.
type Verdict uint8

// The verdicts.
const (
	NotDecided Verdict = iota
	Conforms
	DoesNotConform
)

// String is the verdict in words.
func (v Verdict) String() string {
	switch v {
	case Conforms:
		return "conforms"
	case DoesNotConform:
		return "does not conform"
	default:
		return "not decided"
	}
}

// Limits are tolerance limits in the unit of the value judged. A side without a limit is -Inf or +Inf.
type Limits struct{ Lower, Upper float64 }

// Statement is one statement of conformity (ISO/IEC 17025 7.8.6): the verdict with the numbers it was taken on.
type Statement struct {
	Subject     string  // what was judged, for example "sensitivity at 100 Hz"
	Requirement string  // in words, for example "within ±10 % of 10 V/g"
	Frequency   float64 // Hz
	Value       float64 // unrounded, coherent SI or relative
	U           float64 // expanded uncertainty, same unit
	Relative    bool    // Value, U and limits are relative (a deviation)
	Tolerance   Limits
	Acceptance  Limits
	Rule        string // the decision rule in words
	Evaluation  string // "first order" or "Monte Carlo": the evaluation that decides
	Verdict     Verdict
	Risk        float64 // probability that the true value lies outside the tolerance: specific risk of false acceptance where the verdict is Conforms
	Remarks     []string
}
