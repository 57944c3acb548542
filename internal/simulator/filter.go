package simulator

import (
	"math"
	"math/cmplx"
)

// highPass is a high-pass of second order as two trapezoidal integrators in a loop. It stays accurate where the corner is a millionth of the rate. Its response is that of
// the continuous filter with tan(π f h)/tan(π f_h h) in the place of f/f_h, h the time between samples.
type highPass struct {
	g, r   float64 // tan(π f_h h), twice the damping
	s1, s2 float64
}

func newHighPass(corner, damping, h float64) highPass {
	return highPass{g: math.Tan(math.Pi * corner * h), r: 2 * damping}
}

func (q *highPass) step(x float64) float64 {
	y := (x - (q.r+q.g)*q.s1 - q.s2) / (1 + q.r*q.g + q.g*q.g)
	band := q.g*y + q.s1
	q.s1 = q.g*y + band
	low := q.g*band + q.s2
	q.s2 = q.g*band + low
	return y
}

// at is the response at f in Hz.
func (q *highPass) at(f, h float64) complex128 {
	if q.g == 0 {
		return 1
	}
	s := complex(0, math.Tan(math.Pi*f*h)/q.g)
	return s * s / (s*s + complex(q.r, 0)*s + 1)
}

// coupling is a high-pass of first order, made the same way.
type coupling struct{ g, s float64 }

func newCoupling(corner, h float64) coupling { return coupling{g: math.Tan(math.Pi * corner * h)} }

func (q *coupling) step(x float64) float64 {
	y := (x - q.s) / (1 + q.g)
	q.s += 2 * q.g * y
	return y
}

func (q *coupling) at(f, h float64) complex128 {
	if q.g == 0 {
		return 1
	}
	s := complex(0, math.Tan(math.Pi*f*h)/q.g)
	return s / (1 + s)
}

// section is a digital filter of second order, b(z)/a(z) with a0 = 1, in the transposed direct form.
type section struct {
	b0, b1, b2, a1, a2 float64
	s1, s2             float64
}

func (q *section) step(x float64) float64 {
	y := q.b0*x + q.s1
	q.s1 = q.b1*x - q.a1*y + q.s2
	q.s2 = q.b2*x - q.a2*y
	return y
}

func (q *section) at(f, h float64) complex128 {
	z := cmplx.Rect(1, -2*math.Pi*f*h)
	return (complex(q.b0, 0) + complex(q.b1, 0)*z + complex(q.b2, 0)*z*z) / (1 + complex(q.a1, 0)*z + complex(q.a2, 0)*z*z)
}

// newResonance is 1/(1 - x² + jx/Q), x = f/resonance, for motion given as samples h apart. Where the rate can show the oscillator it has its poles; where it cannot, none, and late tells that its
// output comes one sample late. Its three taps make it exact at zero and well inside the band: within 1e-4 up to 0.04/h and 1e-3 up to 0.1/h.
func newResonance(resonance, quality, h float64) (q section, late bool) {
	f := 0.06 / h
	z := cmplx.Rect(1, -2*math.Pi*f*h)
	goal := z
	if late = resonance*h >= 0.4; !late {
		f = min(f, resonance/2)
		z = cmplx.Rect(1, -2*math.Pi*f*h)
		w, d := 2*math.Pi*resonance*h, 1/(2*quality)
		p := cmplx.Exp(complex(-d*w, math.Sqrt(1-d*d)*w)) // a quality of a half or less is refused
		q.a1, q.a2 = -2*real(p), real(p)*real(p)+imag(p)*imag(p)
		goal = 1 + complex(q.a1, 0)*z + complex(q.a2, 0)*z*z
	}
	x := f / resonance
	q.tune(1+q.a1+q.a2, goal/complex(1-x*x, x/quality), z)
	return q, late
}

// mounting is the resonance of a transducer on the table, or none, one sample late in any case.
type mounting struct {
	section
	late   bool // the section is late by itself
	before float64
}

func newMounting(t Transducer, h float64) mounting {
	if t.Resonance <= 0 {
		return mounting{section: section{b0: 1}}
	}
	q, late := newResonance(t.Resonance, t.Quality, h)
	return mounting{section: q, late: late}
}

func (m *mounting) step(x float64) float64 {
	if !m.late {
		x, m.before = m.before, x
	}
	return m.section.step(x)
}

