package simulator

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"slices"
)

// ladder is a chain of filters of first order, (s+z)/(s+p) each.
type ladder struct{ rungs []rung }

// rung is one of them: y = x + d(state), trapezoidal.
type rung struct{ b0, b1, a1, s float64 }

// newRung makes (s+zero)/(s+pole) from the two frequencies in Hz.
func newRung(zero, pole, h float64) rung {
	z, p := math.Pi*zero*h, math.Pi*pole*h
	return rung{b0: (1 + z) / (1 + p), b1: (z - 1) / (1 + p), a1: (p - 1) / (1 + p)}
}

func (l *ladder) step(x float64) float64 {
	for i := range l.rungs {
		r := &l.rungs[i]
		y := r.b0*x + r.s
		r.s = r.b1*x - r.a1*y
		x = y
	}
	return x
}

// slowest is the frequency in Hz below which no noise rises further, and spread the step from pole to pole: with four the sum of their densities follows 1/f within 0.3 %.
const (
	slowest = 1e-3
	spread  = 4.0
)

// poles are the frequencies of first-order noises whose power densities, each scaled by weight, add to 1/f between slowest and the top in Hz.
func poles(top float64) (p []float64, weight float64) {
	for f := slowest; f < top; f *= spread {
		p = append(p, f)
	}
	return p, 2 / math.Pi * math.Log(spread)
}

// newLadder is the filter whose squared modulus is floor + corner Σ w p/(p²+f²) ≈ floor + corner/f, floor 1 or 0. The sum is a quotient of polynomials in f² whose zeros -z² lie one
// between each two poles; for floor 1 one more lies above them all.
func newLadder(floor, corner, h float64) (l ladder, gain float64) {
	if corner <= 0 {
		return ladder{}, floor
	}
	top := 1 / h
	if floor > 0 {
		top = min(top, 100*corner) // one rung more than that: beyond, the floor hides it
	}
	p, w := poles(top)
	value := func(q float64) float64 { // at f² = -q
		sum := floor
		for _, p := range p {
			sum += corner * w * p / (p*p - q)
		}
		return sum
	}
	for i := range p {
		low := p[i] * p[i]
		var high float64
		switch {
		case i+1 < len(p):
			high = p[i+1] * p[i+1]
		case floor == 0:
			continue
		default:
			high = low + corner*w*p[i]*float64(len(p))*4 + 4*low
		}
		l.rungs = append(l.rungs, newRung(math.Sqrt(root(value, low, high)), p[i], h))
	}
	gain = 1
	if floor == 0 {
		last := p[len(p)-1]
		l.rungs = append(l.rungs, lowPass(last, h))
		gain = math.Sqrt(value(0) / square(l.still()))
	}
	return l, gain
}

func square(x float64) float64 { return x * x }

// lowPass is p/(s+p).
func lowPass(pole, h float64) rung {
	p := math.Pi * pole * h
	return rung{b0: p / (1 + p), b1: p / (1 + p), a1: (p - 1) / (1 + p)}
}

// still is the gain at zero frequency.
func (l ladder) still() float64 {
	g := 1.0
	for _, r := range l.rungs {
		g *= (r.b0 + r.b1) / (1 + r.a1)
	}
	return g
}

// root is where value goes from minus infinity just above low to what is positive at high, by halving.
func root(value func(float64) float64, low, high float64) float64 {
	for range 200 {
		middle := math.Sqrt(low) * math.Sqrt(high)
		if middle <= low || middle >= high {
			break
		}
		if value(middle) < 0 {
			low = middle
		} else {
			high = middle
		}
	}
	return high
}

func (l ladder) at(f, h float64) complex128 {
	z, g := cmplx.Rect(1, -2*math.Pi*f*h), complex(1, 0)
	for _, r := range l.rungs {
		g *= (complex(r.b0, 0) + complex(r.b1, 0)*z) / (1 + complex(r.a1, 0)*z)
	}
	return g
}

// hiss is noise of the density White·√(1 + Corner/f), a sample every h seconds.
type hiss struct {
	rng    *rand.Rand
	ladder ladder
	size   float64 // of one sample of its white part
}

