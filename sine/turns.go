package sine

import (
	"math"
	"math/cmplx"
)

// turns is the phase of a line at f Hz after n half samples, in cycles modulo one, between -1/2 and 1/2. The count is whole and the product is carried in two parts,
// so that it is good to the last bits after hours.
func turns(f, rate float64, n int64) float64 {
	// f/(2 rate) = q + rest
	q := f / (2 * rate)
	rest := math.FMA(-q, 2*rate, f) / (2 * rate)
	x := float64(n)
	p := q * x
	low := math.FMA(q, x, -p) + rest*x
	return wrap((p - math.Round(p)) + low)
}

// wrap brings a number of cycles between -1/2 and 1/2.
func wrap(cycles float64) float64 { return cycles - math.Round(cycles) }

// waveRun is the number of samples between exact phases in wave.
const waveRun = 8

// wave sets w[i] to the unit phasor of a line at f Hz, first half samples plus i samples from where its phase is zero. Every eighth phase and the steps between are exact.
func wave(w []complex128, f, rate float64, first int64) {
	var step [waveRun]complex128
	for k := range step {
		step[k] = unit(turns(f, rate, int64(2*k)))
	}
	for i := 0; i < len(w); i += waveRun {
		start := unit(turns(f, rate, first+int64(2*i)))
		for k := range min(waveRun, len(w)-i) {
			w[i+k] = start * step[k]
		}
	}
}

// unit is exp(j 2 pi cycles).
func unit(cycles float64) complex128 {
	s, c := math.Sincos(2 * math.Pi * cycles)
	return complex(c, s)
}

// rotated is z exp(-j 2 pi cycles).
func rotated(z complex128, cycles float64) complex128 { return z * cmplx.Conj(unit(cycles)) }
