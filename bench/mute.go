package bench

import (
	"math"
	"math/cmplx"
)

// rest is what channel c showed besides the waveform at the middle of the last seconds: a straight line through the cycle before them, so that what happens in them
// does not hide itself.
func (w *watch) rest(c int, seconds float64) float64 {
	b := w.bins
	n, skip := int(w.period*b.rate/float64(b.width)), int(math.Round(seconds*b.rate/float64(b.width)))
	from := len(b.x[c]) - n - skip
	if n < 4 || from < 0 || math.IsNaN(b.want[c][from]) || !w.settled(w.period+seconds) {
		return w.offset[c]
	}
	var sum, slope, square float64
	for i := range n {
		u := float64(i) - float64(n-1)/2
		e := b.x[c][from+i] - b.want[c][from+i]
		sum, slope, square = sum+e, slope+u*e, square+u*u
	}
	return sum/float64(n) + slope/square*float64(n+skip)/2
}

// settled says whether the drive stood still long enough for the last seconds to show nothing else.
func (w *watch) settled(seconds float64) bool {
	low, high := w.between(w.now - seconds - w.longest)
	return w.sure && w.still(low, high) && high <= (1+nearest)*w.drive && low >= (1-nearest)*w.drive
}

// mute says where a channel shows nothing in a part of a cycle in which the other one moves: whatever harmonics and a soft start make of the waveform, both would show
// it. Channels whose phases are apart pass flat places of the waveform at different times and cannot be compared so.
func (w *watch) mute(t float64) error {
	if w.period <= longestLook || t-longestLook < w.since || !w.together() {
		return nil
	}
	low, _ := w.between(t - longestLook - w.longest)
	var seen, noise, least [2]float64
	for c := range w.in {
		x, _ := w.tail(c, longestLook)
		if len(x) == 0 {
			return nil
		}
		seen[c], least[c] = scatter(x), moving*w.steep(c)*low/w.drive
		noise[c] = w.model.fit.rms[c] * math.Sqrt(1+surely*math.Sqrt(2/float64(len(x))))
	}
	for c := range w.in {
		other := 1 - c
		wanted := seen[other] * w.whole(c) / w.whole(other)
		nothing := math.Hypot(noise[c], silent*wanted)
		if seen[other] > max(least[other], 2*noise[other]) && nothing < moving*wanted && seen[c] < nothing {
			return w.unsafe(t, c, "it shows %.3g V rms in the last %.3g s, by the other channel it should be %.3g V", seen[c], longestLook, wanted)
		}
	}
	return nil
}

// steep is the scatter of the longest window about a zero of the waveform.
func (w *watch) steep(c int) float64 {
	return 2 * math.Pi * min(0.25, longestLook/w.period) / math.Sqrt(6) * w.whole(c)
}

// died says where a channel shows nothing for more than a third of a cycle: no phase and no soft start does that.
func (w *watch) died(t float64) error {
	seconds := longDead * w.period
	if seconds <= longestLook || t-seconds < w.since {
		return nil
	}
	low, _ := w.between(t - seconds - w.longest)
	for c := range w.in {
		x, _ := w.tail(c, seconds)
		if len(x) == 0 {
			return nil
		}
		size := w.whole(c) * math.Sqrt2 * low / w.drive
		nothing := math.Hypot(w.model.fit.rms[c]*math.Sqrt(1+surely*math.Sqrt(2/float64(len(x)))), dead*size)
		if s := scatter(x); nothing < 3*dead*size && s < nothing {
			return w.unsafe(t, c, "it shows %.3g V rms in the last %.3g s of an amplitude of %.3g V: it is dead", s, seconds, size)
		}
	}
	return nil
}

// together says whether the channels pass their zeros, and the flat places of the waveform, in the same window.
func (w *watch) together() bool {
	z := w.model.fit.lines
	apart := math.Abs(cmplx.Phase(z[1][0] / z[0][0]))
	apart = min(apart, math.Pi-apart) // a device turned around moves all the same
	return apart < 2*math.Pi*longestLook/w.period*quarter
}

// whole is the rms of the waveform expected over whole cycles.
func (w *watch) whole(c int) float64 {
	var sum float64
	for _, z := range w.model.fit.lines[c] {
		sum += real(z)*real(z) + imag(z)*imag(z)
	}
	return math.Sqrt(sum / 2)
}

// about is the root of the mean square of x less a mean.
func about(x []float64, mean float64) float64 {
	var sum float64
	for _, v := range x {
		sum += (v - mean) * (v - mean)
	}
	return math.Sqrt(sum / float64(len(x)))
}

// scatter is the standard deviation.
func scatter(x []float64) float64 {
	return about(x, mean(x))
}
