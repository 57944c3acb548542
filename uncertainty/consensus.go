package uncertainty

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Participant is one result about the same quantity, in the unit of all: of a laboratory in a comparison, of a method, of a day.
type Participant struct {
	Name       string
	Value, Std float64 // value and standard uncertainty
	LeftOut    bool    // does not enter the consensus value, but is compared with it
}

// Consensus is the value that results agree on, a sum of them with weights.
type Consensus struct {
	Method       string
	Value, Std   float64
	Dof          float64   // of Std
	Weights      []float64 // of the participants, adding to one; 0 where left out
	Between      float64   // standard deviation between the participants that their stated uncertainties do not explain
	ChiSquare    float64   // of the stated uncertainties about the weighted mean: the test whether they explain the differences
	DofChiSquare float64
	participants []Participant
	covariance   [][]float64 // of the values, with Between² where the method adds it
}

// WeightedMean weights each result with the reciprocal of its variance: right where the results are independent and their uncertainties explain their
// differences (Consistent). It is an error if fewer than two take part or a number is unusable.
func WeightedMean(p []Participant) (Consensus, error) {
	return consensus("weighted mean", p, noneBetween)
}

// DerSimonianLaird is the mean with the same variance between the participants added to each stated one, estimated by moments (DerSimonian and Laird 1986).
// It is the weighted mean where the results are consistent.
func DerSimonianLaird(p []Participant) (Consensus, error) {
	return consensus("random effects (DerSimonian-Laird)", p, derSimonianLaird)
}

// MandelPaule is DerSimonianLaird with the variance between the participants for which chi-squared equals its degrees of freedom (Mandel and Paule 1970).
func MandelPaule(p []Participant) (Consensus, error) {
	return consensus("random effects (Mandel-Paule)", p, mandelPaule)
}

// ArithmeticMean weights all results alike. Its standard uncertainty is s/√n with n-1 degrees of freedom, whatever the participants state.
//
// Clause: GUM 4.2.3
func ArithmeticMean(p []Participant) (Consensus, error) {
	c, err := consensus("arithmetic mean", p, noneBetween)
	if err != nil {
		return Consensus{}, err
	}
	var values []float64
	var stated float64
	for _, q := range p {
		if !q.LeftOut {
			values = append(values, q.Value)
			stated += q.Std * q.Std
		}
	}
	n, s := float64(len(values)), StdDev(values)
	c.Value, c.Std, c.Dof = Mean(values), s/math.Sqrt(n), n-1
	c.setBetween(s*s - stated/n)
	for i, q := range p {
		if !q.LeftOut {
			c.Weights[i] = 1 / n
		}
	}
	return c, nil
}

// consensus is the mean weighted with the reciprocals of the stated variances, increased by the same variance between the participants.
func consensus(method string, p []Participant, between func(x, variance []float64) float64) (Consensus, error) {
	if err := checkParticipants(p); err != nil {
		return Consensus{}, fmt.Errorf("%s: %w", method, err)
	}
	c := Consensus{Method: method, Dof: math.Inf(1), participants: append([]Participant(nil), p...), Weights: make([]float64, len(p)), covariance: make([][]float64, len(p))}
	var x, variance []float64
	for i, q := range p {
		c.covariance[i] = make([]float64, len(p))
		c.covariance[i][i] = q.Std * q.Std
		if !q.LeftOut {
			x, variance = append(x, q.Value), append(variance, q.Std*q.Std)
		}
	}
	c.DofChiSquare = float64(len(x) - 1)
	_, c.ChiSquare, _ = weighted(x, variance, 0)
	c.setBetween(between(x, variance))
	var sum float64
	c.Value, _, sum = weighted(x, variance, c.Between*c.Between)
	c.Std = 1 / math.Sqrt(sum)
	if c.Between > 0 {
		c.Dof = c.DofChiSquare
	}
	for i, q := range p {
		if !q.LeftOut {
			c.Weights[i] = 1 / c.covariance[i][i] / sum
		}
	}
	return c, nil
}

// setBetween adds a variance between the participants to those that take part; a negative estimate counts as none.
func (c *Consensus) setBetween(variance float64) {
	if !(variance > 0) {
		return
	}
	c.Between = math.Sqrt(variance)
	for i, q := range c.participants {
		if !q.LeftOut {
			c.covariance[i][i] = q.Std*q.Std + variance
		}
	}
}

func checkParticipants(p []Participant) error {
	n := 0
	for i, q := range p {
		switch {
		case !finite(q.Value):
			return fmt.Errorf("participant %d (%s): value %g, want a finite number", i+1, q.Name, q.Value)
		case !(q.Std > 0) || math.IsInf(q.Std, 1):
			return fmt.Errorf("participant %d (%s): standard uncertainty %g, want a finite number above 0", i+1, q.Name, q.Std)
		case !q.LeftOut:
			n++
		}
	}
	if n < 2 {
		return fmt.Errorf("%d results take part, want at least 2", n)
	}
	return nil
}

