package study

import (
	"math"
	"math/rand/v2"
)

// noise is a series without end, with the autocovariance the oracle knows.
type noise interface {
	next(r *rand.Rand) float64
	autocovariance(lag int) float64
}

// white is Gaussian noise of standard deviation sd.
type white struct{ sd float64 }

func (w white) next(r *rand.Rand) float64 { return w.sd * r.NormFloat64() }

func (w white) autocovariance(lag int) float64 {
	if lag == 0 {
		return w.sd * w.sd
	}
	return 0
}

// student is Student's t with 3 degrees of freedom, times scale.
type student struct{ scale float64 }

func (s student) next(r *rand.Rand) float64 {
	var chi2 float64
	for range 3 {
		z := r.NormFloat64()
		chi2 += z * z
	}
	return s.scale * r.NormFloat64() / math.Sqrt(chi2/3)
}

func (s student) autocovariance(lag int) float64 {
	return white{s.scale * math.Sqrt(3)}.autocovariance(lag)
}

// ar1 is x_k = phi·x_{k-1} + e_k with standard deviation sd of x; it starts stationary.
type ar1 struct {
	phi, sd float64
	x       float64
	started bool
}

func (a *ar1) next(r *rand.Rand) float64 {
	if !a.started {
		a.x, a.started = a.sd*r.NormFloat64(), true
		return a.x
	}
	a.x = a.phi*a.x + a.sd*math.Sqrt(1-a.phi*a.phi)*r.NormFloat64()
	return a.x
}

func (a *ar1) autocovariance(lag int) float64 { return a.sd * a.sd * math.Pow(a.phi, float64(lag)) }

// flicker is a sum of AR(1) series of equal power, one an octave of correlation time from 1 to 2^12 blocks: close to 1/f between.
func flicker(rms float64) sum {
	const octaves = 13
	var s sum
	for i := range octaves {
		s = append(s, &ar1{phi: math.Exp(-math.Exp2(-float64(i))), sd: rms / math.Sqrt(octaves)})
	}
	return s
}

// moving is the anti-correlated moving average sd·(e_k - 0.6·e_{k-1})/sqrt(1.36).
type moving struct {
	sd, before float64
	started    bool
}

func (m *moving) next(r *rand.Rand) float64 {
	if !m.started {
		m.before, m.started = r.NormFloat64(), true
	}
	e := r.NormFloat64()
	x := m.sd * (e - 0.6*m.before) / math.Sqrt(1.36)
	m.before = e
	return x
}

func (m *moving) autocovariance(lag int) float64 {
	switch lag {
	case 0:
		return m.sd * m.sd
	case 1:
		return -0.6 / 1.36 * m.sd * m.sd
	}
	return 0
}

// bursts is white noise of standard deviation sd, five times larger while a hidden AR(1) of phi 0.95 with unit steps exceeds 3.5.
type bursts struct {
	sd     float64
	hidden *ar1
}

const exceeds = 3.5

func newBursts(sd float64) bursts {
	return bursts{sd: sd, hidden: &ar1{phi: 0.95, sd: 1 / math.Sqrt(1-0.95*0.95)}}
}

func (b bursts) next(r *rand.Rand) float64 {
	s := b.sd
	if b.hidden.next(r) > exceeds {
		s *= 5
	}
	return s * r.NormFloat64()
}

func (b bursts) autocovariance(lag int) float64 {
	share := math.Erfc(exceeds/b.hidden.sd/math.Sqrt2) / 2
	return white{b.sd * math.Sqrt(1+24*share)}.autocovariance(lag)
}

// walk is a random walk from zero with steps of standard deviation sd. The oracle knows nothing of it.
type walk struct{ sd, x float64 }

func (w *walk) next(r *rand.Rand) float64 {
	w.x += w.sd * r.NormFloat64()
	return w.x
}

func (w *walk) autocovariance(int) float64 { return 0 }

// clicks is zero but for a share of the blocks, which are Gaussian of standard deviation sd. The oracle sees which.
type clicks struct{ share, sd float64 }

func (c clicks) next(r *rand.Rand) float64 {
	if r.Float64() < c.share {
		return c.sd * r.NormFloat64()
	}
	return 0
}

func (c clicks) autocovariance(int) float64 { return 0 }

// sum adds independent series.
type sum []noise

func (s sum) next(r *rand.Rand) float64 {
	var x float64
	for _, n := range s {
		x += n.next(r)
	}
	return x
}

func (s sum) autocovariance(lag int) float64 {
	var x float64
	for _, n := range s {
		x += n.autocovariance(lag)
	}
	return x
}
