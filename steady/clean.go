package steady

import (
	"math"
	"slices"
)

const (
	reach    = 3                    // values on either side of the middle of the running median: seven in all
	sigma    = 1.4826               // standard deviation of a Gaussian over its median absolute deviation
	narrowed = 1.15                 // what the running median takes off the scatter around it (R8)
	outlying = 5 * narrowed * sigma // median absolute deviations beyond which a value is replaced
)

// cleaner replaces what is no member of a series.
type cleaner struct {
	medians, distances, window []float64
}

func newCleaner(longest int) cleaner {
	return cleaner{medians: make([]float64, longest), distances: make([]float64, 0, longest), window: make([]float64, 0, longest)}
}

// clean writes x into out with its running median of seven (mirrored at the ends, x_{-1} = x_0) in place of missing blocks (NaN) and of values further than 5 s
// from that median, s = 1.15·1.4826·median|x - med|. Where more than half of the values sit on their median (a display with few digits) s is zero and nothing
// is replaced. It returns how many values were replaced.
func (c *cleaner) clean(out, x []float64) (replaced int) {
	medians := c.medians[:len(x)]
	distances := c.distances[:0]
	for k, v := range x {
		medians[k] = c.runningMedian(x, k)
		if !math.IsNaN(v) {
			distances = append(distances, math.Abs(v-medians[k]))
		}
	}
	limit := math.Inf(1)
	if len(distances) > 0 {
		if m := median(distances); m > 0 {
			limit = outlying * m
		}
	}
	for k, v := range x {
		out[k] = v
		if math.IsNaN(v) {
			out[k] = medians[k]
		} else if math.Abs(v-medians[k]) > limit {
			out[k] = medians[k]
			replaced++
		}
	}
	return replaced
}

// runningMedian is the median of the values present within reach of x[k]; where none is, the reach is doubled until one is. NaN where all of x is missing.
func (c *cleaner) runningMedian(x []float64, k int) float64 {
	n := len(x)
	for r := reach; ; r *= 2 {
		window := c.window[:0]
		for i := k - r; i <= k+r && len(window) < cap(window); i++ {
			j := i
			if j < 0 {
				j = -1 - j
			} else if j >= n {
				j = 2*n - 1 - j
			}
			if j >= 0 && j < n && !math.IsNaN(x[j]) {
				window = append(window, x[j])
			}
		}
		if len(window) > 0 {
			return median(window)
		}
		if r > n {
			return math.NaN()
		}
	}
}

// median orders x, which must not be empty, and returns its median.
func median(x []float64) float64 {
	slices.Sort(x)
	n := len(x)
	if n%2 == 1 {
		return x[n/2]
	}
	return (x[n/2-1] + x[n/2]) / 2
}
