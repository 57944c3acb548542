package conformity

import (
	"fmt"
	"math"
)

// Question is what has to be decided.
type Question struct {
	Subject     string  // what is judged, for example "sensitivity at 100 Hz"
	Requirement string  // in words
	Frequency   float64 // Hz
	Value       float64 // unrounded
	Relative    bool    // Value and Tolerance are relative (a deviation)
	Tolerance   Limits
}

// Decide takes the decision on the unrounded value: it conforms where it lies within the acceptance limits or exactly on one. Where the guard bands
// leave no acceptance interval the verdict is NotDecided, with a remark. It is an error if a number is missing, the limits are no limits, or no
// rule is stated.
//
// Clause: ISO/IEC 17025 7.8.6.1
// Clause: ISO/IEC 17025 7.8.6.2
func Decide(q Question, rule Rule, evidence Evidence) (Statement, error) {
	if rule == nil {
		return Statement{}, fmt.Errorf("%s: no decision rule stated", q.Subject)
	}
	u, risk := evidence.Expanded(), evidence.Outside(q.Tolerance)
	if err := q.check(u, risk); err != nil {
		return Statement{}, err
	}
	w := rule.Guard(u)
	s := Statement{
		Subject: q.Subject, Requirement: q.Requirement, Frequency: q.Frequency, Value: q.Value, U: u, Relative: q.Relative,
		Tolerance: q.Tolerance, Acceptance: Limits{q.Tolerance.Lower + w, q.Tolerance.Upper - w},
		Rule: rule.String(), Evaluation: evidence.String(), Risk: risk,
	}
	switch {
	case s.Acceptance.Lower > s.Acceptance.Upper:
		s.Remarks = append(s.Remarks, "the guard bands take up the whole tolerance interval: with this uncertainty no result could conform")
		if !q.Tolerance.hold(q.Value) {
			s.Remarks = append(s.Remarks, "the value itself lies outside the tolerance interval")
		}
	case s.Acceptance.hold(q.Value):
		s.Verdict = Conforms
	default:
		s.Verdict = DoesNotConform
	}
	return s, nil
}

// check refuses what nothing can be decided on.
func (q Question) check(expanded, risk float64) error {
	l := q.Tolerance
	switch {
	case math.IsNaN(q.Value) || math.IsInf(q.Value, 0):
		return fmt.Errorf("%s: value %g, want a finite number", q.Subject, q.Value)
	case !(expanded >= 0) || math.IsInf(expanded, 1):
		return fmt.Errorf("%s: expanded uncertainty %g, want a finite number not below 0", q.Subject, expanded)
	case !(l.Lower <= l.Upper):
		return fmt.Errorf("%s: tolerance limits %g and %g, want the lower not above the upper", q.Subject, l.Lower, l.Upper)
	case math.IsInf(l.Lower, -1) && math.IsInf(l.Upper, 1):
		return fmt.Errorf("%s: no tolerance limit on either side", q.Subject)
	case math.IsNaN(risk):
		return fmt.Errorf("%s: the distribution of the true value is not known (coverage factor, degrees of freedom or sample missing)", q.Subject)
	}
	return nil
}

// hold says whether v lies within the limits or on one.
func (l Limits) hold(v float64) bool { return v >= l.Lower && v <= l.Upper }

// Overall is the verdict about all statements together: every one must conform, one that does not decides against, and without a
// statement, or with one undecided and none against, nothing is decided.
func Overall(statements []Statement) Verdict {
	verdict := Conforms
	if len(statements) == 0 {
		verdict = NotDecided
	}
	for _, s := range statements {
		switch s.Verdict {
		case DoesNotConform:
			return DoesNotConform
		case NotDecided:
			verdict = NotDecided
		}
	}
	return verdict
}
