package uncertainty

import (
	"math"
	"slices"
	"strings"
	"testing"
)

// Standard uncertainties of half-width 3 (or U = 3) against closed forms: trapezoid a sqrt((1+b²)/6) (GUM 4.3.9), curvilinear trapezoid sqrt(a²/3 + d²/9)
// (JCGM 101 6.4.3), the product of independent effects about zero the product of theirs (closed form), U/k (GUM 4.3.3).
//
// Verifies: GUM 4.3.3
// Verifies: JCGM 101 6.4.3
func TestForms(t *testing.T) {
	for _, c := range []struct {
		f    Form
		want Distribution
		std  float64
	}{
		{Form{Name: "normal"}, Normal{3}, 3},
		{Form{Name: "normal", K: 2}, Normal{1.5}, 1.5},
		{Form{Name: "rectangular"}, Rectangular{3}, math.Sqrt(3)},
		{Form{Name: "triangular"}, Triangular{3}, 3 / math.Sqrt(6)},
		{Form{Name: "arcsine"}, Arcsine{3}, 3 / math.Sqrt2},
		{Form{Name: "trapezoidal", Top: 0.5}, Trapezoidal{3, 0.5}, 3 * math.Sqrt(1.25/6)},
		{Form{Name: "curvilinear trapezoid", Limit: 0.5}, CurvilinearTrapezoid{3, 1.5}, math.Sqrt(3 + 0.25)},
		{Form{Name: "product", Factors: [2]string{"arcsine", "rectangular"}}, Product{Arcsine{3}, Rectangular{1}}, 3 / math.Sqrt2 / math.Sqrt(3)},
		{Form{Name: "Student t", Dof: 2}, StudentT{3, 2}, 3},
		{Form{Name: "Student t", Dof: 4, K: 2.87}, StudentT{3 / 2.87, 4}, 3 / 2.87},
		{Form{Name: "Student t", Dof: inf}, Normal{3}, 3},
	} {
		d, err := c.f.Of(3)
		if err != nil || d != c.want || math.Abs(d.Std()-c.std) > 1e-14 {
			t.Errorf("%+v: %#v, %v, want %#v of standard uncertainty %g", c.f, d, err, c.want, c.std)
		}
		if !slices.Contains(FormNames(), c.f.Name) {
			t.Errorf("%q is not among the names", c.f.Name)
		}
	}
	for _, c := range []struct {
		f    Form
		size float64
		want string
	}{
		{Form{Name: "gaussian"}, 1, `distribution "gaussian": want one of normal, rectangular, triangular, arcsine, trapezoidal, curvilinear trapezoid, product, Student t`},
		{Form{Name: "trapezoidal", Top: 1.1}, 1, "top 1.1, want 0 to 1"},
		{Form{Name: "curvilinear trapezoid"}, 1, "limits known within 0"},
		{Form{Name: "product", Factors: [2]string{"normal", "arcsine"}}, 1, "factors [normal arcsine], want two of rectangular, triangular, arcsine"},
		{Form{Name: "Student t"}, 1, "degrees of freedom 0"},
		{Form{Name: "rectangular", K: 2}, 1, "coverage factor 2"},
		{Form{Name: "normal"}, -1, "size -1"}, {Form{Name: "trapezoidal"}, math.NaN(), "size NaN"},
	} {
		if _, err := c.f.Of(c.size); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%+v of %g: %v, want %q", c.f, c.size, err, c.want)
		}
	}
}
