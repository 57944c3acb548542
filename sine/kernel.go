package sine

import "math"

// lane is the number of values the columns of a tile are padded to: the inner loop takes that many at a time.
const lane = 8

// fold splits a tile about its centre. With d_n the samples less d0 and last the index of the last one,
//
//	e_n = d_n + d_{last-n},  o_n = d_n - d_{last-n},  n < len(d)/2,
//
// so that a regressor that is even about the centre needs e alone and an odd one o alone: half the multiplications.
// The middle sample of an odd tile goes to e. The tails of e and o are zeroed. It returns the sum of the squares of d_n.
func fold(e, o, d []float64, d0 float64) float64 {
	half := len(d) / 2
	n := half &^ 3
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

// foldPlain folds the first n pairs, n a multiple of 4, with the sums in the order of foldWide: same bits on every processor of one architecture.
func foldPlain(e, o, d []float64, n int, d0 float64) float64 {
	var a, b [4]float64
	last := len(d) - 1
	for i := 0; i < n; i += 4 {
		for l := range 4 {
			u, v := d[i+l]-d0, d[last-i-l]-d0
			e[i+l], o[i+l] = u+v, u-v
			a[l] = math.FMA(u, u, a[l])
			b[l] = math.FMA(v, v, b[l])
		}
	}
	for l := range a {
		a[l] += b[l]
	}
	return (a[0] + a[2]) + (a[1] + a[3])
}

// dotPlain multiplies the columns of table, n values each, with a and b: out[j] = x_j . a, out[cols+j] = x_j . b, the sums in the order of dotWide.
func dotPlain(out, table, a, b []float64, cols, n int) {
	for j := range cols {
		x := table[j*n : (j+1)*n]
		out[j], out[cols+j] = dot8(x, a), dot8(x, b)
	}
}

func dot8(x, y []float64) float64 {
	var s [lane]float64
	for i := 0; i < len(x); i += lane {
		u, v := x[i:i+lane:i+lane], y[i:i+lane:i+lane]
		for l := range s {
			s[l] = math.FMA(u[l], v[l], s[l])
		}
	}
	for l := range 4 {
		s[l] += s[l+4]
	}
	return (s[0] + s[2]) + (s[1] + s[3])
}
