package uncertainty

import (
	"fmt"
	"math"
	"slices"
)

// keepTail is how many times the trials that can be ends of an interval are kept. The first block knows the fraction of 1-p within a few
// percent of it, so that half as many again are more than enough.
const keepTail = 1.5

// tailLimits bound the trials that can be ends of an interval: those at or below Low and those at or above High. All means every trial.
type tailLimits struct {
	low, high float64
	all       bool
}

// part is what is kept of one block of trials.
type part struct {
	n        int
	columns  [2]column
	comoment float64 // sum of the products of both components' deviations from their means
	err      error
}

// column is what is kept of one component of a block: moments, the trials that can be ends of an interval, and, where the simulation stops by
// itself, the ends of this block's own symmetric interval.
type column struct {
	mean, squares float64
	low, high     []float64
	ends          [2]float64
}

// summarise reduces a block. The columns stay as they are.
func (g *trials) summarise(b int, columns [2][]float64) part {
	p := part{n: len(columns[0])}
	for k := range g.columns {
		y := columns[k]
		c := column{mean: Mean(y)}
		c.squares = squaresAbout(y, c.mean)
		if !finite(c.squares) {
			p.err = unusable(y, b*block, g.settings.Seed)
			return p
		}
		c.low, c.high = g.limits[k].of(y)
		if g.settings.Digits > 0 {
			c.ends[0], c.ends[1] = symmetric(slices.Clone(y), g.settings.Probability)
		}
		p.columns[k] = c
	}
	if g.columns == 2 {
		for t, y := range columns[0] {
			p.comoment += (y - p.columns[0].mean) * (columns[1][t] - p.columns[1].mean)
		}
	}
	return p
}

// squaresAbout is the sum of squared deviations of a long sample from its mean.
func squaresAbout(y []float64, mean float64) float64 {
	var sum, rest float64
	for _, v := range y {
		d := v - mean
		sum += d * d
		rest += d
	}
	s := sum - rest*rest/float64(len(y))
	if s < 0 {
		return 0
	}
	return s
}

// unusable names the trial that is not finite; first is the number of trials before the sample.
func unusable(y []float64, first int, seed uint64) error {
	for t, v := range y {
		if !finite(v) {
			return fmt.Errorf("trial %d (seed %d): model is %g, want a finite value", first+t+1, seed, v)
		}
	}
	return fmt.Errorf("trials %d to %d (seed %d): the standard deviation is not finite", first+1, first+len(y), seed)
}

// tailsOf says which trials can be ends of the intervals of component k, judged from a block of which every trial is kept.
func (g *trials) tailsOf(p part, k int) tailLimits {
	y := slices.Clone(p.columns[k].low)
	n := int(keepTail * (1 - g.settings.Probability) * float64(len(y)))
	if 2*n >= len(y) || g.settings.Trials <= block {
		return tailLimits{all: true}
	}
	partition(y, n)
	l := tailLimits{low: y[n]}
	partition(y[n:], len(y)-2*n-1)
	l.high = y[len(y)-n-1]
	l.all = l.low >= l.high
	return l
}

// everything keeps every trial.
func everything(part, int) tailLimits { return tailLimits{all: true} }

// of returns copies of the trials below and above the limits, all of them in low where the limits say all.
func (l tailLimits) of(y []float64) (low, high []float64) {
	if l.all {
		return slices.Clone(y), nil
	}
	for _, v := range y {
		if v <= l.low {
			low = append(low, v)
		} else if v >= l.high {
			high = append(high, v)
		}
	}
	return low, high
}

// narrow drops what the limits do not keep, where everything was kept.
func (c *column) narrow(l tailLimits) {
	if !l.all {
		c.low, c.high = l.of(c.low)
	}
}

// combine gathers the parts in the order of the blocks. It is not complete where a tail is shorter than the intervals need.
func (g *trials) combine() (r outcome, complete bool, err error) {
	var n, comoment float64
	var mean, squares [2]float64
	for _, p := range g.parts {
		if p.err != nil {
			return r, true, p.err
		}
		m := float64(p.n)
		var d [2]float64
		for k := range g.columns {
			d[k] = p.columns[k].mean - mean[k]
			squares[k] += p.columns[k].squares + d[k]*d[k]*n*m/(n+m)
			mean[k] += d[k] * m / (n + m)
		}
		comoment += p.comoment + d[0]*d[1]*n*m/(n+m)
		n += m
	}
	r.trials = int(n)
	exist := momentsOf(g.set, g.uses)
	var full [2]bool
	var errs [2]error
	work := func(k int) func() {
		return func() {
			if k < g.columns {
				r.intervals[k], full[k], errs[k] = g.interval(k, r.trials, mean[k], math.Sqrt(squares[k]/(n-1)), exist)
			} else {
				full[k] = true
			}
		}
	}
	both(g.settings.Workers > 1, work(0), work(1))
	for _, err := range errs {
		if err != nil {
			return r, true, err
		}
	}
	r.correlation = ratio(comoment, math.Sqrt(squares[0])*math.Sqrt(squares[1]))
	if !exist.variance {
		r.correlation = math.NaN()
	}
	for k := range g.columns {
		if g.settings.Keep {
			r.sample[k] = g.sample[k][:r.trials]
		}
	}
	return r, full[0] && full[1], nil
}

// interval is the summary of component k.
//
// Clause: JCGM 101 7.6
func (g *trials) interval(k, m int, mean, std float64, exist moments) (in Interval, complete bool, err error) {
	if !finite(std) {
		return in, true, fmt.Errorf("%d trials (seed %d): standard deviation is %g, want a finite value", m, g.settings.Seed, std)
	}
	in = Interval{Mean: mean, Std: std}
	if std == 0 {
		in.Low, in.High, in.ShortestLow, in.ShortestHigh = mean, mean, mean, mean
	} else {
		var low, high []float64
		for _, p := range g.parts {
			low = append(low, p.columns[k].low...)
			high = append(high, p.columns[k].high...)
		}
		tail := m - coveredPlaces(m, g.settings.Probability)
		switch {
		case g.limits[k].all:
			low, high = tails(low, g.settings.Probability)
		case len(low) < tail || len(high) < tail:
			return in, false, nil
		default:
			low, high = lowest(low, tail), highest(high, tail)
		}
		in.coverTails(low, high)
		in.about(g.centre[k], low, high)
	}
	if !exist.mean {
		in.Mean = math.NaN()
	}
	if !exist.variance {
		in.Std = math.NaN()
	}
	return in, true, nil
}