// weighted is the mean weighted with 1/(variance + between), its sum of squared residuals over the variances, and the sum of the weights.
func weighted(x, variance []float64, between float64) (mean, chiSquare, sum float64) {
	var shift float64
	for i := range x {
		w := 1 / (variance[i] + between)
		sum += w
		shift += w * (x[i] - x[0])
	}
	mean = x[0] + shift/sum
	for i := range x {
		r := x[i] - mean
		chiSquare += r * r / (variance[i] + between)
	}
	return mean, chiSquare, sum
}

func noneBetween(_, _ []float64) float64 { return 0 }

// derSimonianLaird is (Q - (n-1)) / (Σw - Σw²/Σw) with w the reciprocals of the stated variances.
func derSimonianLaird(x, variance []float64) float64 {
	_, q, sum := weighted(x, variance, 0)
	var squares float64
	for _, v := range variance {
		squares += 1 / (v * v)
	}
	return (q - float64(len(x)-1)) / (sum - squares/sum)
}

// mandelPaule solves chi-squared(variance) = n-1 by Newton's steps from zero: chi-squared falls and is convex, so that no step goes too far.
func mandelPaule(x, variance []float64) float64 {
	target := float64(len(x) - 1)
	between := 0.0
	for range 1000 {
		mean, q, _ := weighted(x, variance, between)
		var slope float64
		for i := range x {
			w := 1 / (variance[i] + between)
			slope += w * w * (x[i] - mean) * (x[i] - mean)
		}
		step := (q - target) / slope
		if !(step > 1e-15*between) {
			break
		}
		between += step
	}
	return between
}

// CorrelatedMean is the mean of results with a covariance matrix, of smallest variance (Aitken): results that share a standard, for example. The standard
// uncertainties are those of the matrix. It is an error if the matrix is not positive definite for those that take part.
func CorrelatedMean(p []Participant, covariance [][]float64) (Consensus, error) {
	const method = "mean of correlated results"
	fail := func(err error) (Consensus, error) { return Consensus{}, fmt.Errorf("%s: %w", method, err) }
	if err := checkCovariance(covariance, len(p)); err != nil {
		return fail(err)
	}
	c := Consensus{Method: method, Dof: math.Inf(1), Weights: make([]float64, len(p))}
	var part []int
	for i, q := range p {
		q.Std = math.Sqrt(covariance[i][i])
		c.participants = append(c.participants, q)
		c.covariance = append(c.covariance, append([]float64(nil), covariance[i]...))
		if !q.LeftOut {
			part = append(part, i)
		}
	}
	if err := checkParticipants(c.participants); err != nil {
		return fail(err)
	}
	if err := c.aitken(part); err != nil {
		return fail(err)
	}
	return c, nil
}

// aitken weights the participants that take part with w = V⁻¹1/(1ᵀV⁻¹1).
func (c *Consensus) aitken(part []int) error {
	n, origin := len(part), c.participants[part[0]].Value
	inner, ones, values := make([][]float64, n), make([]float64, n), make([]float64, n)
	for a, i := range part {
		ones[a], values[a] = 1, c.participants[i].Value-origin
		for _, k := range part {
			inner[a] = append(inner[a], c.covariance[i][k])
		}
	}
	factor, err := cholesky(inner, n)
	if err != nil {
		return err
	}
	for a := range factor {
		if factor[a][a] == 0 {
			return errors.New("a result depends wholly on the others: the covariance matrix is not positive definite")
		}
	}
	w, r := solve(factor, ones), solve(factor, values)
	var sum, shift float64
	for a := range part {
		sum += w[a]
		shift += r[a]
	}
	mean := shift / sum
	for a, i := range part {
		c.Weights[i] = w[a] / sum
		c.ChiSquare += (values[a] - mean) * (r[a] - mean*w[a])
	}
	c.Value, c.Std, c.DofChiSquare = origin+mean, 1/math.Sqrt(sum), float64(n-1)
	return nil
}

// solve finds x with factor·factorᵀ x = b.
func solve(factor [][]float64, b []float64) []float64 {
	n := len(b)
	x := append([]float64(nil), b...)
	for i := range n {
		for k := range i {
			x[i] -= factor[i][k] * x[k]
		}
		x[i] /= factor[i][i]
	}
	for i := n - 1; i >= 0; i-- {
		for k := i + 1; k < n; k++ {
			x[i] -= factor[k][i] * x[k]
		}
		x[i] /= factor[i][i]
	}
	return x
}

// Birge is the Birge ratio: the factor by which the stated uncertainties would have to grow to explain the differences.
func (c Consensus) Birge() float64 { return math.Sqrt(c.ChiSquare / c.DofChiSquare) }

// StdBirge is the standard uncertainty, enlarged by the Birge ratio where that is above one.
func (c Consensus) StdBirge() float64 { return c.Std * math.Max(1, c.Birge()) }

// Probability is that of a chi-squared as large as this or larger where the stated uncertainties explain the differences.
func (c Consensus) Probability() float64 {
	return distuv.ChiSquared{K: c.DofChiSquare}.Survival(c.ChiSquare)
}

// Consistent says whether the stated uncertainties explain the differences: chi-squared does not exceed its quantile of probability p, usually 0.95.
func (c Consensus) Consistent(p float64) (consistent bool, limit float64) {
	limit = distuv.ChiSquared{K: c.DofChiSquare}.Quantile(p)
	return c.ChiSquare <= limit, limit
}
