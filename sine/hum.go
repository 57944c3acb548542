package sine

import (
	"math"
	"math/cmplx"
)

const (
	humBlocks   = 2    // pairs of neighbouring blocks needed to measure the mains
	humCoherent = 0.9  // mean of their unit phasors
	humStrong   = 10   // power of a line over its noise in a block
	humNear     = 4    // units of 1/T from the fundamental within which what a line leaves reaches it
	humLeak     = 0.1  // part of that power which does, to be compared with the noise of the fundamental, not of the samples
	humReach    = 0.01 // relative, furthest the mains may be from its nominal frequency
)

// humSteps follows the phase of the mains lines from block to block: the mains is no standard of frequency, and a regressor that is off by a tenth of 1/T
// leaves a fifth of the line in the residual.
type humSteps struct {
	nominal  []float64 // lines, multiples of the mains frequency of the settings, Hz
	previous []complex128
	sums     []complex128 // [channel][line] of the unit phasors z_b conj(z_{b-1}), which one disturbed block cannot dominate
	counts   []int
	blocks   int
}

func newHumSteps(nominal []float64, channels int) humSteps {
	n := len(nominal) * channels
	return humSteps{nominal: nominal, previous: make([]complex128, n), sums: make([]complex128, n), counts: make([]int, n)}
}

// take adds line k of channel c in the block just solved, phase about its centre.
func (h *humSteps) take(c, k int, z complex128) {
	j := c*len(h.nominal) + k
	p := z * cmplx.Conj(h.previous[j])
	if a := cmplx.Abs(p); h.blocks > 0 && a > 0 && !math.IsInf(a, 0) {
		h.sums[j] += p / complex(a, 0)
		h.counts[j]++
	}
	h.previous[j] = z
}

// frequency corrects the mains frequency of the regressors by the lines that are strong and steady, each weighted by its information about it. It also returns the part of the residual
// variance that mistuned lines make, a^2/2 (pi df T)^2/3 each for small df T, more for those beside the fundamental: whether another pass is worth its while.
func (h *humSteps) frequency(mains float64, b *basis, nominal float64, channels []Channel) (measured, residual float64) {
	T := float64(b.size) / b.rate
	var num, den float64
	for c, ch := range channels {
		for k, l := range ch.Mains {
			j := c*len(h.nominal) + k
			n := float64(h.counts[j])
			a, line := real(l.Amplitude), b.freq[b.harmonics+k]
			noise := ch.Residual * ch.Residual * b.amplitudeVariance(b.harmonics+k)
			if r := cmplx.Abs(h.sums[j]) / n; n < humBlocks || r < humCoherent || a*a < humStrong*noise {
				continue
			}
			// from block to block the line turns by its frequency times T, known but for whole cycles, and the regressor's share of it is taken out
			turn := wrap(cmplx.Phase(h.sums[j])/(2*math.Pi) - turns(line, b.rate, 2*int64(b.size)))
			order := l.Frequency / nominal
			weight := order * order * a * a / noise
			num += weight * turn / (T * order)
			den += weight
		}
	}
	if den == 0 || math.Abs(mains+num/den-nominal) > humReach*nominal {
		return mains, 0
	}
	off := num / den
	for _, ch := range channels {
		power := 0.0
		for _, l := range ch.Mains {
			a, cycles := real(l.Amplitude), off*l.Frequency/nominal*T
			excess := a * a / 2 * math.Pow(math.Pi*cycles, 2) / 3
			if math.Abs(l.Frequency-b.freq[0])*T < humNear {
				excess *= humLeak * float64(b.size)
			}
			power += excess
		}
		if ch.Residual > 0 {
			residual = max(residual, min(1, power/(ch.Residual*ch.Residual)))
		}
	}
	return mains + off, residual
}
