package uncertainty

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// Names of the distributions that need more than one number.
const (
	trapezoidName   = "trapezoidal"
	curvilinearName = "curvilinear trapezoid"
	productName     = "product"
	studentName     = "Student t"
	normalName      = "normal"
)

// Form is a distribution without its size. A number that its distribution does not have is zero.
type Form struct {
	Name    string
	Top     float64   // trapezoidal: half-width of the top over that of the base, 0 to 1
	Limit   float64   // curvilinear trapezoid: half-width within which the limits are known over the half-width, above 0 and below 1
	Factors [2]string // product: the distributions of both factors, which have limits
	Dof     float64   // Student t: degrees of freedom of the standard uncertainty
	K       float64   // normal and Student t: the size is an expanded uncertainty with this coverage factor; 0: a standard uncertainty
}

// FormNames is the names of the distributions a Form may have.
func FormNames() []string {
	return append(DistributionNames(), trapezoidName, curvilinearName, productName, studentName)
}

// FactorNames is the names of the distributions the factors of a product may have.
func FactorNames() []string {
	return slices.DeleteFunc(DistributionNames(), func(name string) bool { return name == normalName })
}

// Of is the distribution of the form with a size: for normal and Student t the standard uncertainty, or the expanded one where K says so; otherwise the half-width, of a
// product the largest value it can have. It is an error if a number is unusable.
//
// Clause: GUM 4.3.3
// Clause: JCGM 101 6.4.3
func (f Form) Of(size float64) (Distribution, error) {
	if err := f.check(); err != nil {
		return nil, err
	}
	if f.K > 0 {
		size /= f.K
	}
	if !(size >= 0) || math.IsInf(size, 1) {
		return nil, fmt.Errorf("distribution %q: size %g, want a finite number not below 0", f.Name, size)
	}
	switch f.Name {
	case trapezoidName:
		return Trapezoidal{HalfWidth: size, Beta: f.Top}, nil
	case curvilinearName:
		return CurvilinearTrapezoid{HalfWidth: size, LimitHalfWidth: f.Limit * size}, nil
	case productName:
		a, _ := ParseDistribution(f.Factors[0], size)
		b, _ := ParseDistribution(f.Factors[1], 1)
		return Product{A: a, B: b}, nil
	case studentName:
		if math.IsInf(f.Dof, 1) {
			return Normal{Sigma: size}, nil
		}
		return StudentT{Scale: size, Dof: f.Dof}, nil
	}
	return ParseDistribution(f.Name, size)
}

func (f Form) check() error {
	wrong := func(what string, found any, want string) error {
		return fmt.Errorf("distribution %q: %s %v, want %s", f.Name, what, found, want)
	}
	switch {
	case !slices.Contains(FormNames(), f.Name):
		return fmt.Errorf("distribution %q: want one of %s", f.Name, strings.Join(FormNames(), ", "))
	case f.Name == trapezoidName && !(f.Top >= 0 && f.Top <= 1):
		return wrong("top", f.Top, "0 to 1 of the base")
	case f.Name == curvilinearName && !(f.Limit > 0 && f.Limit < 1):
		return wrong("limits known within", f.Limit, "more than 0 and less than 1 of the half-width")
	case f.Name == productName && !(slices.Contains(FactorNames(), f.Factors[0]) && slices.Contains(FactorNames(), f.Factors[1])):
		return wrong("factors", f.Factors, "two of "+strings.Join(FactorNames(), ", "))
	case f.Name == studentName && !(f.Dof > 0):
		return wrong("degrees of freedom", f.Dof, "more than 0")
	case f.K != 0 && (f.Name != normalName && f.Name != studentName || !(f.K > 0) || math.IsInf(f.K, 1)):
		return wrong("coverage factor", f.K, "a finite number above 0, of normal and Student t only")
	}
	return nil
}
