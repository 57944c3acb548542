package recording

import (
	"fmt"
	"math"
	"slices"
)

// longestRun is from where runs of repeated frames are counted together.
const longestRun = 64

// stall looks for frames that repeat the frame before on all channels although the signal moves: what a recorder writes
// that lost samples.
type stall struct {
	same     []bool // of the block: frame i equals the one before
	one, two []float64
	in       []float64 // step of each channel into the frame that is repeated
	run      int64     // repetitions so far
	start    int64     // number of the first repetition
	count    [longestRun + 1]int64
	frames   [longestRun + 1]int64
	first    [longestRun + 1]int64
}

func newStall(channels int) stall {
	s := stall{in: make([]float64, channels)}
	for range channels { // the samples before the first
		s.one, s.two = append(s.one, math.NaN()), append(s.two, math.NaN())
	}
	return s
}

// begin prepares for a block of n frames.
func (s *stall) begin(n int) {
	s.same = slices.Grow(s.same[:0], n)[:n]
	for i := range s.same {
		s.same[i] = true
	}
}

// add looks at a block of which the first frame is number at+1.
func (s *stall) add(block [][]float64, at int64, channels []channel) {
	for i, same := range s.same {
		switch {
		case same && s.run == 0:
			s.run, s.start = 1, at+int64(i)+1
			for c := range block {
				s.in[c] = s.sample(block, c, i-1) - s.sample(block, c, i-2)
			}
		case same:
			s.run++
		case s.run > 0:
			s.end(channels, func(c int) (held, out float64) {
				held = s.sample(block, c, i-1)
				return held, block[c][i] - held
			})
		}
	}
	for c := range block {
		n := len(block[c])
		s.one[c], s.two[c] = s.sample(block, c, n-1), s.sample(block, c, n-2)
	}
}

// sample returns sample i of channel c; -1 and -2 are the last ones of the block before.
func (s *stall) sample(block [][]float64, c, i int) float64 {
	switch i {
	case -1:
		return s.one[c]
	case -2:
		return s.two[c]
	}
	return block[c][i]
}

// end judges the repetitions that ended; step tells what was held and the step out of it.
func (s *stall) end(channels []channel, step func(c int) (held, out float64)) {
	for c := range channels {
		held, out := step(c)
		if channels[c].moves(s.in[c], held, out, s.run) {
			k := min(s.run, longestRun)
			if s.count[k]++; s.count[k] == 1 {
				s.first[k] = s.start
			}
			s.frames[k] += s.run
			break
		}
	}
	s.run = 0
}

// moves reports whether the signal was moving when it was held: the steps into and out of the held value are more than
// a crest of a smooth signal, its rounding or its noise makes. At an extreme the signal may stand still, or be clipped.
func (s *channel) moves(in, held, out float64, run int64) bool {
	if held == s.high.value || held == s.low.value || math.Abs(held) >= s.full {
		return false
	}
	n := float64(s.steps)
	least := max(6*s.step, min(4*s.bend/n, s.path/n)) // 4 mean second differences are 8 σ of white noise
	if run == 1 {                                     // two equal samples on both sides of a crest are nothing strange
		return in*out > 0 && min(math.Abs(in), math.Abs(out)) > least
	}
	largest := 0.0
	for _, d := range []float64{in, out} {
		if isFinite(d) {
			largest = max(largest, math.Abs(d))
		}
	}
	return largest > least
}

// findings returns the repetitions that chance does not explain: with the frequency z at which each channel repeats a
// value, doubled because repetitions gather where the signal is slow, a run of k occurs by chance N·(2·z1·2·z2·…)^k
// times; runs of which less than one in a thousand recordings would have one are found.
func (s *stall) findings(frames int64, channels []channel) []Finding {
	if s.run > 0 {
		s.end(channels, func(c int) (held, out float64) { return s.one[c], math.NaN() })
	}
	logZ := 0.0
	for c := range channels {
		logZ += math.Log(min(1, 2*float64(channels[c].equal)/float64(frames)))
	}
	f := Finding{Code: Repeated, Of: frames, Refuse: true}
	for k := range s.count {
		if s.count[k] == 0 || math.Log(float64(frames))+float64(k)*logZ > math.Log(1e-3) {
			continue
		}
		f.Count += s.frames[k]
		if f.First == 0 || s.first[k] < f.First {
			f.First = s.first[k]
		}
	}
	if f.Count == 0 {
		return nil
	}
	f.Text = fmt.Sprintf("all channels: %d of %d frames repeat the frame before while the signal moves, first at sample %d: samples were lost",
		f.Count, frames, f.First)
	return []Finding{f}
}
