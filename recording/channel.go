package recording

import (
	"fmt"
	"math"
	"slices"
)

// mostSingles is how many samples at full scale may be chance, where none is beside another.
const mostSingles = 3

// mostPlaces is how many places at full scale are kept: a disturbance comes in a few, clipping in every period.
const mostPlaces = 16

// lookBack is how many samples before a flat top are kept to judge it.
const lookBack = 32

// channel examines the samples of one channel.
type channel struct {
	full     float64 // least size at full scale
	step     float64 // resolution of the samples near their extremes, learned
	restless bool    // no phase comes again so exactly that a value would
	path     float64 // sum of the sizes of steps from sample to sample
	bend     float64 // sum of the sizes of second differences
	prev     float64 // last step
	steps    int64

	missing, firstMissing int64
	high, low             extreme
	atFull                level

	last    float64 // sample before
	run     int64   // equal samples up to and with last
	equal   int64   // samples that equal the one before
	tail    []float64
	before  [lookBack]float64 // before[m-1] is the sample m before the current run, once the run is three long
	befores int

	widest float64   // largest size when the resolution was learned
	window []float64 // samples being gathered to learn it again
	behind bool      // they are being gathered
}

// level counts samples at full scale.
type level struct {
	count, first int64 // all
	paired       int64 // beside another one
	run          int64
	places       []Place // nil beyond mostPlaces
	many         bool
}

// extreme is the largest or smallest value so far, and the flat tops at it.
type extreme struct {
	value    float64
	count    int64 // samples of this value
	visits   int64 // of these: not beside another one before
	first    int64 // number of the first of them
	cut      int64 // of these: on flat tops that the resolution does not explain
	runs     int64
	longest  int64
	firstCut int64
	second   float64 // the next value
	seconds  int64   // samples of it
	fresh    bool    // the value is younger than the resolution that was learned
}

func newChannel(ch Channel) channel {
	return channel{full: fullScaleOf(ch), last: math.NaN(), high: extreme{value: math.Inf(-1), second: math.Inf(-1)},
		low:  extreme{value: math.Inf(1), second: math.Inf(1)},
		tail: make([]float64, 0, 2*lookBack)}
}

// learn takes the resolution from samples: the least difference among the outermost values at either end, because the
// resolution of written numbers may be finer elsewhere.
func (s *channel) learn(samples []float64) {
	const outermost = 16
	sorted := make([]float64, 0, len(samples))
	for _, x := range samples {
		if isFinite(x) {
			sorted = append(sorted, x)
		}
	}
	slices.Sort(sorted)
	values := slices.Compact(slices.Clone(sorted))
	n := len(values)
	s.step, s.widest, s.restless = math.Inf(1), 0, false // not known
	if n < 2 {
		return
	}
	s.widest = max(math.Abs(values[0]), math.Abs(values[n-1]))
	for i := 1; i < n; i++ {
		if i < outermost || i > n-outermost {
			s.step = min(s.step, values[i]-values[i-1])
		}
	}
	if n >= 2*outermost {
		s.restless = restless(samples, max(grid(values[:outermost], s.widest), grid(values[n-outermost:], s.widest)))
	}
}

// grid is the greatest common divisor of the differences of sorted values up to a size: their resolution. None is finer than
// that of numbers of 32 bit.
func grid(values []float64, size float64) float64 {
	least := size * 0x1p-23
	step := 0.0
	for i := 1; i < len(values); i++ {
		a, b := step, values[i]-values[i-1]
		for b > least/2 {
			a, b = b, math.Abs(math.Remainder(a, b))
		}
		step = a
	}
	return max(step, least)
}

// mostLag is how many samples apart the same phase of a signal is looked for.
const mostLag = 512

// restless reports whether no sample can be told from the two a lag and two lags before it, for any lag, to the resolution
// of the samples. Where a signal without noise is sampled at nearly the same phases in every period, second differences over
// periods are less than the square of the shift of the phase; a crest that is as often at one value as the lag says has shifted
// by less than the root of the resolution. Noise above the resolution makes it restless.
func restless(samples []float64, step float64) bool {
	const every, longest = 5, 4 // looked at; second differences that rounding makes at most, doubled
	var d [headFrames / every]float64
	for lag := 2; lag <= mostLag && 3*lag < len(samples); lag++ {
		n := 0
		for i := 2 * lag; i < len(samples); i += every {
			if v := math.Abs(samples[i] - 2*samples[i-lag] + samples[i-2*lag]); isFinite(v) && n < len(d) {
				d[n] = v
				n++
			}
		}
		small := 0
		for _, v := range d[:n] {
			if v <= longest*step {
				small++
			}
		}
		if 2*small >= n {
			return false
		}
	}
	return true
}

