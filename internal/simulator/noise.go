package simulator

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/dsp/fourier"
)

// noise makes n samples of each channel's noise in V: ground motion common to both, what of it is not common, self-noise and the recorder's own.
// It is drawn in the frequency domain, where every density is met exactly, and is longer than asked so that its ends do not match.
func (b Bench) noise(n int, rate float64, rng *rand.Rand) [][]float64 {
	m := wholeLength(n + n/4 + 1)
	fft := fourier.NewFFT(m)
	var spectrum [channels][]complex128
	for c := range spectrum {
		spectrum[c] = make([]complex128, m/2+1)
	}
	transducers := [channels]Transducer{b.Reference, b.Device}
	// The inverse transform sums c_k exp(j 2 pi k i/m) over both signs of k, so the variance is 2 sum E|c_k|². A one-sided density S puts
	// S² rate/m into bin k: E|c_k|² = S² rate/(2m), half of it on each quadrature.
	scale := math.Sqrt(rate/float64(m)) / 2
	for k := 1; k < m/2; k++ {
		f := float64(k) * rate / float64(m)
		ground := b.Ground.At(f)
		common := gaussian(rng, ground*scale)
		for c := range spectrum {
			acceleration := math.Hypot(transducers[c].Noise.density(f), b.Ground.NotCommon*ground)
			h := b.transfer(c, f)
			spectrum[c][k] = h*(common+gaussian(rng, acceleration*scale)) + gaussian(rng, b.Recorder.Noise.density(f)*scale)
		}
	}
	samples := make([][]float64, channels)
	for c := range samples {
		samples[c] = fft.Sequence(nil, spectrum[c])[:n:n]
	}
	return samples
}

func gaussian(rng *rand.Rand, std float64) complex128 {
	return complex(std*rng.NormFloat64(), std*rng.NormFloat64())
}

// wholeLength is the smallest even length of at least n whose only prime factors are 2, 3 and 5, with at most one of 3 or 5: quick to transform.
func wholeLength(n int) int {
	best := math.MaxInt
	for _, odd := range []int{1, 3, 5} {
		m := 2 * odd
		for m < n {
			m *= 2
		}
		best = min(best, m)
	}
	return best
}
