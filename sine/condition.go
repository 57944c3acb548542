package sine

import (
	"math"
	"strings"

	"gonum.org/v1/gonum/mat"
)

// condition is the extreme eigenvalues of a normal matrix scaled to columns of unit length; the condition number of the regressors is sqrt(high/low).
type condition struct {
	low, high float64
	weakest   []float64 // eigenvector of low: the combination of regressors that nearly vanishes
}

func conditionOf(gram mat.Matrix) condition {
	n, _ := gram.Dims()
	s := mat.NewSymDense(n, nil)
	for i := range n {
		for j := i; j < n; j++ {
			s.SetSym(i, j, gram.At(i, j)/math.Sqrt(gram.At(i, i)*gram.At(j, j)))
		}
	}
	var e mat.EigenSym
	if !finite(s) || !e.Factorize(s, true) {
		return condition{low: math.NaN(), high: math.NaN()}
	}
	values := e.Values(nil)
	var v mat.Dense
	e.VectorsTo(&v)
	return condition{values[0], values[n-1], mat.Col(nil, 0, &v)}
}

func finite(s *mat.SymDense) bool {
	x := mat.Norm(s, 1)
	return !math.IsNaN(x) && !math.IsInf(x, 0)
}

// colliding names the regressors that share the vanishing combination.
func (c condition) colliding(name func(int) string) string {
	most := 0.0
	for _, v := range c.weakest {
		most = max(most, math.Abs(v))
	}
	var names []string
	for i, v := range c.weakest {
		if math.Abs(v) > 0.3*most {
			names = append(names, name(i))
		}
	}
	if len(names) == 0 {
		return "too few samples"
	}
	return strings.Join(names, ", ")
}

// inverseOf inverts a positive definite matrix whose condition has been checked, row after row.
func inverseOf(gram mat.Matrix) []float64 {
	n, _ := gram.Dims()
	s := mat.NewSymDense(n, nil)
	for i := range n {
		for j := i; j < n; j++ {
			s.SetSym(i, j, (gram.At(i, j)+gram.At(j, i))/2)
		}
	}
	var c mat.Cholesky
	inverse := make([]float64, n*n)
	if !c.Factorize(s) {
		for i := range inverse {
			inverse[i] = math.NaN()
		}
		return inverse
	}
	var inv mat.SymDense
	if err := c.InverseTo(&inv); err != nil {
		inv.ScaleSym(math.NaN(), &inv)
	}
	for i := range n {
		for j := range n {
			inverse[i*n+j] = inv.At(i, j)
		}
	}
	return inverse
}
