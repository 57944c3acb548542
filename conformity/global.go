package conformity

import (
	"fmt"
	"math"

	"plumbline/uncertainty"
)

// Prior is how the true values of items like the one judged are distributed, before it is measured: the distribution of the value about Mean.
type Prior struct {
	Mean float64
	Dist uncertainty.Shape
}

// NormalPrior is a stated normal distribution.
func NormalPrior(mean, std float64) Prior {
	return Prior{Mean: mean, Dist: uncertainty.Normal{Sigma: std}}
}

// PriorFromHistory is the distribution of the next of a series of earlier results on such items (of the same device, or of its kind): Student's t about their mean, of
// scale s√(1+1/n) with n-1 degrees of freedom, which nears the normal distribution as they become many. Their scatter holds the uncertainty they were measured with, so
// that the prior is rather too wide than too narrow. It is an error to give fewer than three, or equal ones.
func PriorFromHistory(values []float64) (Prior, error) {
	n := float64(len(values))
	s := uncertainty.StdDev(values)
	if n < 3 || !(s > 0) || math.IsInf(s, 1) {
		return Prior{}, fmt.Errorf("prior from a history of %d values with a standard deviation of %g, want at least 3 finite values that are not all equal", len(values), s)
	}
	return Prior{Mean: uncertainty.Mean(values), Dist: uncertainty.StudentT{Scale: s * math.Sqrt(1+1/n), Dof: n - 1}}, nil
}

// PriorWithin is the normal distribution about the middle of two tolerance limits of which the fraction p lies within them. It is an error if a limit is missing or p is
// not between 0 and 1.
func PriorWithin(l Limits, p float64) (Prior, error) {
	half := (l.Upper - l.Lower) / 2
	if !(half > 0) || math.IsInf(half, 1) {
		return Prior{}, fmt.Errorf("prior from the fraction within tolerance limits %g and %g, want two finite ones, lower first", l.Lower, l.Upper)
	}
	d, err := uncertainty.NormalWithin(half, p)
	return Prior{Mean: l.Lower + half, Dist: d}, err
}

// GlobalRisk is what a rule does to many items: probabilities before an item is measured.
type GlobalRisk struct {
	Conforming float64 // the true value lies within the tolerance
	Accepted   float64 // the item is accepted
	Consumer   float64 // it is accepted though its true value lies outside
	Producer   float64 // it is rejected though its true value lies within
}

// OfAccepted is the fraction of the accepted items whose true value lies outside.
func (g GlobalRisk) OfAccepted() float64 { return g.Consumer / g.Accepted }

// OfRejected is the fraction of the rejected items whose true value lies within.
func (g GlobalRisk) OfRejected() float64 { return g.Producer / (1 - g.Accepted) }

// Global is the global consumer's and producer's risk of accepting measured values within the acceptance limits, for items distributed as the prior says, measured with
// errors distributed as measurement says, both independent. It is evaluated by quadrature to some 1e-9. It is an error if a distribution is unusable or
// the limits are no limits.
//
// Clause: JCGM 106 9.5
func Global(prior Prior, measurement uncertainty.Shape, tolerance, acceptance Limits) (GlobalRisk, error) {
	switch {
	case prior.Dist == nil || measurement == nil:
		return GlobalRisk{}, fmt.Errorf("global risk: no distribution of the items or of the measurement stated")
	case math.IsNaN(prior.Mean) || math.IsInf(prior.Mean, 0):
		return GlobalRisk{}, fmt.Errorf("global risk: mean of the items %g, want a finite number", prior.Mean)
	case !(tolerance.Lower <= tolerance.Upper):
		return GlobalRisk{}, fmt.Errorf("global risk: tolerance limits %g and %g, want the lower not above the upper", tolerance.Lower, tolerance.Upper)
	case math.IsNaN(acceptance.Lower) || math.IsNaN(acceptance.Upper):
		return GlobalRisk{}, fmt.Errorf("global risk: acceptance limits %g and %g, want numbers", acceptance.Lower, acceptance.Upper)
	}
	accept := func(x float64) float64 { // probability of accepting an item whose true value lies x above the prior's mean
		if acceptance.Lower > acceptance.Upper {
			return 0
		}
		v := prior.Mean + x
		return math.Max(0, measurement.CDF(acceptance.Upper-v)-measurement.CDF(acceptance.Lower-v))
	}
	breaks := breaksOf(prior.Mean, measurement, tolerance, acceptance)
	expect := func(g func(x float64, inside bool) float64) float64 {
		return uncertainty.Expect(prior.Dist, func(x float64) float64 { return g(x, tolerance.hold(prior.Mean+x)) }, breaks...)
	}
	r := GlobalRisk{
		Conforming: expect(func(_ float64, inside bool) float64 { return indicator(inside) }),
		Accepted:   expect(func(x float64, _ bool) float64 { return accept(x) }),
		Consumer:   expect(func(x float64, inside bool) float64 { return indicator(!inside) * accept(x) }),
		Producer:   expect(func(x float64, inside bool) float64 { return indicator(inside) * (1 - accept(x)) }),
	}
	if math.IsNaN(r.Consumer) || math.IsNaN(r.Producer) {
		return GlobalRisk{}, fmt.Errorf("global risk: the distribution of the items (%v) or of the measurement (%v) is unusable", prior.Dist, measurement)
	}
	return r, nil
}

// breaksOf is where, about the prior's mean, the probability of acceptance bends or the tolerance ends.
func breaksOf(mean float64, measurement uncertainty.Shape, tolerance, acceptance Limits) (breaks []float64) {
	add := func(x float64) {
		if !math.IsNaN(x) && !math.IsInf(x, 0) {
			breaks = append(breaks, x-mean)
		}
	}
	add(tolerance.Lower)
	add(tolerance.Upper)
	u := measurement.Std()
	for _, a := range []float64{acceptance.Lower, acceptance.Upper} {
		add(a - measurement.Quantile(0)) // where the errors are bounded
		add(a - measurement.Quantile(1))
		for _, k := range []float64{-8, -4, -2, -1, 0, 1, 2, 4, 8} {
			add(a + k*u)
		}
	}
	return breaks
}

// GlobalOf is the global risk of a decision rule, for the uncertainty of a first-order evaluation wherever its value may lie.
func GlobalOf(prior Prior, rule Rule, tolerance Limits, e FirstOrder) (GlobalRisk, error) {
	if rule == nil {
		return GlobalRisk{}, fmt.Errorf("global risk: no decision rule stated")
	}
	q := Question{Subject: "global risk", Value: e.Value, Tolerance: tolerance}
	if err := q.check(e.U, e.Outside(tolerance)); err != nil {
		return GlobalRisk{}, err
	}
	acceptance, err := rule.Accept(q, e)
	if err != nil {
		return GlobalRisk{}, err
	}
	_, measurement, err := errorsOf(e)
	if err != nil {
		return GlobalRisk{}, err
	}
	return Global(prior, measurement, tolerance, acceptance)
}
