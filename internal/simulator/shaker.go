package simulator

import "math"

// Shaker is an electrodynamic exciter as it moves: an amplifier, a coil, a table on a suspension that grows stiffer with the stroke, and stops. The inductance of the coil is left out;
// it matters above R/(2πL), some kilohertz.
type Shaker struct {
	Armature   float64 // kg, moving mass without payload
	Payload    float64 // kg, transducers and fixture
	Resonance  float64 // Hz, of the suspension with Armature and Payload and small strokes
	Damping    float64 // of critical, mechanical; a voltage drive adds its own
	Stroke     float64 // m, peak to peak, rated
	Stop       float64 // distance of either stop from the middle over half the stroke, above 1; 0 none
	Hardening  float64 // cubic part of the spring force at full stroke, relative to the linear part
	Asymmetry  float64 // quadratic part of the spring force at full stroke, relative to the linear part
	Force      float64 // N/A, of the coil
	Resistance float64 // Ω, of the coil

	Current  bool        // the amplifier's output is a current (gain in A/V); otherwise a voltage (V/V), damped by the coil
	Gain     float64     // of the amplifier
	Noise    Noise       // V/√Hz or A/√Hz at the amplifier's output
	Clip     float64     // V or A, largest output of the amplifier; 0 none
	Limit    float64     // A, current limit; 0 none
	Latency  float64     // s, from the converter's queue to its output
	Ramp     float64     // s, of the generator from one amplitude to the next
	Tones    int         // most tones the converter puts out at once; 0 any number
	Skew     float64     // relative offset of the converter's clock: 30e-6 plays 30 ppm too fast
	Control  *Control    // nil: none, the level follows the drive
	Guidance [2]Guidance // motion across the axis, in two directions
	Rocking  Guidance    // its Share is rad/m, of rocking about the centre
}

// Guidance is motion across the axis, as a share of the motion along it, with the resonance of the guidance that lets it grow and turns its phase. Resonance 0: share and phase at every frequency.
type Guidance struct {
	Share     float64 // far below the resonance
	Resonance float64 // Hz
	Quality   float64
}

func (s Shaker) mass() float64 { return s.Armature + s.Payload }

// damper is the whole damping in N·s/m.
func (s Shaker) damper() float64 {
	c := 2 * s.Damping * 2 * math.Pi * s.Resonance * s.mass()
	if !s.Current {
		c += s.Force * s.Force / s.Resistance
	}
	return c
}

// Response is the acceleration in m/s² that one volt at the amplifier's input gives at f in Hz, for small strokes.
func (s Shaker) Response(f float64) complex128 {
	w, m := 2*math.Pi*f, s.mass()
	w0 := 2 * math.Pi * s.Resonance
	force := s.Gain * s.Force
	if !s.Current {
		force /= s.Resistance
	}
	return complex(-w*w*force, 0) / complex(m*(w0*w0-w*w), s.damper()*w)
}

// table is the moving part with what drives it. Displacement is relative to the body of the exciter.
type table struct {
	mass, damper, linear, square, cubic float64
	force                               float64 // N per unit of the amplifier's output
	back                                float64 // output units that a velocity of 1 m/s takes from it: volts, voltage drive only
	limit                               float64 // largest size of the output less what the velocity takes; +Inf none
	stop, wall, buffer                  float64 // m, N/m, s/m

	x, v, a, peak float64
	last          float64 // output of the amplifier at the last step
	stuck         bool
}

func newTable(s Shaker) table {
	m, w0 := s.mass(), 2*math.Pi*s.Resonance
	k, half := m*w0*w0, s.Stroke/2
	t := table{
		mass: m, damper: 2 * s.Damping * w0 * m, linear: k, square: s.Asymmetry * k / half, cubic: s.Hardening * k / (half * half),
		force: s.Force, limit: math.Inf(1), stop: math.Inf(1),
	}
	if s.Limit > 0 {
		t.limit = s.Limit
	}
	if !s.Current {
		t.force, t.back = s.Force/s.Resistance, s.Force
		t.limit *= s.Resistance
	}
	if s.Stop > 0 {
		const hard, dead = 400, 3 // Hz with the moving mass; s/m. Rubber on steel, assumed: of 0.3 m/s less than half comes back
		w := 2 * math.Pi * hard
		t.stop, t.wall, t.buffer = s.Stop*half, m*w*w, dead
	}
	return t
}

// acceleration is the equation of motion: coil, suspension, stop.
func (t *table) acceleration(out, x, v float64) float64 {
	drive := out - t.back*v
	if drive > t.limit {
		drive = t.limit
	} else if drive < -t.limit {
		drive = -t.limit
	}
	f := t.force*drive - t.damper*v - x*(t.linear+x*(t.square+x*t.cubic))
	if d := math.Abs(x) - t.stop; d > 0 {
		f -= math.Copysign(t.wall*d*max(0, 1+t.buffer*v*math.Copysign(1, x)), x) // after Hunt and Crossley (1975, from memory): it pushes and never pulls
	}
	return f / t.mass
}

// step goes h seconds on, the amplifier's output along a straight line to out (Runge and Kutta, fourth order). It returns the acceleration at the end.
func (t *table) step(out, h float64) float64 {
	if t.stuck {
		t.v, t.a, t.last = 0, 0, out
		return 0
	}
	from, middle := t.last, (t.last+out)/2
	x, v := t.x, t.v
	a1 := t.acceleration(from, x, v)
	v2 := v + h/2*a1
	a2 := t.acceleration(middle, x+h/2*v, v2)
	v3 := v + h/2*a2
	a3 := t.acceleration(middle, x+h/2*v2, v3)
	v4 := v + h*a3
	a4 := t.acceleration(out, x+h*v3, v4)
	t.x = x + h/6*(v+2*v2+2*v3+v4)
	t.v = v + h/6*(a1+2*a2+2*a3+a4)
	t.a, t.last = t.acceleration(out, t.x, t.v), out
	if p := math.Abs(t.x); p > t.peak {
		t.peak = p
	}
	return t.a
}
