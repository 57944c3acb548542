package conformity

import (
	"fmt"
	"math"
	"strconv"
)

// SpecificRisk is the rule whose guard bands are as long as a stated specific risk needs: a value is accepted where the probability of the true value lying
// outside the tolerance, on either side, is at most Largest.
//
// Clause: JCGM 106 8.3.2
type SpecificRisk struct{ Largest float64 }

// movable is evidence that says how the true value would be distributed about another measured value.
type movable interface {
	moved() func(by float64, l Limits) float64 // Outside, for evidence moved by so much
}

func (s SpecificRisk) check() error {
	if !(s.Largest > 0 && s.Largest <= 0.5) {
		return fmt.Errorf("specific risk of %s, want more than 0 %% and at most 50 %%", s.percentage())
	}
	return nil
}

func (s SpecificRisk) percentage() string {
	return strconv.FormatFloat(math.Round(s.Largest*1e10)/1e8, 'f', -1, 64) + percent
}

// Name is for example "specific risk 2.5 %".
func (s SpecificRisk) Name() string { return specific + s.percentage() }

func (s SpecificRisk) String() string {
	return "guard bands such that the probability of the true value lying outside the tolerance interval is at most " + s.percentage() + " for every accepted value (specific risk)"
}

// Accept finds the values at which the risk is Largest: the distribution of the true value is moved along with the value.
func (s SpecificRisk) Accept(q Question, evidence Evidence) (Limits, error) {
	if err := s.check(); err != nil {
		return Limits{}, fmt.Errorf("decision rule %q: %w", s.Name(), err)
	}
	e, ok := evidence.(movable)
	if !ok {
		return Limits{}, fmt.Errorf("decision rule %q: the evidence (%s) says nothing about other values than its own", s.Name(), evidence)
	}
	risk, tolerance, scale := e.moved(), q.Tolerance, evidence.Expanded()
	at := func(y float64, l Limits) float64 { return risk(y-q.Value, l) }
	a := Limits{math.Inf(-1), math.Inf(1)}
	if !math.IsInf(tolerance.Upper, 1) {
		a.Upper = s.edge(tolerance.Upper, -scale, func(y float64) float64 { return at(y, Limits{math.Inf(-1), tolerance.Upper}) })
	}
	if !math.IsInf(tolerance.Lower, -1) {
		a.Lower = s.edge(tolerance.Lower, scale, func(y float64) float64 { return at(y, Limits{tolerance.Lower, math.Inf(1)}) })
	}
	if math.IsInf(a.Lower, -1) || math.IsInf(a.Upper, 1) || a.Lower > a.Upper {
		return a, nil
	}
	return s.both(a, func(y float64) float64 { return at(y, tolerance) }), nil
}

// edge is the value, from the limit on in the direction of step, at which the risk of one side falls to Largest.
func (s SpecificRisk) edge(limit, step float64, risk func(y float64) float64) float64 {
	if step == 0 {
		return limit
	}
	outer, inner := limit-step, limit
	for risk(inner) > s.Largest {
		outer, inner = inner, inner+step
		step *= 2
	}
	return s.border(inner, outer, risk)
}

// border halves the way between an accepted and a refused value until they are neighbours for every purpose.
func (s SpecificRisk) border(accepted, refused float64, risk func(y float64) float64) float64 {
	if risk(refused) <= s.Largest {
		return refused
	}
	for range 100 {
		middle := accepted + (refused-accepted)/2
		if middle == accepted || middle == refused {
			break
		}
		if risk(middle) <= s.Largest {
			accepted = middle
		} else {
			refused = middle
		}
	}
	return accepted
}

// both narrows limits of the single sides until the risk of both sides together holds: from where it is smallest outwards.
func (s SpecificRisk) both(a Limits, risk func(y float64) float64) Limits {
	if risk(a.Lower) <= s.Largest && risk(a.Upper) <= s.Largest {
		return a
	}
	best := smallest(a.Lower, a.Upper, risk)
	if risk(best) > s.Largest {
		return Limits{math.Inf(1), math.Inf(-1)}
	}
	return Limits{s.border(best, a.Lower, risk), s.border(best, a.Upper, risk)}
}

// smallest is where a function that falls and then rises is smallest, by the golden section.
func smallest(low, high float64, f func(float64) float64) float64 {
	const golden = 0.6180339887498949
	a, b := high-golden*(high-low), low+golden*(high-low)
	fa, fb := f(a), f(b)
	for range 100 {
		if fa < fb || fa == fb && a-low > high-b {
			high, b, fb = b, a, fa
			a = high - golden*(high-low)
			fa = f(a)
		} else {
			low, a, fa = a, b, fb
			b = low + golden*(high-low)
			fb = f(b)
		}
	}
	return (low + high) / 2
}