func newHiss(n Noise, h float64, rng *rand.Rand) hiss {
	l, gain := newLadder(1, n.Corner, h)
	return hiss{rng: rng, ladder: l, size: gain * n.White / math.Sqrt(2*h)}
}

func (s *hiss) next() float64 {
	if s.size == 0 {
		return 0
	}
	return s.ladder.step(s.size * s.rng.NormFloat64())
}

// tremor is ground motion as it comes: an f/(1+(f/12)²) density from a ladder behind a high-pass, and a bump for each mode. The bumps multiply, where those of Ground.At add:
// with modes apart by more than five widths that differs by less than 3 %.
type tremor struct {
	rng    *rand.Rand
	size   float64
	high   rung
	ladder ladder
	modes  []section
}

const groundKnee = 12 // Hz, where Ground.At turns from rising to falling

func newTremor(g Ground, share, h float64, rng *rand.Rand) tremor {
	l, gain := newLadder(0, 1, h)
	// |s/(s+ω)|² = f²/(f²+12²), so that 12² of it times 1/f is f/(1+f²/144).
	s := tremor{rng: rng, size: share * g.Density * groundKnee * gain / math.Sqrt(2*h), high: newRung(0, groundKnee, h), ladder: l}
	for _, m := range g.Modes {
		s.modes = append(s.modes, newMode(m, h))
	}
	return s
}

// newMode is (s² + 2w√(1+gain) s + ω²)/(s² + 2w s + ω²): 1 + gain of the power at the mode, half of the gain at a width from it.
func newMode(m Mode, h float64) section {
	quality := m.Frequency / (2 * m.Width)
	return newBump(m.Frequency, quality, math.Sqrt(1+m.Gain)-1, h)
}

func (s *tremor) next() float64 {
	if s.size == 0 {
		return 0
	}
	x := s.size * s.rng.NormFloat64()
	y := s.high.b0*x + s.high.s
	s.high.s = s.high.b1*x - s.high.a1*y
	y = s.ladder.step(y)
	for i := range s.modes {
		y = s.modes[i].step(y)
	}
	return y
}

// wheel is a steady line: the phasor of one frequency, turned from sample to sample.
type wheel struct {
	cycles float64 // per sample
	start  float64 // cycles at sample 0
	n      int64
	z, w   complex128
}

func newWheel(f, h, start float64) wheel {
	return wheel{cycles: f * h, start: start, w: cmplx.Rect(1, 2*math.Pi*f*h)}
}

// next is exp(j 2π (f n h + start)). Every 256 samples the phase is computed anew.
func (o *wheel) next() complex128 {
	if o.n&255 == 0 {
		_, turn := math.Modf(o.cycles * float64(o.n))
		o.z = cmplx.Rect(1, 2*math.Pi*(turn+o.start))
	}
	z := o.z
	o.z *= o.w
	o.n++
	return z
}

// decay is a sum of exponentials.
type decay struct{ size, rate []float64 }

// Creep is an exponential return: Size is left at time zero, a part e of it after Time.
type Creep struct {
	Size float64 // V
	Time float64 // s
}

func newDecay(c []Creep, h float64) decay {
	var d decay
	for _, c := range c {
		d.size = append(d.size, c.Size)
		d.rate = append(d.rate, math.Exp(-h/c.Time))
	}
	return d
}

func (d *decay) next() float64 {
	var sum float64
	for i := range d.size {
		sum += d.size[i]
		d.size[i] *= d.rate[i]
	}
	return sum
}

// delay is a line in which samples wait.
type delay struct {
	line []float64
	next int
}

func (d *delay) step(x float64) float64 {
	if len(d.line) == 0 {
		return x
	}
	y := d.line[d.next]
	d.line[d.next] = x
	if d.next++; d.next == len(d.line) {
		d.next = 0
	}
	return y
}

func (d *delay) empty() bool {
	return !slices.ContainsFunc(d.line, func(x float64) bool { return x != 0 })
}
