//go:build !amd64

package sine

func foldLanes(e, o, d []float64, n int, d0 float64) float64 { return foldPlain(e, o, d, n, d0) }

func dotLanes(out, table, a, b []float64, cols, n int) { dotPlain(out, table, a, b, cols, n) }