// add examines samples, of which the first is number at+1, and clears same[i] where sample i differs from the one before.
func (s *channel) add(samples []float64, at int64, same []bool) {
	for i, x := range samples {
		if x == s.last {
			s.run++
			s.equal++
			if s.run == 3 && (x == s.high.value || x == s.low.value) {
				s.keepBefore(samples, i-2)
			}
		} else {
			same[i] = false
			if s.run >= 3 {
				s.endRun(at + int64(i))
			}
			if d := x - s.last; isFinite(d) {
				s.path += math.Abs(d)
				s.bend += math.Abs(d - s.prev)
				s.prev = d
				s.steps++
			}
			s.last, s.run = x, 1
			if !isFinite(x) {
				if s.missing++; s.missing == 1 {
					s.firstMissing = at + int64(i) + 1
				}
				s.atFull.end()
				continue
			}
		}
		if x >= s.high.second && s.high.meet(x, x > s.high.value, s.run, at+int64(i)+1) {
			s.outgrown(x)
		}
		if x <= s.low.second && s.low.meet(x, x < s.low.value, s.run, at+int64(i)+1) {
			s.outgrown(x)
		}
		if x >= s.full || x <= -s.full {
			s.atFull.meet(at + int64(i) + 1)
		} else {
			s.atFull.end()
		}
	}
	if s.behind {
		s.gather(samples)
	}
	s.keepTail(samples)
}

// meet counts a sample that is beyond or at the second value, the run-th of equal ones, and reports whether it is beyond or at the first.
func (e *extreme) meet(x float64, beyond bool, run, number int64) bool {
	switch {
	case beyond:
		*e = extreme{value: x, count: 1, visits: 1, first: number, second: e.value, seconds: e.count, fresh: true}
	case x == e.value:
		e.count++
		if run == 1 {
			e.visits++
		}
	case x == e.second:
		e.seconds++
		return false
	default:
		e.second, e.seconds = x, 1
		return false
	}
	return true
}

func (l *level) meet(number int64) {
	if l.count++; l.count == 1 {
		l.first = number
	}
	l.note(number)
	switch l.run++; l.run {
	case 1:
	case 2:
		l.paired += 2
	default:
		l.paired++
	}
}

// note keeps the places at full scale as long as they are few. Runs a few samples apart are one place.
func (l *level) note(number int64) {
	if n := len(l.places); n > 0 && number-l.places[n-1].Last <= lookBack {
		l.places[n-1].Last = number
		return
	}
	if l.many = l.many || len(l.places) == mostPlaces; l.many {
		l.places = nil
		return
	}
	l.places = append(l.places, Place{number, number})
}

func (l *level) end() { l.run = 0 }

// outgrown starts to learn the resolution again where the signal has become larger than it was.
func (s *channel) outgrown(x float64) {
	if !s.behind && (math.Abs(x) > 1.02*s.widest || math.IsInf(s.step, 1)) {
		s.behind, s.window = true, s.window[:0]
		s.widest = math.Abs(x)
	}
}

func (s *channel) gather(samples []float64) {
	s.window = append(s.window, samples[:min(len(samples), headFrames-len(s.window))]...)
	if len(s.window) < headFrames {
		return
	}
	s.learn(s.window)
	s.behind = false
	for _, e := range []*extreme{&s.high, &s.low} {
		if e.fresh {
			e.count, e.visits, e.seconds, e.cut, e.runs, e.longest, e.fresh = 0, 0, 0, 0, 0, 0, false
		}
	}
}

// keepTail keeps the last samples for a run that begins in this block and ends in a later one.
func (s *channel) keepTail(samples []float64) {
	const most = 2 * lookBack
	if len(samples) >= most {
		s.tail = append(s.tail[:0], samples[len(samples)-most:]...)
		return
	}
	if over := len(s.tail) + len(samples) - most; over > 0 {
		s.tail = s.tail[:copy(s.tail, s.tail[over:])]
	}
	s.tail = append(s.tail, samples...)
}

