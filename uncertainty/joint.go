package uncertainty

import (
	"fmt"
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/stat/distuv"
)

// Joint is quantities with a covariance matrix, for a certificate that states one or for readings taken together. They are represented by independent
// inputs z of mean 0 and standard uncertainty 1 and a fixed linear map: quantity i is mean[i] + sum_k factor[i][k] z[k]. A model reads them by At.
type Joint struct {
	mean   []float64
	factor [][]float64 // lower triangular, factor·factorᵀ = covariance
	z      []int       // indices of the independent inputs in the Set
	spread int         // index of the common factor of a multivariate t, -1 without
}

// AddJoint adds quantities with a covariance matrix to a Set; their inputs are named id[1], id[2] ... With finite dof the covariance was
// estimated from readings: first order takes all as one estimate of dof degrees of freedom, Monte Carlo draws the multivariate t.
// It is an error if the matrix is not a covariance matrix of as many quantities as there are means.
//
// Clause: GUM 5.2.2
// Clause: JCGM 102 5.3.2
func AddJoint(set *Set, id, influence string, mean []float64, covariance [][]float64, dof float64) (Joint, error) {
	if !(dof > 0) {
		return Joint{}, fmt.Errorf("joint inputs %s: %g degrees of freedom, want more than 0 (+Inf where known exactly)", id, dof)
	}
	factor, err := cholesky(covariance, len(mean))
	if err != nil {
		return Joint{}, fmt.Errorf("joint inputs %s: %w", id, err)
	}
	j := Joint{mean: append([]float64(nil), mean...), factor: factor, spread: -1}
	for k := range mean {
		in := Input{ID: fmt.Sprintf("%s[%d]", id, k+1), Influence: influence, Dist: Normal{1}, Dof: dof, Joint: id}
		j.z = append(j.z, set.Add(in))
	}
	if !math.IsInf(dof, 1) {
		j.spread = set.Add(Input{ID: id + "[t]", Influence: influence, Value: 1, Dist: spreadOfT{dof}, Dof: dof, Joint: id})
	}
	return j, nil
}

// AddReadings adds quantities read together n times: sets[k] is the n readings of quantity k. Means, covariances of the means and the correlation
// between the quantities come from the readings, with n-1 degrees of freedom.
//
// Clause: GUM 5.2.3
func AddReadings(set *Set, id, influence string, sets [][]float64) (Joint, error) {
	m := len(sets)
	if m == 0 || len(sets[0]) < 2 {
		return Joint{}, fmt.Errorf("joint inputs %s: want quantities of at least 2 readings each", id)
	}
	n := len(sets[0])
	mean := make([]float64, m)
	for k, x := range sets {
		if len(x) != n {
			return Joint{}, fmt.Errorf("joint inputs %s: quantity %d has %d readings, the first has %d; want as many of each", id, k+1, len(x), n)
		}
		mean[k] = Mean(x)
	}
	cov := make([][]float64, m)
	for a := range cov {
		cov[a] = make([]float64, m)
		for b := range cov[a] {
			for i := range n {
				cov[a][b] += (sets[a][i] - mean[a]) * (sets[b][i] - mean[b])
			}
			cov[a][b] /= float64(n) * float64(n-1)
		}
	}
	return AddJoint(set, id, influence, mean, cov, float64(n-1))
}

// Uses is the indices of the inputs behind the quantities, to be appended to the uses of a model.
func (j Joint) Uses() []int {
	uses := append([]int(nil), j.z...)
	if j.spread >= 0 {
		uses = append(uses, j.spread)
	}
	return uses
}

// At is quantity i (from 0) where the inputs of the Set have the values x.
func (j Joint) At(x []float64, i int) float64 {
	var sum float64
	for k, f := range j.factor[i] {
		sum += f * x[j.z[k]]
	}
	if j.spread >= 0 {
		sum *= x[j.spread]
	}
	return j.mean[i] + sum
}

// cholesky factors a positive semidefinite matrix, checking that it is a covariance matrix of n quantities. Quantities that depend on earlier
// ones get a zero on the diagonal.
func cholesky(c [][]float64, n int) ([][]float64, error) {
	if err := checkCovariance(c, n); err != nil {
		return nil, err
	}
	l := make([][]float64, n)
	for i := range l {
		l[i] = make([]float64, i+1)
		for k := range i {
			s := c[i][k]
			for m := range k {
				s -= l[i][m] * l[k][m]
			}
			if l[k][k] > 0 {
				l[i][k] = s / l[k][k]
			} else if math.Abs(s) > 1e-9*math.Sqrt(c[i][i]*c[k][k]) {
				return nil, fmt.Errorf("covariance of quantities %d and %d contradicts the others: the matrix is not positive semidefinite", k+1, i+1)
			}
		}
		d := c[i][i]
		for m := range i {
			d -= l[i][m] * l[i][m]
		}
		switch {
		case d < -1e-9*c[i][i]:
			return nil, fmt.Errorf("covariances of quantity %d contradict its variance: the matrix is not positive semidefinite", i+1)
		case d > 1e-12*c[i][i]:
			l[i][i] = math.Sqrt(d)
		}
	}
	return l, nil
}

// checkCovariance wants an n by n symmetric matrix of finite numbers with no correlation beyond ±1.
func checkCovariance(c [][]float64, n int) error {
	if len(c) != n {
		return fmt.Errorf("covariance matrix of %d rows for %d quantities", len(c), n)
	}
	for i := range c {
		if len(c[i]) != n {
			return fmt.Errorf("row %d of the covariance matrix has %d numbers, want %d", i+1, len(c[i]), n)
		}
		if !(c[i][i] >= 0) || math.IsInf(c[i][i], 1) {
			return fmt.Errorf("variance of quantity %d is %g, want a finite number not below 0", i+1, c[i][i])
		}
	}
	for i := range c {
		for k := range i {
			limit := math.Sqrt(c[i][i] * c[k][k])
			if math.Abs(c[i][k]-c[k][i]) > 1e-9*limit || !(math.Abs(c[i][k]) <= limit*(1+1e-9)) {
				return fmt.Errorf("covariance of quantities %d and %d is %g and %g, want equal numbers within ±%g", i+1, k+1, c[i][k], c[k][i], limit)
			}
		}
	}
	return nil
}

// spreadOfT is the common factor √(ν/χ²) - 1 that makes a multivariate t out of normal values. It belongs to the shape of the distribution,
// so first order gives it no standard uncertainty.
type spreadOfT struct{ dof float64 }

func (d spreadOfT) Std() float64 { return 0 }

func (d spreadOfT) Sample(r *rand.Rand) float64 {
	return math.Sqrt(d.dof/distuv.ChiSquared{K: d.dof, Src: r}.Rand()) - 1
}

func (d spreadOfT) String() string { return "Student t" }
