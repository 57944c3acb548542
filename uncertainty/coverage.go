package uncertainty

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// largestDof is where Student's t is taken as normal: factors near 2 differ by 2.5e-6 there, and the quantile of t loses digits beyond.
const largestDof = 1e6

// Coverage is the coverage factor k of Student's t for a two-sided interval of probability p, 0 < p < 1; the normal one for infinite degrees of
// freedom. It is NaN where p or dof are not usable. Degrees of freedom are taken as they are, not truncated to an integer.
//
// Clause: GUM G.3.2
func Coverage(p, dof float64) float64 {
	if !(p > 0 && p < 1) || !(dof > 0) {
		return math.NaN()
	}
	upper := 0.5 + p/2
	if dof > largestDof {
		return NormalQuantile(upper)
	}
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: dof}.Quantile(upper)
}

// StudentCDF is the probability that Student's t with dof degrees of freedom is at most t.
func StudentCDF(t, dof float64) float64 {
	if dof > largestDof {
		return NormalCDF(t)
	}
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: dof}.CDF(t)
}

// NormalQuantile is the quantile of the standard normal distribution, -Inf and +Inf at 0 and 1.
func NormalQuantile(p float64) float64 { return math.Sqrt2 * math.Erfinv(2*p-1) }

// NormalCDF is the probability that a standard normal value is at most z; its relative accuracy holds in the lower tail.
func NormalCDF(z float64) float64 { return 0.5 * math.Erfc(-z/math.Sqrt2) }

// EllipsoidFactor is the coverage factor of the ellipsoid of probability p for m jointly normal quantities: 2.45 for modulus and phase at 95 %.
//
// Clause: JCGM 102 6.5
func EllipsoidFactor(p float64, m int) float64 {
	return math.Sqrt(distuv.ChiSquared{K: float64(m)}.Quantile(p))
}

// welch sums the Welch-Satterthwaite denominator. Parts without effect are left out, so that no zero is divided by.
type welch struct {
	variance float64
	fourth   float64
	joint    map[string]*jointPart
	order    []string
}

type jointPart struct{ variance, dof float64 }

// add takes one independent part of standard uncertainty c, or a part of a joint estimate.
func (w *welch) add(c float64, in Input) {
	if c == 0 {
		return
	}
	w.variance += c * c
	if in.Joint == "" {
		w.fourth += c * c * c * c / in.Dof
		return
	}
	if w.joint == nil {
		w.joint = map[string]*jointPart{}
	}
	part := w.joint[in.Joint]
	if part == nil {
		part = &jointPart{dof: in.Dof}
		w.joint[in.Joint] = part
		w.order = append(w.order, in.Joint)
	}
	part.variance += c * c
}

// dof is the effective degrees of freedom, +Inf where nothing limits them.
//
// Clause: GUM G.4.1
func (w *welch) dof() float64 {
	sum := w.fourth
	for _, name := range w.order {
		part := w.joint[name]
		sum += part.variance * part.variance / part.dof
	}
	if sum == 0 {
		return math.Inf(1)
	}
	return w.variance * w.variance / sum
}

// combined is what follows from the sum for a coverage probability.
func (w *welch) combined(p float64) Combined {
	c := Combined{Std: math.Sqrt(w.variance), Dof: w.dof()}
	return c.withFactor(Coverage(p, c.Dof))
}

func (c Combined) withFactor(k float64) Combined {
	c.K = k
	c.Expanded = k * c.Std
	return c
}

// Truncated is the same uncertainty with the effective degrees of freedom truncated to the next lower integer (not below 1) before the
// coverage factor for probability p is taken, as tables need it. Without truncation the factor is up to a few percent smaller at few degrees of freedom.
//
// Clause: GUM G.4.1
func (c Combined) Truncated(p float64) Combined {
	if !math.IsInf(c.Dof, 1) {
		c.Dof = math.Max(1, math.Floor(c.Dof))
	}
	return c.withFactor(Coverage(p, c.Dof))
}
