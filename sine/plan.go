package sine

import (
	"fmt"
	"math"
	"slices"
)

const (
	leastCycles = 2       // in a block
	shortBlock  = 0.25    // s, least length of a block the package chooses
	longBlock   = 0.5     // s, length chosen where the record is long enough
	manyBlocks  = 12      // blocks wanted before they get longer than shortBlock
	fewBlocks   = 6       // left at least when they get longer for a mains line that matters less
	slopeBlocks = 8       // with fewer blocks the frequency is measured within them too
	usable      = 0.45    // highest frequency of a regressor over the sampling rate
	wholeCycle  = 0.05    // cycles a block may fall short of whole ones
	blindReach  = 2.0     // s, longest block chosen for a mains line's sake while the length of the record is unknown
	nearlyOne   = 0.99    // distance in units of 1/T that counts as 1: a block is whole samples long
	mostDrift   = 8       // order
	mainsOrders = 10      // multiples of the mains taken as regressors wherever they lie
	mainsNear   = 1.5     // and those nearer to the fundamental than this many mains frequencies
	slack       = 1e-9    // relative, against rounding in counts of cycles
	leastSpare  = 3       // samples in a block per regressor, at least
	mostTaken   = 1 << 27 // samples in a block
)

// check refuses settings that mean nothing.
func (s Settings) check(channels int) error {
	switch {
	case !(s.Rate > 0) || math.IsInf(s.Rate, 0):
		return fmt.Errorf("sine: sampling rate %g Hz: must be positive", s.Rate)
	case !(s.Frequency > 0) || s.Frequency > usable*s.Rate:
		return fmt.Errorf("sine: frequency %g Hz at %g samples per second: must be above 0 and at most %g Hz", s.Frequency, s.Rate, usable*s.Rate)
	case s.Harmonics < 1:
		return fmt.Errorf("sine: %d harmonics: at least 1, the fundamental", s.Harmonics)
	case s.Drift < 0 || s.Drift > mostDrift:
		return fmt.Errorf("sine: drift of order %d: must be 0 to %d", s.Drift, mostDrift)
	case !(s.Mains >= 0) || math.IsInf(s.Mains, 0) || s.MainsOrder < 0:
		return fmt.Errorf("sine: mains frequency %g Hz, order %d: must not be negative", s.Mains, s.MainsOrder)
	case s.Block < 0 || s.Block > mostTaken:
		return fmt.Errorf("sine: block of %d samples: must be 0 to %d", s.Block, mostTaken)
	case slices.ContainsFunc(s.Orders, func(k int) bool { return k < 1 }):
		return fmt.Errorf("sine: multiples %d of the mains frequency: must be positive", s.Orders)
	case channels < 1:
		return fmt.Errorf("sine: %d channels: at least 1", channels)
	case s.Weights != nil && len(s.Weights) != channels:
		return fmt.Errorf("sine: %d weights for %d channels", len(s.Weights), channels)
	}
	return s.checkBeside()
}

// harmonics is the number of harmonics that can be fitted.
func (s Settings) harmonics() int {
	return max(1, min(s.Harmonics, int(usable*s.Rate/s.Frequency*(1+slack))))
}

// candidates are the mains lines worth a regressor, in Hz.
func (s Settings) candidates() []float64 {
	if s.Mains == 0 {
		return nil
	}
	lines := s.usualMains()
	for _, k := range s.Orders {
		if f := float64(k) * s.Mains; f <= usable*s.Rate && !slices.Contains(lines, f) {
			lines = append(lines, f)
		}
	}
	slices.Sort(lines)
	return lines
}

// usualMains are the lowest mains lines and those near the fundamental, ascending.
func (s Settings) usualMains() []float64 {
	var lines []float64
	for k := 1; ; k++ {
		f := float64(k) * s.Mains
		if f > usable*s.Rate || s.MainsOrder > 0 && k > s.MainsOrder {
			return lines
		}
		near := math.Abs(f-s.Frequency) <= mainsNear*s.Mains
		if s.MainsOrder == 0 && k > mainsOrders && f > s.Frequency && !near {
			return lines
		}
		if s.MainsOrder > 0 || k <= mainsOrders || near {
			lines = append(lines, f)
		}
	}
}

