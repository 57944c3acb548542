package bench

import (
	"errors"
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/mat"
)

const (
	binsPerCycle = 64    // of the highest line wanted
	leastBins    = 16    // of the highest line, in bins of a mains cycle
	longestBin   = 0.008 // s
)

// bins are the samples of both channels averaged over short times, the latest last, with what was expected of them.
type bins struct {
	rate  float64
	width int // samples in a bin
	first int // number of the oldest bin kept
	most  int // bins kept
	x     [2][]float64
	want  [2][]float64 // expected at the time, less the mean; NaN: nothing was
	fill  int
	sum   [2]float64
}

// newBins prepares for lines up to highest Hz and windows of up to longest s. Where a cycle of the mains is short enough, a bin is one: hum and its harmonics are no more.
func newBins(rate, highest, longest, mains float64) *bins {
	width := max(1, int(min(rate/(binsPerCycle*highest), rate*longestBin)))
	if n := math.Round(rate / mains); mains > 0 && highest*leastBins <= mains && math.Abs(n*mains/rate-1) < 0.01 {
		width = int(n)
	}
	return &bins{rate: rate, width: width, most: int(longest*rate/float64(width)) + 2}
}

// count is the number of bins made since the beginning.
func (b *bins) count() int { return b.first + len(b.x[0]) }

// middle is the time of the centre of bin k, s from the first sample.
func (b *bins) middle(k int) float64 {
	return (float64(k)*float64(b.width) + float64(b.width-1)/2) / b.rate
}

// add takes samples of both channels; model says what is expected at a time.
func (b *bins) add(x [2][]float64, model *model) {
	for i := range x[0] {
		b.sum[0] += x[0][i]
		b.sum[1] += x[1][i]
		if b.fill++; b.fill < b.width {
			continue
		}
		t := b.middle(b.count())
		for c := range b.x {
			b.x[c] = append(b.x[c], b.sum[c]/float64(b.width))
			b.want[c] = append(b.want[c], model.at(c, t))
		}
		b.fill, b.sum = 0, [2]float64{}
	}
	if extra := len(b.x[0]) - b.most; extra > b.most { // seldom, and much at once
		for c := range b.x {
			b.x[c] = append(b.x[c][:0], b.x[c][extra:]...)
			b.want[c] = append(b.want[c][:0], b.want[c][extra:]...)
		}
		b.first += extra
	}
}

// expect says anew what was expected of the last seconds.
func (b *bins) expect(seconds float64, m *model) {
	n := min(len(b.x[0]), int(seconds*b.rate/float64(b.width))+1)
	for c := range b.want {
		for k := len(b.want[c]) - n; k < len(b.want[c]); k++ {
			b.want[c][k] = m.at(c, b.middle(b.first+k))
		}
	}
}

// follows says whether the reference shows a model's waveform within a tenth, from a time on for some seconds.
func (b *bins) follows(m *model, from, seconds float64) bool {
	width := float64(b.width) / b.rate
	k, n := int(from/width)-b.first, int(seconds/width)
	if k < 0 || k+n > len(b.x[0]) {
		return false
	}
	var xy, yy float64
	for i := k; i < k+n; i++ {
		y := m.at(0, b.middle(b.first+i))
		xy, yy = xy+(b.x[0][i]-m.fit.mean[0])*y, yy+y*y
	}
	return math.Abs(xy/yy-1) < 0.1
}

// fit is the least squares approximation of the last seconds.
type fit struct {
	lines   [2][]complex128 // of each frequency asked for, peak, phase at the first sample of the stream
	mean    [2]float64      // at the middle of the window
	mid     float64         // s
	seconds float64         // length of the window
	rms     [2]float64      // of the residual
	std     [2]float64      // standard deviation of one component of a line, of white noise of that size
}

var errShortWindow = errors.New("the window holds too few samples")

// fit approximates the last seconds by lines at the frequencies and a constant.
func (b *bins) fit(seconds float64, freq []float64) (fit, error) {
	n, p := int(math.Round(seconds*b.rate/float64(b.width))), 2*len(freq)+1
	if n > len(b.x[0]) || n < p+2 {
		return fit{}, errShortWindow
	}
	from := len(b.x[0]) - n
	f := fit{seconds: seconds, mid: (b.middle(b.first+from) + b.middle(b.count()-1)) / 2}
	x := mat.NewDense(n, p, nil)
	for k := range n {
		row := x.RawRowView(k)
		tau := b.middle(b.first+from+k) - f.mid
		for i, fr := range freq {
			row[2*i+1], row[2*i] = math.Sincos(2 * math.Pi * fr * tau)
		}
		row[2*len(freq)] = 1
	}
	normal := mat.NewSymDense(p, nil)
	normal.SymOuterK(1, x.T())
	var chol mat.Cholesky
	if !chol.Factorize(normal) {
		return fit{}, errShortWindow
	}
	for c := range b.x {
		y := mat.NewVecDense(n, b.x[c][from:])
		var right, beta, rest mat.VecDense
		right.MulVec(x.T(), y)
		if err := chol.SolveVecTo(&beta, &right); err != nil {
			return fit{}, errShortWindow
		}
		rest.MulVec(x, &beta)
		rest.SubVec(y, &rest)
		f.rms[c] = mat.Norm(&rest, 2) / math.Sqrt(float64(n-p))
		f.std[c] = f.rms[c] * math.Sqrt(2/float64(n))
		f.mean[c] = beta.AtVec(2 * len(freq))
		for i, fr := range freq {
			_, turn := math.Modf(fr * f.mid)
			z := complex(beta.AtVec(2*i), -beta.AtVec(2*i+1)) / complex(b.droop(fr), 0)
			f.lines[c] = append(f.lines[c], z*cmplx.Rect(1, -2*math.Pi*turn))
		}
	}
	return f, nil
}

// droop is what averaging over a bin leaves of a line.
func (b *bins) droop(f float64) float64 {
	x := math.Pi * f / b.rate
	if b.width == 1 || x == 0 {
		return 1
	}
	return math.Sin(float64(b.width)*x) / (float64(b.width) * math.Sin(x))
}

// model is what both channels are expected to show.
type model struct {
	freq []float64
	fit  fit
}

// at is the expected value of channel c at t seconds, less its mean; NaN without a model.
func (m *model) at(c int, t float64) float64 {
	if m == nil {
		return math.NaN()
	}
	var y float64
	for i, f := range m.freq {
		_, turn := math.Modf(f * t)
		sin, cos := math.Sincos(2 * math.Pi * turn)
		y += real(m.fit.lines[c][i])*cos - imag(m.fit.lines[c][i])*sin
	}
	return y
}
