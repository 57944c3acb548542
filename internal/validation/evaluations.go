package validation

import (
	"fmt"
	"io"
	"math"
	"math/rand/v2"

	"plumbline/uncertainty"
)

// evaluationCase is a budget of which one part is hard for the first order. draw makes what a laboratory finds (its inputs) and the true value of
// the model, 1 being the value at the estimates.
type evaluationCase struct {
	name string
	draw func(r *rand.Rand) (set *uncertainty.Set, model uncertainty.Model, truth float64)
}

// about adds an input and a factor 1 + x.
func about(dists ...uncertainty.Distribution) func(r *rand.Rand) (*uncertainty.Set, uncertainty.Model, float64) {
	return func(r *rand.Rand) (*uncertainty.Set, uncertainty.Model, float64) {
		set, truth := uncertainty.NewSet(), 1.0
		for i, d := range dists {
			set.Add(uncertainty.Input{ID: fmt.Sprint(i), Influence: d.String(), Dist: d, Dof: math.Inf(1)})
			truth *= 1 + d.Sample(r)
		}
		return set, func(x []float64) complex128 {
			s := 1.0
			for i := range dists {
				s *= 1 + x[i]
			}
			return complex(s, 0)
		}, truth
	}
}

// repeats is a mean of n readings with a small normal part beside it.
func repeats(n int) func(r *rand.Rand) (*uncertainty.Set, uncertainty.Model, float64) {
	return func(r *rand.Rand) (*uncertainty.Set, uncertainty.Model, float64) {
		const sigma, other = 0.002, 0.0002
		x := make([]float64, n)
		for i := range x {
			x[i] = sigma * r.NormFloat64()
		}
		mean, s := uncertainty.Mean(x), uncertainty.StdDev(x)/math.Sqrt(float64(n))
		set := uncertainty.NewSet()
		set.Add(uncertainty.TypeA("readings", "readings", 0, s, float64(n-1)))
		set.Add(uncertainty.Input{ID: "other", Influence: "other", Dist: uncertainty.Normal{Sigma: other}, Dof: math.Inf(1)})
		// the mean is mean above the truth
		return set, func(x []float64) complex128 { return complex((1+x[0])*(1+x[1]), 0) }, (1 - mean) * (1 + other*r.NormFloat64())
	}
}

// joint is a mounted resonance known to lie within limits, corrected at the geometric mean, with a certificate beside it.
func joint(f float64) func(r *rand.Rand) (*uncertainty.Set, uncertainty.Model, float64) {
	return func(r *rand.Rand) (*uncertainty.Set, uncertainty.Model, float64) {
		half := math.Log(resonanceHigh/resonanceLow) / 2
		set := uncertainty.NewSet()
		set.Add(uncertainty.Input{ID: "resonance", Influence: "resonance", Value: math.Log(resonanceLow) + half, Dist: uncertainty.Rectangular{HalfWidth: half}, Dof: math.Inf(1)})
		set.Add(uncertainty.Input{ID: "certificate", Influence: "certificate", Dist: uncertainty.Normal{Sigma: 0.003}, Dof: math.Inf(1)})
		model := func(x []float64) complex128 {
			q := f * math.Exp(-x[0])
			return complex((1-q*q)*(1+x[1]), 0)
		}
		at := set.Values()
		centre := real(model(at))
		at[0] += uniform(r, half)
		at[1] = 0.003 * r.NormFloat64()
		return set, model, real(model(at)) / centre
	}
}

var evaluationCases = []evaluationCase{
	{"four normal parts", about(uncertainty.Normal{Sigma: 0.002}, uncertainty.Normal{Sigma: 0.002}, uncertainty.Normal{Sigma: 0.002}, uncertainty.Normal{Sigma: 0.002})},
	{"one rectangular part holds nearly all", about(uncertainty.Rectangular{HalfWidth: 0.01}, uncertainty.Normal{Sigma: 0.0005})},
	{"one arcsine part holds nearly all", about(uncertainty.Arcsine{HalfWidth: 0.01}, uncertainty.Normal{Sigma: 0.0005})},
	{"mean of 2 readings", repeats(2)},
	{"mean of 3 readings", repeats(3)},
	{"mean of 5 readings", repeats(5)},
	{"mean of 10 readings", repeats(10)},
	{"mounting 8 to 20 kHz at 1 kHz", joint(1000)},
	{"mounting 8 to 20 kHz at 2 kHz", joint(2000)},
	{"mounting 8 to 20 kHz at 5 kHz", joint(5000)},
}

// evaluations shows where the first order fails and what Monte Carlo makes of it.
func evaluations(s Settings, w io.Writer) (misses []string, err error) {
	runs := s.runs(2000, 20000)
	fmt.Fprintf(w, "Coverage in %% of intervals stated for %.2f %%, %d runs (seed %d, ±%.2f %%): k = 2 whatever the degrees of freedom, first order with Student's t for the effective "+
		"degrees of freedom, and the Monte Carlo interval (10 000 trials). The program's policy chooses between the last two.\n\n", 100*probability, runs, s.Seed, 100*binomial(probability, runs))
	var rows [][]string
	for k, c := range evaluationCases {
		var two, first, monteCarlo int
		r := rand.New(rand.NewPCG(s.Seed, uint64(1000+k)))
		for range runs {
			set, model, truth := c.draw(r)
			uses := make([]int, set.Len())
			for i := range uses {
				uses[i] = i
			}
			b, err := uncertainty.Propagate(set, model, uses, probability)
			if err != nil {
				return nil, fmt.Errorf("%s: %w", c.name, err)
			}
			sim, err := uncertainty.Simulate(set, model, uses, uncertainty.SimulationSettings{Trials: 10000, Seed: r.Uint64(), Probability: probability, Workers: s.Workers})
			if err != nil {
				return nil, fmt.Errorf("%s: %w", c.name, err)
			}
			hit(&two, math.Abs(truth-1) <= 2*b.Modulus.Std)
			hit(&first, math.Abs(truth-1) <= b.Modulus.Expanded)
			hit(&monteCarlo, truth >= sim.Modulus.Low && truth <= sim.Modulus.High)
		}
		rows = append(rows, []string{c.name, fmt.Sprintf("%.1f", share(two, runs)), fmt.Sprintf("%.1f", share(first, runs)), fmt.Sprintf("%.1f", share(monteCarlo, runs))})
		// the Monte Carlo interval of 10 000 trials is itself uncertain: half a per cent is allowed on top of the count's own
		if off := share(monteCarlo, runs)/100 - probability; math.Abs(off) > binomial(probability, runs)+0.005 {
			misses = append(misses, fmt.Sprintf("Monte Carlo, %s: coverage %.1f %%", c.name, share(monteCarlo, runs)))
		}
	}
	table(w, []string{"budget", "k = 2", "first order", "Monte Carlo"}, rows)
	return misses, nil
}
