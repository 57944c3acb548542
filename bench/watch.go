package bench

import (
	"errors"
	"fmt"
	"math"
	"math/cmplx"
)

// ErrUnsafe is wrapped when the watch stopped a run.
var ErrUnsafe = errors.New("stopped by the watch")

// Bounds of the watch.
const (
	lowest       = 0.7  // response per drive over that of the low-level check
	highest      = 1.4  //
	apart        = 1.4  // one channel's change over the other's
	apartShort   = 2.0  // the same, in a part of a cycle: the device may still be discharging
	above        = 1.1  // level over the limit
	lowestShort  = 0.35 // as lowest, while the drive grows
	highestShort = 2.5
	shown        = 0.8  // of the drive whose effect was seen, that may be counted on
	nearby       = 0.25 // relative change of the drive over which whole cycles stay as they were fitted
	nearest      = 0.05 // and parts of a cycle, with their harmonics
	small        = 0.02 // relative change of the drive that is none
	surely       = 5    // standard deviations between what is expected and a bound: fewer make the window undecided
	longestLook  = 0.4  // s, longest window
	frozen       = 0.25 // s, a channel of one value for so long is flat
	clippedRun   = 3    // samples at the limit one after another
	silent       = 0.1  // of the movement expected in a window: less, noise apart, is a channel that shows nothing
	steeply      = 0.4  // of the mean square of a window about a zero, from which a window is judged by its movement alone
	longDead     = 0.35 // of a cycle, in which a channel that lives must move, whatever its phase
	dead         = 0.02 // of the amplitude: less, noise apart, is no movement in that time
	quarter      = 0.25 // of a window, that the channels' zeros may be apart to be compared in it
	moving       = 0.35 // of it: more is one that shows something
	learning     = 5.0  // s over which the noise of a window is learned
	hushed       = 1.5  // of the variance found in the quiet check, which is short
	mostLearned  = 4    // of the variance of that noise, that one window may add to it
	correlated   = 4    // of the variance of a window's noise over that of white noise, before it is learned
)

// watch looks at every portion of the samples for what must stop the drive.
type watch struct {
	in      [2]Input
	bins    *bins
	model   *model
	drive   float64    // V, sum of the lines' amplitudes at which the model was fitted
	share   float64    // of the limit of the level, at that drive
	margin  [2]float64 // lowest and highest factor on the model that the response may have
	sure    bool       // the model knows the harmonics of the present drive
	longest float64    // s, longest time from a drive to its effect
	past    []driven
	since   float64      // s, from which the waveform is that of this drive
	now     float64      // s, time of the last look
	step    float64      // s, since the one before
	grown   [][2]float64 // V, drive whose effect each channel has shown in windows of each length
	offset  [2]float64
	windows []float64    // s, ascending
	noise   [][2]float64 // variance of the projection in each window
	period  float64      // s, of the lowest line
	lsb     [2]float64
	same    [2]int
	last    [2]float64
	at      [2]int // samples at the limit in a row
}

// driven is the drive from a time on.
type driven struct{ at, drive float64 }

func newWatch(in [2]Input, lsb [2]float64, b *bins, low, high float64) *watch {
	w := &watch{in: in, bins: b, lsb: lsb, period: 1 / low, longest: 1}
	for s := max(min(1/low, longestLook), 1/high, 0.005); ; s *= 2 {
		if s >= longestLook || s*1.5 > longestLook {
			w.windows = append(w.windows, longestLook)
			break
		}
		w.windows = append(w.windows, s)
	}
	w.noise, w.grown = make([][2]float64, len(w.windows)), make([][2]float64, len(w.windows))
	return w
}

// follow tells the watch what is expected from now on: the model, fitted at a drive in V, of a level that is share of its limit; response is the factor of the model's
// response per drive on that of the low-level check.
func (w *watch) follow(m *model, drive, share, response float64, sure bool) {
	first := w.model == nil
	w.model, w.drive, w.share, w.sure = m, drive, share, sure
	w.margin = [2]float64{lowest / response, highest / response}
	w.offset = m.fit.mean
	w.bins.expect(longestLook+w.period, m)
	if !first {
		return
	}
	w.since = m.fit.mid - m.fit.seconds/2
	for k := range w.windows {
		for c := range w.in {
			w.noise[k][c] = max(w.noise[k][c], correlated*m.fit.rms[c]*m.fit.rms[c])
		}
	}
}

