package sine

import (
	"fmt"
	"math"
	"math/cmplx"
)

// analysis is the frequency shared by all channels and what follows from it for every block. Its series is a copy: disturbed blocks have weight 0 or a variance above
// limit, the mistuning is taken out, phase steps are in offset.
type analysis struct {
	series
	raw       *series // as accumulated
	basis     *basis
	shared    []int // harmonics that are other lines
	set       *Settings
	mergedAt  uint // level of the series: from 1 on, mistuning has been taken out already
	span      int  // frames of one block of the series
	frequency float64
	std       float64
	limit     []float64 // per channel, of the residual variance
	median    []float64 // per channel
	weights   []float64 // per channel, in the frequency
	offset    []float64 // per block, cycles of the fundamental lost before it
	cuts      []cut
	steps     []Step
	mistuning float64 // see Fit

	fitted []int        // accepted blocks, in order
	turned []complex128 // [of those][channel] turned to the first sample at the frequency found so far
	phase  []float64    // of those, rad: what is left of the phase common to all channels
	info   []float64    // of those: inverse variance of phase from the residual
	scale  float64      // from weights to inverse variances
	within [2]float64   // information about the frequency between and within the blocks
}

// settled is the change of frequency, in cycles over the record, at which the iteration stops.
const settled = 1e-11

// analyse refines the frequency of the blocks s of a and finds phase steps.
func analyse(a *Accumulator, s *series) (*analysis, error) {
	an := &analysis{series: s.clone(), raw: s, basis: a.basis, shared: a.shared, set: &a.set, mergedAt: a.level, span: a.basis.size << a.level,
		frequency: a.history.frequency, offset: make([]float64, s.len()), std: math.Inf(1)}
	if !an.judge() {
		return an, fmt.Errorf("sine: %w: %d of %d", ErrDisturbed, s.len(), s.len())
	}
	if !a.set.Known {
		an.coarse()
	}
	an.converge()
	for len(an.cuts) < mostSteps && an.findStep() {
		an.converge()
		an.align()
		an.converge()
	}
	an.locateSteps()
	if an.std = 0; !a.set.Known {
		an.std = an.spread()
	}
	return an, nil
}

// judge sets which blocks are used. It reports whether there is one.
func (an *analysis) judge() bool {
	var ok bool
	an.limit, an.median, ok = an.limits()
	if !ok {
		an.limit = make([]float64, an.channels)
		for c := range an.limit {
			an.limit[c] = math.Inf(1)
		}
		return false
	}
	an.weights = an.set.Weights
	if an.weights == nil {
		an.weights = make([]float64, an.channels)
		for c, v := range an.median {
			if v > 0 { // not a channel of zeros
				an.weights[c] = 1 / v
			}
		}
	}
	an.fitted = an.fitted[:0]
	for i := range an.len() {
		if !an.disturbed(i, an.limit) {
			an.fitted = append(an.fitted, i)
		}
	}
	return len(an.fitted) > 0
}

// converge alternates the correction for mistuning with the fine step until the frequency stands.
func (an *analysis) converge() {
	record := float64(an.at[an.len()-1]+int64(an.span)) / (2 * an.basis.rate)
	for range 8 {
		an.correct()
		an.judge()
		df := an.fine()
		if an.set.Known {
			return
		}
		an.frequency += df
		if math.Abs(df)*record < settled {
			return
		}
	}
	an.fine()
}

// common is z of block i, channel c turned to the first sample at the frequency found so far.
func (an *analysis) common(i, c int) complex128 {
	return rotated(an.z[(i*an.channels+c)*an.harmonics], wrap(turns(an.frequency, an.basis.rate, an.at[i])+an.offset[i]))
}

// coarse advances the frequency by the mean phase step between neighbours: df = arg(sum_c w_c sum_b z_{c,b} conj(z_{c,b-1}))/(2 pi T_b).
func (an *analysis) coarse() {
	least := int64(math.MaxInt64)
	for k := 1; k < len(an.fitted); k++ {
		least = min(least, an.at[an.fitted[k]]-an.at[an.fitted[k-1]])
	}
	var sum complex128
	for k := 1; k < len(an.fitted); k++ {
		i, j := an.fitted[k-1], an.fitted[k]
		if an.at[j]-an.at[i] != least {
			continue
		}
		for c, w := range an.weights {
			sum += complex(w, 0) * an.common(j, c) * cmplx.Conj(an.common(i, c))
		}
	}
	if sum != 0 {
		an.frequency += cmplx.Phase(sum) / (2 * math.Pi) * 2 * an.basis.rate / float64(least)
	}
}

// fine returns the change of frequency by the regression of the common phase of the blocks on time, one line per run between phase steps, joined, where there
// are few blocks, with the frequency within them. It leaves the phases, less the mean of their run, in phase.
func (an *analysis) fine() float64 {
	an.phases(an.turn())
	var num, den float64
	var to int
	for from := 0; from < len(an.fitted); from = to {
		to = an.run(from)
		var w, t, p float64
		for k := from; k < to; k++ {
			w += an.info[k]
			t += an.info[k] * an.seconds(k)
			p += an.info[k] * an.phase[k]
		}
		if w == 0 {
			continue
		}
		t, p = t/w, p/w
		for k := from; k < to; k++ {
			d := 2 * math.Pi * (an.seconds(k) - t)
			num += an.info[k] * d * (an.phase[k] - p)
			den += an.info[k] * d * d
		}
	}
	an.within = [2]float64{den, 0}
	if an.basis.slopes && an.mergedAt == 0 {
		pull, hold := an.inside()
		num += pull + hold*(an.basis.freq[0]-an.frequency)
		den += hold
		an.within[1] = hold
	}
	if !(den > 0) {
		return 0
	}
	return num / den
}

