package sine

import (
	"math"
	"slices"
)

// series is the values of blocks in order of time, fields one after another in flat slices.
type series struct {
	channels, harmonics, hums int

	at       []int64      // centre, half samples from the first sample
	weight   []int        // elementary blocks accepted in it
	spoiled  []int        // elementary blocks rejected in it
	z        []complex128 // [block][channel][harmonic], phase about the block's centre
	variance []float64    // [block][channel] of the residual
	floor    []float64    // [block][channel] what of it may be rounding
	hum      []float64    // [block][channel][mains line] squared modulus
	mean     []float64    // [block][channel] of the samples
	pull     []float64    // [block][channel] frequency within the block, see basis.slope
	hold     []float64
}

func newSeries(channels, harmonics, hums, capacity int) series {
	return series{
		channels: channels, harmonics: harmonics, hums: hums,
		at: make([]int64, 0, capacity), weight: make([]int, 0, capacity), spoiled: make([]int, 0, capacity),
		z:        make([]complex128, 0, capacity*channels*harmonics),
		variance: make([]float64, 0, capacity*channels), floor: make([]float64, 0, capacity*channels),
		hum: make([]float64, 0, capacity*channels*hums), mean: make([]float64, 0, capacity*channels),
		pull: make([]float64, 0, capacity*channels), hold: make([]float64, 0, capacity*channels),
	}
}

func (s *series) len() int { return len(s.at) }

// grow appends an empty elementary block and returns its index.
func (s *series) grow(at int64) int {
	s.at = append(s.at, at)
	s.weight, s.spoiled = append(s.weight, 1), append(s.spoiled, 0)
	s.z = longer(s.z, s.channels*s.harmonics)
	s.variance, s.floor = longer(s.variance, s.channels), longer(s.floor, s.channels)
	s.hum, s.mean = longer(s.hum, s.channels*s.hums), longer(s.mean, s.channels)
	s.pull, s.hold = longer(s.pull, s.channels), longer(s.hold, s.channels)
	return len(s.at) - 1
}

// longer appends n zeros.
func longer[T any](x []T, n int) []T {
	x = slices.Grow(x, n)[:len(x)+n]
	clear(x[len(x)-n:])
	return x
}

// reset empties the series and keeps its space.
func (s *series) reset() {
	s.at, s.weight, s.spoiled, s.z = s.at[:0], s.weight[:0], s.spoiled[:0], s.z[:0]
	s.variance, s.floor, s.hum, s.mean, s.pull, s.hold = s.variance[:0], s.floor[:0], s.hum[:0], s.mean[:0], s.pull[:0], s.hold[:0]
}

// clone copies the series.
func (s *series) clone() series {
	c := *s
	c.at, c.weight, c.spoiled, c.z = slices.Clone(s.at), slices.Clone(s.weight), slices.Clone(s.spoiled), slices.Clone(s.z)
	c.variance, c.floor, c.hum, c.mean = slices.Clone(s.variance), slices.Clone(s.floor), slices.Clone(s.hum), slices.Clone(s.mean)
	c.pull, c.hold = slices.Clone(s.pull), slices.Clone(s.hold)
	return c
}

// lines are the harmonics of channel c in block i.
func (s *series) lines(i, c int) []complex128 {
	k := (i*s.channels + c) * s.harmonics
	return s.z[k : k+s.harmonics : k+s.harmonics]
}

// humOf are the squared moduli of the mains lines of channel c in block i.
func (s *series) humOf(i, c int) []float64 {
	k := (i*s.channels + c) * s.hums
	return s.hum[k : k+s.hums : k+s.hums]
}

// disturbed reports whether the residual of any channel in block i exceeds its limit, a variance, or is no number.
func (s *series) disturbed(i int, limit []float64) bool {
	if s.weight[i] == 0 {
		return true
	}
	for c, v := range limit {
		if !(s.variance[i*s.channels+c] <= v) {
			return true
		}
	}
	return false
}

const (
	disturbance = 3   // residual standard deviation over its median above which a block is rejected
	beneath     = 250 // floors of rounding: a variance below that rejects nothing, the residual being 130 dB under the samples
)

