package uncertainty

import (
	"fmt"
	"math"
)

// RealModel is a measurement model of one real output, under the same conditions as Model.
type RealModel func(x []float64) float64

// RealBudget is the first-order evaluation of a real-valued model, in the unit of its output.
type RealBudget struct {
	Value         float64
	Probability   float64
	Contributions []RealContribution // in order of the uses
	Combined
	StdSecondOrder float64 // combined standard uncertainty with the terms of second order
	Bias           float64 // expectation minus Value, from the terms of second order
	Terms          []Term  // terms of second order above 1 % of the combined standard uncertainty; their Modulus is in the unit of the output
}

// RealContribution is the effect of one input: half the difference of the model at its value ± its standard uncertainty.
type RealContribution struct {
	Input int
	C     float64
}

// PropagateReal evaluates a real-valued model to first order as Propagate does, absolute instead of relative: the value may be zero.
//
// Clause: GUM 5.1.2
// Clause: GUM 5.1.3
func PropagateReal(set *Set, f RealModel, uses []int, probability float64) (RealBudget, error) {
	uses, err := checkUses(set, uses, probability)
	if err != nil {
		return RealBudget{}, err
	}
	x := set.Values()
	b := RealBudget{Value: f(x), Probability: probability}
	if math.IsNaN(b.Value) || math.IsInf(b.Value, 0) {
		return RealBudget{}, fmt.Errorf("model at the estimates is %g, want a finite value", b.Value)
	}
	var sum welch
	for _, i := range uses {
		in := set.inputs[i]
		plus, minus := aside(x, i, in, f)
		c := (plus - minus) / 2
		if math.IsNaN(c) || math.IsInf(c, 0) {
			return RealBudget{}, fmt.Errorf("input %s: model is %g and %g at its value plus and minus its standard uncertainty, want finite values",
				in.ID, plus, minus)
		}
		b.Contributions = append(b.Contributions, RealContribution{Input: i, C: c})
		sum.add(c, in)
	}
	b.Combined = sum.combined(probability)
	s := secondOrder(set, uses, func(x []float64) pair { return pair{f(x), 0} })
	b.StdSecondOrder, b.Bias, b.Terms = s.StdModulus, s.BiasModulus, s.Terms
	return b, nil
}

// CovarianceReal is the covariance of two results through the inputs they share. Both budgets must come from the same Set.
//
// Clause: GUM F.1.2.3
func CovarianceReal(a, b RealBudget) float64 {
	of := map[int]float64{}
	for _, c := range b.Contributions {
		of[c.Input] = c.C
	}
	var sum float64
	for _, c := range a.Contributions {
		sum += c.C * of[c.Input]
	}
	return sum
}
