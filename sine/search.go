package sine

import (
	"fmt"
	"math"
	"math/cmplx"
	"slices"

	"gonum.org/v1/gonum/dsp/fourier"
)

const (
	searchCycles = 20      // looked at, at least
	searchTime   = 4.0     // s, looked at, at least
	searchPoints = 1 << 17 // values transformed, at most
	fewCycles    = 8       // of the start value: with fewer no line can be searched
	standsOut    = 30      // power over the median of the spectrum around it that makes a line: exp(-30 ln 2), one in 1e9, for noise
	outdone      = 3       // amplitude over that of the line wanted, in every channel, that makes another line the recording's line
	lobe         = 2.0     // half width of a line in the spectrum, in units of 1/T
	lowest       = 0.1     // frequency over that of the line wanted at which another line is looked for: below there is drift
)

// spectrum is the power spectrum of the beginning of a recording.
type spectrum struct {
	step      float64     // Hz
	power     [][]float64 // per channel
	line      float64     // 1/T, Hz
	strongest float64     // Hz, where the power of all channels, each over its total, is largest
}

// search finds the line within 3 % of s.Frequency in the beginning of the recording. It returns 0 where the recording is too short to tell.
func (p *passes) search(s Settings) (float64, error) {
	l, err := p.spectrum(s)
	if err != nil {
		return 0, err
	}
	if s.Frequency/l.line < fewCycles {
		return 0, nil
	}
	half := max(reach*p.nominal, 1.5*l.line)
	for _, f := range s.besideLines() {
		half = min(half, math.Abs(f-s.Frequency)/2)
	}
	peak := l.peak(p.nominal-half, p.nominal+half, func(float64) bool { return false })
	if hum, d := NearestMains(l.at(peak), s.Mains, 1/l.line); d < 1 && hum <= mainsOrders && Separable(p.nominal, s.Mains, 1/l.line) { // another one beside the hum
		peak = l.peak(p.nominal-half, p.nominal+half, func(f float64) bool { return math.Abs(f-float64(hum)*s.Mains) < lobe*l.line })
	}
	if !l.standsOut(peak) {
		return 0, p.noLine(s, l.strongest)
	}
	other := l.peak(max(lowest*p.nominal, lobe*l.line), math.Inf(1), func(f float64) bool { return mainsLine(f, s.Mains, l.line) || s.isBeside(f, l.line) })
	if times := l.amplitudes(other, peak); times > outdone {
		return 0, fmt.Errorf("sine: %w to speak of near %.6g Hz: the one at %.5g Hz is %.3g times as strong in every channel",
			ErrNoLine, p.nominal, l.at(other), times)
	}
	return l.at(peak), nil
}

// mainsLine reports whether f lies on a multiple of the mains.
func mainsLine(f, mains, line float64) bool {
	_, d := NearestMains(f, mains, 1/line)
	return d < lobe
}

// spectrum transforms the beginning of the recording, averages of neighbouring samples where it is long.
func (p *passes) spectrum(s Settings) (spectrum, error) {
	length := max(searchTime*s.Rate, searchCycles*s.Rate/s.Frequency)
	if s.Frames > 0 {
		length = min(length, float64(s.Frames))
	}
	factor := int(math.Ceil(length / searchPoints))
	values := make([][]float64, p.channels)
	sum, filled := make([]float64, p.channels), 0
	err := p.pieces(piece, func(block [][]float64) (bool, error) {
		for i := range block[0] {
			for c := range block {
				sum[c] += block[c][i]
			}
			if filled++; filled < factor {
				continue
			}
			for c, v := range sum {
				v /= float64(factor)
				if math.IsNaN(v) || math.IsInf(v, 0) { // samples missing
					v = last(values[c])
				}
				values[c] = append(values[c], v)
				sum[c] = 0
			}
			filled = 0
			if float64(len(values[0])*factor) >= length {
				return false, nil
			}
		}
		return true, nil
	})
	if err != nil {
		return spectrum{}, err
	}
	return newSpectrum(values, s.Rate/float64(factor)), nil
}

