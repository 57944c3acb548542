package history

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/mat"

	"plumbline/uncertainty"
)

// RunLength is the average number of checks until a chart with known limits alarms, after the mean has moved by shift standard deviations: 0 gives the average between false
// alarms. The EWMA has constant limits ±L√(λ/(2-λ)) and starts at the centre (integral equation of Crowder 1987, from memory); λ = 1 is the individuals chart, 1/P. For
// limits of phase I, which are estimates themselves, it is what they come near to with many checks. Valid to some 1e-6 of the length up to some 1e6
// checks. It is an error if λ is not above 0 and at most 1, the width is not positive or the shift is not finite.
func RunLength(lambda, width, shift float64) (float64, error) {
	if !(lambda > 0 && lambda <= 1) || !positive(width) || math.IsNaN(shift) || math.IsInf(shift, 0) {
		return 0, fmt.Errorf("run length of a control chart: lambda %g, width %g, shift %g: want a lambda above 0 up to 1, a positive width and a finite shift", lambda, width, shift)
	}
	if lambda == 1 {
		return 1 / (uncertainty.NormalCDF(-width-shift) + uncertainty.NormalCDF(shift-width)), nil
	}
	h := width * math.Sqrt(lambda/(2-lambda))
	n := 64 + int(8*h/lambda) // nodes resolve the kernel, of width λ
	x, w := make([]float64, n), make([]float64, n)
	quad.Legendre{}.FixedLocations(x, w, -h, h)
	kernel := func(from, to float64) float64 {
		z := (to-(1-lambda)*from)/lambda - shift
		return math.Exp(-z*z/2) / (math.Sqrt(2*math.Pi) * lambda)
	}
	a, b := mat.NewDense(n, n, nil), mat.NewVecDense(n, nil)
	for i := range n {
		for k := range n {
			a.Set(i, k, -w[k]*kernel(x[i], x[k]))
		}
		a.Set(i, i, 1+a.At(i, i))
		b.SetVec(i, 1)
	}
	var l mat.VecDense
	if err := l.SolveVec(a, b); err != nil {
		return 0, fmt.Errorf("run length of a control chart: lambda %g, width %g, shift %g: %w", lambda, width, shift, err)
	}
	sum := 1.0
	for k := range n {
		sum += w[k] * kernel(0, x[k]) * l.AtVec(k)
	}
	return sum, nil
}
