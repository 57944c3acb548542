package uncertainty

import (
	"fmt"
	"math"
	"math/cmplx"
)

// Propagate evaluates a complex model to first order: half the difference of the model between each used input's value ± its standard
// uncertainty is that input's contribution. Uses lists the inputs the model depends on, in the order of the budget; rows are grouped by Influence
// in order of first appearance. An input used twice counts once. It is an error if the model is zero or not finite at the estimates (nothing is
// relative to zero), or an input is unusable. The coverage factors use the effective degrees of freedom without truncation (see Combined.Truncated).
//
// Clause: GUM 5.1.2
// Clause: GUM 5.1.3
func Propagate(set *Set, model Model, uses []int, probability float64) (Budget, error) {
	uses, err := checkUses(set, uses, probability)
	if err != nil {
		return Budget{}, err
	}
	x := set.Values()
	value := model(x)
	if value == 0 || cmplx.IsNaN(value) || cmplx.IsInf(value) {
		return Budget{}, fmt.Errorf("model at the estimates is %g, want a finite value other than zero", value)
	}
	b := Budget{Value: value, Probability: probability}
	contributions := make([]Contribution, len(uses))
	for k, i := range uses {
		plus, minus := aside(x, i, set.inputs[i], model)
		contributions[k] = Contribution{Input: i, C: (plus - minus) / 2 / value}
		if cmplx.IsNaN(contributions[k].C) || cmplx.IsInf(contributions[k].C) {
			return Budget{}, fmt.Errorf("input %s: model is %g and %g at its value plus and minus its standard uncertainty, want finite values",
				set.inputs[i].ID, plus, minus)
		}
	}
	b.combine(set, contributions)
	b.SecondOrder = secondOrder(set, uses, func(x []float64) pair {
		q := model(x) / value
		return pair{cmplx.Abs(q), cmplx.Phase(q)}
	})
	return b, nil
}

// checkUses returns the used inputs without repetition, or the error that makes them unusable.
func checkUses(set *Set, uses []int, probability float64) ([]int, error) {
	if !(probability > 0 && probability < 1) {
		return nil, fmt.Errorf("coverage probability %g, want more than 0 and less than 1", probability)
	}
	seen := make(map[int]bool, len(uses))
	var distinct []int
	for _, i := range uses {
		if i < 0 || i >= set.Len() {
			return nil, fmt.Errorf("input of index %d used, the set holds %d inputs", i, set.Len())
		}
		in := set.inputs[i]
		u := in.Dist.Std()
		switch {
		case math.IsNaN(in.Value) || math.IsInf(in.Value, 0):
			return nil, fmt.Errorf("input %s: value %g, want a finite number", in.ID, in.Value)
		case math.IsNaN(u) || math.IsInf(u, 0) || u < 0:
			return nil, fmt.Errorf("input %s: standard uncertainty %g, want a finite number not below 0", in.ID, u)
		case !(in.Dof > 0):
			return nil, fmt.Errorf("input %s: %g degrees of freedom, want more than 0 (+Inf where known exactly)", in.ID, in.Dof)
		}
		if !seen[i] {
			seen[i] = true
			distinct = append(distinct, i)
		}
	}
	return distinct, nil
}

// aside is the model with input i one standard uncertainty above and below its estimate. It leaves x as it was.
func aside[T float64 | complex128](x []float64, i int, in Input, model func(x []float64) T) (plus, minus T) {
	u := in.Dist.Std()
	x[i] = in.Value + u
	plus = model(x)
	x[i] = in.Value - u
	minus = model(x)
	x[i] = in.Value
	return plus, minus
}

// combine fills rows and combined uncertainties from the contributions.
func (b *Budget) combine(set *Set, contributions []Contribution) {
	var modulus, phase welch
	var cross float64
	row := map[string]int{}
	for _, c := range contributions {
		in := set.inputs[c.Input]
		modulus.add(real(c.C), in)
		phase.add(imag(c.C), in)
		cross += real(c.C) * imag(c.C)
		r, ok := row[in.Influence]
		if !ok {
			r = len(b.Rows)
			row[in.Influence] = r
			b.Rows = append(b.Rows, Row{Influence: in.Influence})
		}
		b.Rows[r].Contributions = append(b.Rows[r].Contributions, c)
	}
	b.Modulus = modulus.combined(b.Probability)
	b.Phase = phase.combined(b.Probability)
	b.Correlation = ratio(cross, b.Modulus.Std*b.Phase.Std)
	for r := range b.Rows {
		b.Rows[r].fill(set, modulus.variance, phase.variance)
	}
}

// fill computes a row from its contributions, given the variances of the whole budget.
func (r *Row) fill(set *Set, varianceModulus, variancePhase float64) {
	var modulus, phase welch
	largest := -1.0
	for _, c := range r.Contributions {
		in := set.inputs[c.Input]
		modulus.add(real(c.C), in)
		phase.add(imag(c.C), in)
		if size := cmplx.Abs(c.C); size > largest {
			largest = size
			r.Distribution = in.Dist.String()
		}
	}
	r.Modulus, r.DofModulus = math.Sqrt(modulus.variance), modulus.dof()
	r.Phase, r.DofPhase = math.Sqrt(phase.variance), phase.dof()
	r.ShareModulus = ratio(modulus.variance, varianceModulus)
	r.SharePhase = ratio(phase.variance, variancePhase)
}

// ratio is a/b, and 0 where b is 0: no share of nothing.
func ratio(a, b float64) float64 {
	if b == 0 {
		return 0
	}
	return a / b
}

// Cross is the covariances of two complex results, moduli relative and phases in rad.
type Cross struct {
	Modulus      float64 // of the two moduli
	Phase        float64 // of the two phases
	ModulusPhase float64 // of the modulus of the first with the phase of the second
	PhaseModulus float64 // of the phase of the first with the modulus of the second
}

// Covariance is the covariance of two results through the inputs they share. Both budgets must come from the same Set.
//
// Clause: GUM F.1.2.3
func Covariance(a, b Budget) Cross {
	of := map[int]complex128{}
	for _, r := range b.Rows {
		for _, c := range r.Contributions {
			of[c.Input] = c.C
		}
	}
	var s Cross
	for _, r := range a.Rows {
		for _, c := range r.Contributions {
			d, shared := of[c.Input]
			if !shared {
				continue
			}
			s.Modulus += real(c.C) * real(d)
			s.Phase += imag(c.C) * imag(d)
			s.ModulusPhase += real(c.C) * imag(d)
			s.PhaseModulus += imag(c.C) * real(d)
		}
	}
	return s
}
