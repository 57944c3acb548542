package history

import (
	"math"

	"plumbline/uncertainty"
)

// spread is the distribution about an estimate: the sum of a normal part, known from statements, and one of Student's t, known from scatter. Relative numbers.
type spread struct {
	normal float64 // standard uncertainty of the normal part
	scale  float64 // standard uncertainty of the part from scatter
	dof    float64 // its degrees of freedom, +Inf without one
}

// std is the standard uncertainty, both parts in quadrature, by the convention of GUM 4.2.3 (u = s, whatever the degrees of freedom).
func (s spread) std() float64 { return math.Hypot(s.normal, s.scale) }

// cdf is the probability of an error not above z. Student's t is a normal value of random size, so that the sum of both parts is one too: with q chi-squared of ν degrees of
// freedom, the mean over q of Φ(z/√(normal² + scale²ν/q)). It is taken over y = ln q by the trapezoidal rule, from the peak of its weight exp(ν(y - ln ν)/2 - (q - ν)/2)
// outwards until that is gone; as the integrand is smooth the error is of the order of 1e-10.
func (s spread) cdf(z float64) float64 {
	switch {
	case math.IsInf(z, 0):
		return 0.5 + math.Copysign(0.5, z)
	case s.std() == 0:
		return 0.5
	case s.scale == 0:
		return uncertainty.NormalCDF(z / s.normal)
	case s.normal == 0:
		return uncertainty.StudentCDF(z/s.scale, s.dof)
	}
	h := min(0.2, 0.4*math.Sqrt(2/s.dof))
	var sum, weights float64
	for _, way := range []float64{-h, h} {
		for y := max(0, way); ; y += way {
			w := math.Exp(s.dof / 2 * (y + 1 - math.Exp(y)))
			sum += w * uncertainty.NormalCDF(z/math.Sqrt(s.normal*s.normal+s.scale*s.scale*math.Exp(-y)))
			weights += w
			if w < 1e-17 {
				break
			}
		}
	}
	return sum / weights
}

// half is half the width of the interval of probability p about the estimate.
func (s spread) half(p float64) float64 {
	switch {
	case s.scale == 0:
		return uncertainty.Coverage(p, math.Inf(1)) * s.normal
	case s.normal == 0:
		return uncertainty.Coverage(p, s.dof) * s.scale
	}
	low := math.Max(uncertainty.Coverage(p, math.Inf(1))*s.normal, uncertainty.Coverage(p, s.dof)*s.scale)
	high, goal := low, 0.5+p/2
	for s.cdf(high) < goal {
		low, high = high, high*1.5
	}
	return root(func(h float64) float64 { return s.cdf(h) - goal }, low, high, 1e-9*high)
}

// root is where f, which changes sign between a and b, is zero to within tolerance: regula falsi with the Illinois weight, and halving where that stalls.
func root(f func(float64) float64, a, b, tolerance float64) float64 {
	fa, fb := f(a), f(b)
	for i := 0; i < 200 && math.Abs(b-a) > tolerance; i++ {
		c := b - fb*(b-a)/(fb-fa)
		if i%3 == 2 || math.IsNaN(c) || c == a || c == b {
			c = a + (b-a)/2
		}
		fc := f(c)
		if math.Abs(fc) < 1e-12 {
			return c
		}
		if (fc > 0) == (fb > 0) {
			fa /= 2
		} else {
			a, fa = b, fb
		}
		b, fb = c, fc
	}
	return a + (b-a)/2
}
