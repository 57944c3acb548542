package steady

import "math"

const (
	skipFactor = 5    // time constants left out
	skipKappa  = 1.15 // factor on the half width for looking many times
)

// skipped is the number of blocks rule Skip leaves out.
func skipped(tau float64) int { return int(math.Ceil(skipFactor * tau)) }

// skip applies rule Skip to the n held blocks: the mean of what follows 5 tau_max with the larger half width of its batch means.
func (j *Judge) skip(n int, tau float64) (out [2]window) {
	scale := 1 << j.merges
	start := (skipped(tau) + scale - 1) / scale
	if n-start < first {
		return out
	}
	for c := range out {
		if j.target[c] == 0 || j.present(c, start) < first {
			continue
		}
		x := j.values[c][start:n]
		w := window{start: start, found: true}
		for _, v := range x {
			w.mean += v - x[0]
		}
		w.mean = x[0] + w.mean/float64(len(x))
		w.half, w.dof = j.batch.widest(x)
		w.half *= math.Sqrt(float64(len(x)) / float64(j.present(c, start)))
		out[c] = w
	}
	return out
}
