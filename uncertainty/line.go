package uncertainty

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// CorrelatedLine is a straight line A + B(x - X0) fitted to values whose covariances are stated.
type CorrelatedLine struct {
	X0, A, B    float64
	UA, UB      float64 // standard uncertainties, from the covariances stated
	Correlation float64 // between A and B
	ChiSquare   float64 // rᵀV⁻¹r of the residuals r
	Dof         float64 // of ChiSquare: n - 2

	weights [2][]float64 // of the values in A and in B
}

// FitCorrelatedLine fits a straight line by generalised least squares to two or more values of covariance matrix V: the estimates (XᵀV⁻¹X)⁻¹XᵀV⁻¹y of smallest
// variance (Aitken 1935, from memory). X0 is the abscissa A refers to. With V = s²·1 it is FitLine with s stated instead of taken from the residuals. It is an error
// to give fewer than two values, only one abscissa, a number that is not finite or a matrix that is not positive definite.
func FitCorrelatedLine(x, y []float64, covariance [][]float64, x0 float64) (CorrelatedLine, error) {
	fail := func(err error) (CorrelatedLine, error) {
		return CorrelatedLine{}, fmt.Errorf("straight line of correlated values: %w", err)
	}
	n := len(x)
	if len(y) != n || n < 2 {
		return fail(fmt.Errorf("%d x and %d y, want as many of both and at least 2", n, len(y)))
	}
	for i := range x {
		if !finite(x[i]) || !finite(y[i]) {
			return fail(fmt.Errorf("value %d: x %g, y %g, want finite numbers", i+1, x[i], y[i]))
		}
	}
	factor, err := cholesky(covariance, n)
	if err != nil {
		return fail(err)
	}
	for i := range factor {
		if !(factor[i][i] > 0) {
			return fail(errors.New("a value depends wholly on the others: the covariance matrix is not positive definite"))
		}
	}
	l := CorrelatedLine{X0: x0, Dof: float64(n - 2)}
	if !l.solve(factor, x, y) {
		return fail(fmt.Errorf("all %d x are %g, want two different ones", n, x[0]))
	}
	return l, nil
}

// solve finds the line about the weighted mean of x, where level and slope are not correlated, and moves it to X0; false where all x are one.
func (l *CorrelatedLine) solve(factor [][]float64, x, y []float64) bool {
	n := len(x)
	ones, from, rise := make([]float64, n), make([]float64, n), make([]float64, n)
	for i := range x {
		ones[i], from[i], rise[i] = 1, x[i]-x[0], y[i]-y[0]
	}
	w := solve(factor, ones) // V⁻¹1
	var sum, mean float64
	for i := range w {
		sum += w[i]
		mean += w[i] * from[i]
	}
	mean /= sum
	var spread float64
	for i := range from {
		spread = max(spread, math.Abs(from[i]))
		from[i] -= mean
	}
	v := solve(factor, from)
	var sxx float64
	for i := range v {
		sxx += v[i] * from[i]
	}
	if spread == 0 || !(sxx > 0) {
		return false
	}
	d := l.X0 - x[0] - mean
	l.weights = [2][]float64{make([]float64, n), make([]float64, n)}
	for i := range x {
		l.weights[1][i] = v[i] / sxx
		l.weights[0][i] = w[i]/sum + d*l.weights[1][i]
		l.A += l.weights[0][i] * rise[i]
		l.B += l.weights[1][i] * rise[i]
	}
	residuals := make([]float64, n)
	for i := range x {
		residuals[i] = rise[i] - l.A - l.B*(x[i]-l.X0)
	}
	for i, r := range solve(factor, residuals) {
		l.ChiSquare += r * residuals[i]
	}
	l.A += y[0]
	l.UA, l.UB = math.Sqrt(1/sum+d*d/sxx), 1/math.Sqrt(sxx)
	l.Correlation = d / sxx / (l.UA * l.UB)
	return true
}

// At is the value of the line at x with its standard uncertainty from the covariances stated.
func (l CorrelatedLine) At(x float64) (y, u float64) {
	d := x - l.X0
	return l.A + l.B*d, root(l.UA*l.UA + d*d*l.UB*l.UB + 2*d*l.UA*l.UB*l.Correlation)
}

// Weights is the weights with which the values enter the line at x; they add to one.
func (l CorrelatedLine) Weights(x float64) []float64 {
	w := make([]float64, len(l.weights[0]))
	for i := range w {
		w[i] = l.weights[0][i] + (x-l.X0)*l.weights[1][i]
	}
	return w
}

// SlopeWeights is the weights with which the values enter the slope; they add to zero.
func (l CorrelatedLine) SlopeWeights() []float64 { return append([]float64(nil), l.weights[1]...) }

// Probability is that of a chi-squared as large as this or larger where the covariances stated explain the residuals; not a number for two values, which leave none.
func (l CorrelatedLine) Probability() float64 {
	if l.Dof < 1 {
		return math.NaN()
	}
	return distuv.ChiSquared{K: l.Dof}.Survival(l.ChiSquare)
}
