package sine

import (
	"fmt"
	"math"
	"math/cmplx"
)

// Ratio is the ratio of the fundamentals of two channels of one Fit, with the evidence of how steady it was.
type Ratio struct {
	Value   complex128   // mean ratio of channel d to channel r
	Ln      []complex128 // ln(z_d/z_r) of every accepted block, the phase unwrapped about that of Value
	Time    []float64    // centres of those blocks, s from the first sample
	Weights []float64    // elementary blocks in each
	N       int          // blocks in the series; 0 from Batch
	StdRe   float64      // experimental standard deviation of the mean of the real part (relative, modulus); Noise where N < 2
	StdIm   float64      // and of the imaginary part (rad, phase)
	Dof     float64      // degrees of freedom of StdRe and StdIm: N-1; the number of samples where N < 2
	Noise   float64      // what white noise of the size of the residuals makes of the real and of the imaginary part of ln Value
	Hann    complex128   // Hann-weighted mean of the series less the plain mean; 0 where N < 3
	HannStd float64      // standard deviation of one component of Hann for an uncorrelated series (root mean square of the two)
	Lag1Re  float64      // lag-1 autocorrelation of the real part; NaN where N < 3
	Lag1Im  float64      // and of the imaginary part
	SlopeRe float64      // slope of a straight line through the real part, 1/s; NaN where N < 3
	SlopeIm float64      // and through the imaginary part, rad/s
	TrendRe float64      // SlopeRe over its standard deviation: Student t with N-2 degrees of freedom
	TrendIm float64      // and for SlopeIm
}

const (
	steady    = 0.9 // coherence above which means of block values are formed before their ratio
	strongest = 30  // block amplitude over its noise above which the noise of the denominator may be neglected
)

// Ratio returns the ratio of channel d to channel r. Its value is the ratio of the means of the block values, which block noise does not bias. Where the phase of
// both wandered (coherence below 0.9) it is sum z_d conj(z_r)/sum |z_r|^2, whose bias -sigma_r^2/A_r^2 asks for an amplitude of 30 times the noise of a block.
func (f Fit) Ratio(d, r int) (Ratio, error) {
	for _, c := range []int{d, r} {
		if c < 0 || c >= len(f.Channels) {
			return Ratio{}, fmt.Errorf("sine: ratio: channel %d of %d", c+1, len(f.Channels))
		}
		if a, std := cmplx.Abs(f.Channels[c].Amplitude), f.Channels[c].Std; !(a > significant*std) {
			return Ratio{}, fmt.Errorf("sine: ratio: %w", ChannelError{c, fmt.Errorf("%w: amplitude %.3g, %d times its standard deviation %.3g is needed", ErrNoLine, a, significant, std)})
		}
	}
	var q Ratio
	q.Noise = math.Hypot(f.Channels[d].Std/cmplx.Abs(f.Channels[d].Amplitude), f.Channels[r].Std/cmplx.Abs(f.Channels[r].Amplitude))
	if f.Blocks == nil {
		q.Value = f.Channels[d].Amplitude / f.Channels[r].Amplitude
		q.StdRe, q.StdIm, q.Dof = q.Noise, q.Noise, float64(f.BlockSize)
		q.undetermined()
		return q, nil
	}
	var err error
	if q.Value, err = f.value(d, r); err != nil {
		return Ratio{}, err
	}
	for _, b := range f.Blocks {
		if b.Rejected {
			continue
		}
		ln := cmplx.Log(b.Z[d] / b.Z[r] / q.Value)
		q.Ln = append(q.Ln, ln+cmplx.Log(q.Value))
		q.Time, q.Weights = append(q.Time, b.Time), append(q.Weights, float64(b.Weight))
	}
	q.N = len(q.Ln)
	q.judge(f)
	return q, nil
}

// value is the mean ratio.
func (f Fit) value(d, r int) (complex128, error) {
	var means [2]complex128
	var cross complex128
	var square, modulus, weight, noise float64
	for _, b := range f.Blocks {
		if b.Rejected {
			continue
		}
		w := float64(b.Weight)
		weight += w
		means[0] += complex(w, 0) * b.Z[d]
		means[1] += complex(w, 0) * b.Z[r]
		cross += complex(w, 0) * b.Z[d] * cmplx.Conj(b.Z[r])
		square += w * real(b.Z[r]*cmplx.Conj(b.Z[r]))
		modulus += w * cmplx.Abs(b.Z[r])
		noise += b.Variance[r]
	}
	if weight == 0 {
		return 0, fmt.Errorf("sine: ratio: %w", ErrDisturbed)
	}
	if cmplx.Abs(means[1]) >= steady*modulus {
		return means[0] / means[1], nil
	}
	block := math.Sqrt(noise / weight * 2 / float64(f.BlockSize))
	if modulus/weight < strongest*block {
		return 0, fmt.Errorf("sine: ratio: %w", ChannelError{r, fmt.Errorf("%w: its phase is not steady (coherence %.2g) and its amplitude is only %.2g times the noise of a block",
			ErrNoLine, cmplx.Abs(means[1])/modulus, modulus/weight/block)})
	}
	return cross / complex(square, 0), nil
}

