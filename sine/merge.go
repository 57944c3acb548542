package sine

// refresh is the number of merged blocks after which the limits of rejection are computed anew.
const refresh = 64

// history is what merging has settled for good.
type history struct {
	frequency float64    // at which blocks were merged
	mistuning *mistuning // of the regressors there, taken out of a block before it is merged
	limit     []float64  // residual variances above which a block is rejected
	turn      float64    // cycles of the fundamental lost so far: blocks are turned back by them
	steps     []Step
}

// keep looks after the block that was just appended: full memory merges pairs, a full group of pending blocks becomes one.
func (a *Accumulator) keep() {
	if a.level == 0 {
		if a.blocks.len() >= a.limit {
			a.compact()
		}
		return
	}
	a.settle(&a.pending, a.pending.len()-1)
	if a.pending.len() < 1<<a.level {
		return
	}
	a.pending.merge(&a.blocks, 0, a.pending.len(), a.history.frequency, a.set.Rate, a.history.limit)
	a.pending.reset()
	if n := a.blocks.len(); n%refresh == 0 {
		if limit, _, ok := a.blocks.limits(); ok {
			a.history.limit = limit
		}
	}
	if a.blocks.len() >= a.limit {
		a.compact()
	}
}

// settle corrects elementary block i for the mistuning and turns it back by the cycles lost.
func (a *Accumulator) settle(s *series, i int) {
	h := &a.history
	for c := range a.channels {
		z := s.lines(i, c)
		excess := h.mistuning.correct(z, a.scratch) / float64(a.basis.size-a.basis.even-a.basis.odd)
		j := i*a.channels + c
		s.variance[j] = max(s.variance[j]-excess, s.floor[j])
		turnBack(z, h.turn)
	}
}

// turnBack takes a phase of the fundamental, in cycles, out of the harmonics z.
func turnBack(z []complex128, cycles float64) {
	if cycles == 0 {
		return
	}
	for h := range z {
		z[h] = rotated(z[h], wrap(float64(h+1)*cycles))
	}
}

// compact merges pairs of blocks at the frequency found so far; disturbed ones and the phase steps between them are dealt with first.
func (a *Accumulator) compact() {
	an, _ := analyse(a, &a.blocks) // where every block is disturbed, so is every merged one
	merged := newSeries(a.channels, a.blocks.harmonics, a.blocks.hums, a.limit)
	for i, cycles := range an.offset {
		for c := range a.channels {
			turnBack(an.lines(i, c), cycles)
		}
	}
	for i := 0; i+1 < an.len(); i += 2 {
		an.merge(&merged, i, i+2, an.frequency, a.set.Rate, an.limit)
	}
	h := &a.history
	m := a.basis.mistuned(an.frequency)
	h.frequency, h.mistuning, h.limit = an.frequency, &m, an.limit
	h.steps = append(h.steps[:len(h.steps):len(h.steps)], an.steps...)
	h.turn = wrap(h.turn + an.offset[an.len()-1])
	a.blocks = merged
	a.level++
}
