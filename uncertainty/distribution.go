package uncertainty

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"

	"gonum.org/v1/gonum/stat/distuv"
)

// Normal is the normal distribution.
type Normal struct{ Sigma float64 }

// Std is Sigma.
func (d Normal) Std() float64 { return d.Sigma }

// Sample draws by the ziggurat method.
func (d Normal) Sample(r *rand.Rand) float64 { return d.Sigma * r.NormFloat64() }

func (d Normal) String() string { return "normal" }

// Rectangular is the uniform distribution within ±HalfWidth.
//
// Clause: GUM 4.3.7
type Rectangular struct{ HalfWidth float64 }

// Std is HalfWidth/√3.
func (d Rectangular) Std() float64 { return d.HalfWidth / math.Sqrt(3) }

// Sample draws one value.
func (d Rectangular) Sample(r *rand.Rand) float64 { return d.HalfWidth * (2*r.Float64() - 1) }

func (d Rectangular) String() string { return "rectangular" }

// Triangular is the symmetric triangular distribution within ±HalfWidth.
//
// Clause: GUM 4.3.9
type Triangular struct{ HalfWidth float64 }

// Std is HalfWidth/√6.
func (d Triangular) Std() float64 { return d.HalfWidth / math.Sqrt(6) }

// Sample draws the difference of two uniform values.
func (d Triangular) Sample(r *rand.Rand) float64 { return d.HalfWidth * (r.Float64() - r.Float64()) }

func (d Triangular) String() string { return "triangular" }

// Trapezoidal is the symmetric trapezoid of base ±HalfWidth and top ±Beta·HalfWidth, 0 ≤ Beta ≤ 1.
//
// Clause: GUM 4.3.9
type Trapezoidal struct{ HalfWidth, Beta float64 }

// Std is HalfWidth √((1+Beta²)/6).
func (d Trapezoidal) Std() float64 { return d.HalfWidth * math.Sqrt((1+d.Beta*d.Beta)/6) }

// Sample draws the sum of two uniform values of half-widths HalfWidth(1±Beta)/2.
func (d Trapezoidal) Sample(r *rand.Rand) float64 {
	return d.HalfWidth * ((1+d.Beta)*(r.Float64()-0.5) + (1-d.Beta)*(r.Float64()-0.5))
}

func (d Trapezoidal) String() string { return "trapezoidal" }

// CurvilinearTrapezoid is a uniform distribution whose limits ±HalfWidth are known only to ±LimitHalfWidth: the half-width is
// itself uniform within HalfWidth ± LimitHalfWidth.
//
// Clause: JCGM 101 6.4.3
type CurvilinearTrapezoid struct{ HalfWidth, LimitHalfWidth float64 }

// Std is √(HalfWidth²/3 + LimitHalfWidth²/9).
func (d CurvilinearTrapezoid) Std() float64 {
	return math.Sqrt(d.HalfWidth*d.HalfWidth/3 + d.LimitHalfWidth*d.LimitHalfWidth/9)
}

// Sample draws the half-width, then the value.
func (d CurvilinearTrapezoid) Sample(r *rand.Rand) float64 {
	return (d.HalfWidth + d.LimitHalfWidth*(2*r.Float64()-1)) * (2*r.Float64() - 1)
}

func (d CurvilinearTrapezoid) String() string { return "curvilinear trapezoid" }

// Arcsine is the U-shaped distribution of a sine of amplitude HalfWidth at a random phase.
//
// Clause: JCGM 101 6.4.6
type Arcsine struct{ HalfWidth float64 }

// Std is HalfWidth/√2.
func (d Arcsine) Std() float64 { return d.HalfWidth / math.Sqrt2 }

// Sample draws the sine of a uniform angle.
func (d Arcsine) Sample(r *rand.Rand) float64 {
	return d.HalfWidth * math.Sin(math.Pi*(r.Float64()-0.5))
}

func (d Arcsine) String() string { return "arcsine" }

// StudentT is Scale times Student's t of Dof degrees of freedom: the distribution of a mean of few readings.
//
// Clause: JCGM 101 6.4.9
type StudentT struct{ Scale, Dof float64 }

// Std is Scale: the GUM's convention u = s/√n, whose degrees of freedom are carried beside it (Input.Dof). The standard deviation
// of the draws is larger by √(Dof/(Dof-2)), and does not exist for two or fewer degrees of freedom: what such an input enters has an interval from
// quantiles, but no standard uncertainty from the sample (Interval.Std is NaN).
func (d StudentT) Std() float64 { return d.Scale }

// Sample draws Scale·t.
func (d StudentT) Sample(r *rand.Rand) float64 {
	if math.IsInf(d.Dof, 1) {
		return d.Scale * r.NormFloat64()
	}
	return distuv.StudentsT{Mu: 0, Sigma: d.Scale, Nu: d.Dof, Src: r}.Rand()
}

func (d StudentT) String() string { return "Student t" }

