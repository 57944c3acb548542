package bench

import (
	"errors"
	"fmt"
	"slices"
	"sort"
)

const lowerBy = 0.7 // factor on the level where the operator asks for a lower one

// settle does what the end of the attempt asks for, the exciter being silent, and says whether the step is to be measured again. An error ends the run.
func (a *attempt) settle(end ending) (again bool, err error) {
	switch end.kind {
	case "steady":
		return false, a.keep(Decision{})
	case "kept":
		return false, a.keep(a.reason)
	case "paused":
		return true, a.discard(end.why)
	case "skipped":
		a.skip(a.number, "")
		return false, a.discard(end.why)
	}
	return a.ask(end)
}

// ask puts the matter to the operator until the answer is one of those offered.
func (a *attempt) ask(end ending) (again bool, err error) {
	q := Question{Step: a.step, Attempt: a.try, Why: end.why, Offers: end.may, Answers: a.answers}
	a.tell(Event{Kind: "asked", Step: a.number, Attempt: a.try, Text: end.why})
	for {
		d, err := a.Operator.Decide(a.ctx, q)
		if err != nil {
			return false, errors.Join(fmt.Errorf("operator: %w", err), a.discard(end.why))
		}
		if !slices.Contains(q.Offers, d.Choice) {
			q.Why = fmt.Sprintf("%s (%q is not offered)", end.why, d.Choice)
			continue
		}
		if d.Choice == Keep && (d.Reason == "" || d.Name == "") {
			q.Why = end.why + " (a reason and a name are needed to keep it)"
			continue
		}
		return a.decided(d, end.why)
	}
}

// decided does as the operator decided.
func (a *attempt) decided(d Decision, why string) (again bool, err error) {
	e := Entry{Kind: "decision", Step: a.number, Text: why, Data: map[string]string{"choice": string(d.Choice), "reason": d.Reason, "operator": d.Name}}
	if err := a.note(e); err != nil {
		return false, errors.Join(err, a.discard(why))
	}
	switch d.Choice {
	case Keep:
		return false, a.keep(d)
	case Skip:
		a.skip(a.number, d.Name)
		return false, a.discard(why)
	case Stop:
		return false, errors.Join(ErrStopped, a.discard(why))
	case Lower:
		a.lower[a.number] *= lowerBy
	case Longer:
		a.longest[a.number] *= 2
		a.Steps[a.number].Judge.Limit *= 2
	}
	return true, a.discard(why)
}

// keep completes the recording, and then the step counts.
func (a *attempt) keep(d Decision) error {
	o := Outcome{
		Step: a.number, Attempt: a.try, Answers: a.answers, Level: a.level,
		Seconds: a.start - a.begun + float64(a.frames)/a.stream.info.Rate, Reason: d.Reason, Operator: d.Name,
	}
	if a.judging {
		o.Held = a.held()
	}
	name, err := a.record.keep(o)
	if err != nil {
		return err
	}
	a.see()
	a.report.Kept = append(a.report.Kept, Kept{o, name})
	a.tell(Event{Kind: "kept", Step: a.number, Attempt: a.try, Text: name})
	return nil
}

// discard ends the recording, if there is one.
func (a *attempt) discard(why string) error {
	if a.record == nil {
		return nil
	}
	a.tell(Event{Kind: "discarded", Step: a.number, Attempt: a.try, Text: why})
	return a.record.discard(why)
}

// median of x, which it does not change.
func median(x []float64) float64 {
	s := slices.Clone(x)
	sort.Float64s(s)
	n := len(s)
	return (s[(n-1)/2] + s[n/2]) / 2
}
