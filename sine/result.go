package sine

import (
	"fmt"
	"math"
	"math/cmplx"
	"slices"
)

// Fit returns the approximation of the frames added so far. More may be added afterwards.
func (a *Accumulator) Fit() (Fit, error) {
	s := &a.blocks
	if a.pending.len() > 0 {
		joined := a.blocks.clone()
		a.pending.merge(&joined, 0, a.pending.len(), a.history.frequency, a.set.Rate, a.history.limit)
		s = &joined
	}
	if s.len() == 0 {
		return Fit{}, fmt.Errorf("sine: %w: %d frames, a block has %d (%.4g s)", ErrShort, a.frames, a.basis.size, float64(a.basis.size)/a.set.Rate)
	}
	an, err := analyse(a, s)
	if err != nil {
		return Fit{}, err
	}
	f := Fit{
		Rate: a.set.Rate, Frames: a.frames, Frequency: an.frequency, FrequencyStd: an.std, BlockSize: a.basis.size, Start: a.basis.freq[0],
		Mistuning: an.mistuning, Coherence: an.coherence(), Condition: a.basis.cond, Passes: 1,
	}
	f.Blocks, f.Shared = an.blocks(), a.shared
	used := 0
	for _, b := range f.Blocks {
		if !b.Rejected {
			used += b.Weight
		}
	}
	f.Rejected = int(a.taken) - used
	f.Periods = float64(used) * float64(a.basis.size) / a.set.Rate * an.frequency
	for c := range a.channels {
		f.Channels = append(f.Channels, an.channel(c, used, a.hum.nominal))
	}
	f.Mains = a.set.Mains * (1 + a.set.mainsOff)
	if f.offset() <= tuned { // else the fundamental leaks into the mains lines
		f.Mains, f.humResidual = a.hum.frequency(f.Mains, a.basis, a.set.Mains, f.Channels)
	}
	f.Steps = placed(append(slices.Clone(a.history.steps), an.steps...), f.Blocks)
	return f, nil
}

// placed sorts steps by time and finds the block after each.
func placed(steps []Step, blocks []Block) []Step {
	slices.SortFunc(steps, func(x, y Step) int { return int(max(-1, min(1, x.Sample-y.Sample))) })
	for i := range steps {
		steps[i].Block = len(blocks)
		for k, b := range blocks {
			if b.Time > steps[i].Time && !b.Rejected {
				steps[i].Block = k
				break
			}
		}
	}
	return steps
}

// blocks are the values of every block, turned to the first sample.
func (an *analysis) blocks() []Block {
	blocks := make([]Block, an.len())
	for i := range blocks {
		b := Block{Time: float64(an.at[i]) / (2 * an.basis.rate), Weight: an.weight[i], Rejected: an.disturbed(i, an.limit), Cause: -1}
		if b.Rejected {
			b.Weight += an.spoiled[i]
			b.Cause = an.cause(i)
		}
		for c := range an.channels {
			b.Z = append(b.Z, an.common(i, c))
			b.Variance = append(b.Variance, an.variance[i*an.channels+c])
		}
		blocks[i] = b
	}
	return blocks
}

// cause is the channel whose residual in block i exceeds its limit most, or is no number; -1 where that holds for none or for all of several.
func (an *analysis) cause(i int) int {
	most, at, missing := 1.0, -1, 0
	for c, limit := range an.limit {
		v := an.variance[i*an.channels+c] / limit
		if math.IsNaN(v) {
			v = math.Inf(1)
			missing++
		}
		if v > most {
			most, at = v, c
		}
	}
	if missing == an.channels && missing > 1 {
		return -1
	}
	return at
}

// channel joins the used blocks of channel c. nominal are the mains lines by the settings.
func (an *analysis) channel(c, used int, nominal []float64) Channel {
	ch := Channel{Harmonics: make([]complex128, an.harmonics)}
	hum := make([]float64, an.hums)
	variance := 0.0
	for _, i := range an.fitted {
		w := float64(an.weight[i]) / float64(used)
		base := turns(an.frequency, an.basis.rate, an.at[i]) + an.offset[i]
		for h, z := range an.lines(i, c) {
			ch.Harmonics[h] += complex(w, 0) * rotated(z, wrap(float64(h+1)*base))
		}
		variance += w * an.variance[i*an.channels+c]
		ch.Offset += w * an.mean[i*an.channels+c]
		for k, v := range an.humOf(i, c) {
			hum[k] += w * v
		}
	}
	ch.Amplitude = ch.Harmonics[0]
	ch.Distortion = distortion(ch.Harmonics, an.shared)
	ch.Residual = math.Sqrt(variance)
	ch.Std = math.Sqrt(variance * an.basis.amplitudeVariance(0) / 2 / float64(used))
	for k, v := range hum {
		line := an.harmonics + k
		noise := variance * an.basis.amplitudeVariance(line)
		rms := math.Sqrt(max(0, v-noise))
		spread := math.Sqrt((noise*noise + 2*rms*rms*noise) / float64(used)) // of the mean squared modulus: noncentral chi-squared, two degrees of freedom a block
		ch.Mains = append(ch.Mains, Line{Frequency: nominal[k], Amplitude: complex(rms, 0), Std: math.Sqrt(rms*rms+spread) - rms})
	}
	return ch
}

// amplitudeVariance is the sum of the variances of the cosine and the sine of line k in a block, for unit variance of the samples.
func (b *basis) amplitudeVariance(k int) float64 {
	return b.inverse[0][k*b.even+k] + b.inverse[1][k*b.odd+k]
}

// distortion is the total harmonic distortion, shared harmonics left out.
func distortion(harmonics []complex128, shared []int) float64 {
	sum := 0.0
	for i, z := range harmonics[1:] {
		if slices.Contains(shared, i+2) {
			continue
		}
		sum += real(z)*real(z) + imag(z)*imag(z)
	}
	return math.Sqrt(sum) / cmplx.Abs(harmonics[0])
}
