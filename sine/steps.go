package sine

import (
	"math"
	"math/cmplx"
	"slices"
)

const (
	mostSteps   = 16     // looked for in one record
	leastBlocks = 6      // needed to look for one
	stepSigmas  = 8      // a step is larger than this many standard deviations of what it is seen in
	sideScatter = 1. / 3 // largest deviation within the blocks beside a step, over the step: a step is no drift
	sideBlocks  = 4      // looked at on each side
	mixedSigmas = 5      // a block beside a step that deviates more holds the step itself
	leastPhase  = 1e-9   // rad, below which phases are rounding
)

// findStep looks for the largest step of the common phase that is left, takes it into offset and reports whether it found one.
func (an *analysis) findStep() bool {
	phase := an.detrended()
	at, sigma := an.largestJump(phase)
	if at == 0 {
		return false
	}
	from, to, ok := sides(phase, at)
	if !ok {
		return false
	}
	before, after := average(phase[max(0, from-sideBlocks):from]), average(phase[to:min(len(phase), to+sideBlocks)])
	jump := after - before
	if math.Abs(jump) < stepSigmas*sigma/math.Sqrt2 {
		return false
	}
	if from == to { // no block seen to hold the step; one beside it may
		switch {
		case math.Abs(phase[at-1]-before) > mixedSigmas*sigma && at >= 3:
			from--
		case math.Abs(phase[at]-after) > mixedSigmas*sigma && at+3 <= len(phase):
			to++
		}
	}
	an.record(from, to, jump/(2*math.Pi))
	return true
}

// detrended is the phases less the median slope, which a step does not move.
func (an *analysis) detrended() []float64 {
	n := len(an.phase)
	if n < leastBlocks {
		return nil
	}
	slopes := make([]float64, 0, n)
	for k := 1; k < n; k++ {
		slopes = append(slopes, (an.phase[k]-an.phase[k-1])/(an.seconds(k)-an.seconds(k-1)))
	}
	slope := middle(slopes)
	phase := make([]float64, n)
	for k := range phase {
		phase[k] = an.phase[k] - slope*(an.seconds(k)-an.seconds(0))
	}
	return phase
}

// largestJump compares means of up to four blocks before and after every boundary. It returns the boundary k, between blocks k-1 and k, where they
// differ most, and the standard deviation of the phase of one block; 0 where nothing stands out.
func (an *analysis) largestJump(phase []float64) (at int, sigma float64) {
	n := len(phase)
	if n < leastBlocks {
		return 0, 0
	}
	best := float64(stepSigmas)
	for _, w := range []int{4, 2, 1} {
		if n < 6*w {
			continue
		}
		jumps := make([]float64, n-1)
		for k := 1; k < n; k++ {
			jumps[k-1] = average(phase[k:min(n, k+w)]) - average(phase[max(0, k-w):k])
		}
		typical := middle(slices.Clone(jumps))
		deviations := make([]float64, n-1)
		for k, v := range jumps {
			deviations[k] = math.Abs(v - typical)
		}
		scale := max(1.4826*middle(slices.Clone(deviations)), leastPhase)
		for k, d := range deviations {
			noise := max(scale, math.Sqrt(2/float64(w)/an.info[k+1]))
			if d/noise > best {
				best, at, sigma = d/noise, k+1, noise*math.Sqrt(float64(w)/2)
			}
		}
	}
	return at, sigma
}

func average(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v
	}
	return sum / float64(len(x))
}

// sides splits the phases at a step near boundary at: phase[:from] lie before it, phase[to:] after, a block between them holds it.
// ok is false where the blocks beside it scatter too much for a step.
func sides(phase []float64, at int) (from, to int, ok bool) {
	for _, s := range [][2]int{{at, at}, {at - 1, at}, {at, at + 1}} {
		from, to = s[0], s[1]
		if from < 2 || len(phase)-to < 2 {
			continue
		}
		x, y := phase[max(0, from-sideBlocks):from], phase[to:min(len(phase), to+sideBlocks)]
		a, b := average(x), average(y)
		scatter := 0.0
		for _, v := range x {
			scatter = max(scatter, math.Abs(v-a))
		}
		for _, v := range y {
			scatter = max(scatter, math.Abs(v-b))
		}
		if scatter < sideScatter*math.Abs(b-a) {
			return from, to, true
		}
	}
	return 0, 0, false
}

// cut is a phase step between two used blocks. Blocks between them hold it.
type cut struct{ before, after int }

// record takes a step of so many cycles between fitted blocks from-1 and to into the offsets. Blocks between them are not used any more.
func (an *analysis) record(from, to int, cycles float64) {
	c := cut{an.fitted[from-1], an.fitted[to]}
	an.cuts = append(an.cuts, c)
	for i := c.before + 1; i < c.after; i++ {
		if an.weight[i] > 0 {
			an.spoiled[i] += an.weight[i]
			an.weight[i] = 0
		}
	}
	for i := c.after; i < an.len(); i++ {
		an.offset[i] += cycles
	}
	an.judge()
}

// align adjusts the steps: the mean phases of the runs between them become that of the first.
func (an *analysis) align() {
	var first, adjust float64
	next := 0 // block
	var to int
	for from := 0; from < len(an.fitted); from = to {
		to = an.run(from)
		var w, p float64
		for k := from; k < to; k++ {
			w += an.info[k]
			p += an.info[k] * an.phase[k]
		}
		for ; next < an.fitted[from]; next++ { // blocks that hold a step go with those before it
			an.offset[next] += adjust
		}
		if from == 0 {
			first = p / w
		}
		adjust = (p/w - first) / (2 * math.Pi)
	}
	for ; next < an.len(); next++ {
		an.offset[next] += adjust
	}
}

// locateSteps finds when each step happened and how much time it took, now that the frequency is known.
func (an *analysis) locateSteps() {
	slices.SortFunc(an.cuts, func(x, y cut) int { return x.after - y.after })
	for _, c := range an.cuts {
		cycles := an.offset[c.after] - an.offset[c.before]
		share := 0.0 // blocks' worth of samples between them that lie before the step
		for i := c.before + 1; i < c.after; i++ {
			share += an.shareBefore(i, c.before, cycles)
		}
		sample := (an.at[c.before+1]+1-int64(an.span))/2 + int64(math.Round(share*float64(an.span)))
		an.steps = append(an.steps, Step{Sample: sample, Time: float64(sample) / an.basis.rate, Lost: wrap(cycles) / an.frequency})
	}
}

// shareBefore is the part of block i that lies before a step, from its value between those before and after: z_i = s z_before + (1-s) z_after in the strongest channel.
func (an *analysis) shareBefore(i, before int, cycles float64) float64 {
	strongest, most := 0, 0.0
	for c, w := range an.weights {
		if p := w * cmplx.Abs(an.common(before, c)); p > most {
			strongest, most = c, p
		}
	}
	a := an.common(before, strongest)
	b := a * unit(cycles)
	z := rotated(an.z[(i*an.channels+strongest)*an.harmonics], wrap(turns(an.frequency, an.basis.rate, an.at[i])+an.offset[before]))
	s := real((z - b) / (a - b))
	if math.IsNaN(s) {
		return 0.5
	}
	return max(0, min(1, s))
}
