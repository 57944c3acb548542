package uncertainty

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
)

// Empirical is the distribution a sample shows, for example that of the Monte Carlo evaluation of a result that enters another one.
//
// Clause: JCGM 101 6.5
type Empirical struct {
	values []float64 // about their mean, ascending
	std    float64
}

// NewEmpirical takes a sample of at least two finite values, which it copies, and returns its mean with the distribution about it.
func NewEmpirical(sample []float64) (mean float64, d *Empirical, err error) {
	if len(sample) < 2 {
		return 0, nil, fmt.Errorf("distribution from a sample of %d values, want at least 2", len(sample))
	}
	for i, v := range sample {
		if !finite(v) {
			return 0, nil, fmt.Errorf("distribution from a sample: value %d is %g, want a finite number", i+1, v)
		}
	}
	mean = Mean(sample)
	d = &Empirical{values: make([]float64, len(sample)), std: StdDev(sample)}
	for i, v := range sample {
		d.values[i] = v - mean
	}
	sortFloats(d.values)
	return mean, d, nil
}

// Std is the experimental standard deviation of the sample.
func (d *Empirical) Std() float64 { return d.std }

// Sample draws from the straight lines between the ordered values.
//
// Clause: JCGM 101 7.5
func (d *Empirical) Sample(r *rand.Rand) float64 { return d.Quantile(r.Float64()) }

func (d *Empirical) String() string { return "from a sample" }

// CDF is the probability of a value not above x: the value of rank r (from 1) of M stands for (r-1/2)/M, with straight lines between.
func (d *Empirical) CDF(x float64) float64 {
	m := float64(len(d.values))
	i, _ := slices.BinarySearch(d.values, x) // first value not below x
	for i < len(d.values) && d.values[i] == x {
		i++
	}
	switch {
	case i == 0:
		return 0
	case i == len(d.values):
		return 1
	}
	fraction := (x - d.values[i-1]) / (d.values[i] - d.values[i-1])
	return (float64(i) - 0.5 + fraction) / m
}

// Quantile is the value not exceeded with probability p.
func (d *Empirical) Quantile(p float64) float64 {
	if !usable(p) {
		return math.NaN()
	}
	last := len(d.values) - 1
	rank := within(0, p*float64(len(d.values))-0.5, float64(last)) // counted from 0
	i := min(int(rank), last-1)
	return d.values[i] + (rank-float64(i))*(d.values[i+1]-d.values[i])
}