// keepBefore keeps the samples before the run that starts at index start, which is negative where it starts in an earlier block.
func (s *channel) keepBefore(samples []float64, start int) {
	s.befores = 0
	for m := 1; m <= lookBack; m++ {
		switch j := start - m; {
		case j >= 0:
			s.before[m-1] = samples[j]
		case -j <= len(s.tail):
			s.before[m-1] = s.tail[len(s.tail)+j]
		default:
			return
		}
		s.befores = m
	}
}

// endRun judges the run of equal samples that ended before sample number end+1.
func (s *channel) endRun(end int64) {
	for _, e := range []*extreme{&s.high, &s.low} {
		if s.last == e.value && s.cutOff(s.last, s.run) {
			if e.runs++; e.runs == 1 {
				e.firstCut = end - s.run + 1
			}
			e.cut += s.run
			e.longest = max(e.longest, s.run)
		}
	}
}

// cutOff reports whether a run of equal samples at an extreme is a crest that was cut off. A crest of a smooth signal is a
// parabola; w steps wide at the top and falling by D within m steps beside it, it would rise D·w²/(4m(w+m)) above its
// edges. Rounding hides a rise of one step of the resolution, and spoils D by one. More is hidden by clipping only.
func (s *channel) cutOff(top float64, run int64) bool {
	w := float64(run - 1)
	m := min(max(int(min(run-1, lookBack)), 2), s.befores)
	if m < 1 || !isFinite(s.before[m-1]) {
		return false
	}
	fall := math.Abs(top-s.before[m-1]) - s.step
	return fall*w*w/(4*float64(m)*(w+float64(m))) > 1.5*s.step
}

// clipped reports whether the flat tops are what most visits to the extreme are. Noise makes a single short one by chance.
func (e *extreme) clipped() bool {
	return e.cut > 0 && 2*e.cut >= e.count && (e.runs >= 2 || e.longest >= 6)
}

// piled reports whether samples pile up at the extreme: clipping of crests that are only a sample or two long. At the
// crest of a smooth signal that is rounded, the outermost value is at most 1/(√2 - 1) = 2.4 times as frequent as the
// next. Sampled at the same phases in every period it may be more frequent; then all other values come again too, or
// move slowly from period to period, unless there is noise, which the outermost value would show as well.
func (s *channel) piled(e *extreme, frames int64) bool {
	return s.restless && e.visits >= 12 && e.count > 8*e.seconds && mostLag/2*e.count >= frames
}

// findings returns what was found in channel n of a recording of so many frames.
func (s *channel) findings(n int, frames int64, unit string) []Finding {
	if s.run >= 3 {
		s.endRun(frames)
		s.run = 0
	}
	var found []Finding
	add := func(f Finding, text string, a ...any) {
		f.Channel, f.Of = n, frames
		f.Text = fmt.Sprintf("channel %d: ", n) + fmt.Sprintf(text, a...)
		found = append(found, f)
	}
	if s.missing > 0 {
		add(Finding{Code: Missing, First: s.firstMissing, Count: s.missing, Refuse: true},
			"%d of %d values missing, first at sample %d", s.missing, frames, s.firstMissing)
	}
	if s.missing < frames && s.high.value == s.low.value {
		add(Finding{Code: Flat, First: 1, Count: frames, Refuse: true}, "constant at %s over %d samples: no signal", value(s.high.value, unit), frames)
		return found
	}
	switch l := s.atFull; {
	case l.paired > 0 || l.count > mostSingles:
		add(Finding{Code: Clipped, First: l.first, Count: l.count, Places: l.places, Refuse: true},
			"%d of %d samples at full scale, first at sample %d: clipped", l.count, frames, l.first)
		return found
	case l.count > 0:
		add(Finding{Code: FullScale, First: l.first, Count: l.count},
			"%d of %d samples at full scale, first at sample %d, none beside another", l.count, frames, l.first)
	}
	for _, e := range []*extreme{&s.high, &s.low} {
		switch {
		case e.clipped():
			add(Finding{Code: Clipped, First: e.firstCut, Count: e.cut, Refuse: true},
				"%d of %d samples on flat tops at %s, first at sample %d: clipped", e.cut, frames, value(e.value, unit), e.firstCut)
		case s.piled(e, frames):
			add(Finding{Code: Clipped, First: e.first, Count: e.count, Refuse: true},
				"%d of %d samples at the outermost value %s, first at sample %d, next to none just within: clipped", e.count, frames, value(e.value, unit), e.first)
		}
	}
	return found
}
