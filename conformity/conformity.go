// Package conformity decides whether a result conforms to its limits and states the risk of a wrong decision.
package conformity

import "plumbline/quantity"

// Verdict is the outcome of a decision. NotDecided is the zero value.
type Verdict uint8

// The verdicts. The conditional ones, of a rule that is not binary, lie within the guard band on either side of a tolerance limit.
const (
	NotDecided Verdict = iota
	Conforms
	DoesNotConform
	ConditionallyConforms       // inside the tolerance limit: conditional pass
	ConditionallyDoesNotConform // outside the tolerance limit: conditional fail
)

// Verdicts is all verdicts, the best first.
func Verdicts() []Verdict {
	return []Verdict{Conforms, ConditionallyConforms, NotDecided, ConditionallyDoesNotConform, DoesNotConform}
}

// String is the verdict in words.
func (v Verdict) String() string {
	switch v {
	case Conforms:
		return "conforms"
	case DoesNotConform:
		return "does not conform"
	case ConditionallyConforms:
		return "conditionally conforms"
	case ConditionallyDoesNotConform:
		return "conditionally does not conform"
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
	Value       float64 // unrounded, coherent SI, relative or rad
	U           float64 // expanded uncertainty, same unit
	Relative    bool    // Value, U and limits are relative (a deviation)
	Phase       bool    // Value, U and limits are a phase in rad
	Tolerance   Limits
	Acceptance  Limits // not finite where nothing can be accepted
	Rule        string // the decision rule in words
	Evaluation  string // "first order" or "Monte Carlo": the evaluation that decides
	Trials      int    // of the Monte Carlo evaluation behind Risk, 0 to first order
	Verdict     Verdict
	Risk        float64   // probability that the true value lies outside the tolerance: specific risk of false acceptance where the verdict is Conforms
	Global      *ItemRisk // risk over many such items; nil where nothing is stated of them
	Remarks     []string
}

// Unit is the unit the numbers of the statement are printed in: per cent for a deviation, degrees for a phase, otherwise that of the device's sensitivity.
func (s Statement) Unit(device quantity.Unit) quantity.Unit {
	switch {
	case s.Phase:
		degree, err := quantity.ParseUnit("°")
		if err != nil {
			panic("conformity: no unit for degrees")
		}
		return degree
	case s.Relative:
		return quantity.Unit{Symbol: "%", Factor: 0.01}
	}
	return device
}
