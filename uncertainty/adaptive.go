package uncertainty

import (
	"fmt"
	"math"
)

const leastSequences = 10 // sequences before the first judgement: the scatter of two says little

// What a simulation until digits are stable needs.
const (
	LeastTrials = leastSequences * block // as the most that are allowed
	LargestStop = 0.9938                 // coverage probability beyond which a block of 16384 trials holds fewer than 100 outside the interval
)

func (s SimulationSettings) checkDigits() error {
	switch {
	case s.Digits == 0:
	case s.Digits < 0 || s.Digits > 2:
		return fmt.Errorf("simulation until %d digits are stable, want 1 or 2 (0: as many trials as stated)", s.Digits)
	case s.Probability > LargestStop:
		return fmt.Errorf("simulation until digits are stable for a coverage probability of %g, want at most %g", s.Probability, LargestStop)
	case s.Trials < LeastTrials:
		return fmt.Errorf("simulation until digits are stable of at most %d trials, want at least %d", s.Trials, LeastTrials)
	}
	return nil
}

// Tolerance is the numerical tolerance of a number known to so many significant digits: half a unit of the last one. It is 0 for zero.
//
// Clause: JCGM 101 7.9.2
func Tolerance(u float64, digits int) float64 {
	if u == 0 || !finite(u) {
		return 0
	}
	_, place := decimalOf(math.Abs(u)).significant(digits, false)
	return 0.5 * math.Pow(10, float64(place))
}

// untilStable draws blocks until the results are stable and returns how many are needed. Every block is one sequence of trials. Workers draw ahead;
// what they drew beyond the first block at which the results are stable is not used, so that their number changes nothing.
//
// Clause: JCGM 101 7.9.4
func (g *trials) untilStable() (blocks int, stable bool) {
	whole := g.settings.Trials / block
	for h := 1; h < whole; {
		ahead := min(max(1, g.settings.Workers), whole-h)
		if h < leastSequences {
			ahead = min(leastSequences, whole) - h
		}
		g.spread(h, h+ahead)
		for range ahead {
			h++
			if g.parts[h-1].err != nil {
				return h, false
			}
			if h >= leastSequences && g.settled(h) {
				return h, true
			}
		}
	}
	return whole, false
}

// settled says whether mean, standard uncertainty and both ends of every component are known to the numerical tolerance of u and of U. The standard
// says twice the standard deviation of the average over the sequences; Student's t for so many sequences stands in its place.
func (g *trials) settled(h int) bool {
	exist := momentsOf(g.set, g.uses)
	for k := range g.columns {
		low, worst := g.average(h, k, func(c column) float64 { return c.ends[0] })
		high, s := g.average(h, k, func(c column) float64 { return c.ends[1] })
		worst = max(worst, s)
		tolerance := Tolerance((high-low)/2, g.settings.Digits)
		if exist.mean {
			_, s = g.average(h, k, func(c column) float64 { return c.mean })
			worst = max(worst, s)
		}
		if exist.variance {
			u, s := g.average(h, k, func(c column) float64 { return math.Sqrt(c.squares / (block - 1)) })
			worst, tolerance = max(worst, s), min(tolerance, Tolerance(u, g.settings.Digits))
		}
		if worst > tolerance {
			return false
		}
	}
	return true
}

// average is the mean of a number over the first h blocks with its expanded uncertainty.
func (g *trials) average(h, k int, of func(c column) float64) (mean, expanded float64) {
	values := make([]float64, h)
	for b := range values {
		values[b] = of(g.parts[b].columns[k])
	}
	return Mean(values), Coverage(twoSigma, float64(h-1)) * StdDev(values) / math.Sqrt(float64(h))
}

// twoSigma is the probability within two standard deviations of a normal quantity.
const twoSigma = 0.9544997361

// symmetric is the ends of the probabilistically symmetric interval. It reorders y.
func symmetric(y []float64, p float64) (low, high float64) {
	q := coveredPlaces(len(y), p)
	r := firstPlace(len(y), q)
	partition(y, r)
	partition(y[r:], q)
	return y[r], y[r+q]
}
