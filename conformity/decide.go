package conformity

import (
	"fmt"
	"math"
	"slices"
)

// Question is what has to be decided.
type Question struct {
	Subject     string  // what is judged, for example "sensitivity at 100 Hz"
	Requirement string  // in words
	Frequency   float64 // Hz
	Value       float64 // unrounded
	Relative    bool    // Value and Tolerance are relative (a deviation)
	Phase       bool    // Value and Tolerance are a phase in rad
	Tolerance   Limits
}

// Decide takes the decision on the unrounded value: it conforms where it lies within the acceptance limits or exactly on one. Where the guard bands
// leave no acceptance interval the verdict of a binary rule is NotDecided, with a remark. It is an error if a number is missing, the limits are no
// limits, no rule is stated or the rule does not fit the question.
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
	acceptance, err := rule.Accept(q, evidence)
	if err != nil {
		return Statement{}, fmt.Errorf("%s: %w", q.Subject, err)
	}
	s := Statement{
		Subject: q.Subject, Requirement: q.Requirement, Frequency: q.Frequency, Value: q.Value, U: u, Relative: q.Relative, Phase: q.Phase,
		Tolerance: q.Tolerance, Acceptance: acceptance, Rule: rule.String(), Evaluation: evidence.String(), Risk: risk,
	}
	if m, ok := evidence.(MonteCarlo); ok {
		s.Trials = len(m.Sample)
	}
	if c, ok := rule.(conditional); ok {
		s.grade(c.outer(q, evidence))
	} else {
		s.judge()
	}
	return s, nil
}

const noneAccepted = "the guard bands take up the whole tolerance interval: with this uncertainty no result could conform"

// judge is the verdict of a binary rule.
func (s *Statement) judge() {
	switch {
	case s.Acceptance.Lower > s.Acceptance.Upper:
		s.Remarks = append(s.Remarks, noneAccepted)
		if !s.Tolerance.hold(s.Value) {
			s.Remarks = append(s.Remarks, "the value itself lies outside the tolerance interval")
		}
	case s.Acceptance.hold(s.Value):
		s.Verdict = Conforms
	default:
		s.Verdict = DoesNotConform
	}
}

// grade is the verdict of a rule that is not binary.
//
// Clause: ILAC-G8 4.2.3
func (s *Statement) grade(outer Limits) {
	if s.Acceptance.Lower > s.Acceptance.Upper {
		s.Remarks = append(s.Remarks, noneAccepted+" without condition")
	}
	switch {
	case s.Acceptance.hold(s.Value):
		s.Verdict = Conforms
	case s.Tolerance.hold(s.Value):
		s.Verdict = ConditionallyConforms
		s.Remarks = append(s.Remarks, "conditional pass: the value lies inside the tolerance interval, in the guard band")
	case outer.hold(s.Value):
		s.Verdict = ConditionallyDoesNotConform
		s.Remarks = append(s.Remarks, "conditional fail: the value lies outside the tolerance interval, in the guard band")
	default:
		s.Verdict = DoesNotConform
	}
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

// Overall is the verdict about all statements together, the worst of them in the order of Verdicts: every one must conform, one that does not decides against,
// and without a statement, or with one undecided and none against, nothing is decided. With one conditional fail the whole is no better than that, even
// where another is undecided.
func Overall(statements []Statement) Verdict {
	if len(statements) == 0 {
		return NotDecided
	}
	order, worst := Verdicts(), 0
	for _, s := range statements {
		worst = max(worst, slices.Index(order, s.Verdict))
	}
	return order[worst]
}
