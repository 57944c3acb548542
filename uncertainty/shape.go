package uncertainty

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Shape is a Distribution whose distribution function is known, as those of this package are: an interval can be taken from its quantiles where it has
// no variance, and an expectation by quadrature (Expect).
type Shape interface {
	Distribution
	CDF(x float64) float64      // probability of a value not above x
	Quantile(p float64) float64 // the value not exceeded with probability p; NaN where p is not within 0..1
}

// Factor is the coverage factor of a single quantity of a symmetric shape: the end of its interval of probability p over its standard uncertainty, for
// example 0.95·√3 = 1.645 for a rectangle at 95 %. It is NaN without a standard uncertainty or where p is not usable.
func Factor(d Shape, p float64) float64 {
	u := d.Std()
	if !(p > 0 && p < 1) || !(u > 0) {
		return math.NaN()
	}
	return d.Quantile(0.5+p/2) / u
}

// step is the distribution function of the number 0.
func step(x float64) float64 {
	if x < 0 {
		return 0
	}
	return 1
}

// within limits a probability or a fraction.
func within(low, x, high float64) float64 { return math.Max(low, math.Min(x, high)) }

func usable(p float64) bool { return p >= 0 && p <= 1 }

// CDF is the probability of a value not above x.
func (d Normal) CDF(x float64) float64 {
	if d.Sigma == 0 {
		return step(x)
	}
	return NormalCDF(x / d.Sigma)
}

// Quantile is the value not exceeded with probability p.
func (d Normal) Quantile(p float64) float64 {
	if d.Sigma == 0 && usable(p) {
		return 0
	}
	return d.Sigma * NormalQuantile(p)
}

// CDF is the probability of a value not above x.
func (d Rectangular) CDF(x float64) float64 { return Trapezoidal{d.HalfWidth, 1}.CDF(x) }

// Quantile is the value not exceeded with probability p.
func (d Rectangular) Quantile(p float64) float64 { return Trapezoidal{d.HalfWidth, 1}.Quantile(p) }

// CDF is the probability of a value not above x.
func (d Triangular) CDF(x float64) float64 { return Trapezoidal{d.HalfWidth, 0}.CDF(x) }

// Quantile is the value not exceeded with probability p.
func (d Triangular) Quantile(p float64) float64 { return Trapezoidal{d.HalfWidth, 0}.Quantile(p) }

// CDF is the probability of a value not above x.
func (d Trapezoidal) CDF(x float64) float64 {
	if d.HalfWidth == 0 {
		return step(x)
	}
	if x > 0 {
		return 1 - d.CDF(-x)
	}
	z := within(-1, x/d.HalfWidth, 0)
	if z < -d.Beta { // on the slope: (1+z)²/2(1-β²)
		return (1 + z) * (1 + z) / (2 * (1 - d.Beta) * (1 + d.Beta))
	}
	return 0.5 + z/(1+d.Beta)
}

// Quantile is the value not exceeded with probability p.
func (d Trapezoidal) Quantile(p float64) float64 {
	switch {
	case !usable(p):
		return math.NaN()
	case p > 0.5:
		return -d.Quantile(1 - p)
	case p < (1-d.Beta)/(1+d.Beta)/2:
		return d.HalfWidth * (math.Sqrt(2*p*(1-d.Beta)*(1+d.Beta)) - 1)
	}
	return d.HalfWidth * (p - 0.5) * (1 + d.Beta)
}

// CDF is the probability of a value not above x: with W the half-width, 1/2 + E[min(1, x/W)]/2 above zero.
func (d CurvilinearTrapezoid) CDF(x float64) float64 {
	if x < 0 {
		return 1 - d.CDF(-x)
	}
	a, b := d.HalfWidth-d.LimitHalfWidth, d.HalfWidth+d.LimitHalfWidth
	switch {
	case x >= b:
		return 1
	case x == 0:
		return 0.5
	case a == b:
		return 0.5 + x/b/2
	case x <= a:
		return 0.5 + x*math.Log(b/a)/(b-a)/2
	}
	return 0.5 + (x-a+x*math.Log(b/x))/(b-a)/2
}

