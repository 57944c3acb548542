package uncertainty

import (
	"fmt"
	"math"
)

// Mean is the arithmetic mean of readings, NaN without readings. The first reading is subtracted while summing, so that a large common
// part costs no digits.
//
// Clause: GUM 4.2.1
func Mean(x []float64) float64 {
	if len(x) == 0 {
		return math.NaN()
	}
	var sum float64
	for _, v := range x {
		sum += v - x[0]
	}
	return x[0] + sum/float64(len(x))
}

// StdDev is the experimental standard deviation of readings, NaN below two.
//
// Clause: GUM 4.2.2
func StdDev(x []float64) float64 {
	return math.Sqrt(squares(x) / float64(len(x)-1))
}

// squares is the sum of squared deviations from the mean, NaN below two readings.
func squares(x []float64) float64 {
	if len(x) < 2 {
		return math.NaN()
	}
	m := Mean(x)
	var sum, rest float64
	for _, v := range x {
		sum += (v - m) * (v - m)
		rest += v - m // zero but for rounding of the mean
	}
	return sum - rest*rest/float64(len(x))
}

// Pooled is the pooled experimental standard deviation of groups of readings with its degrees of freedom. Groups of one reading add nothing;
// without any group of two or more it is NaN with 0 degrees of freedom.
//
// Clause: GUM 4.2.4
func Pooled(groups ...[]float64) (s, dof float64) {
	var sum float64
	for _, g := range groups {
		if len(g) > 1 {
			sum += squares(g)
			dof += float64(len(g) - 1)
		}
	}
	if dof == 0 {
		return math.NaN(), 0
	}
	return math.Sqrt(sum / dof), dof
}

// Line is a straight line A + B(x - X0) fitted by least squares.
type Line struct {
	X0, A, B    float64
	UA, UB      float64 // standard uncertainties
	Correlation float64 // between A and B
	S           float64 // experimental standard deviation of the residuals
	Dof         float64 // n - 2
}

// FitLine fits a straight line by least squares to points of equal uncertainty, judged from the residuals. X0 is the abscissa A refers to.
// At least three points with two different x are needed.
//
// Clause: GUM H.3.2
func FitLine(x, y []float64, x0 float64) (Line, error) {
	n := len(x)
	if len(y) != n || n < 3 {
		return Line{}, fmt.Errorf("straight line: %d x and %d y, want as many of both and at least 3", n, len(y))
	}
	mx, my := Mean(x), Mean(y)
	var sxx, sxy float64
	for i := range x {
		sxx += (x[i] - mx) * (x[i] - mx)
		sxy += (x[i] - mx) * (y[i] - my)
	}
	if !(sxx > 0) {
		return Line{}, fmt.Errorf("straight line: all %d x are %g, want two different ones", n, x[0])
	}
	l := Line{X0: x0, B: sxy / sxx, Dof: float64(n - 2)}
	l.A = my + l.B*(x0-mx)
	var ssr float64
	for i := range x {
		r := (y[i] - my) - l.B*(x[i]-mx)
		ssr += r * r
	}
	l.S = math.Sqrt(ssr / l.Dof)
	spread := math.Sqrt(1/float64(n) + (x0-mx)*(x0-mx)/sxx)
	l.UA, l.UB = l.S*spread, l.S/math.Sqrt(sxx)
	l.Correlation = (x0 - mx) / math.Sqrt(sxx) / spread
	return l, nil
}

// At is the value of the line at x with its standard uncertainty, which has Dof degrees of freedom.
//
// Clause: GUM H.3.4
func (l Line) At(x float64) (y, u float64) {
	d := x - l.X0
	return l.A + l.B*d, root(l.UA*l.UA + d*d*l.UB*l.UB + 2*d*l.UA*l.UB*l.Correlation)
}

// Proportion is a line through the origin, y = B x.
type Proportion struct {
	B, U      float64 // slope and its standard uncertainty from the uncertainties of y
	ChiSquare float64 // sum of squared residuals over their standard uncertainties, n - 1 degrees of freedom
}

// FitProportion fits a line through the origin by least squares to y of standard uncertainties u. With all x equal to one it is the weighted mean.
// Equal u make it the unweighted fit.
func FitProportion(x, y, u []float64) (Proportion, error) {
	n := len(x)
	if n == 0 || len(y) != n || len(u) != n {
		return Proportion{}, fmt.Errorf("line through the origin: %d x, %d y and %d standard uncertainties, want as many of each and at least 1", n, len(y), len(u))
	}
	var sxx, sxy float64
	for i := range x {
		if !(u[i] > 0) {
			return Proportion{}, fmt.Errorf("line through the origin: standard uncertainty %d is %g, want more than 0", i+1, u[i])
		}
		sxx += x[i] * x[i] / (u[i] * u[i])
		sxy += x[i] * y[i] / (u[i] * u[i])
	}
	if !(sxx > 0) {
		return Proportion{}, fmt.Errorf("line through the origin: all %d x are 0, want one that is not", n)
	}
	p := Proportion{B: sxy / sxx, U: 1 / math.Sqrt(sxx)}
	for i := range x {
		r := (y[i] - p.B*x[i]) / u[i]
		p.ChiSquare += r * r
	}
	return p, nil
}
