package uncertainty

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Region is the coverage regions of probability Probability for modulus and phase together: an ellipse and a rectangle. All numbers are relative (modulus)
// and in rad (phase), as differences from the value.
type Region struct {
	Probability    float64
	Modulus, Phase float64       // centre
	Covariance     [2][2]float64 // modulus first
	Ellipse        float64       // coverage factor of the ellipse
	Rectangle      float64       // coverage factor of the rectangle with sides along modulus and phase
}

// EllipsoidFactorT is EllipsoidFactor for a covariance matrix estimated with dof degrees of freedom (Hotelling; for a complex quantity Willink and Hall 2002):
// k² = m ν/(ν-m+1) F, with F the quantile for m and ν-m+1. It is infinite for fewer than m degrees of freedom.
//
// Clause: JCGM 102 6.5
func EllipsoidFactorT(p float64, m int, dof float64) float64 {
	rest := dof - float64(m) + 1
	switch {
	case !(p > 0 && p < 1) || m < 1 || math.IsNaN(dof):
		return math.NaN()
	case dof > largestDof:
		return EllipsoidFactor(p, m)
	case rest <= 0:
		return math.Inf(1)
	}
	return math.Sqrt(float64(m) * dof / rest * distuv.F{D1: float64(m), D2: rest}.Quantile(p))
}

// RectangleFactor is the coverage factor of the rectangle of probability p or more for m quantities, whatever their correlation (Bonferroni): 2.24 for modulus
// and phase at 95 % with infinite degrees of freedom.
//
// Clause: JCGM 102 6.5
func RectangleFactor(p float64, m int, dof float64) float64 {
	return Coverage(1-(1-p)/float64(m), dof)
}

// Covariance is the covariance matrix of modulus (relative) and phase (rad), modulus first.
func (b Budget) Covariance() [2][2]float64 {
	c := Covariance(b, b)
	return [2][2]float64{{c.Modulus, c.ModulusPhase}, {c.PhaseModulus, c.Phase}}
}

// Region is the coverage regions of probability p to first order, centred on the value. The smaller of both effective degrees of freedom stands for the matrix.
func (b Budget) Region(p float64) Region {
	dof := math.Min(b.Modulus.Dof, b.Phase.Dof)
	return Region{Probability: p, Covariance: b.Covariance(), Ellipse: EllipsoidFactorT(p, 2, dof), Rectangle: RectangleFactor(p, 2, dof)}
}

// Region is the coverage regions of probability p of the Monte Carlo sample: each the smallest of its form about the mean that holds that fraction of the
// trials. It is an error where the sample was not kept or its variance is not finite.
//
// Clause: JCGM 102 7.7
func (s Simulation) Region(p float64) (Region, error) {
	n := len(s.ModulusSample)
	switch {
	case n == 0 || len(s.PhaseSample) != n:
		return Region{}, fmt.Errorf("coverage region: the simulation kept no sample, want one of modulus and phase")
	case !(p > 0 && p < 1):
		return Region{}, fmt.Errorf("coverage region of probability %g, want more than 0 and less than 1", p)
	case math.IsNaN(s.Correlation) || math.IsNaN(s.Modulus.Std) || math.IsNaN(s.Phase.Std):
		return Region{}, fmt.Errorf("coverage region: an input has no finite variance, so the sample has no covariance")
	}
	cross := s.Correlation * s.Modulus.Std * s.Phase.Std
	r := Region{Probability: p, Modulus: s.Modulus.Mean - 1, Phase: s.Phase.Mean,
		Covariance: [2][2]float64{{s.Modulus.Std * s.Modulus.Std, cross}, {cross, s.Phase.Std * s.Phase.Std}}}
	ellipse, rectangle := make([]float64, n), make([]float64, n)
	for t := range n {
		ellipse[t], rectangle[t] = r.distances(s.ModulusSample[t]-1, s.PhaseSample[t])
	}
	place := min(int(math.Ceil(p*float64(n))), n) - 1
	for _, d := range [][]float64{ellipse, rectangle} {
		partition(d, place)
	}
	r.Ellipse, r.Rectangle = ellipse[place], rectangle[place]
	return r, nil
}

// distances is how far a point lies from the centre, in units of the covariance: as the ellipse and as the rectangle measure it. Along a direction without
// variance every step is infinitely far.
func (r Region) distances(modulus, phase float64) (ellipse, rectangle float64) {
	a, b := modulus-r.Modulus, phase-r.Phase
	u := [2]float64{math.Sqrt(r.Covariance[0][0]), math.Sqrt(r.Covariance[1][1])}
	x, y := per(a, u[0]), per(b, u[1])
	rectangle = math.Max(math.Abs(x), math.Abs(y))
	rho := ratio(r.Covariance[0][1], u[0]*u[1])
	rest := (1 - rho) * (1 + rho)
	z := y - rho*x
	if rest < 1e-12 { // one is a multiple of the other
		if math.Abs(z) > 1e-6*(math.Abs(x)+math.Abs(y)) {
			return math.Inf(1), rectangle
		}
		return math.Abs(x), rectangle
	}
	return math.Hypot(x, z/math.Sqrt(rest)), rectangle
}

// per is a/u, without variance 0 for no difference.
func per(a, u float64) float64 {
	if a == 0 {
		return 0
	}
	return a / u
}

// InEllipse says whether a point, as differences from the value, lies in the ellipse.
func (r Region) InEllipse(modulus, phase float64) bool {
	d, _ := r.distances(modulus, phase)
	return d <= r.Ellipse
}

// InRectangle says whether a point, as differences from the value, lies in the rectangle.
func (r Region) InRectangle(modulus, phase float64) bool {
	_, d := r.distances(modulus, phase)
	return d <= r.Rectangle
}

// HalfWidths is half the sides of the rectangle: the expanded uncertainties of modulus (relative) and phase (rad) that hold together.
func (r Region) HalfWidths() (modulus, phase float64) {
	return r.Rectangle * math.Sqrt(r.Covariance[0][0]), r.Rectangle * math.Sqrt(r.Covariance[1][1])
}

// Axes is the half axes of the ellipse and the angle, in rad within ±π/2, from the direction of modulus to the major one.
func (r Region) Axes() (major, minor, angle float64) {
	a, b, c := r.Covariance[0][0], r.Covariance[1][1], r.Covariance[0][1]
	middle, half := (a+b)/2, math.Hypot((a-b)/2, c)
	return r.Ellipse * math.Sqrt(middle+half), r.Ellipse * root(middle-half), math.Atan2(2*c, a-b) / 2
}

// Outline is n points of the ellipse in order, as differences from the value: modulus relative, phase in rad.
func (r Region) Outline(n int) [][2]float64 {
	major, minor, angle := r.Axes()
	sin, cos := math.Sincos(angle)
	points := make([][2]float64, n)
	for i := range points {
		s, c := math.Sincos(2 * math.Pi * float64(i) / float64(n))
		points[i] = [2]float64{r.Modulus + major*c*cos - minor*s*sin, r.Phase + major*c*sin + minor*s*cos}
	}
	return points
}
