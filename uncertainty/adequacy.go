package uncertainty

import (
	"fmt"
	"math"
)

const (
	tolerableChange = 0.01 // of the combined standard uncertainty by terms of second order
	tolerableShift  = 0.1  // of the expectation, in combined standard uncertainties
)

// Doubt says in words why the first-order evaluation of each component should give way to Monte Carlo, "" where its terms of second order do not matter.
type Doubt struct{ Modulus, Phase string }

// Doubt judges a budget by its terms of second order: where no input acts in first order, where they change the combined standard uncertainty by more
// than 1 %, or where they shift the expectation by more than a tenth of it, distributions should be propagated (Simulate).
//
// Clause: GUM 5.1.2 NOTE
func (b Budget) Doubt(set *Set) Doubt {
	s := b.SecondOrder
	return Doubt{
		Modulus: doubt(set, b.Modulus.Std, s.StdModulus, s.BiasModulus, noise, s.Terms, func(t Term) float64 { return t.Modulus }),
		Phase:   doubt(set, b.Phase.Std, s.StdPhase, s.BiasPhase, noise, s.Terms, func(t Term) float64 { return t.Phase }),
	}
}

// Doubt is the same judgement of the budget of a real result.
func (b RealBudget) Doubt(set *Set) string {
	return doubt(set, b.Std, b.StdSecondOrder, b.Bias, noise*math.Abs(b.Value), b.Terms, func(t Term) float64 { return t.Modulus })
}

// doubt puts the judgement in words. Differences below the floor are rounding.
func doubt(set *Set, first, both, bias, floor float64, terms []Term, size func(Term) float64) string {
	var largest Term
	for _, t := range terms {
		if size(t) > size(largest) {
			largest = t
		}
	}
	if both <= floor && math.Abs(bias) <= floor {
		return ""
	}
	what := set.inputs[largest.I].ID + " acts"
	if largest.I != largest.J {
		what = fmt.Sprintf("the product of %s and %s acts", set.inputs[largest.I].ID, set.inputs[largest.J].ID)
	}
	switch {
	case first <= floor:
		return fmt.Sprintf("no input acts in first order; %s in second, which gives a standard uncertainty of %.2g and shifts the expectation by %.2g", what, both, bias)
	case math.Abs(both-first) > tolerableChange*first:
		return fmt.Sprintf("%s in second order: the standard uncertainty is %.3g with terms of second order, %.3g without", what, both, first)
	case math.Abs(bias) > tolerableShift*first:
		return fmt.Sprintf("%s in second order: the expectation is shifted by %.2g, which is %.2g of the standard uncertainty", what, bias, math.Abs(bias)/first)
	}
	return ""
}

// Validation compares the interval of first order with that of Monte Carlo.
type Validation struct {
	Low, High float64 // differences of the ends, absolute
	Tolerance float64 // numerical tolerance of the standard uncertainty
}

// Valid says whether both ends agree within the tolerance.
func (v Validation) Valid() bool { return v.Low <= v.Tolerance && v.High <= v.Tolerance }

// Validate compares value ± U with the probabilistically symmetric interval of a Monte Carlo evaluation in the same unit. First order is validated where the
// ends agree to so many significant digits (1 or 2) of the standard uncertainty. The Monte Carlo evaluation should know its ends five times as well.
//
// Clause: JCGM 101 8.1
func (c Combined) Validate(value float64, in Interval, digits int) Validation {
	return Validation{
		Low:       math.Abs(value - c.Expanded - in.Low),
		High:      math.Abs(value + c.Expanded - in.High),
		Tolerance: Tolerance(c.Std, digits),
	}
}

// Validate compares both components of a budget with the Monte Carlo evaluation of the same model and probability.
func (b Budget) Validate(s Simulation, digits int) (modulus, phase Validation) {
	return b.Modulus.Validate(1, s.Modulus, digits), b.Phase.Validate(0, s.Phase, digits)
}
