package plan

import (
	"math"

	"plumbline/uncertainty"
)

// What is known of the judge that keeps a point when the evidence says so: blocks of two cycles, looks after 8 blocks and then after each fifth part more,
// a claim that allows for two exponential transients of unknown size. The prediction below has been compared with simulated runs of that rule
// (own study of the project): ten points from 0.7 Hz to 97 Hz in 122 s against 131 s with a quiet reference, 206 s against 234 s with a noisy one.
const (
	blockCycles = 2
	leastBlock  = 0.25 // s
	firstLook   = 8    // blocks
	lookGrowth  = 1.2
	mostLooks   = 40
	dropped     = 2    // blocks left out after the start
	leastKept   = 12   // blocks behind a claim
	claimMargin = 1.15 // on the half width
	claimDoubt  = 1.35 // on the half width: the judge has to find out whether the noise is correlated
	judged      = 0.95 // probability of the claim
	leastTau    = 4.0  // blocks
	toldFactor  = 2.0  // tau that is allowed for, over the believed value
	pairRatio   = 2.4  // least ratio of two time constants that are told apart
)

// taus are the time constants of transients, in blocks, that the judge allows for.
var taus = [...]float64{3, 5, 8, 13, 21, 34, 55, 89}

// longestForMains is how long, in s, a block may become so that a mains line beside the point can be told from it.
const longestForMains = 1.0

// BlockLength is the length in s of one block at f: two whole cycles, or as many as 0.25 s hold; more, up to 1 s, where a multiple of the mains frequency (0: none) lies so near that
// it needs them to be told from the point. Hum that cannot be told beats with the point from block to block.
func BlockLength(f, mains float64) float64 {
	cycles := max(blockCycles, math.Ceil(leastBlock*f-1e-9))
	if mains > 0 {
		away := math.Abs(f - math.Round(f/mains)*mains)
		if longer := math.Ceil(f/away - 1e-9); f > mains/2 && away > 0 && longer/f <= longestForMains {
			cycles = max(cycles, longer)
		}
	}
	return cycles / f
}

// tauMax is the longest time constant at f, in blocks: told is what the judge is told, its caution times the longest of what is slow there, at least 4; allowed is what it allows for. The
// wary rule is told what is believed and allows for more by itself.
func (r Request) tauMax(f, block float64) (told, allowed float64) {
	job, longest := r.Job, 0.0
	job.Loop = r.Exciter.Loop()
	for _, t := range job.Slow(f, block) {
		longest = max(longest, t.Seconds)
	}
	caution := toldFactor
	if rule := job.Procedure.Settling.Rule; rule != 0 {
		caution = rule.Caution()
	}
	return max(leastTau, caution*longest/block), max(leastTau, toldFactor*longest/block)
}

// Look is one moment at which the judge may keep a point.
type Look struct {
	Blocks int
	Time   float64 // s from the start of the drive
	Kept   float64 // s, what of it the value rests on
	Claim  float64 // half width of the claim at 95 %, relative
	Std    float64 // type A standard uncertainty of the kept part: e/√T
}

// looks are the moments at which a point with blocks of the given length in s and the relative noise density e in 1/√Hz may be kept, the earliest first.
func looks(block, e, tau float64) []Look {
	sigma := e / math.Sqrt(block)
	var all []Look
	for n := firstLook; len(all) < mostLooks; n = int(math.Ceil(lookGrowth * float64(n))) {
		kept := n - dropped
		if float64(kept) < max(leastKept, 2*tau) {
			continue
		}
		dof := float64(kept - 3)
		half := claimMargin * claimDoubt * uncertainty.Coverage(judged, dof) * sigma * math.Sqrt(interceptVariance(kept, tau))
		time := float64(kept) * block
		all = append(all, Look{Blocks: n, Time: float64(n) * block, Kept: time, Claim: half, Std: e / math.Sqrt(time)})
	}
	return all
}

// interceptVariance is the variance of the steady value fitted to n blocks together with two exponentials, for unit variance of a block, averaged over the
// pairs of time constants the judge tries: the first diagonal element of (X'X)^-1, X = [1, exp(-(k+1/2)/t1), exp(-(k+1/2)/t2)].
func interceptVariance(n int, tau float64) float64 {
	sum, pairs := 0.0, 0
	reach := max(taus[2], 1.5*tau)
	for i, t1 := range taus {
		for _, t2 := range taus[i+1:] {
			if t2 > reach || t2/t1 < pairRatio {
				continue
			}
			s1, s2, s11, s12, s22 := 0.0, 0.0, 0.0, 0.0, 0.0
			for k := range n {
				a, b := math.Exp(-(float64(k)+0.5)/t1), math.Exp(-(float64(k)+0.5)/t2)
				s1, s2, s11, s12, s22 = s1+a, s2+b, s11+a*a, s12+a*b, s22+b*b
			}
			minor := s11*s22 - s12*s12
			det := float64(n)*minor - s1*(s1*s22-s12*s2) + s2*(s1*s12-s11*s2)
			sum += minor / det
			pairs++
		}
	}
	return sum / float64(pairs)
}