// undetermined marks what a short series cannot tell.
func (q *Ratio) undetermined() {
	nan := math.NaN()
	q.Lag1Re, q.Lag1Im, q.SlopeRe, q.SlopeIm, q.TrendRe, q.TrendIm = nan, nan, nan, nan, nan, nan
}

// judge fills in the statistics of the series.
func (q *Ratio) judge(f Fit) {
	if q.N < 2 {
		q.StdRe, q.StdIm = q.Noise, q.Noise
		q.Dof = float64(f.BlockSize)
		q.undetermined()
		return
	}
	q.Dof = float64(q.N - 1)
	re, im := make([]float64, q.N), make([]float64, q.N)
	for i, v := range q.Ln {
		re[i], im[i] = real(v), imag(v)
	}
	a, b := newMoments(re, q.Weights), newMoments(im, q.Weights)
	q.StdRe, q.StdIm = a.stdOfMean(), b.stdOfMean()
	if q.N < 3 {
		q.undetermined()
		return
	}
	q.Lag1Re, q.Lag1Im = a.lag1(), b.lag1()
	q.SlopeRe, q.TrendRe = a.trend(q.Time)
	q.SlopeIm, q.TrendIm = b.trend(q.Time)
	record := float64(f.Frames) / f.Rate
	var change [2]float64
	change[0], q.HannStd = a.hann(q.Time, record)
	imaginary, other := b.hann(q.Time, record)
	change[1] = imaginary
	q.Hann = complex(change[0], change[1])
	q.HannStd = math.Sqrt((q.HannStd*q.HannStd + other*other) / 2)
}

// moments of a series x whose variances are inversely proportional to the weights.
type moments struct {
	x, weights []float64
	mean       float64
	total      float64 // sum of weights
	variance   float64 // of a value of weight 1
}

func newMoments(x, weights []float64) moments {
	m := moments{x: x, weights: weights}
	for i, w := range weights {
		m.total += w
		m.mean += w * (x[i] - x[0])
	}
	m.mean = x[0] + m.mean/m.total
	for i, w := range weights {
		m.variance += w * (x[i] - m.mean) * (x[i] - m.mean)
	}
	m.variance /= float64(len(x) - 1)
	return m
}

// stdOfMean is the experimental standard deviation of the mean.
// Clause: GUM 4.2.3
func (m moments) stdOfMean() float64 { return math.Sqrt(m.variance / m.total) }

// lag1 is the autocorrelation of neighbours.
func (m moments) lag1() float64 {
	var num, den float64
	for i, v := range m.x {
		den += (v - m.mean) * (v - m.mean)
		if i > 0 {
			num += (v - m.mean) * (m.x[i-1] - m.mean)
		}
	}
	return num / den
}

// trend is the slope of the weighted regression on t and its Student t.
func (m moments) trend(t []float64) (slope, student float64) {
	centre := 0.0
	for i, w := range m.weights {
		centre += w * t[i] / m.total
	}
	var num, den, rest float64
	for i, w := range m.weights {
		num += w * (t[i] - centre) * (m.x[i] - m.mean)
		den += w * (t[i] - centre) * (t[i] - centre)
	}
	slope = num / den
	for i, w := range m.weights {
		r := m.x[i] - m.mean - slope*(t[i]-centre)
		rest += w * r * r
	}
	return slope, slope / math.Sqrt(rest/float64(len(m.x)-2)/den)
}

// hann is the mean with weights sin^2(pi t/T) less the plain mean, and its standard deviation.
func (m moments) hann(t []float64, record float64) (change, std float64) {
	h := make([]float64, len(t))
	total := 0.0
	for i, w := range m.weights {
		s := math.Sin(math.Pi * t[i] / record)
		h[i] = w * s * s
		total += h[i]
	}
	for i, w := range m.weights {
		d := h[i]/total - w/m.total
		change += d * (m.x[i] - m.mean)
		std += d * d / w
	}
	return change, math.Sqrt(m.variance * std)
}
