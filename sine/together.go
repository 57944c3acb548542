package sine

import (
	"fmt"
	"math"
	"slices"
)

const (
	sameLine      = 1e-5 // relative, distance at which a harmonic is another line of the recording
	besideOrders  = 3    // highest harmonic of another line that becomes a regressor
	commonReach   = 0.02 // cycles by which lines may miss a common block
	commonSlack   = 1e-3 // relative, by which the last block may be too long for the record: its clock is not the generator's
	longestCommon = 60.0 // s, longest common block looked for while the length of the record is unknown
)

// checkBeside refuses other lines that mean nothing.
func (s Settings) checkBeside() error {
	for i, x := range s.Beside {
		switch f := x * s.Frequency; {
		case !(f > 0) || f > usable*s.Rate:
			return fmt.Errorf("sine: line at %g Hz beside %.6g Hz, at %g samples per second: must be above 0 and at most %g Hz", f, s.Frequency, s.Rate, usable*s.Rate)
		case math.Abs(x-1) < sameLine || slices.ContainsFunc(s.Beside[:i], func(y float64) bool { return math.Abs(x/y-1) < sameLine }):
			return fmt.Errorf("sine: line at %.6g Hz stands twice among those of the recording", f)
		}
	}
	return nil
}

// within reports whether f is nearer than 1/T to one of the lines.
func within(f float64, lines []float64, T float64) bool {
	return slices.ContainsFunc(lines, func(g float64) bool { return math.Abs(f-g)*T < nearlyOne })
}

// besideLines is the other lines of the recording, Hz.
func (s Settings) besideLines() []float64 {
	lines := make([]float64, len(s.Beside))
	for i, x := range s.Beside {
		lines[i] = x * s.Frequency
	}
	return lines
}

// isBeside reports whether f is an other line of the recording, as far as one of width 1/T tells.
func (s Settings) isBeside(f, width float64) bool {
	return slices.ContainsFunc(s.besideLines(), func(g float64) bool { return math.Abs(f-g) < max(lobe*width, mainsWander*g) })
}

// harmonicsIn is the number of harmonics fitted in blocks of T s: with other lines in the recording those below the first one that
// cannot be told from a line beside it. One that is such a line takes its place.
func (s Settings) harmonicsIn(T float64) int {
	n := s.harmonics()
	lines := s.besideLines()
	for h := 2; h <= n; h++ {
		f := float64(h) * s.Frequency
		if !s.shared(h) && within(f, lines, T) {
			return h - 1
		}
	}
	return n
}

// shared reports whether harmonic h is an other line of the recording.
func (s Settings) shared(h int) bool {
	return slices.ContainsFunc(s.Beside, func(x float64) bool { return math.Abs(x-float64(h)) < sameLine*x })
}

// sharedHarmonics are the harmonics up to n that are other lines of the recording.
func (s Settings) sharedHarmonics(n int) (shared []int) {
	for h := 2; h <= n; h++ {
		if s.shared(h) {
			shared = append(shared, h)
		}
	}
	return shared
}

// further are the regressors of the other lines in blocks of T s, over the frequency of the fundamental: the lines, then their harmonics that can be told from
// everything else, taken being what is fitted already, in Hz.
func (s Settings) further(harmonics int, taken []float64, T float64) (multiples []float64) {
	for _, x := range s.Beside {
		if h := math.Round(x); h < 1 || h > float64(harmonics) || math.Abs(x-h) >= sameLine*x { // else a harmonic stands for it
			multiples = append(multiples, x)
			taken = append(taken, x*s.Frequency)
		}
	}
	for h := 2; h <= min(s.Harmonics, besideOrders); h++ {
		for _, x := range s.Beside {
			if f := float64(h) * x * s.Frequency; f <= usable*s.Rate && f*T > nearlyOne && !within(f, taken, T) {
				multiples = append(multiples, float64(h)*x)
				taken = append(taken, f)
			}
		}
	}
	return multiples
}

