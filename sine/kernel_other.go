//go:build !amd64

package sine

func foldLanes(e, o, d []float64, n int, d0 float64) float64 { return foldPlain(e, o, d, n, d0) }

func dotLanes(out, table []float64, v *[slots][]float64, cols, n int) {
	dotPlain(out, table, v, cols, n)
}
