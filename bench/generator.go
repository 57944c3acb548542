package bench

import (
	"fmt"
	"math"
	"math/cmplx"
	"sync"
)

// Generator makes the samples of a drive for drivers that put out samples: a sum of tones, each continuous in phase, going from one amplitude to the next along a
// straight line. It is safe for concurrent use.
type Generator struct {
	mu     sync.Mutex
	rate   float64
	ramp   int64
	n      int64 // frames made
	voices []voice
	halted bool
}

// voice is one tone on its way from one amplitude to another.
type voice struct {
	frequency float64
	from, to  complex128
	start     int64 // frame at which it left from
}

// NewGenerator makes a silent generator for rate samples per second, which goes from one signal to the next in ramp seconds.
func NewGenerator(rate, ramp float64) (*Generator, error) {
	if !(rate > 0) || math.IsInf(rate, 1) {
		return nil, fmt.Errorf("generator: %g samples per second, allowed are values above zero", rate)
	}
	if !(ramp >= 0) || ramp > slowestRamp {
		return nil, fmt.Errorf("generator: ramp of %g s, allowed are 0 s to %g s", ramp, slowestRamp)
	}
	return &Generator{rate: rate, ramp: max(1, int64(math.Round(ramp*rate)))}, nil
}

// slowestRamp is the longest ramp in s: silence is to be reached in half a second.
const slowestRamp = 0.4

// Set asks for a signal from the next frame on. Tones of a frequency that is playing are led over; others fade in, and those no longer asked for fade out.
func (g *Generator) Set(s Signal) error {
	if err := s.check(); err != nil {
		return err
	}
	for _, t := range s {
		if t.Frequency >= g.rate/2 {
			return fmt.Errorf("drive: %g Hz cannot be put out at %g samples per second, allowed are values below %g Hz", t.Frequency, g.rate, g.rate/2)
		}
	}
	g.mu.Lock()
	defer g.mu.Unlock()
	if g.halted {
		return ErrHalted
	}
	g.lead(s)
	return nil
}

// Halt fades to silence and refuses every later signal. It may be called again.
func (g *Generator) Halt() {
	g.mu.Lock()
	defer g.mu.Unlock()
	if !g.halted {
		g.halted = true
		g.lead(nil)
	}
}

// Silent reports whether what comes next is silence: nothing was asked for, or the last tone has faded out.
func (g *Generator) Silent() bool {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.forget()
	return len(g.voices) == 0
}

// lead sets every voice on its way to the signal.
func (g *Generator) lead(s Signal) {
	g.forget()
	for i := range g.voices {
		v := &g.voices[i]
		*v = voice{v.frequency, v.at(g.n, g.ramp), 0, g.n}
	}
	for _, t := range s {
		if v := g.voice(t.Frequency); v != nil {
			v.to = t.Amplitude
		} else {
			g.voices = append(g.voices, voice{t.Frequency, 0, t.Amplitude, g.n})
		}
	}
}

func (g *Generator) voice(f float64) *voice {
	for i := range g.voices {
		if g.voices[i].frequency == f {
			return &g.voices[i]
		}
	}
	return nil
}

// forget drops the voices that have faded out.
func (g *Generator) forget() {
	kept := g.voices[:0]
	for _, v := range g.voices {
		if v.to != 0 || g.n < v.start+g.ramp {
			kept = append(kept, v)
		}
	}
	g.voices = kept
}

// at is the amplitude at frame n.
func (v voice) at(n, ramp int64) complex128 {
	if n >= v.start+ramp {
		return v.to
	}
	return v.from + (v.to-v.from)*complex(float64(n-v.start)/float64(ramp), 0)
}

// Fill makes the next len(dst) samples in V.
func (g *Generator) Fill(dst []float64) {
	g.mu.Lock()
	defer g.mu.Unlock()
	clear(dst)
	for _, v := range g.voices {
		v.add(dst, g.n, g.ramp, g.rate)
	}
	g.n += int64(len(dst))
}

// restart is the number of samples after which the phase is computed anew.
const restart = 256

// add adds the voice to the samples from frame n on.
func (v voice) add(dst []float64, n, ramp int64, rate float64) {
	step := v.frequency / rate
	turn := cmplx.Rect(1, 2*math.Pi*step)
	var z complex128
	for i := range dst {
		k := n + int64(i)
		if i%restart == 0 {
			_, cycle := math.Modf(float64(k) * step)
			z = cmplx.Rect(1, 2*math.Pi*cycle)
		}
		a := v.at(k, ramp)
		dst[i] += real(a)*real(z) - imag(a)*imag(z)
		z *= turn
	}
}