func last(x []float64) float64 {
	if len(x) == 0 {
		return 0
	}
	return x[len(x)-1]
}

// newSpectrum transforms the values with a Hann window.
func newSpectrum(values [][]float64, rate float64) spectrum {
	n := len(values[0])
	size := 16
	for size < 2*n {
		size *= 2
	}
	l := spectrum{step: rate / float64(size), line: rate / float64(max(n, 1))}
	fft := fourier.NewFFT(size)
	padded := make([]float64, size)
	total := make([]float64, size/2+1)
	for _, x := range values {
		clear(padded)
		mean := average(x)
		for i, v := range x {
			w := math.Sin(math.Pi * (float64(i) + 0.5) / float64(n))
			padded[i] = (v - mean) * w * w
		}
		power, all := make([]float64, size/2+1), 0.0
		for k, z := range fft.Coefficients(nil, padded) {
			power[k] = real(z * cmplx.Conj(z))
			all += power[k]
		}
		for k, v := range power {
			if all > 0 {
				total[k] += v / all
			}
		}
		l.power = append(l.power, power)
	}
	first := int(math.Ceil(lobe * l.line / l.step)) // below, the window's image of a drift
	k := first
	for i := first; i < len(total); i++ {
		if total[i] > total[k] {
			k = i
		}
	}
	l.strongest = l.at(min(k, len(total)-1))
	return l
}

// peak is the bin between low and high, in Hz, with the largest power of all channels over their medians, but where hidden.
func (l spectrum) peak(low, high float64, hidden func(f float64) bool) int {
	from, to := int(math.Ceil(low/l.step)), len(l.power[0])-2
	if x := math.Floor(high / l.step); x < float64(to) {
		to = int(x)
	}
	medians := make([]float64, len(l.power))
	for c, p := range l.power {
		medians[c] = middle(slices.Clone(p)) + math.SmallestNonzeroFloat64
	}
	best, most := max(1, from), -1.0
	for k := best; k <= to; k++ {
		if hidden(float64(k) * l.step) {
			continue
		}
		sum := 0.0
		for c, p := range l.power {
			sum += p[k] / medians[c]
		}
		if sum > most {
			best, most = k, sum
		}
	}
	return min(best, len(l.power[0])-2)
}

// standsOut reports whether bin k is a line: in one channel far above the median of its surroundings, and no flank.
func (l spectrum) standsOut(k int) bool {
	guard := int(lobe * l.line / l.step)
	for _, p := range l.power {
		if k < 1 || k+1 >= len(p) || p[k-1] > p[k] || p[k+1] > p[k] {
			continue
		}
		var around []float64
		for i := k / 2; i < min(2*k, len(p)); i++ {
			if i < k-guard || i > k+guard {
				around = append(around, p[i])
			}
		}
		if len(around) > 0 && p[k] > standsOut*middle(around) {
			return true
		}
	}
	return false
}

// at is the frequency of the line whose largest bin is k, Hz: the parabola through the logarithms of the bins beside it.
func (l spectrum) at(k int) float64 {
	sum := [3]float64{}
	for _, p := range l.power {
		for i := range sum {
			if j := k + i - 1; j >= 0 && j < len(p) {
				sum[i] += p[j] / (p[k] + math.SmallestNonzeroFloat64)
			}
		}
	}
	a, b, c := math.Log(sum[0]), math.Log(sum[1]), math.Log(sum[2])
	shift := 0.5 * (a - c) / (a - 2*b + c)
	if !(math.Abs(shift) <= 1) {
		shift = 0
	}
	return (float64(k) + shift) * l.step
}

// amplitudes is the ratio of the amplitudes of the lines at bins a and b in the channel where it is least.
func (l spectrum) amplitudes(a, b int) float64 {
	least := math.Inf(1)
	for _, p := range l.power {
		least = min(least, math.Sqrt(p[a]/p[b]))
	}
	return least
}
