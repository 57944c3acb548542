package calibration

import "math"

const (
	leastForLag  = 8    // blocks below which the correlation of a series cannot be told from nothing
	mostLag      = 0.95 // largest lag-1 correlation that is believed
	leastLagDof  = 3    // degrees of freedom that are left to a correlated series at least
	trendMatters = remarkTrend
)

// correlated widens the standard deviation std of the mean of n blocks for the lag-1 correlation r1 of the series, and lowers its degrees of
// freedom: flicker noise and wandering gains make neighbouring blocks alike. For an AR(1) series
//
//	u(mean) = (s/sqrt(n)) sqrt((1+phi)/(1-phi)),   n_eff = n (1-phi)/(1+phi),   phi = (r1 + 1/n)/(1 - 4/n)
//
// where the last takes out the bias of r1, which is -(1+4 phi)/n (Kendall 1954, from memory). A negative phi is not used to narrow anything.
func correlated(std, dof, r1 float64, n int) (u, left float64) {
	if n < leastForLag {
		return std, dof
	}
	phi := (r1 + 1/float64(n)) / (1 - 4/float64(n))
	if !(phi > 0) {
		return std, dof
	}
	phi = math.Min(phi, mostLag)
	inflate := (1 + phi) / (1 - phi)
	return std * math.Sqrt(inflate), math.Max(leastLagDof, math.Min(dof, float64(n)/inflate-1))
}

// trendLeft is half the change that a significant straight line through the series makes over the record: what may be left of a transient. It is 0
// where the line is not significant.
func trendLeft(slope, t, duration float64) float64 {
	if !(math.Abs(t) > trendMatters) { // NaN where there are too few blocks
		return 0
	}
	return math.Abs(slope) * duration / 2
}
