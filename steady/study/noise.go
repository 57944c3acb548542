// Package study measures how often the settling rules are wrong, on simulated series whose truth is known.
package study

import (
	"math"
	"math/rand/v2"
)

// noise is a stationary (or, for the random walk, nearly stationary) series without end.
type noise interface {
	next(r *rand.Rand) float64
}

// white is Gaussian noise of standard deviation sd.
type white struct{ sd float64 }

func (w white) next(r *rand.Rand) float64 { return w.sd * r.NormFloat64() }

// student3 is Student's t with 3 degrees of freedom, times scale.
type student3 struct{ scale float64 }

func (s student3) next(r *rand.Rand) float64 {
	var chi2 float64
	for range 3 {
		z := r.NormFloat64()
		chi2 += z * z
	}
	return s.scale * r.NormFloat64() / math.Sqrt(chi2/3)
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

// flicker is a sum of AR(1) series of equal power, one an octave of correlation time from 1 to 2^12 blocks: within a few percent of 1/f between.
func flicker(rms float64) noise {
	const octaves = 13
	var s sum
	for i := range octaves {
		s = append(s, &ar1{phi: math.Exp(-1 / math.Exp2(float64(i))), sd: rms / math.Sqrt(octaves)})
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

// bursts is white noise of standard deviation sd, five times larger while a hidden AR(1) of phi 0.95 with unit steps exceeds 3.5.
type bursts struct {
	sd     float64
	hidden ar1
}

func newBursts(sd float64) *bursts {
	return &bursts{sd: sd, hidden: ar1{phi: 0.95, sd: 1 / math.Sqrt(1-0.95*0.95)}}
}

func (b *bursts) next(r *rand.Rand) float64 {
	s := b.sd
	if b.hidden.next(r) > 3.5 {
		s *= 5
	}
	return s * r.NormFloat64()
}

// walk is a random walk from zero with steps of standard deviation sd.
type walk struct{ sd, x float64 }

func (w *walk) next(r *rand.Rand) float64 {
	w.x += w.sd * r.NormFloat64()
	return w.x
}

// clicks is zero but for a share p of blocks, which are Gaussian of standard deviation sd.
type clicks struct{ p, sd float64 }

func (c clicks) next(r *rand.Rand) float64 {
	if r.Float64() < c.p {
		return c.sd * r.NormFloat64()
	}
	return 0
}

// sum adds independent series.
type sum []noise

func (s sum) next(r *rand.Rand) float64 {
	var x float64
	for _, n := range s {
		x += n.next(r)
	}
	return x
}
