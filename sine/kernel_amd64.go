package sine

// foldWide is foldPlain with AVX2 and FMA; n is a multiple of lane, last points at the last sample of the tile.
//
//go:noescape
func foldWide(e, o, head, last *float64, n int, d0 float64) (q float64)

// dotWide is dotPlain with AVX2 and FMA; cols is even, n a multiple of lane.
//
//go:noescape
func dotWide(out, table *float64, v *[slots]*float64, cols, n int)

// supportsWide reports whether this processor can run foldWide and dotWide.
func supportsWide() bool

var wide = supportsWide()

func foldLanes(e, o, d []float64, n int, d0 float64) float64 {
	if !wide || n == 0 {
		return foldPlain(e, o, d, n, d0)
	}
	return foldWide(&e[0], &o[0], &d[0], &d[len(d)-1], n, d0)
}

func dotLanes(out, table []float64, v *[slots][]float64, cols, n int) {
	if !wide || n == 0 {
		dotPlain(out, table, v, cols, n)
		return
	}
	_, _ = out[slots*cols-1], table[cols*n-1]
	var p [slots]*float64
	for k, x := range v {
		p[k] = &x[:n][0]
	}
	dotWide(&out[0], &table[0], &p, cols, n)
}
