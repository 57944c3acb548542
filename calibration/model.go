package calibration

import (
	"fmt"
	"math"

	"plumbline/uncertainty"
)

// factor is one factor of the measurement model.
type factor func(x []float64) complex128

// builder collects the measurement model of one point: a product of factors over the inputs of the job's set.
//
//	S_D(f) = S_R(f) (X_D/X_R) (G_R/G_D) K,    K = prod 1/(1+e_i)
//
// K holds corrections: every effect e_i that makes X_D/X_R too large enters as 1/(1+e_i).
type builder struct {
	job     *Job
	set     *uncertainty.Set
	point   *Point
	n       int // number of the point in the job, from 0
	uses    []int
	used    map[int]bool
	factors []factor
}

// input adds an input of the job's set to this model and returns its index. Inputs of the same id are the same input.
func (b *builder) input(id, influence string, value float64, dist uncertainty.Distribution, dof float64) int {
	i := b.set.Add(uncertainty.Input{ID: id, Influence: influence, Value: value, Dist: dist, Dof: dof})
	if !b.used[i] {
		b.used[i] = true
		b.uses = append(b.uses, i)
	}
	return i
}

func (b *builder) factor(f factor) { b.factors = append(b.factors, f) }

// own makes an id that belongs to this point alone.
func (b *builder) own(id string) string { return fmt.Sprintf("%s.point%d", id, b.n+1) }

// effect adds a zero-mean effect e = size.Modulus x + j size.Phase y as the correction 1/(1+e), with x and y of unit size drawn from dist.
// Points that pass the same id share it.
func (b *builder) effect(influence, id string, size Band, dist func(float64) uncertainty.Distribution, dof float64) {
	m := b.input(id+".modulus", influence, 0, dist(1), dof)
	if !b.point.HasPhase || math.IsNaN(size.Phase) {
		b.factor(func(x []float64) complex128 { return complex(1/(1+size.Modulus*x[m]), 0) })
		return
	}
	p := b.input(id+".phase", influence, 0, dist(1), dof)
	b.factor(func(x []float64) complex128 { return reciprocal(1+size.Modulus*x[m], size.Phase*x[p]) })
}

// reciprocal is 1/(a + j b), without the care for infinities that the language's division takes.
func reciprocal(a, b float64) complex128 {
	d := 1 / (a*a + b*b)
	return complex(a*d, -b*d)
}

func rectangular(half float64) uncertainty.Distribution {
	return uncertainty.Rectangular{HalfWidth: half}
}

func arcsine(half float64) uncertainty.Distribution { return uncertainty.Arcsine{HalfWidth: half} }

// model returns the product of all factors as a function of the job's inputs.
func (b *builder) model() uncertainty.Model {
	factors := b.factors
	return func(x []float64) complex128 {
		s := complex(1, 0)
		for _, f := range factors {
			s *= f(x)
		}
		return s
	}
}

// build makes the model of one point from every influence that applies.
func (b *builder) build() error {
	b.used = map[int]bool{}
	for _, in := range influences() {
		if err := in.add(b); err != nil {
			return fmt.Errorf("influence %s: %w", in.name, err)
		}
	}
	return nil
}