// run is the end of the run of fitted blocks without a phase step that begins with from.
func (an *analysis) run(from int) int {
	end := an.len()
	for _, c := range an.cuts {
		if c.after > an.fitted[from] {
			end = min(end, c.after)
		}
	}
	to := from + 1
	for to < len(an.fitted) && an.fitted[to] < end {
		to++
	}
	return to
}

func (an *analysis) seconds(k int) float64 { return float64(an.at[an.fitted[k]]) / (2 * an.basis.rate) }

// turn sets turned to the values of the fitted blocks and returns their weighted means, per channel.
func (an *analysis) turn() []complex128 {
	mean := make([]complex128, an.channels)
	an.turned = an.turned[:0]
	total := 0.0
	for _, i := range an.fitted {
		w := float64(an.weight[i])
		total += w
		by := cmplx.Conj(unit(wrap(turns(an.frequency, an.basis.rate, an.at[i]) + an.offset[i])))
		for c := range mean {
			z := an.z[(i*an.channels+c)*an.harmonics] * by
			an.turned = append(an.turned, z)
			mean[c] += complex(w, 0) * z
		}
	}
	for c := range mean {
		mean[c] /= complex(total, 0)
	}
	return mean
}

// phases sets phase and info of the fitted blocks against the means.
func (an *analysis) phases(mean []complex128) {
	an.phase, an.info = an.phase[:0], an.info[:0]
	var signal, noise float64
	for c, w := range an.weights {
		m := cmplx.Abs(mean[c])
		signal += w * m * m
		noise += w * w * an.median[c] * m * m
	}
	an.scale = 0
	if noise > 0 {
		an.scale = signal / noise // 1 for weights that are inverse variances
	}
	power := an.scale * signal * float64(an.basis.size) / 2 // inverse variance of the phase of one elementary block
	largest := 0.0
	for k, i := range an.fitted {
		var sum complex128
		for c, w := range an.weights {
			sum += complex(w, 0) * an.turned[k*an.channels+c] * cmplx.Conj(mean[c])
		}
		an.phase = append(an.phase, cmplx.Phase(sum))
		an.info = append(an.info, power*float64(an.weight[i]))
		largest = max(largest, math.Abs(an.phase[k]))
	}
	if largest < 2.5 {
		return
	}
	for k := 1; k < len(an.phase); k++ { // the generator wandered by more than half a cycle: follow it
		d := (an.phase[k] - an.phase[k-1]) / (2 * math.Pi)
		an.phase[k] = an.phase[k-1] + 2*math.Pi*wrap(d)
	}
}

// coherence is the modulus of the mean of the turned values over the mean of their moduli, the channels weighted by their signal to noise ratios.
func (an *analysis) coherence() float64 {
	var num, den float64
	for c, m := range an.turn() {
		var moduli, total float64
		for k, i := range an.fitted {
			w := float64(an.weight[i])
			total += w
			moduli += w * cmplx.Abs(an.turned[k*an.channels+c])
		}
		a := an.weights[c] * cmplx.Abs(m)
		num += a * cmplx.Abs(m)
		den += a * moduli / total
	}
	if den == 0 {
		return 0
	}
	return num / den
}

// inside joins the frequency within the blocks over blocks and channels.
func (an *analysis) inside() (pull, hold float64) {
	for _, i := range an.fitted {
		for c, w := range an.weights {
			pull += w * an.pull[i*an.channels+c]
			hold += w * an.hold[i*an.channels+c]
		}
	}
	return an.scale * pull, an.scale * hold
}

// correct takes the mistuning at the frequency found so far out of values and variances.
func (an *analysis) correct() {
	if an.mergedAt > 0 {
		return
	}
	copy(an.z, an.raw.z)
	copy(an.variance, an.raw.variance)
	an.mistuning = 0
	if an.frequency == an.basis.freq[0] {
		return
	}
	m := an.basis.mistuned(an.frequency)
	room := make([]complex128, an.harmonics)
	freedom := float64(an.basis.size - an.basis.even - an.basis.odd)
	excess, noise := make([]float64, an.channels), make([]float64, an.channels)
	for i := range an.len() {
		for c := range an.channels {
			j := i*an.channels + c
			e := m.correct(an.lines(i, c), room) / freedom
			an.variance[j] = max(an.raw.variance[j]-e, an.raw.floor[j])
			if !an.disturbed(i, an.limit) {
				excess[c] += e
				noise[c] += an.variance[j]
			}
		}
	}
	for c, e := range excess {
		if noise[c] > 0 {
			an.mistuning = max(an.mistuning, e/noise[c])
		}
	}
}

// leastSpread is the number of blocks from which the scatter of their phases is trusted.
const leastSpread = 6

// spread is the standard uncertainty of the frequency: 1/sqrt(information), widened by the scatter of the phases where there are enough blocks to know it.
func (an *analysis) spread() float64 {
	runs, chi := 0, 0.0
	var to int
	for from := 0; from < len(an.fitted); from = to {
		to = an.run(from)
		runs++
		var w, p float64
		for k := from; k < to; k++ {
			w += an.info[k]
			p += an.info[k] * an.phase[k]
		}
		for k := from; k < to; k++ {
			chi += an.info[k] * (an.phase[k] - p/w) * (an.phase[k] - p/w)
		}
	}
	if information := an.within[0] + an.within[1]; information > 0 {
		std := 1 / math.Sqrt(information)
		if n := len(an.fitted); n >= leastSpread && n > runs+1 {
			std *= math.Sqrt(chi / float64(n-runs-1))
		}
		return std
	}
	return math.Inf(1)
}
