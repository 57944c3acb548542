package sine

import "math"

const (
	lane  = 8 // the columns of a tile are padded to a multiple of so many values
	slots = 4 // folded tiles that are multiplied with the table at a time, so that each of its values is fetched once for four
)

// fold splits a tile about its centre. With d_n the samples less d0 and last the index of the last one,
//
//	e_n = d_n + d_{last-n},  o_n = d_n - d_{last-n},  n < len(d)/2,
//
// so that a regressor that is even about the centre needs e alone and an odd one o alone: half the multiplications.
// The middle sample of an odd tile goes to e. The tails of e and o are zeroed. It returns the sum of the squares of d_n.
func fold(e, o, d []float64, d0 float64) float64 {
	half := len(d) / 2
	n := half &^ (lane - 1)
	q := foldLanes(e, o, d, n, d0)
	for i := n; i < half; i++ {
		u, v := d[i]-d0, d[len(d)-1-i]-d0
		e[i], o[i] = u+v, u-v
		q += u*u + v*v
	}
	clear(e[half:])
	clear(o[half:])
	if len(d)&1 == 1 {
		u := d[half] - d0
		e[half] = u
		q += u * u
	}
	return q
}

// foldPlain folds the first n pairs, n a multiple of lane, with the sums in the order of foldWide: same bits on every processor of one architecture.
func foldPlain(e, o, d []float64, n int, d0 float64) float64 {
	var a, b [lane]float64
	last := len(d) - 1
	for i := 0; i < n; i += lane {
		for l := range a {
			u, v := d[i+l]-d0, d[last-i-l]-d0
			e[i+l], o[i+l] = u+v, u-v
			a[l] = math.FMA(u, u, a[l])
			b[l] = math.FMA(v, v, b[l])
		}
	}
	for l := range a {
		a[l] += b[l]
	}
	for l := range 4 {
		a[l] += a[l+4]
	}
	return (a[0] + a[2]) + (a[1] + a[3])
}

// dotPlain multiplies the columns of table, n values each, with the vectors v: out[k cols + j] = x_j . v_k, the sums in the order of dotWide.
func dotPlain(out, table []float64, v *[slots][]float64, cols, n int) {
	for j := range cols {
		x := table[j*n : (j+1)*n]
		for k, y := range v {
			out[k*cols+j] = dot4(x, y)
		}
	}
}

// dot4 is x . y; their length is a multiple of 4.
func dot4(x, y []float64) float64 {
	var s [4]float64
	for i := 0; i+3 < len(x); i += 4 {
		u, v := x[i:i+4:i+4], y[i:i+4:i+4]
		s[0] = math.FMA(u[0], v[0], s[0])
		s[1] = math.FMA(u[1], v[1], s[1])
		s[2] = math.FMA(u[2], v[2], s[2])
		s[3] = math.FMA(u[3], v[3], s[3])
	}
	return (s[0] + s[2]) + (s[1] + s[3])
}
