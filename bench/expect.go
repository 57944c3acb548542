package bench

import (
	"maps"
	"math"
	"math/cmplx"
	"slices"
)

// firstDrive is where the check begins: a few per cent of what the responses of neighbours lead to expect, more where the noise asks for it, and never more than that
// of the highest drive.
func (a *attempt) firstDrive() float64 {
	sum := 0.0
	for i, f := range a.lines {
		h := a.neighbour(f)
		if h == 0 {
			return softest * a.Limits.Drive
		}
		level := max(lowPart*a.wanted[i], min(lowMost*a.wanted[i], 1.5*a.noise(f, a.window())/clearly))
		sum += level / h
	}
	return max(softest*a.Limits.Drive, min(sum, lowPart*a.Limits.Drive))
}

// neighbour is the response to be expected at f by the nearest one known, 0 where none is: with f² upwards, as below a suspension's resonance; downwards along the slope
// between the two nearest, not far, so that the drive is rather too low.
func (a *attempt) neighbour(f float64) float64 {
	keys := slices.Sorted(maps.Keys(a.known))
	if len(keys) == 0 {
		return 0
	}
	k := closest(keys, f)
	h := a.known[keys[k]]
	ratio := f / keys[k]
	if ratio >= 1 {
		return h * ratio * ratio
	}
	if k+1 < len(keys) {
		slope := math.Log(a.known[keys[k+1]]/h) / math.Log(keys[k+1]/keys[k])
		h *= max(1.0/3, math.Pow(ratio, min(2, max(0, slope))))
	}
	return h
}

// closest is the index of the value in x nearest to f by their ratio.
func closest(x []float64, f float64) int {
	best := 0
	for k, v := range x {
		if math.Abs(math.Log(f/v)) < math.Abs(math.Log(f/x[best])) {
			best = k
		}
	}
	return best
}

// noise is what the quiet check leads to expect of one component of a line of the reference at f in a window, as a level in m/s²; 0 where it cannot tell.
func (a *attempt) noise(f, window float64) float64 {
	n := int(window * a.quietRate)
	x := a.quiet[0]
	if n < 4 || len(x) < 2*n {
		return 0
	}
	var squares []float64
	for from := 0; from+n <= len(x); from += n {
		v := lineOf(straightened(x[from:from+n]), f, a.quietRate, 0)
		squares = append(squares, v*v/2)
	}
	return math.Sqrt(median(squares)) / cmplx.Abs(a.Reference.Sensitivity(f))
}

// straightened is x less its straight line: what settles after an acquisition began is no noise.
func straightened(x []float64) []float64 {
	m, slope := line(x)
	out := make([]float64, len(x))
	for i, v := range x {
		out[i] = v - m - slope*(float64(i)-float64(len(x)-1)/2)
	}
	return out
}
