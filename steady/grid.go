package steady

import "math"

// constants are what a rule that averages over transients is made of.
type constants struct {
	kappa  float64   // factor on the half width for looking many times
	gain   float64   // a later start replaces the longest window only where its half width is below gain times the best
	least  float64   // a window holds at least least·tau_max blocks
	beyond float64   // time constants up to beyond·tau_max are thought possible
	slow   float64   // weight of a time constant just above 1.5 tau_max against one below
	ridges []float64 // prior standard deviations of the amplitudes of the transient over that of the noise; none: every amplitude is equally likely
	spent  float64   // degrees of freedom taken off those of the noise
	lnPhi  []float64 // ln of the prior weight of each of phis
	taus   []float64 // the time constants that are tried, in blocks
}

// phis are the autocorrelations of neighbouring blocks that are tried.
var phis = [...]float64{0, 0.2, 0.4, 0.6, 0.8, 0.9, 0.95}

// taus are the time constants that are tried at each look, in blocks.
var taus = []float64{3, 5, 8, 13, 21, 34, 55, 89, 144, 233, 377, 610}

// finer are so many time constants from each of taus to the next that are tried where the judge looks once. A transient that begins at 100 standard deviations of a
// block and falls with 16 blocks, between two of taus, left the wary rule outside its claim in 66 % of 200 simulated runs of 90 blocks; with these in 1.5 %.
const finer = 4

// denser is the time constants with finer steps.
func denser(taus []float64) (all []float64) {
	for i, t := range taus[:len(taus)-1] {
		for k := range finer {
			all = append(all, t*math.Pow(taus[i+1]/t, float64(k)/finer))
		}
	}
	return append(all, taus[len(taus)-1])
}

const (
	known    = 1.5   // time constants up to known·tau_max, at least shortest, have full weight
	shortest = 8     // blocks
	apart    = 2.4   // least ratio of the two time constants of a pair
	steep    = 0.75  // exponent with which the weight of a slower time constant falls
	startup  = 2     // blocks at the start that are never used (d0)
	fewest   = 12    // least blocks of a window
	first    = 8     // blocks at the first look
	growth   = 1.2   // of the blocks from look to look
	most     = 800   // blocks held before pairs are merged
	flattest = 1e-14 // noise over the largest value below which noise is rounding
)

// Floor: a claimed half width is at least the target over Floor.
const Floor = 3

// averaged are the constants of rule Averaged (R8).
func averaged() constants {
	return constants{kappa: 1.15, gain: 0.4, least: 2, beyond: known, spent: 3, lnPhi: make([]float64, len(phis)), taus: taus[:8]} // R8 ends at 89
}

// wary are the constants of rule Wary, set on the scenarios of the study (package study) and checked on its other half.
func wary() constants {
	c := constants{kappa: 1.05, gain: 0.4, least: 1.5, beyond: 5, slow: 0.3, ridges: []float64{2, 8, 32}, spent: 1, taus: taus}
	for _, weight := range [len(phis)]float64{1, 1, 1, 2, 4, 8, 8} {
		c.lnPhi = append(c.lnPhi, math.Log(weight))
	}
	return c
}

// pair names two of the time constants, the first the shorter, with the ln of its weight before the data are seen.
type pair struct {
	a, b    int
	lnPrior float64
}

// grid is the time constants in the length of the present blocks, and the pairs of them in use.
type grid struct {
	constants
	decays []decay
	pairs  []pair
	merges int // times the blocks were doubled in length
}

func newGrid(c constants, room int) grid {
	g := grid{constants: c, pairs: make([]pair, 0, len(c.taus)*len(c.taus)/2)}
	for _, t := range c.taus {
		g.decays = append(g.decays, newDecay(t, room))
	}
	return g
}

// use chooses the pairs for a tau_max given in blocks of the original length. The weight of a time constant t is 1 up to l = max(8, 1.5 tau_max) and
// slow·(l/t)^0.75 up to beyond·tau_max; that of a pair is the product.
func (g *grid) use(tauMax float64) {
	g.pairs = g.pairs[:0]
	full := max(shortest, known*tauMax)
	weight := func(t float64) float64 {
		switch {
		case t <= full:
			return 1
		case t <= g.beyond*tauMax:
			return g.slow * math.Pow(full/t, steep)
		}
		return 0
	}
	for i, a := range g.taus {
		for j := i + 1; j < len(g.taus); j++ {
			b := g.taus[j]
			if w := weight(a) * weight(b); w > 0 && b/a >= apart {
				g.pairs = append(g.pairs, pair{i, j, math.Log(w)})
			}
		}
	}
}

// halve is the grid seen in blocks twice as long.
func (g *grid) halve() {
	for i := range g.decays {
		g.decays[i].halve()
	}
	g.merges++
}