// hush takes the samples of the quiet check, V: how windows of noise alone project on the waveform of the lowest line.
func (w *watch) hush(x [2][]float64) {
	b := w.bins
	for c := range x {
		var y []float64
		for k := 0; (k+1)*b.width <= len(x[c]); k++ {
			y = append(y, mean(x[c][k*b.width:(k+1)*b.width]))
		}
		for k, seconds := range w.windows {
			n := int(math.Round(seconds * b.rate / float64(b.width)))
			var sum float64
			looks := 0
			for from := 0; from+2*n <= len(y); from += max(1, n/4) {
				before := 0.0
				if seconds < w.period {
					before = mean(y[from : from+n])
				}
				var p float64
				for i, v := range y[from+n : from+2*n] {
					p += (v - before) * math.Sqrt(2/float64(n)) * math.Sin(2*math.Pi*(float64(i*b.width)/b.rate/w.period+float64(looks)/7))
				}
				sum += p * p
				looks++
			}
			if looks > 0 {
				w.noise[k][c] = hushed * sum / float64(looks)
			}
		}
	}
}

// driving notes a drive at t seconds.
func (w *watch) driving(t, drive float64) {
	if n := len(w.past); n > 0 && w.past[n-1].drive > 0 && drive < w.past[n-1].drive {
		for k := range w.grown {
			for c := range w.grown[k] {
				w.grown[k][c] *= drive / w.past[n-1].drive
			}
		}
	}
	w.past = append(w.past, driven{t, drive})
	for len(w.past) > 1 && w.past[1].at < t-w.longest-5 {
		w.past = w.past[1:]
	}
}

// between is the range of the drive whose effect may be seen since t seconds.
func (w *watch) between(t float64) (low, high float64) {
	low, high = math.Inf(1), 0
	for k := len(w.past) - 1; k >= 0; k-- {
		low, high = min(low, w.past[k].drive), max(high, w.past[k].drive)
		if w.past[k].at <= t {
			break
		}
	}
	return low, high
}

// raw looks at samples in V before they are averaged: flat and clipped channels.
func (w *watch) raw(x [2][]float64, t float64) error {
	for c, samples := range x {
		for _, v := range samples {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				return w.unsafe(t, c, "a sample of %v", v)
			}
			if v == w.last[c] {
				w.same[c]++
			} else {
				w.same[c], w.last[c] = 0, v
			}
			if w.in[c].Limit > 0 && math.Abs(v) >= w.in[c].Limit {
				w.at[c]++
			} else {
				w.at[c] = 0
			}
			if w.at[c] >= clippedRun {
				return w.unsafe(t, c, "%d samples in a row at %.4g V, the channel ends at %.4g V: clipped", clippedRun, v, w.in[c].Limit)
			}
		}
		if s := float64(w.same[c]) / w.bins.rate; s >= w.unmoved(c) {
			return w.unsafe(t, c, "%.4g V for %.3g s without a change: flat", w.last[c], s)
		}
	}
	return nil
}

// unmoved is the time in s for which a channel may stay at one value: longer where little is expected to happen.
func (w *watch) unmoved(c int) float64 {
	limit := max(frozen, 50/w.bins.rate)
	if w.lsb[c] == 0 {
		return limit
	}
	n := min(len(w.bins.want[c]), int(limit*w.bins.rate/float64(w.bins.width)))
	low, high := math.Inf(1), math.Inf(-1)
	for _, v := range w.bins.want[c][len(w.bins.want[c])-n:] {
		low, high = min(low, v), max(high, v)
	}
	if high-low > 4*w.lsb[c] {
		return limit
	}
	return math.Inf(1)
}