// at is the response at f in Hz without the sample by which every mounting is late.
func (m *mounting) at(f, h float64) complex128 {
	r := m.section.at(f, h)
	if m.late {
		r *= cmplx.Rect(1, 2*math.Pi*f*h)
	}
	return r
}

// tune solves b0 + b1 + b2 = sum and b0 + b1 z + b2 z² = goal.
func (q *section) tune(sum float64, goal, z complex128) {
	u, v := z-1, z*z-1
	w := goal - complex(sum, 0)
	det := real(u)*imag(v) - imag(u)*real(v)
	q.b1 = (real(w)*imag(v) - imag(w)*real(v)) / det
	q.b2 = (real(u)*imag(w) - imag(u)*real(w)) / det
	q.b0 = sum - q.b1 - q.b2
}

// newBump is 1 + gain·s w/Q/(s² + s w/Q + w²): gain more at f, untouched far from it. It is exact up to the bending of the frequency axis, which is taken out at f.
func newBump(f, quality, gain, h float64) section {
	g := math.Tan(math.Pi * f * h)
	k := g / quality
	n := 1 + k + g*g
	return section{
		b0: (1 + k*(1+gain) + g*g) / n, b1: 2 * (g*g - 1) / n, b2: (1 - k*(1+gain) + g*g) / n,
		a1: 2 * (g*g - 1) / n, a2: (1 - k + g*g) / n,
	}
}

// kernel turns samples h apart into frames: a low-pass with linear phase, windowed after Kaiser for 80 dB, that passes 0.4 of the frame rate and stops what would fold below that.
type kernel struct {
	taps   []float64 // newest sample first
	middle int       // of the taps: what both channels wait
}

// newKernel makes a kernel for one frame in every samples, later by delay samples than its middle, which lies reach samples beyond that of a kernel without delays.
func newKernel(every int, delay float64, reach int) kernel {
	if every == 1 && reach == 0 {
		return kernel{taps: []float64{1}}
	}
	const beta = 7.857 // 0.1102(A - 8.7), A = 80 dB (Kaiser 1974, from memory)
	half := 13*every + reach
	k := kernel{taps: make([]float64, 2*half+1), middle: half}
	cut := 1 / float64(every)
	width := float64(13*every) + 1
	var sum float64
	for i := range k.taps {
		t := float64(i-half) - delay
		if r := t / width; math.Abs(r) < 1 {
			k.taps[i] = sinc(t*cut) * bessel(beta*math.Sqrt(1-r*r))
		}
		sum += k.taps[i]
	}
	for i := range k.taps {
		k.taps[i] /= sum
	}
	return k
}

func sinc(x float64) float64 {
	if x == 0 {
		return 1
	}
	return math.Sin(math.Pi*x) / (math.Pi * x)
}

// bessel is the modified Bessel function of the first kind and order zero.
func bessel(x float64) float64 {
	sum, term := 1.0, 1.0
	for k := 1.0; term > 1e-17*sum; k++ {
		term *= x * x / (4 * k * k)
		sum += term
	}
	return sum
}

// at is the response at f in Hz, from the middle of the taps.
func (k kernel) at(f, h float64) complex128 {
	var sum complex128
	for i, b := range k.taps {
		sum += complex(b, 0) * cmplx.Rect(1, -2*math.Pi*f*h*float64(i-k.middle))
	}
	return sum
}

// window holds the samples a kernel looks at.
type window struct {
	kernel
	line []float64 // oldest first
	n    int
}

func newWindow(k kernel) window {
	w := window{kernel: k, line: make([]float64, 1<<12+len(k.taps))}
	w.n = len(k.taps)
	return w
}

func (w *window) add(x float64) {
	if w.n == len(w.line) {
		w.n = copy(w.line, w.line[len(w.line)-len(w.taps):])
	}
	w.line[w.n] = x
	w.n++
}

// frame is the kernel's output now.
func (w *window) frame() float64 {
	x := w.line[w.n-len(w.taps) : w.n]
	taps := w.taps[:len(x)]
	var a, b float64
	i, last := 0, len(x)-1
	for ; i+1 < len(x); i += 2 {
		a += taps[i] * x[last-i]
		b += taps[i+1] * x[last-i-1]
	}
	if i < len(x) {
		a += taps[i] * x[last-i]
	}
	return a + b
}
