package steady

import "math"

// batches are the numbers of batches whose means are compared.
var batches = [...]int{8, 16}

// widest is the larger half width of the mean of x from its batch means, for B = 8 and 16 batches: t(0.975, B-1)·sd(batch means)/sqrt(B), with its degrees
// of freedom B-1. Zero where x holds fewer than eight values.
func (f *factors) widest(x []float64) (half, dof float64) {
	for _, b := range batches {
		if len(x) < b {
			continue
		}
		if h := f.t(float64(b-1)) * batchStd(x, b); h > half || dof == 0 {
			half, dof = h, float64(b-1)
		}
	}
	return half, dof
}

// batchStd is the standard deviation of the means of b batches over sqrt(b); the batches are the last b·floor(N/b) values.
func batchStd(x []float64, b int) float64 {
	length := len(x) / b
	x = x[len(x)-b*length:]
	var mean, squares float64
	for i := range b {
		var m float64
		for _, v := range x[i*length : (i+1)*length] {
			m += v
		}
		m /= float64(length)
		d := m - mean
		mean += d / float64(i+1)
		squares += d * (m - mean)
	}
	return math.Sqrt(squares / float64(b-1) / float64(b))
}