// commonSize is the number of samples in a block of a recording of several lines: the sums and differences of all lines are whole cycles, so that they are orthogonal
// in it, where six such blocks can be had, twelve where it is a whole period of every line; else the shortest one in which neighbours differ by a cycle.
func (s Settings) commonSize() (int, error) {
	lines := append(s.besideLines(), s.Frequency)
	slices.Sort(lines)
	total := math.Inf(1) // s
	if s.Frames > 0 {
		total = (float64(s.Frames) + wholeCycle) / s.Rate
	}
	least := leastCycles / lines[0]
	if least > total {
		return 0, fmt.Errorf("sine: %w: %.4g s hold %.3g cycles of the line at %.6g Hz, at least %d are needed", ErrShort, total, total*lines[0], lines[0], leastCycles)
	}
	for i := 1; i < len(lines); i++ {
		apart := 1 / (lines[i] - lines[i-1])
		if apart*nearlyOne > total {
			return 0, fmt.Errorf("sine: %w: lines at %.6g Hz and %.6g Hz in a recording of %.4g s, at least %.4g s are needed", ErrCollinear, lines[i-1], lines[i], total, apart)
		}
		least = max(least, apart)
	}
	least = max(least, shortBlock)
	T := commonBlock(lines, least, total)
	if T == 0 {
		if clear := besideHarmonics(lines, least); clear <= total/fewBlocks {
			least = clear
		}
		T = min(total, math.Ceil(least*s.Frequency-slack)/s.Frequency)
	}
	one := T
	for {
		size := int(math.Round(T * s.Rate))
		freq, _ := s.regressors(size)
		if size >= leastSpare*(2*len(freq)+s.driftIn(T)+1) || T+one > total {
			if s.Frames > 0 { // a record of whole blocks by its nominal frequencies holds them all
				size = min(size, int(s.Frames)/max(1, int(total/T*(1+commonSlack))))
			}
			return size, nil
		}
		T += one
	}
}

// driftIn is the order of the drift in blocks of T s. Blocks shared by several lines hold more than two cycles of the slowest one, to which a drift matters most: there the order
// is higher in the same proportion, so that the drift may bend as much in a second as it may in a recording of that line alone.
func (s Settings) driftIn(T float64) int {
	if len(s.Beside) == 0 {
		return s.Drift
	}
	slowest := min(s.Frequency, slices.Min(s.besideLines()))
	return min(mostDrift, int(math.Ceil(float64(s.Drift)*T*slowest/leastCycles-commonSlack)))
}

// besideHarmonics is the length from least s on of a block in which the low harmonics of every line differ from the lines beside them by a cycle.
func besideHarmonics(lines []float64, least float64) float64 {
	for h := 2.0; h <= besideOrders; h++ {
		for _, f := range lines {
			for _, g := range lines {
				if d := math.Abs(h*f - g); d > sameLine*g {
					least = max(least, 1/d)
				}
			}
		}
	}
	return least
}

// commonBlock is the length of a block from least s on in which the sums and the differences of all lines, which ascend, are whole cycles; 0 where too few would be left of total s.
// Then the cycles of all lines are whole, or all end in a half.
func commonBlock(lines []float64, least, total float64) float64 {
	longest := total / fewBlocks
	if math.IsInf(total, 1) {
		longest = longestCommon
	}
	half := 0.0
	for n := int(math.Ceil(2*least*lines[0] - slack)); ; n++ {
		T := float64(n) / (2 * lines[0])
		switch {
		case T > longest*(1+commonSlack):
			return half
		case slices.ContainsFunc(lines, func(f float64) bool { return math.Abs(wrap(f*T-float64(n)/2)) > commonReach }):
		case n%2 == 0 && (half == 0 || T*manyBlocks <= total*(1+commonSlack)):
			return T
		case half == 0:
			half = T
		}
	}
}