// Product is the distribution of the product of two independent effects, for example transverse motion times transverse sensitivity.
type Product struct{ A, B Distribution }

// Std is exact: the variance of the product of independent zero-mean quantities is the product of their variances.
func (d Product) Std() float64 { return d.A.Std() * d.B.Std() }

// Sample draws both.
func (d Product) Sample(r *rand.Rand) float64 { return d.A.Sample(r) * d.B.Sample(r) }

func (d Product) String() string { return "product" }

// Constant has no dispersion.
type Constant struct{}

// Std is 0.
func (Constant) Std() float64 { return 0 }

// Sample is 0.
func (Constant) Sample(*rand.Rand) float64 { return 0 }

func (Constant) String() string { return "constant" }

// FromExpanded is the normal distribution behind an expanded uncertainty U = k·u of a certificate.
//
// Clause: GUM 4.3.3
func FromExpanded(expanded, k float64) Normal { return Normal{Sigma: expanded / k} }

// FromCertificate is the distribution behind an expanded uncertainty U = k·u whose certificate states the degrees of freedom of u: Student's t scaled by u,
// normal where they are infinite. It is an error if a number is unusable.
//
// Clause: JCGM 101 6.4.9
func FromCertificate(expanded, k, dof float64) (Distribution, error) {
	switch {
	case !(expanded >= 0) || math.IsInf(expanded, 1):
		return nil, fmt.Errorf("certificate: expanded uncertainty %g, want a finite number not below 0", expanded)
	case !(k > 0) || math.IsInf(k, 1):
		return nil, fmt.Errorf("certificate: coverage factor %g, want a finite number above 0", k)
	case !(dof > 0):
		return nil, fmt.Errorf("certificate: %g degrees of freedom, want more than 0 (+Inf where known exactly)", dof)
	case math.IsInf(dof, 1):
		return FromExpanded(expanded, k), nil
	}
	return StudentT{Scale: expanded / k, Dof: dof}, nil
}

// NormalWithin is the normal distribution that lies within ±halfWidth with the given probability: a statement "with a probability of 95 % within ±a", or
// with 0.5 an even chance of lying within the limits. It is an error if a number is unusable.
//
// Clause: GUM 4.3.4
// Clause: GUM 4.3.5
func NormalWithin(halfWidth, probability float64) (Normal, error) {
	if !(halfWidth >= 0) || math.IsInf(halfWidth, 1) || !(probability > 0 && probability < 1) {
		return Normal{}, fmt.Errorf("normal distribution within ±%g with probability %g, want a finite half-width not below 0 and a probability between 0 and 1", halfWidth, probability)
	}
	return Normal{Sigma: halfWidth / NormalQuantile(0.5+probability/2)}, nil
}

// FromReadings is the input for the mean of n readings: value the mean, standard uncertainty s/√n with n-1 degrees of freedom.
// It is an error to give fewer than two readings.
//
// Clause: GUM 4.2.3
func FromReadings(id, influence string, readings []float64) (Input, error) {
	n := len(readings)
	if n < 2 {
		return Input{}, fmt.Errorf("input %s: %d readings, at least 2 are needed for a standard deviation", id, n)
	}
	return TypeA(id, influence, Mean(readings), StdDev(readings)/math.Sqrt(float64(n)), float64(n-1)), nil
}

// TypeA is an input whose standard uncertainty was estimated from readings with the given degrees of freedom: Student's t with them.
func TypeA(id, influence string, value, std, dof float64) Input {
	in := Input{ID: id, Influence: influence, Value: value, Dof: dof, Dist: StudentT{Scale: std, Dof: dof}}
	if math.IsInf(dof, 1) {
		in.Dist = Normal{Sigma: std}
	}
	return in
}

// parsable is the distributions that one number determines. For "normal" it is the standard uncertainty, otherwise the half-width.
var parsable = []struct {
	name string
	make func(size float64) Distribution
}{
	{"normal", func(a float64) Distribution { return Normal{a} }},
	{"rectangular", func(a float64) Distribution { return Rectangular{a} }},
	{"triangular", func(a float64) Distribution { return Triangular{a} }},
	{"arcsine", func(a float64) Distribution { return Arcsine{a} }},
}

// ParseDistribution makes the distribution of the given name. Size is the standard uncertainty where the name is "normal", the half-width
// otherwise; it must be finite and not negative.
func ParseDistribution(name string, size float64) (Distribution, error) {
	if math.IsNaN(size) || math.IsInf(size, 0) || size < 0 {
		return nil, fmt.Errorf("distribution %q: size %g, want a finite number not below 0", name, size)
	}
	for _, p := range parsable {
		if p.name == name {
			return p.make(size), nil
		}
	}
	return nil, fmt.Errorf("distribution %q: want one of %s", name, strings.Join(DistributionNames(), ", "))
}

// DistributionNames is the names ParseDistribution knows.
func DistributionNames() []string {
	names := make([]string, len(parsable))
	for i, p := range parsable {
		names[i] = p.name
	}
	return slices.Clip(names)
}
