package steady

import "math"

const (
	re       = 0 // ln|r|
	im       = 1 // arg r
	level    = 2 // ln of the reference's amplitude
	channels = 3
)

// Judge decides whether a point has settled, block by block. It is not safe for concurrent use.
//
// It looks at 8 blocks and then at 1.2 times as many each time; at 800 blocks it merges pairs of blocks and goes on, so its memory and the time of a look are
// bounded. A point is steady when both components are at the same look.
type Judge struct {
	settings Settings
	target   [2]float64
	fitter   *fitter // nil for rule Skip
	batch    factors
	cleaner  cleaner
	spectrum *slowness // nil without Settings.Level

	raw    [channels][]float64 // block values, merged ones where blocks are; NaN where missing
	values [channels][]float64 // the same, cleaned, at the last look
	sum    [channels]float64   // of the blocks not yet merged
	have   [channels]int       // number of them with a value
	taken  int                 // number of them
	turn   complex128          // sum of exp(j·arg r): its argument is the phase about which the others are unwrapped
	merges int                 // a held block is 2^merges blocks
	offset int                 // held blocks from which the looks are counted
	next   int                 // held blocks at the next look
	once   bool                // look at the end alone
	answer Answer
}

// NewJudge makes a judge. An error names the setting that is not allowed.
func NewJudge(s Settings) (*Judge, error) { return newJudge(s, false) }

// newJudge makes a judge, one that looks once with denser time constants.
func newJudge(s Settings, once bool) (*Judge, error) {
	if err := s.check(); err != nil {
		return nil, err
	}
	j := newHolder(s)
	j.once = once
	rule := map[Rule]func() constants{Averaged: averaged, Wary: wary}[s.Rule]
	switch {
	case rule == nil:
		j.offset = skipped(s.TauMax)
	case once:
		c := rule()
		c.taus = denser(c.taus)
		j.fitter = newFitter(c)
	default:
		j.fitter = newFitter(rule())
	}
	j.next = j.offset + first
	return j, nil
}

// newHolder is a judge without its rule.
func newHolder(s Settings) *Judge {
	j := &Judge{settings: s, target: [2]float64{s.Modulus, s.Phase}, cleaner: newCleaner(most)}
	for c := range channels {
		j.raw[c] = make([]float64, 0, most)
		j.values[c] = make([]float64, most)
	}
	if s.Level {
		j.spectrum = newSlowness(most)
	}
	j.answer = Answer{TauMax: s.TauMax, Modulus: Estimate{Judged: s.Modulus > 0}, Phase: Estimate{Judged: s.Phase > 0}}
	return j
}

// Add takes one block and returns the answer, which changes only at a look. Once the answer is other than Settling no more blocks are taken.
func (j *Judge) Add(b Block) Answer {
	if j.answer.State != Settling {
		return j.answer
	}
	j.answer.Blocks++
	if !j.take(b) {
		j.answer.Dropped++
	}
	if j.taken == 1<<j.merges {
		j.hold()
		n := len(j.raw[re])
		switch {
		case j.once && n == most:
			j.clean(n)
		case !j.once && (n >= j.next || n == most):
			j.look()
			j.next = j.after(n)
		}
		if n == most {
			j.merge()
		}
	}
	if j.answer.State == Settling && j.answer.Blocks == j.settings.Limit {
		return j.Finish()
	}
	return j.answer
}

// Finish says that no more blocks will come: the judge looks a last time and answers Steady or NotReached.
func (j *Judge) Finish() Answer {
	if j.answer.State == Settling {
		if n := len(j.raw[re]); n >= first && n<<j.merges != j.answer.Looked {
			j.look()
		}
		if j.answer.State == Settling {
			j.answer.State = NotReached
		}
	}
	return j.answer
}

// Evaluate looks once at all the blocks of a point that was recorded, and answers Steady or NotReached.
func Evaluate(s Settings, blocks []Block) (Answer, error) {
	j, err := newJudge(s, true)
	if err != nil {
		return Answer{}, err
	}
	for _, b := range blocks {
		j.Add(b)
	}
	return j.Finish(), nil
}

// Answer is the answer so far.
func (j *Judge) Answer() Answer { return j.answer }

// farthest is beyond what the logarithm of a ratio of two numbers can be.
const farthest = 2000

// take adds a block to those not yet merged and reports whether it had a value.
func (j *Judge) take(b Block) bool {
	j.taken++
	x, y := real(b.LnRatio), imag(b.LnRatio)
	usable := func(x float64) bool { return math.Abs(x) <= farthest } // false for NaN
	if j.settings.Level && !b.Dropped && usable(b.LnLevel) {
		j.sum[level] += b.LnLevel
		j.have[level]++
	}
	if b.Dropped || j.target[re] > 0 && !usable(x) || j.target[im] > 0 && (math.IsNaN(y) || math.IsInf(y, 0)) {
		return false
	}
	j.sum[re] += x
	j.have[re]++
	if j.target[im] > 0 {
		sin, cos := math.Sincos(y)
		j.turn += complex(cos, sin)
		j.sum[im] += unwrapped(y, j.about())
		j.have[im]++
	}
	return true
}

// about is the phase of the blocks so far: the argument of the sum of their unit vectors.
func (j *Judge) about() float64 { return math.Atan2(imag(j.turn), real(j.turn)) }

// unwrapped is y plus the multiple of 2π that brings it nearest to about.
func unwrapped(y, about float64) float64 { return about + math.Remainder(y-about, 2*math.Pi) }

// hold closes the block being merged.
func (j *Judge) hold() {
	for c := range channels {
		v := math.NaN()
		if j.have[c] > 0 {
			v = j.sum[c] / float64(j.have[c])
		}
		j.raw[c] = append(j.raw[c], v)
	}
	j.sum, j.have, j.taken = [channels]float64{}, [channels]int{}, 0
}

// after is the number of held blocks at the look after the one at n.
func (j *Judge) after(n int) int {
	if n < j.offset+first {
		return j.offset + first
	}
	return j.offset + int(math.Ceil(growth*float64(n-j.offset)))
}

// merge halves the number of held blocks, each the mean of two cleaned ones, and doubles their length.
func (j *Judge) merge() {
	for c := range channels {
		raw, values := j.raw[c], j.values[c]
		for k := range most / 2 {
			a, b := values[2*k], values[2*k+1]
			switch missing := math.IsNaN; {
			case missing(raw[2*k]) && missing(raw[2*k+1]):
				raw[k] = math.NaN()
			case missing(raw[2*k]):
				raw[k] = b
			case missing(raw[2*k+1]):
				raw[k] = a
			default:
				raw[k] = (a + b) / 2
			}
		}
		j.raw[c] = raw[:most/2]
	}
	j.merges++
	j.offset = (j.offset + 1) / 2
	j.next = j.after(most / 2)
	if j.fitter != nil {
		j.fitter.grid.halve()
	}
}
