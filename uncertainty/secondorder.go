package uncertainty

import "math"

const (
	reportable = 0.01  // size, relative to the combined standard uncertainty, above which a term of second order is listed
	noise      = 1e-13 // size, relative to the value, below which a difference is rounding
)

// pair is two components of a result: modulus and phase, or a real value and nothing.
type pair [2]float64

// curvature takes the differences of f about the estimates, one standard uncertainty of each input wide.
type curvature struct {
	set   *Set
	uses  []int
	x     []float64
	f     func(x []float64) pair
	value pair
	plus  []pair // f one standard uncertainty above, for each use
	minus []pair
}

func newCurvature(set *Set, uses []int, f func(x []float64) pair) *curvature {
	c := &curvature{set: set, uses: uses, x: set.Values(), f: f}
	c.value = f(c.x)
	for a := range uses {
		c.plus = append(c.plus, c.at(a, 1))
		c.minus = append(c.minus, c.at(a, -1))
	}
	return c
}

// at is f with use a moved by so many standard uncertainties.
func (c *curvature) at(a int, steps float64) pair {
	in := c.set.inputs[c.uses[a]]
	c.x[c.uses[a]] = in.Value + steps*in.Dist.Std()
	y := c.f(c.x)
	c.x[c.uses[a]] = in.Value
	return y
}

// corner is f with two uses moved.
func (c *curvature) corner(a, b int, stepsA, stepsB float64) pair {
	in := c.set.inputs[c.uses[a]]
	c.x[c.uses[a]] = in.Value + stepsA*in.Dist.Std()
	y := c.at(b, stepsB)
	c.x[c.uses[a]] = in.Value
	return y
}

// own is the changes of f by one input: first, second and third derivative times as many standard uncertainties.
func (c *curvature) own(a int) (first, second, third pair) {
	p, m := c.at(a, 0.5), c.at(a, -0.5)
	for k := range first {
		first[k] = (c.plus[a][k] - c.minus[a][k]) / 2
		second[k] = c.plus[a][k] - 2*c.value[k] + c.minus[a][k]
		third[k] = 8 * (first[k] - (p[k] - m[k]))
	}
	return first, second, third
}

// mixed is the changes of f by two inputs together: f_ab, f_abb and f_baa.
func (c *curvature) mixed(a, b int) (ab, abb, baa pair) {
	pp, pm := c.corner(a, b, 1, 1), c.corner(a, b, 1, -1)
	mp, mm := c.corner(a, b, -1, 1), c.corner(a, b, -1, -1)
	for k := range ab {
		ab[k] = (pp[k] - pm[k] - mp[k] + mm[k]) / 4
		abb[k] = (pp[k]+pm[k]-2*c.plus[a][k])/2 - (mp[k]+mm[k]-2*c.minus[a][k])/2
		baa[k] = (pp[k]+mp[k]-2*c.plus[b][k])/2 - (pm[k]+mm[k]-2*c.minus[b][k])/2
	}
	return ab, abb, baa
}

// secondOrder evaluates what first order leaves out. With f_i the change of f by input i per standard uncertainty and f_ij, f_ijj the mixed
// changes, the variance gains the sum over all i and j of f_ij²/2 + f_i f_ijj, and the expectation is shifted by the sum of f_ii/2. The
// coefficients are those of normal inputs. An input without first-order effect (f_i = 0) shows here.
//
// Clause: GUM 5.1.2 NOTE
func secondOrder(set *Set, uses []int, f func(x []float64) pair) SecondOrder {
	c := newCurvature(set, uses, f)
	var variance, bias pair
	var terms []Term
	for a := range uses {
		first, second, third := c.own(a)
		for k := range 2 {
			variance[k] += first[k]*first[k] + second[k]*second[k]/2 + first[k]*third[k]
			bias[k] += second[k] / 2
		}
		terms = append(terms, Term{uses[a], uses[a], math.Abs(second[0]) / math.Sqrt2, math.Abs(second[1]) / math.Sqrt2})
		for b := a + 1; b < len(uses); b++ {
			ab, abb, baa := c.mixed(a, b)
			for k := range 2 {
				firstA, firstB := (c.plus[a][k]-c.minus[a][k])/2, (c.plus[b][k]-c.minus[b][k])/2
				variance[k] += ab[k]*ab[k] + firstA*abb[k] + firstB*baa[k]
			}
			terms = append(terms, Term{uses[a], uses[b], math.Abs(ab[0]), math.Abs(ab[1])})
		}
	}
	s := SecondOrder{StdModulus: root(variance[0]), StdPhase: root(variance[1]), BiasModulus: bias[0], BiasPhase: bias[1]}
	floor := noise * math.Max(math.Abs(c.value[0]), math.SmallestNonzeroFloat64)
	for _, t := range terms {
		if t.Modulus > math.Max(reportable*s.StdModulus, floor) || t.Phase > math.Max(reportable*s.StdPhase, floor) {
			s.Terms = append(s.Terms, t)
		}
	}
	return s
}

// root is the square root of a variance; terms of second order can make a truncated series negative.
func root(variance float64) float64 { return math.Sqrt(math.Max(0, variance)) }