// look compares the last windows with what is expected of them: of each channel the shortest one that is clear of its noise.
func (w *watch) look(t float64) error {
	if w.model == nil {
		return nil
	}
	w.step, w.now = t-w.now, t
	var gain [2]float64
	for c := range w.in {
		for k := 0; k < len(w.windows) && gain[c] == 0; k++ {
			g, err := w.window(t, k, c)
			if err != nil {
				return err
			}
			gain[c] = g
		}
	}
	if gain[0] != 0 && gain[1] != 0 {
		bound := w.apart(w.windows[0])
		if r := gain[1] / gain[0]; r > bound || r < 1/bound {
			return w.unsafe(t, 1, "the ratio to the reference is %.3g times what it was, allowed are %.3g to %.3g: the channels disagree", r, 1/bound, bound)
		}
	}
	if err := w.mute(t); err != nil {
		return err
	}
	return w.died(t)
}

// window judges channel c by window k and returns its factor on the model where the waveform is familiar and the window clear of noise, else 0.
func (w *watch) window(t float64, k, c int) (float64, error) {
	seconds := w.windows[k]
	low, high := w.between(t - seconds - w.longest)
	v := w.project(c, seconds, seconds >= w.period*(1-1e-9))
	if !v.full || t-seconds < w.since {
		return 0, nil
	}
	if !w.familiar(low, high) || seconds < w.period*(1-1e-9) && !w.settled(w.period+seconds) {
		return 0, w.growing(t, k, c, v, low, high)
	}
	defer w.learn(k, v, c, w.still(low, high))
	lo, hi := w.margin[0]*low/w.drive, w.margin[1]*high/w.drive
	if c == 1 {
		bound := w.apart(seconds)
		lo, hi = low/w.drive/bound, high/w.drive*bound
	}
	decided, err := w.within(t, c, v, math.Sqrt(w.noise[k][c]), lo, hi, low, high)
	if err == nil && seconds < w.period*(1-1e-9) { // a cable that is pulled may leave a channel at another mean
		if u := w.project(c, seconds, true); u.power > steeply*float64(u.count)*w.steep(c)*w.steep(c) {
			_, err = w.within(t, c, u, 2*math.Sqrt(w.noise[k][c]), lo, hi, low, high)
		}
	}
	if err != nil || !decided {
		return 0, err
	}
	w.grown[k][c] = max(w.grown[k][c], min(v.gain*w.drive, high))
	if !w.still(low, high) {
		return 0, nil
	}
	return v.gain, nil
}

// within judges the factor of a view that is clear of its noise, whose projection has the given standard deviation, while the drive was between low and high.
func (w *watch) within(t float64, c int, v view, std, lo, hi, low, high float64) (decided bool, err error) {
	doubt := surely * std / math.Sqrt(v.power)
	if !v.full || !(doubt <= min(low/w.drive-lo, hi-high/w.drive)) {
		return false, nil
	}
	if v.gain < lo || v.gain > hi {
		return true, w.outside(t, c, v.gain, lo, hi)
	}
	if c == 0 && (v.gain-doubt)*w.share > above {
		return true, w.unsafe(t, c, "the level is %.3g times what stroke, velocity, force or payload admit", v.gain*w.share)
	}
	return true, nil
}

// apart is the factor by which one channel may change over the other in a window.
func (w *watch) apart(seconds float64) float64 {
	if seconds < w.period*(1-1e-9) {
		return apartShort
	}
	return apart
}

// growing judges whole cycles while the drive grows. A soft start bends the waveform and wakes the table's own resonance: only the size is judged.
func (w *watch) growing(t float64, k, c int, v view, low, high float64) error {
	if w.windows[k] < w.period*(1-1e-9) {
		return nil
	}
	noise := w.noise[k][c] / v.power
	size := math.Sqrt(max(0, v.size*v.size-noise*float64(v.count)/correlated))
	grown := &w.grown[k][c]
	lo, hi := lowestShort*max(low/2, *grown)/w.drive, highestShort*high/w.drive
	if math.Sqrt(noise)*surely > lo {
		return nil
	}
	if size < lo || v.gain > hi {
		return w.outside(t, c, size, lo, hi)
	}
	if c == 0 && v.gain*w.share > highestShort {
		return w.unsafe(t, c, "the level is %.3g times what stroke, velocity, force or payload admit", v.gain*w.share)
	}
	*grown = max(*grown, min(v.gain*w.drive, high)) // a table that still swings shows more than that
	return nil
}