// Quantile is the value not exceeded with probability p.
func (d CurvilinearTrapezoid) Quantile(p float64) float64 {
	return bisect(d.CDF, p, d.HalfWidth+d.LimitHalfWidth)
}

// CDF is the probability of a value not above x.
func (d Arcsine) CDF(x float64) float64 {
	if d.HalfWidth == 0 {
		return step(x)
	}
	return 0.5 + math.Asin(within(-1, x/d.HalfWidth, 1))/math.Pi
}

// Quantile is the value not exceeded with probability p.
func (d Arcsine) Quantile(p float64) float64 {
	if !usable(p) {
		return math.NaN()
	}
	return -d.HalfWidth * math.Cos(math.Pi*p)
}

// CDF is the probability of a value not above x.
func (d StudentT) CDF(x float64) float64 {
	switch {
	case d.Scale == 0:
		return step(x)
	case math.IsInf(x, 0):
		return step(x)
	}
	return StudentCDF(x/d.Scale, d.Dof)
}

// Quantile is the value not exceeded with probability p.
func (d StudentT) Quantile(p float64) float64 {
	switch {
	case !usable(p):
		return math.NaN()
	case d.Scale == 0:
		return 0
	case d.Dof > largestDof:
		return d.Scale * NormalQuantile(p)
	case p == 0 || p == 1:
		return math.Inf(int(2*p - 1))
	}
	return distuv.StudentsT{Mu: 0, Sigma: d.Scale, Nu: d.Dof}.Quantile(p)
}

// CDF is the probability of a value not above x, by quadrature over the first factor. It is NaN where a factor is no Shape.
func (d Product) CDF(x float64) float64 {
	a, b, ok := d.factors()
	switch {
	case !ok:
		return math.NaN()
	case d.Std() == 0:
		return step(x)
	case math.IsInf(x, 0):
		return step(x)
	}
	bound := math.Abs(x) / largest(b) // within it the second factor cannot bring the product to x
	return within(0, Expect(a, func(v float64) float64 {
		switch {
		case v > 0:
			return b.CDF(x / v)
		case v < 0:
			return 1 - b.CDF(x/v)
		}
		return step(x)
	}, -bound, 0, bound), 1)
}

// Quantile is the value not exceeded with probability p.
func (d Product) Quantile(p float64) float64 {
	a, b, ok := d.factors()
	if !ok {
		return math.NaN()
	}
	extreme := largest(a) * largest(b)
	if math.IsNaN(extreme) || d.Std() == 0 {
		extreme = 0
	}
	return bisect(d.CDF, p, extreme)
}

// largest is the largest size a quantity can have.
func largest(d Shape) float64 { return math.Max(math.Abs(d.Quantile(0)), math.Abs(d.Quantile(1))) }

func (d Product) factors() (a, b Shape, ok bool) {
	a, first := d.A.(Shape)
	b, second := d.B.(Shape)
	return a, b, first && second
}

// CDF is 0 below zero, else 1.
func (Constant) CDF(x float64) float64 { return step(x) }

// Quantile is 0.
func (Constant) Quantile(p float64) float64 {
	if !usable(p) {
		return math.NaN()
	}
	return 0
}

// bisect finds where a distribution function reaches p, within ±extreme (which may be infinite).
func bisect(cdf func(float64) float64, p, extreme float64) float64 {
	switch {
	case !usable(p):
		return math.NaN()
	case p == 0:
		return -extreme
	case p == 1:
		return extreme
	}
	low, high := -extreme, extreme
	if math.IsInf(extreme, 1) {
		for high = 1; cdf(high) < p || cdf(-high) > p; high *= 2 {
			if math.IsInf(high, 1) {
				return math.NaN()
			}
		}
		low = -high
	}
	for range 200 {
		middle := low + (high-low)/2
		if middle == low || middle == high {
			break
		}
		if cdf(middle) < p {
			low = middle
		} else {
			high = middle
		}
	}
	return low + (high-low)/2
}