// lines are the candidates that can be told from the harmonics, from other lines of the recording, from a constant and from each other within T seconds:
// |f_mains - h f| T >= 1 for every h.
func (s Settings) lines(harmonics int, T float64) []float64 {
	var lines []float64
	if s.Mains*T < nearlyOne {
		return nil
	}
	beside := s.besideLines()
next:
	for _, f := range s.candidates() {
		if within(f, beside, T) {
			continue
		}
		for h := 1; h <= harmonics; h++ {
			if math.Abs(f-float64(h)*s.Frequency)*T < nearlyOne {
				continue next
			}
		}
		lines = append(lines, f)
	}
	return lines
}

// regressors is the frequencies fitted in blocks of size samples: harmonics, then mains lines, then what other lines of the recording need.
func (s Settings) regressors(size int) (freq []float64, harmonics int) {
	T := float64(size) / s.Rate
	harmonics = s.harmonicsIn(T)
	for h := 1; h <= harmonics; h++ {
		freq = append(freq, float64(h)*s.Frequency)
	}
	for _, f := range s.lines(harmonics, T) {
		freq = append(freq, f*(1+s.mainsOff))
	}
	for _, x := range s.further(harmonics, freq, T) {
		freq = append(freq, x*s.Frequency)
	}
	return freq, harmonics
}

// blockSize is the number of samples in a block: whole cycles, at least two and a quarter of a second, up to half a second where that leaves twelve blocks;
// longer where a mains line near the fundamental can be told from it over the record but not within such a block, or one near a harmonic and six blocks are left.
// With other lines in the recording see commonSize.
func (s Settings) blockSize() (int, error) {
	if s.Block > 0 {
		return s.Block, nil
	}
	if len(s.Beside) > 0 {
		return s.commonSize()
	}
	cycle := s.Rate / s.Frequency // samples
	total := math.Inf(1)          // cycles
	if s.Frames > 0 {
		total = float64(s.Frames)/cycle + wholeCycle
	}
	if total < leastCycles {
		return 0, fmt.Errorf("sine: %w: %d frames hold %.3g cycles of %.6g Hz, at least %d are needed", ErrShort, s.Frames, total-wholeCycle, s.Frequency, leastCycles)
	}
	cycles := s.cyclesWanted(cycle, total)
	if s.Frames <= 0 {
		return int(math.Round(cycles * cycle)), nil
	}
	cycles = min(cycles, math.Floor(total))
	count := math.Floor(total / cycles)
	cycles = math.Floor(total / count) // the record's cycles shared out
	return min(int(math.Round(cycles*cycle)), int(s.Frames)/int(count)), nil
}

// cyclesWanted is the number of cycles a block should have in a record of total cycles.
func (s Settings) cyclesWanted(cycle, total float64) float64 {
	low := max(leastCycles, math.Ceil(shortBlock*s.Frequency-slack))
	high := max(leastCycles, math.Ceil(longBlock*s.Frequency-slack))
	cycles := max(low, min(high, math.Floor(total/manyBlocks)))
	reach := min(total/s.Frequency, math.MaxFloat64)
	if math.IsInf(total, 1) {
		reach = blindReach
	}
	for _, f := range s.candidates() {
		for h := range s.harmonics() {
			d := math.Abs(f - float64(h+1)*s.Frequency)
			if d*reach < 1 || d*cycles/s.Frequency >= 1 {
				continue
			}
			longer := math.Ceil(s.Frequency/d - slack)
			if h == 0 && f <= mainsOrders*s.Mains || total/longer >= fewBlocks { // there is less to gain far up the mains and beside harmonics
				cycles = longer
			}
		}
	}
	for {
		size := int(math.Round(cycles * cycle))
		freq, _ := s.regressors(size)
		if size >= leastSpare*(2*len(freq)+s.Drift+1) {
			return cycles
		}
		cycles++
	}
}
