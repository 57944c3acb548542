package simulator

import (
	"math"
	"math/cmplx"
)

// Control is the level control that some exciters have built in: it brings the acceleration to what the drive asks for, slowly and with an overshoot.
type Control struct {
	Level   float64 // m/s² for each volt of the drive
	Cycles  float64 // time constant, cycles
	Damping float64 // of critical; 0.5 overshoots once
	Start   float64 // relative error at the first moment of a new frequency: 0.3 begins 30 % too low
}

// loop compares mean squares of drive and motion, each through a low-pass of half the time constant, and moves the logarithm of its gain at a rate proportional to the
// difference of theirs: a loop of second order whose envelope falls as exp(-t/τ).
type loop struct {
	Control
	shaker         Shaker
	h              float64
	frequency      float64
	log, slow, way float64 // ln of the gain; weight of a sample in the low-passes; ln gain per step and unit of difference
	asked, got     float64 // mean squares, (m/s²)²
}

func newLoop(c Control, s Shaker, h float64) *loop { return &loop{Control: c, shaker: s, h: h} }

// tune prepares for a tone of f in Hz.
func (l *loop) tune(f float64) {
	if f == l.frequency {
		return
	}
	tau := l.Cycles / f
	l.frequency = f
	l.slow = 1 - math.Exp(-2*l.h/tau)
	l.way = l.h / (2 * tau * l.Damping * l.Damping)
	l.log = math.Log((1 - l.Start) * l.Level / cmplx.Abs(l.shaker.Response(f)))
	l.asked, l.got = 0, 0
}

// step is the drive after the control; a is the acceleration of the table.
func (l *loop) step(u, a float64) float64 {
	if l.frequency == 0 {
		return u
	}
	l.asked += l.slow * (square(l.Level*u) - l.asked)
	l.got += l.slow * (a*a - l.got)
	const least = 1e-12
	if l.asked > least && l.got > least {
		l.log += l.way * max(-1, min(1, math.Log(l.asked/l.got)/2))
	}
	return u * math.Exp(l.log)
}