// limits are the residual variances above which a block is rejected, and the medians they come from, per channel. ok is false where no block has a residual.
func (s *series) limits() (limit, median []float64, ok bool) {
	limit, median = make([]float64, s.channels), make([]float64, s.channels)
	x, floors := make([]float64, 0, s.len()), make([]float64, 0, s.len())
	for c := range limit {
		x, floors = x[:0], floors[:0]
		for i, w := range s.weight {
			j := i*s.channels + c
			if v := s.variance[j]; w > 0 && !math.IsNaN(v) && !math.IsInf(v, 0) {
				x, floors = append(x, v), append(floors, s.floor[j])
			}
		}
		if len(x) == 0 {
			return nil, nil, false
		}
		median[c] = middle(x)
		limit[c] = max(disturbance*disturbance*median[c], beneath*middle(floors))
	}
	return limit, median, true
}

// middle is the median of x, which it reorders.
func middle(x []float64) float64 {
	n := len(x)
	upper := smallest(x, n/2)
	if n&1 == 1 {
		return upper
	}
	return (slices.Max(x[:n/2]) + upper) / 2
}

// smallest puts the k-th smallest of x, from 0, in its sorted place, smaller ones before it, and returns it (Hoare's selection).
func smallest(x []float64, k int) float64 {
	for low, high := 0, len(x)-1; low < high; {
		pivot := x[low+(high-low)/2]
		i, j := low, high
		for i <= j {
			for x[i] < pivot {
				i++
			}
			for x[j] > pivot {
				j--
			}
			if i <= j {
				x[i], x[j] = x[j], x[i]
				i++
				j--
			}
		}
		switch {
		case k <= j:
			high = j
		case k >= i:
			low = i
		default:
			return x[k]
		}
	}
	return x[k]
}

// merge appends to dst the blocks from..to of s as one, leaving the disturbed ones out: values turned by the frequency f to the middle of the run and averaged.
func (s *series) merge(dst *series, from, to int, f, rate float64, limit []float64) {
	at := (s.at[from] + s.at[to-1]) / 2
	j := dst.grow(at)
	weight, spoiled := 0, 0
	for i := from; i < to; i++ {
		spoiled += s.spoiled[i]
		if s.disturbed(i, limit) {
			spoiled += s.weight[i]
			continue
		}
		w := s.weight[i]
		weight += w
		base := turns(f, rate, s.at[i]-at)
		for c := range s.channels {
			z := dst.lines(j, c)
			for h, v := range s.lines(i, c) {
				z[h] += complex(float64(w), 0) * rotated(v, wrap(float64(h+1)*base))
			}
		}
		addScaled(dst.variance[j*s.channels:], float64(w), s.variance[i*s.channels:(i+1)*s.channels])
		addScaled(dst.floor[j*s.channels:], float64(w), s.floor[i*s.channels:(i+1)*s.channels])
		addScaled(dst.mean[j*s.channels:], float64(w), s.mean[i*s.channels:(i+1)*s.channels])
		n := s.channels * s.hums
		addScaled(dst.hum[j*n:], float64(w), s.hum[i*n:(i+1)*n])
	}
	dst.weight[j], dst.spoiled[j] = weight, spoiled
	dst.divide(j, float64(weight))
}

func addScaled(dst []float64, a float64, x []float64) {
	for i, v := range x {
		dst[i] += a * v
	}
}

// divide turns the sums of block j into means. A block without weight becomes no number.
func (s *series) divide(j int, by float64) {
	a := 1 / by
	if by == 0 {
		a = math.NaN()
	}
	for i := j * s.channels * s.harmonics; i < (j+1)*s.channels*s.harmonics; i++ {
		s.z[i] = complex(a*real(s.z[i]), a*imag(s.z[i]))
	}
	for _, x := range [][]float64{s.variance, s.floor, s.mean} {
		for i := j * s.channels; i < (j+1)*s.channels; i++ {
			x[i] *= a
		}
	}
	for i := j * s.channels * s.hums; i < (j+1)*s.channels*s.hums; i++ {
		s.hum[i] *= a
	}
}
