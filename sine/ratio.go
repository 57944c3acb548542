package sine

import "errors"

// Ratio is the ratio of the fundamentals of two channels of one Fit, with the evidence of how steady it was.
type Ratio struct {
	Value   complex128   // mean ratio of channel d to channel r
	Ln      []complex128 // ln(z_d/z_r) of every accepted block, the phase unwrapped about that of Value
	Time    []float64    // centres of those blocks, s from the first sample
	Weights []float64    // elementary blocks in each
	N       int          // blocks in the series
	StdRe   float64      // experimental standard deviation of the mean of the real part (relative, modulus)
	StdIm   float64      // and of the imaginary part (rad, phase)
	Dof     float64      // degrees of freedom of StdRe and StdIm
	Noise   float64      // what white noise of the size of the residuals would make of StdRe and StdIm
	Hann    complex128   // Hann-weighted mean of the series less the plain mean
	HannStd float64      // standard deviation of one component of Hann for an uncorrelated series
	Lag1Re  float64      // lag-1 autocorrelation of the real part
	Lag1Im  float64      // and of the imaginary part
	SlopeRe float64      // slope of a straight line through the real part, 1/s
	SlopeIm float64      // and through the imaginary part, rad/s
	TrendRe float64      // SlopeRe over its standard deviation: Student t with N-2 degrees of freedom
	TrendIm float64      // and for SlopeIm
}

var errNoBlocks = errors.New("sine: ratio: no accepted block")

// Ratio returns the ratio of channel d to channel r.
func (f Fit) Ratio(d, r int) (Ratio, error) {
	return Ratio{}, errNoBlocks
}
