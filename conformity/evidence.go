package conformity

import (
	"math"
	"slices"

	"plumbline/uncertainty"
)

// Evidence is what is known about the true value.
type Evidence interface {
	Expanded() float64        // stated expanded uncertainty of the value
	Outside(l Limits) float64 // probability that the true value lies outside the limits; NaN where the evidence is unusable
	String() string           // "first order" or "Monte Carlo"
}

// FirstOrder is a value with expanded uncertainty U = K·u: the true value is normal about it, or scaled Student t where Dof is finite.
type FirstOrder struct {
	Value, U, K float64
	Dof         float64 // effective degrees of freedom, +Inf for normal
}

// Expanded is the stated expanded uncertainty.
func (e FirstOrder) Expanded() float64 { return e.U }

// Outside adds both tails of the distribution.
//
// Clause: JCGM 106 7
func (e FirstOrder) Outside(l Limits) float64 {
	if !(e.K > 0) || !(e.Dof > 0) {
		return math.NaN()
	}
	if e.U == 0 {
		return indicator(e.Value < l.Lower || e.Value > l.Upper)
	}
	u := e.U / e.K
	return e.below((l.Lower-e.Value)/u) + e.below((e.Value-l.Upper)/u)
}

// moved is Outside about other values.
func (e FirstOrder) moved() func(by float64, l Limits) float64 {
	return func(by float64, l Limits) float64 {
		m := e
		m.Value += by
		return m.Outside(l)
	}
}

// below is the distribution function; a side without a limit has no tail.
func (e FirstOrder) below(z float64) float64 {
	if math.IsInf(z, -1) {
		return 0
	}
	return uncertainty.StudentCDF(z, e.Dof)
}

func (e FirstOrder) String() string { return "first order" }

// MonteCarlo is a sample s of the true value, which is Offset + Scale·s. For a sample of relative moduli Scale is the modulus itself and Offset 0;
// for a relative deviation d it is 1 + d and Offset -1.
type MonteCarlo struct {
	Value         float64 // measured value; needed for the global risk alone
	U             float64 // stated expanded uncertainty
	Sample        []float64
	Scale, Offset float64 // Scale must not be zero
}

// Expanded is the stated expanded uncertainty.
func (e MonteCarlo) Expanded() float64 { return e.U }

// Outside is the fraction of the sample.
func (e MonteCarlo) Outside(l Limits) float64 {
	if len(e.Sample) == 0 || e.Scale == 0 {
		return math.NaN()
	}
	n := 0
	for _, s := range e.Sample {
		if v := e.Offset + e.Scale*s; !(v >= l.Lower && v <= l.Upper) {
			n++
		}
	}
	return float64(n) / float64(len(e.Sample))
}

// moved is Outside about other values, on the ordered sample.
func (e MonteCarlo) moved() func(by float64, l Limits) float64 {
	values := make([]float64, len(e.Sample))
	for i, s := range e.Sample {
		values[i] = e.Offset + e.Scale*s
	}
	slices.Sort(values)
	return func(by float64, l Limits) float64 {
		below, _ := slices.BinarySearch(values, l.Lower-by)
		upTo, _ := slices.BinarySearchFunc(values, l.Upper-by, func(v, limit float64) int {
			if v <= limit {
				return -1
			}
			return 1
		})
		return float64(below+len(values)-upTo) / float64(len(values))
	}
}

func (e MonteCarlo) String() string { return "Monte Carlo" }

func indicator(is bool) float64 {
	if is {
		return 1
	}
	return 0
}
