package sine

import (
	"math"
	"math/cmplx"
	"slices"
)

// Movement is how a phase moved from block to block.
type Movement struct {
	Range     float64 // largest less smallest phase of the accepted blocks, rad
	Noise     float64 // standard deviation of the phase of one block by white noise of the size of the residual in the calmer quarter of the blocks, rad
	Rough     float64 // mean square of the steps from block to block over the variance: 2 for noise, near 0 for a drift or a few jumps; NaN for fewer than 3 blocks
	Jumps     int     // blocks across which the phase changes and that are modulated; of CommonPhase
	Modulated int     // blocks whose residual, over the amplitude, is large and the same in all channels, at least two; of CommonPhase
}

const (
	calm       = 4    // one in so many blocks is taken to be undisturbed
	leastJump  = 0.03 // rad, of a phase that changes across a block
	leastMod   = 0.01 // residual over amplitude of a block that holds a jump
	largeMod   = 0.03 // and of one that counts as modulated whether the phase changes or not
	modulation = 0.1  // and over the phase of one sample
	alike      = 0.1  // relative difference of that between channels

	sameSize    = 0.1 // change of the modulus over that of the value that a mere shift may make
	wholeSample = 0.2 // samples by which a shift may differ from whole ones
)

// RatioPhase is how the phase of the ratio of channel d to channel r moved. Noise apart, nothing but the transducers and the recorder moves it.
func (f Fit) RatioPhase(d, r int) Movement {
	var phase, noise []float64
	for _, b := range f.Blocks {
		if !b.Rejected {
			phase = append(phase, cmplx.Phase(b.Z[d]/b.Z[r]))
			noise = append(noise, math.Hypot(f.phaseNoise(b, d), f.phaseNoise(b, r)))
		}
	}
	return movement(unwrapped(phase), noise)
}

// CommonPhase is how the phase of channel c moved about a straight line, with the jumps that all channels show alike: as lost samples make
// them, and the generator's wander does not.
func (f Fit) CommonPhase(c int) Movement {
	var phase, noise, time, accepted []float64
	for _, b := range f.Blocks {
		phase, time = append(phase, cmplx.Phase(b.Z[c])), append(time, b.Time)
		if !b.Rejected {
			noise = append(noise, f.phaseNoise(b, c))
		}
	}
	phase = level(time, unwrapped(phase))
	for i, b := range f.Blocks {
		if !b.Rejected {
			accepted = append(accepted, phase[i])
		}
	}
	m := movement(accepted, noise)
	least := max(leastJump, math.Pi*f.Frequency/f.Rate)
	for i, b := range f.Blocks {
		residual := f.modulated(b)
		if residual > largeMod {
			m.Modulated++
		}
		if residual == 0 || i == 0 || i+1 == len(phase) {
			continue
		}
		across, bump := phase[i+1]-phase[i-1], phase[i]-(phase[i+1]+phase[i-1])/2
		if math.Abs(across) > least || math.Abs(bump) > least && !b.Rejected {
			m.Jumps++
		}
	}
	return m
}

// phaseNoise is the standard deviation of the phase of channel c in a block from its residual.
func (f Fit) phaseNoise(b Block, c int) float64 {
	return math.Sqrt(2*b.Variance[c]/float64(f.BlockSize*max(1, b.Weight))) / cmplx.Abs(b.Z[c])
}

// relative is the residual of channel c in a block over the amplitude.
func (f Fit) relative(b Block, c int) float64 { return math.Sqrt(b.Variance[c]) / cmplx.Abs(b.Z[c]) }

// modulated is the residual of a block over the amplitude where it is more than a jump of the phase by a sample leaves and the same in all channels, else 0.
func (f Fit) modulated(b Block) float64 {
	low, high := math.Inf(1), 0.0
	for c := range b.Z {
		m := f.relative(b, c)
		low, high = min(low, m), max(high, m)
	}
	if len(b.Z) > 1 && low > max(leastMod, modulation*2*math.Pi*f.Frequency/f.Rate) && high < (1+alike)*low {
		return low
	}
	return 0
}

// EarlyShift looks for a shift of channel d against channel r within the first block where that was rejected: a loss there leaves all others alike, and
// wrong. Of a block that holds z0 over the part s and z1 over the rest, mean and residual are
//
//	z/z1 = 1 + s (z0/z1 - 1),   variance/|z1|^2 = s (1-s) |z0/z1 - 1|^2/2
//
// which gives s and z0/z1. Where that is a mere shift by whole samples it returns their number, positive where channel d lost them; else 0.
// Blocks of few cycles are not told.
func (f Fit) EarlyShift(d, r int) int {
	if len(f.Blocks) <= sideBlocks || !f.Blocks[0].Rejected {
		return 0
	}
	var beside complex128
	used := 0.0
	for _, b := range f.Blocks[1 : 1+sideBlocks] {
		if !b.Rejected {
			beside, used = beside+b.Z[d]/b.Z[r], used+1
		}
	}
	if used < 2 {
		return 0
	}
	return f.shift(f.Blocks[0], d, r, beside/complex(used, 0))
}

// shift is the number of samples by which the ratio of a block is shifted in part of it against the one beside it; 0 where it is not.
func (f Fit) shift(edge Block, d, r int, beside complex128) int {
	change := edge.Z[d] / edge.Z[r] / beside
	residual, other := f.relative(edge, d), f.relative(edge, r)
	sign := -1
	if other > residual { // channel r holds the shift
		change, residual, sign = 1/change, other, 1
	}
	q := change - 1
	size := cmplx.Abs(q)
	part := 1 / (1 + 2*residual*residual/(size*size))
	turned := 1 + q/complex(part, 0)
	if off := math.Abs(cmplx.Abs(turned) - 1); !(off < sameSize*size/part) {
		return 0
	}
	k := cmplx.Phase(turned) / (2 * math.Pi * f.Frequency / f.Rate)
	if whole := math.Round(k); math.Abs(k-whole) < wholeSample {
		return sign * int(whole)
	}
	return 0
}

// movement judges the phases of accepted blocks.
func movement(phase, noise []float64) Movement {
	if len(phase) < 3 {
		return Movement{Rough: math.NaN()}
	}
	slices.Sort(noise)
	m := Movement{Range: slices.Max(phase) - slices.Min(phase), Noise: noise[len(noise)/calm]}
	mean, steps, square := average(phase), 0.0, 0.0
	for i, v := range phase {
		square += (v - mean) * (v - mean)
		if i > 0 {
			steps += (v - phase[i-1]) * (v - phase[i-1])
		}
	}
	m.Rough = steps / float64(len(phase)-1) / square * float64(len(phase)-1)
	return m
}

// unwrapped follows phases from one to the next by the shorter way; those that are no numbers are as the one before.
func unwrapped(phase []float64) []float64 {
	for i, v := range phase {
		switch {
		case math.IsNaN(v) && i == 0:
			phase[i] = 0
		case math.IsNaN(v):
			phase[i] = phase[i-1]
		case i > 0:
			phase[i] = phase[i-1] + 2*math.Pi*wrap((v-phase[i-1])/(2*math.Pi))
		}
	}
	return phase
}

// level takes the median slope out of phases.
func level(time, phase []float64) []float64 {
	slopes := make([]float64, 0, len(phase))
	for i := 1; i < len(phase); i++ {
		slopes = append(slopes, (phase[i]-phase[i-1])/(time[i]-time[i-1]))
	}
	if len(slopes) == 0 {
		return phase
	}
	slope := middle(slopes)
	for i := range phase {
		phase[i] -= slope * (time[i] - time[0])
	}
	return phase
}
