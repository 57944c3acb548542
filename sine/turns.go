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

// unit is exp(j 2 pi cycles).
func unit(cycles float64) complex128 {
	s, c := math.Sincos(2 * math.Pi * cycles)
	return complex(c, s)
}

// rotated is z exp(-j 2 pi cycles).
func rotated(z complex128, cycles float64) complex128 { return z * cmplx.Conj(unit(cycles)) }
