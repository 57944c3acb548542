package study

import (
	"math"
	"math/cmplx"
)

// mode is one exponential of a transient: amplitude·exp(-t/tau)·cos(2π·t/period + phase); period 0 is no oscillation.
type mode struct{ amplitude, tau, period, phase float64 }

// transient is a sum of modes.
type transient []mode

// at is the transient t blocks after the start.
func (tr transient) at(t float64) float64 {
	var x float64
	for _, m := range tr {
		v := m.amplitude * math.Exp(-t/m.tau)
		if m.period > 0 {
			v *= math.Cos(2*math.Pi*t/m.period + m.phase)
		}
		x += v
	}
	return x
}

// oracle is the number of blocks one would need who knows the transient and the autocovariance of the noise: the first n at which, for some number d of
// blocks left out, |bias| + 1.96·sd of the mean of blocks d … n-1 is within target. Of an oscillation it knows all but the phase (root mean square).
func oracle(tr transient, covariance func(lag int) float64, target float64) int {
	steady := []float64{0}         // cumulated sums of the modes that do not oscillate
	var swinging [][]complex128    // and of each that does
	variance := []float64{0}       // of the mean of m blocks
	var products, weighted float64 // Σ gamma_k and Σ k·gamma_k for lags 1 … m-1
	for _, m := range tr {
		if m.period > 0 {
			swinging = append(swinging, []complex128{0})
		}
	}
	for n := 1; n <= limit; n++ {
		t := float64(n) - 0.5
		var still float64
		i := 0
		for _, m := range tr {
			if m.period == 0 {
				still += transient{m}.at(t)
				continue
			}
			v := cmplx.Rect(m.amplitude*math.Exp(-t/m.tau), 2*math.Pi*t/m.period)
			swinging[i] = append(swinging[i], swinging[i][n-1]+v)
			i++
		}
		steady = append(steady, steady[n-1]+still)
		if n > 1 {
			gamma := covariance(n - 1)
			products += gamma
			weighted += float64(n-1) * gamma
		}
		m := float64(n)
		variance = append(variance, (m*covariance(0)+2*(m*products-weighted))/(m*m))
		for d := range n {
			m := float64(n - d)
			bias := math.Abs(steady[n]-steady[d]) / m
			for _, s := range swinging {
				bias = math.Hypot(bias, cmplx.Abs(s[n]-s[d])/m/math.Sqrt2)
			}
			if n > 1 && bias+1.96*math.Sqrt(max(0, variance[n-d])) <= target {
				return n
			}
		}
	}
	return limit
}
