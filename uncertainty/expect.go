package uncertainty

import (
	"math"
	"slices"
)

// Expect is the expectation of g over a distribution, by quadrature over the probability. Where g bends or jumps is told by breaks: it must be smooth
// between them. It is accurate to some 1e-9 of the range of g; NaN where a factor of a product is no Shape.
func Expect(d Shape, g func(x float64) float64, breaks ...float64) float64 {
	switch d := d.(type) {
	case Product:
		return d.expect(g, breaks)
	case *Empirical:
		var sum float64
		for _, x := range d.values {
			sum += g(x)
		}
		return sum / float64(len(d.values))
	case CurvilinearTrapezoid: // its density bends
		breaks = append([]float64{d.LimitHalfWidth - d.HalfWidth, d.HalfWidth - d.LimitHalfWidth}, breaks...)
	case Trapezoidal:
		breaks = append([]float64{-d.Beta * d.HalfWidth, d.Beta * d.HalfWidth}, breaks...)
	}
	if d.Std() == 0 {
		return g(0)
	}
	edges := slices.Clone(ladder)
	for _, x := range breaks {
		if p := d.CDF(x); p > negligible && p < 1-negligible {
			edges = append(edges, p)
		}
	}
	slices.Sort(edges)
	var sum float64
	for i := 1; i < len(edges); i++ {
		if width := edges[i] - edges[i-1]; width > 0 {
			sum += width * panel(edges[i-1], width, func(p float64) float64 { return g(d.Quantile(p)) })
		}
	}
	return sum
}

// expect takes the expectation over the second factor within that over the first.
func (d Product) expect(g func(x float64) float64, breaks []float64) float64 {
	a, b, ok := d.factors()
	if !ok {
		return math.NaN()
	}
	outer := []float64{0}
	for _, x := range breaks {
		bound := math.Abs(x) / largest(b)
		outer = append(outer, -bound, bound)
	}
	return Expect(a, func(v float64) float64 {
		inner := make([]float64, 0, len(breaks))
		for _, x := range breaks {
			if v != 0 {
				inner = append(inner, x/v)
			}
		}
		return Expect(b, func(w float64) float64 { return g(v * w) }, inner...)
	}, outer...)
}

// ladder is where the range of probability is parted, whatever the integrand.
var ladder = []float64{0, 1e-9, 1e-6, 1e-4, 5e-3, 0.05, 0.25, 0.5, 0.75, 0.95, 1 - 5e-3, 1 - 1e-4, 1 - 1e-6, 1 - 1e-9, 1}

const (
	exponentStep = 0.125
	exponentEnd  = 24    // steps: weights beyond are below 1e-12
	negligible   = 1e-12 // probability beyond a break that is not parted off
	fewest       = 1e-16 // probabilities closer to 0 or 1 have no quantile in float64
)

// panel is the mean of g over low..low+width by the double-exponential rule, which puts up with any behaviour at the ends
// (Takahasi and Mori 1974): p = low + width/(1+exp(-π sinh t)).
func panel(low, width float64, g func(p float64) float64) float64 {
	var sum, weights float64
	for i := -exponentEnd; i <= exponentEnd; i++ {
		t := exponentStep * float64(i)
		e := math.Exp(-math.Pi * math.Sinh(t))
		p := low + width/(1+e)
		w := math.Cosh(t) * e / ((1 + e) * (1 + e))
		if p < fewest || p > 1-fewest {
			continue
		}
		sum += w * g(p)
		weights += w
	}
	return sum / weights
}
