package sine

// foldWide is foldPlain with AVX2 and FMA; n is a multiple of 4, last points at the last sample of the tile.
//
//go:noescape
func foldWide(e, o, head, last *float64, n int, d0 float64) (q float64)

// dotWide is dotPlain with AVX2 and FMA; cols is even, n a multiple of 8.
//
//go:noescape
func dotWide(out, table, a, b *float64, cols, n int)

// supportsWide reports whether this processor can run foldWide and dotWide.
func supportsWide() bool

var wide = supportsWide()

func foldLanes(e, o, d []float64, n int, d0 float64) float64 {
	if !wide || n == 0 {
		return foldPlain(e, o, d, n, d0)
	}
	return foldWide(&e[0], &o[0], &d[0], &d[len(d)-1], n, d0)
}

func dotLanes(out, table, a, b []float64, cols, n int) {
	if !wide {
		dotPlain(out, table, a, b, cols, n)
		return
	}
	_, _, _, _ = out[2*cols-1], table[cols*n-1], a[n-1], b[n-1]
	dotWide(&out[0], &table[0], &a[0], &b[0], cols, n)
}
