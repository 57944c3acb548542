package calibration

import (
	"fmt"
	"math"
)

// Limits of impulses, the authors' own, no source.
const (
	peaky         = 12.0 // largest second difference over its mean size: 9.6 standard deviations of normal noise, 1.6 for a sine
	leastSegment  = 256  // samples
	leastSegments = 4    // below, disturbed blocks tell
	remarkImpulse = 5e-4 // what an impulse makes of the amplitude in a segment, relative
	refuseImpulse = 2e-3 // and when no value is given
	quantised     = 4    // quantisation steps that no impulse is told below
)

// impulses counts the stretches of a channel that hold a click. A block is rejected when it stands out; a click in every block does not make one do so.
// The signal is taken out by its second difference at the frequency, x[n+1] - 2 cos(w) x[n] + x[n-1], in which a click of height h is 2 h high at most.
type impulses struct {
	turn      float64 // 2 cos(w)
	size      int     // samples in a segment
	one, two  float64
	n         int
	sum, most float64
	segments  int
	hit       int     // segments with a peak
	hitMost   float64 // sum over them of the peak
	beginning int     // samples before there is a second difference
}

// newImpulses prepares for a signal of the given frequency and sampling rate, Hz: segments of half a second, two periods and enough samples.
func newImpulses(frequency, rate float64) impulses {
	return impulses{turn: 2 * math.Cos(2*math.Pi*frequency/rate), size: int(max(leastSegment, rate/2, 2*rate/frequency)), beginning: 2}
}

// add takes the next samples.
func (m *impulses) add(samples []float64, scale float64) {
	for _, v := range samples {
		v *= scale
		e := math.Abs(v - m.turn*m.one + m.two)
		m.two, m.one = m.one, v
		if m.beginning > 0 {
			m.beginning--
			continue
		}
		m.sum += e // not a number where samples are none: no peak
		m.most = max(m.most, e)
		if m.n++; m.n == m.size {
			m.segments++
			if m.most > peaky*m.sum/float64(m.n) {
				m.hit++
				m.hitMost += m.most
			}
			m.n, m.sum, m.most = 0, 0, 0
		}
	}
}

// effect is what the impulses make of an amplitude, relative, where more than half the segments hold one; else 0. step is the quantisation step.
func (m *impulses) effect(amplitude, step float64) float64 {
	if m.segments < leastSegments || 2*m.hit <= m.segments {
		return 0
	}
	height := m.hitMost / float64(m.hit) / max(2, math.Abs(m.turn)) // the largest of the three values that a click makes
	if height < quantised*step {
		return 0
	}
	return 2 * height / float64(m.size) / amplitude
}

// impulsive refuses a recording with a click in most stretches, where they matter.
func (a acquisition) impulsive(name string) error {
	for i := range a.impulses {
		if e, text := a.impulse(i); e > refuseImpulse {
			return fmt.Errorf("recording %s: %s", name, text)
		}
	}
	return nil
}

// impulse is what the impulses make of the amplitude of channel i of the fit, relative, and that in words.
func (a acquisition) impulse(i int) (effect float64, text string) {
	m := a.impulses[i]
	if 2*a.fit.Rejected < m.hit { // else they are in blocks that were left out
		effect = m.effect(modulus(a.fit.Channels[i].Amplitude), a.steps[i])
	}
	return effect, fmt.Sprintf("impulsive disturbance of channel %d in %d of %d stretches of %d samples: each may change the amplitude by %.2g %%",
		a.columns[i], m.hit, m.segments, m.size, 100*effect)
}

// remarkImpulses mentions impulses that matter less.
func (p *Point) remarkImpulses(a *acquisition) {
	for i := range a.impulses {
		if e, text := a.impulse(i); e > remarkImpulse {
			p.remark("impulses", "%s", text)
		}
	}
}
