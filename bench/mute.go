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

// mute says where a channel shows nothing in a part of a cycle although much should happen there, and the other one shows that it does: whatever the harmonics and the
// soft start make of the waveform, both would show it.
func (w *watch) mute(t float64) error {
	if w.period <= longestLook || t-longestLook < w.since {
		return nil
	}
	low, high := w.between(t - longestLook - w.longest)
	var still, moves [2][2]bool // by movement about the mean, and about rest
	for c := range w.in {
		x, y := w.tail(c, longestLook)
		if len(x) == 0 || math.IsNaN(y[0]) {
			return nil
		}
		grown := &w.grown[len(w.windows)][c]
		count := max(low, shown**grown) / w.drive
		noise := w.model.fit.rms[c] * w.model.fit.rms[c] * (1 + surely*math.Sqrt(2/float64(len(x))))
		steep := 2 * math.Pi * min(0.25, longestLook/w.period) / math.Sqrt(6) * w.whole(c) // scatter about a zero
		for j, p := range [2][3]float64{{scatter(x), scatter(y), steep}, {about(x, w.offset[c]), about(y, 0), w.whole(c)}} {
			wanted := p[1] * count
			nothing := math.Sqrt(noise + silent*silent*wanted*wanted)
			if p[1] > informed*p[2] && nothing < moving*wanted {
				still[j][c] = p[0] < nothing
				moves[j][c] = p[0] > moving*wanted
			}
		}
		if y := about(y, 0); y > informed*w.whole(c) {
			*grown = max(*grown, min(high, about(x, w.offset[c])/y*w.drive)/2) // half: a soft start overshoots
		}
	}
	for c := range w.in {
		if still[0][c] && moves[0][1-c] && w.together() || still[1][c] && moves[1][1-c] {
			return w.unsafe(t, c, "it shows nothing in the last %.3g s while the other channel moves", longestLook)
		}
	}
	return nil
}

// together says whether the channels pass their zeros at the same time: only then a flat place of the waveform is one in both.
func (w *watch) together() bool {
	z := w.model.fit.lines
	return math.Abs(real(z[1][0]/z[0][0])) > cosTogether*cmplx.Abs(z[1][0]/z[0][0])
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
