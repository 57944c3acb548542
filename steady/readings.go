package steady

import (
	"fmt"
	"math"
)

// Average is the mean of readings that may hang together, as those of a display that averages do.
type Average struct {
	Mean float64
	Std  float64 // standard uncertainty of Mean
	Dof  float64 // its degrees of freedom, N-1
	Phi  float64 // autocorrelation of neighbours, mean over the weights
	Size float64 // effective number of readings: s²/Std² with the experimental standard deviation s; 0 where all readings are equal
}

// Readings averages readings taken one after the other at equal intervals, all after settling. It is FIT with the constant alone:
//
//	v  = rss/(N-1)·(R^-1·R^-T)_00
//	lw = -(N-1)/2·ln(rss/(N-1)) + ln(1-phi²)/2 - ln|R_00|
//	w  = softmax(lw);  m = Σ w·b_0;  V = Σ w·(v + (b_0-m)²)
//
// Every phi from 0 to 0.95 is equally likely before the readings are seen, so below some twenty readings Std is two to five times that of independent readings:
// so few cannot show that they are. Readings known to be independent, further apart than the display averages, are a plain type A evaluation (GUM 4.2) instead.
// Fewer than three readings are refused.
func Readings(x []float64) (Average, error) {
	n := len(x)
	if n < 3 {
		return Average{}, fmt.Errorf("readings: %d are too few to tell whether they are correlated: at least 3 are needed", n)
	}
	y := make([]float64, n)
	for k, v := range x {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return Average{}, fmt.Errorf("readings: reading %d is %g: a finite number is needed", k+1, v)
		}
		y[k] = v - x[0]
	}
	var c constantFit
	c.fit(y)
	a := Average{Mean: x[0] + c.mean, Std: math.Sqrt(c.variance), Dof: float64(n - 1), Phi: c.phi}
	if c.variance > 0 {
		a.Size = experimental(y) / c.variance
	}
	return a, nil
}

// constantFit is the outcome of FIT with the constant alone.
type constantFit struct{ mean, variance, phi float64 }

func (c *constantFit) fit(y []float64) {
	n := len(y)
	s2 := experimental(y)
	columns, series := newColumns(n), newSeries(n)
	columns.begin(n)
	series.project(&columns, y)
	var b, v, lw [len(phis)]float64
	top := math.Inf(-1)
	for i, phi := range phis {
		problem := series.whiten(&columns, phi)
		x, corner, product, _ := problem.solve()
		noise := max(problem.rss/float64(n-1), flattest*flattest*s2, nothing)
		b[i], v[i] = x[0], noise*corner
		lw[i] = -float64(n-1)/2*math.Log(noise) + math.Log(1-phi*phi)/2 - math.Log(product)
		top = max(top, lw[i])
	}
	var sum float64
	for i := range lw {
		lw[i] = math.Exp(lw[i] - top)
		sum += lw[i]
	}
	for i, phi := range phis {
		w := lw[i] / sum
		c.mean += w * b[i]
		c.phi += w * phi
	}
	for i := range phis {
		c.variance += lw[i] / sum * (v[i] + (b[i]-c.mean)*(b[i]-c.mean))
	}
	if s2 == 0 {
		c.variance = 0
	}
}

// experimental is the experimental variance of y (GUM 4.2.2).
func experimental(y []float64) float64 {
	var mean, squares float64
	for k, v := range y {
		d := v - mean
		mean += d / float64(k+1)
		squares += d * (v - mean)
	}
	return squares / float64(len(y)-1)
}