// view is one window of one channel against the waveform expected.
type view struct {
	full     bool
	gain     float64 // least squares factor on the waveform
	power    float64 // sum of its squares
	size     float64 // rms of what is seen over that of the waveform
	count    int     // bins
	residual float64 // of what is seen less what is expected, projected on the waveform of length one
}

// project compares the last seconds of channel c with the waveform expected: in whole cycles without their straight lines, as a table that still swings shows them.
func (w *watch) project(c int, seconds float64, lines bool) view {
	x, y := w.tail(c, seconds)
	if len(x) == 0 || math.IsNaN(y[0]) {
		return view{}
	}
	v := view{full: true, count: len(x)}
	mx, my, sx, sy := 0.0, 0.0, 0.0, 0.0
	switch {
	case lines && seconds < w.period*(1-1e-9):
		mx, my = mean(x), mean(y)
	case lines:
		mx, sx = line(x)
		my, sy = line(y)
	default:
		mx = w.rest(c, seconds)
	}
	var xx, xy float64
	for i := range x {
		u := float64(i) - float64(len(x)-1)/2
		p, q := x[i]-mx-sx*u, y[i]-my-sy*u
		xx, xy, v.power = xx+p*p, xy+p*q, v.power+q*q
	}
	v.gain, v.size, v.residual = xy/v.power, math.Sqrt(xx/v.power), (xy-v.power)/math.Sqrt(v.power)
	return v
}

// line is the straight line through x: its mean, and its slope per sample.
func line(x []float64) (m, slope float64) {
	m = mean(x)
	var sum, square float64
	for i, v := range x {
		u := float64(i) - float64(len(x)-1)/2
		sum, square = sum+u*v, square+u*u
	}
	return m, sum / square
}

// tail is the last seconds of channel c and what was expected; nothing where there are not so many.
func (w *watch) tail(c int, seconds float64) (x, y []float64) {
	b := w.bins
	n := int(math.Round(seconds * b.rate / float64(b.width)))
	if n < 2 || n > len(b.x[c]) {
		return nil, nil
	}
	return b.x[c][len(b.x[c])-n:], b.want[c][len(b.want[c])-n:]
}

func mean(x []float64) float64 {
	var sum float64
	for _, v := range x {
		sum += v
	}
	return sum / float64(len(x))
}

// familiar says whether the model knows the waveform of every drive between low and high, harmonics included.
func (w *watch) familiar(low, high float64) bool {
	return w.sure && high <= (1+nearby)*w.drive && low >= (1-nearby)*w.drive
}

// still says whether the drive stood still but for small corrections.
func (w *watch) still(low, high float64) bool { return high-low <= small*w.drive }

// learn takes the window's deviation into the noise of windows of its length, while the drive stands still.
func (w *watch) learn(k int, v view, c int, still bool) {
	if !still || !w.sure {
		return
	}
	square := min(v.residual*v.residual, mostLearned*w.noise[k][c])
	w.noise[k][c] += min(1, w.step/learning) * (square - w.noise[k][c])
}

var channelNames = [2]string{"reference", "device"}

func (w *watch) outside(t float64, c int, g, lo, hi float64) error {
	if c == 1 {
		return w.unsafe(t, c, "its signal is %.3g times what is expected, allowed are %.3g to %.3g: the channels disagree", g, lo, hi)
	}
	return w.unsafe(t, c, "response to the drive %.3g times what is expected, allowed are %.3g to %.3g", g, lo, hi)
}

func (w *watch) unsafe(t float64, c int, format string, args ...any) error {
	return fmt.Errorf("%w: %.3f s into the attempt, %s: %s", ErrUnsafe, t, channelNames[c], fmt.Sprintf(format, args...))
}

// responses compares a fit at a drive with the response per drive of the low-level check.
func (w *watch) responses(t float64, level, drive, response []float64) error {
	for i := range level {
		if r := level[i] / drive[i] / response[i]; !(r >= lowest && r <= highest) {
			return w.unsafe(t, 0, "response per drive %.3g times that of the low-level check, allowed are %.3g to %.3g", r, lowest, highest)
		}
	}
	return nil
}

// amplitudes are the moduli of complex amplitudes.
func amplitudes(z []complex128) []float64 {
	a := make([]float64, len(z))
	for i, v := range z {
		a[i] = cmplx.Abs(v)
	}
	return a
}
