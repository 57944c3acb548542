package sine

import "math"

// NearestMains returns the order k of the multiple of mains nearest to f and its distance in units of the resolution 1/T, |f - k mains| T.
// Below 1 the line cannot be told from the mains in a record of T seconds. Frequencies in Hz; k is 0 and the distance infinite where mains is 0.
func NearestMains(f, mains, T float64) (k int, distance float64) {
	if !(mains > 0) {
		return 0, math.Inf(1)
	}
	k = max(1, int(math.Round(f/mains)))
	return k, math.Abs(f-float64(k)*mains) * T
}

// Separable reports whether a line at f can be told from the multiples of mains in a record of T seconds.
func Separable(f, mains, T float64) bool {
	_, d := NearestMains(f, mains, T)
	return d >= 1
}
