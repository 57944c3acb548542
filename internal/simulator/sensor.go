package simulator

import (
	"math"
	"math/rand/v2"
)

// Sensor is a transducer on the table with what its equation leaves out: more creep, range, motion across its axis.
type Sensor struct {
	Transducer
	Creeps     []Creep    // of the bias, on top of the transducer's one
	Range      float64    // V, largest output either way, bias included; 0 none
	Transverse [2]float64 // sensitivity across the axis in two directions, relative to the sensitivity along it
	Arm        float64    // m, by which it sits beside the centre: rocking acts along its axis
}

// warm is the sensor some hours later.
func (s Sensor) warm() Sensor {
	s.Creep, s.Creeps, s.Warming, s.Drift = 0, nil, 0, 0
	return s
}

// lane is one channel from the table to the frames.
type lane struct {
	sensor   Sensor
	own      hiss         // self-noise, m/s²
	ground   tremor       // the share of the ground that is not common
	machine  []complex128 // lines of the ground seen here, relative to the common phasor
	mounting mounting
	high     highPass
	highPass bool
	bias     decay
	warming  decay
	drift    float64 // V per step
	drifted  float64
	couple   coupling
	coupled  bool
	gain     float64
	window   window
	noise    hiss // of the recorder, V
	hum      []complex128
	quantum  float64 // V, of the recorder; 0 none
	top      float64 // codes on either side of zero
	fault    laneFault
	queue    []float64 // frames ready to be read
}

func newLane(s Setup, c int, h float64, random func() *rand.Rand) lane {
	sensor := [channels]Sensor{s.Reference, s.Device}[c]
	r := s.Recorder
	l := lane{
		sensor: sensor, gain: r.Gain[c],
		own:    newHiss(sensor.Noise, h, random()),
		ground: newTremor(s.Ground, s.Ground.NotCommon, h*float64(s.oversampling()), random()),
		bias:   newDecay(append([]Creep{{sensor.Creep, max(sensor.CreepTime, h)}}, sensor.Creeps...), h),
		drift:  sensor.Drift * h,
		noise:  newHiss(r.Noise, h*float64(s.oversampling()), random()),
	}
	if l.gain == 0 {
		l.gain = 1
	}
	if sensor.CreepTime <= 0 {
		l.bias.size[0] = 0
	}
	if sensor.InvertedAxis {
		l.sensor.Midband = -sensor.Midband
	}
	if sensor.Warming != 0 && sensor.WarmTime > 0 {
		l.warming = newDecay([]Creep{{sensor.Warming, sensor.WarmTime}}, h)
	}
	l.mounting = newMounting(sensor.Transducer, h)
	if l.highPass = sensor.HighPass > 0; l.highPass {
		l.high = newHighPass(sensor.HighPass, sensor.Damping, h)
	}
	if l.coupled = r.Coupling[c] > 0; l.coupled {
		l.couple = newCoupling(r.Coupling[c], h)
	}
	reach := int(math.Ceil(max(math.Abs(r.Delay[0]), math.Abs(r.Delay[1])) / h))
	l.window = newWindow(newKernel(s.oversampling(), r.Delay[c]/h, reach))
	l.quantum, l.top = r.Step(), math.Ldexp(1, r.Bits-1)
	return l
}

// motion is what acts on a sensor at one step, m/s² and rad/s².
type motion struct {
	along   float64
	across  [2]float64
	rocking float64
}

// step takes the motion of one step and the share of the ground that is this channel's.
func (l *lane) step(m motion, ground float64) {
	x := m.along + ground + m.across[0]*l.sensor.Transverse[0] + m.across[1]*l.sensor.Transverse[1] + m.rocking*l.sensor.Arm + l.own.next()
	x = l.fault.mount(l.mounting.step(x))
	if l.highPass {
		x = l.high.step(x)
	}
	x *= l.sensor.Midband * (1 + l.warming.next())
	x += l.sensor.Bias + l.bias.next() + l.drifted
	l.drifted += l.drift
	x = l.fault.saturate(x)
	if r := l.sensor.Range; r > 0 {
		x = max(-r, min(r, x))
	}
	if l.coupled {
		x = l.couple.step(x)
	}
	x = l.fault.condition(x)
	l.window.add(x * l.gain)
}

// transducer is its sensitivity as it is simulated, V per m/s² along the axis, warm, at f in Hz.
func (l *lane) transducer(f, h float64) complex128 {
	s := complex(l.sensor.Midband, 0) * l.mounting.at(f, h)
	if l.highPass {
		s *= l.high.at(f, h)
	}
	return s
}

// chain is the transfer from the transducer's output to the samples at f in Hz, without the delay that both channels share.
func (l *lane) chain(f, h float64) complex128 {
	s := complex(l.gain, 0) * l.window.at(f, h)
	if l.coupled {
		s *= l.couple.at(f, h)
	}
	return s
}

// frame is the recorder's sample: pickup is what mains and the like add to it, V.
func (l *lane) frame(pickup float64) float64 {
	v := l.window.frame() + pickup + l.noise.next()
	if l.fault.click > 0 {
		l.fault.click--
		v += l.fault.burst
	}
	if limit := l.fault.clip; limit > 0 {
		v = max(-limit, min(limit, v))
	}
	if q := l.quantum; q > 0 {
		v = q * max(-l.top, min(l.top-1, math.RoundToEven(v/q)))
	}
	return l.fault.hold(v)
}
