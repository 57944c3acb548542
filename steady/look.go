package steady

import "math"

// window is what one component knows from the windows of one look.
type window struct {
	fitted
	start int // held blocks left out
	found bool
}

// look judges the held blocks.
func (j *Judge) look() {
	n := len(j.raw[re])
	j.answer.Looked = n << j.merges
	replaced := j.clean(n)
	tau := j.settings.TauMax
	if j.spectrum != nil {
		tau = max(tau, j.possible(j.fromLevel(n), n))
	}
	j.answer.TauMax = tau
	var w [2]window
	if j.fitter == nil {
		w = j.skip(n, tau)
	} else {
		w = j.windows(n, tau)
	}
	reached, needed := true, 0.0
	for c, e := range []*Estimate{&j.answer.Modulus, &j.answer.Phase} {
		if !e.Judged {
			continue
		}
		needed = max(needed, j.claim(e, w[c], j.target[c], n))
		if c == im {
			e.Mean = math.Remainder(e.Mean, 2*math.Pi)
		}
		e.Replaced = replaced[c]
		reached = reached && e.Reached
	}
	j.answer.Needed = 0
	switch {
	case reached:
		j.answer.State, j.answer.Needed = Steady, j.answer.Looked
	case !w[re].found && !w[im].found:
		j.answer.Needed = j.atLook(n, float64(j.shortest(tau)))
	default:
		j.answer.Needed = j.atLook(n, needed)
	}
}

// clean fills the values of the components that are judged.
func (j *Judge) clean(n int) (replaced [channels]int) {
	if j.target[im] > 0 { // the phase the first blocks were unwrapped about was not yet known well
		about := j.about()
		for k, v := range j.raw[im] {
			j.raw[im][k] = unwrapped(v, about)
		}
	}
	for c := range channels {
		if c == level && j.spectrum == nil || c != level && j.target[c] == 0 {
			continue
		}
		replaced[c] = j.cleaner.clean(j.values[c][:n], j.raw[c])
	}
	return replaced
}

// windows applies FIT to the starts d0, n/8, n/4 and n/2 that leave max(12, least·tau_max) blocks; a later start counts only where its half width is below gain
// times the best so far.
func (j *Judge) windows(n int, tau float64) (best [2]window) {
	j.fitter.grid.use(tau)
	start := j.startup()
	for i, d := range [...]int{start, n / 8, n / 4, n / 2} {
		if d < start || i > 0 && d == start || n-d < j.length(tau) {
			continue
		}
		var views [2][]float64
		for c := range views {
			if j.target[c] > 0 && j.present(c, d) >= fewest {
				views[c] = j.values[c][d:n]
			}
		}
		if views[re] == nil && views[im] == nil {
			continue
		}
		f := j.fitter.fit(views)
		for c, v := range views {
			if v == nil {
				continue
			}
			f[c].half *= math.Sqrt(float64(n-d) / float64(j.present(c, d))) // a filled block says nothing new
			if !best[c].found || f[c].half < j.fitter.grid.gain*best[c].half {
				best[c] = window{f[c], d, true}
			}
		}
	}
	return best
}

// present counts the held blocks from d on that have a value.
func (j *Judge) present(c, d int) (n int) {
	for _, v := range j.raw[c][d:] {
		if !math.IsNaN(v) {
			n++
		}
	}
	return n
}

// startup is d0 in held blocks.
func (j *Judge) startup() int { return max(1, startup>>j.merges) }

// length is the least number of held blocks of a window.
func (j *Judge) length(tau float64) int {
	return int(math.Ceil(max(fewest, j.fitter.grid.least*tau/float64(int(1)<<j.merges))))
}

// shortest is the least number of held blocks with which there is something to say.
func (j *Judge) shortest(tau float64) int {
	if j.fitter == nil {
		return skipped(tau) + first
	}
	return j.startup() + j.length(tau)
}

// claim fills e and returns the held blocks needed to reach the target: n(kappa·h/U)².
func (j *Judge) claim(e *Estimate, w window, target float64, n int) float64 {
	if !w.found {
		return math.Inf(1)
	}
	kappa := skipKappa
	if j.fitter != nil {
		kappa = j.fitter.grid.kappa
	}
	scale := 1 << j.merges
	half := kappa * w.half
	e.Mean, e.HalfWidth, e.Own, e.Dof = w.mean, max(half, target/Floor), half, w.dof
	e.Discarded, e.Tau, e.Left, e.Phi = w.start*scale, w.tau*float64(scale), w.left, w.phi
	e.Reached = e.HalfWidth <= target
	return float64(n) * (half / target) * (half / target)
}

// atLook is the first look after n held blocks at which there are as many as needed, in blocks; 0 where that is beyond counting.
func (j *Judge) atLook(n int, needed float64) int {
	if !(needed < 1e9) {
		return 0
	}
	at := j.after(n)
	for float64(at) < needed {
		at = j.after(at)
	}
	return at << j.merges
}

// possible is tau_max in blocks as far as n held blocks can be judged with it: where no more will come, a judgement with less than the level shows is better than none.
func (j *Judge) possible(tau float64, n int) float64 {
	if !j.once {
		return tau
	}
	return min(tau, j.settings.Rule.Longest(n<<j.merges))
}
