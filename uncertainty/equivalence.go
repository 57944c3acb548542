package uncertainty

import "math"

// Degree is a degree of equivalence: a difference with its standard uncertainty.
type Degree struct{ Value, Std float64 }

// Degree is the difference of participant i from the consensus value. Where the participant's own result is part of that value they are correlated, which
// makes the uncertainty smaller: with the weighted mean u(d)² = u_i² - u_ref², and u_i² + u_ref² for one left out. Under random effects u_i² holds the variance
// between the participants too.
func (c Consensus) Degree(i int) Degree {
	return Degree{Value: c.participants[i].Value - c.Value, Std: root(c.DegreeCovariance(i, i))}
}

// Degrees is the degrees of equivalence of all participants.
func (c Consensus) Degrees() []Degree {
	d := make([]Degree, len(c.participants))
	for i := range d {
		d[i] = c.Degree(i)
	}
	return d
}

// DegreeCovariance is the covariance of the degrees of equivalence of participants i and k: V_ik - (Vw)_i - (Vw)_k + w'Vw, with V the covariances of the
// values and w the weights.
func (c Consensus) DegreeCovariance(i, k int) float64 {
	with := func(i int) (sum float64) {
		for j, w := range c.Weights {
			sum += w * c.covariance[i][j]
		}
		return sum
	}
	var reference float64
	for j, w := range c.Weights {
		if w != 0 {
			reference += w * with(j)
		}
	}
	return c.covariance[i][k] - with(i) - with(k) + reference
}

// Pair is the degree of equivalence of participant i with participant k: the difference of their values.
func (c Consensus) Pair(i, k int) Degree {
	v := c.covariance
	return Degree{Value: c.participants[i].Value - c.participants[k].Value, Std: root(v[i][i] + v[k][k] - 2*v[i][k])}
}

// En is the difference of a result from a reference over the expanded uncertainty of the difference: (x - X)/√(U² + U_ref² - 2r U U_ref). The correlation r
// is 0 for an independent reference; for a participant in a weighted mean it is U_ref/U, which leaves U² - U_ref². It is not a number where the
// difference has no uncertainty.
func En(x, expanded, reference, expandedReference, correlation float64) float64 {
	variance := expanded*expanded + expandedReference*expandedReference - 2*correlation*expanded*expandedReference
	if !(variance > 0) {
		return math.NaN()
	}
	return (x - reference) / math.Sqrt(variance)
}

// Zeta is En with standard uncertainties in place of expanded ones.
func Zeta(x, std, reference, stdReference, correlation float64) float64 {
	return En(x, std, reference, stdReference, correlation)
}

// Satisfactory says whether an En number is within ±1. The limit itself is; a difference of decimal numbers that misses it by rounding in binary counts
// as on it.
func Satisfactory(en float64) bool { return math.Abs(en) <= 1+1e-9 }
