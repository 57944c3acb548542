package simulator

import (
	"fmt"
	"math"

	"plumbline/quantity"
)

// Reference1V is the low-noise 1 V/g reference.
func Reference1V() Sensor {
	const g = quantity.StandardGravity
	return Sensor{
		Transducer: Transducer{
			Midband: 1 / g, HighPass: 0.01, Damping: 1, Resonance: 8e3, Quality: 25,
			Noise: Noise{White: 4e-7 * g, Corner: 5}, Bias: 0.01, Creep: 2e-3, CreepTime: 10, Drift: 5e-6,
			Warming: 0.0008, WarmTime: 12,
		},
		Range: 5, Transverse: [2]float64{0.01, -0.006}, Arm: 1e-3,
	}
}

// Reference100mV is the 100 mV/g back-to-back reference.
func Reference100mV() Sensor {
	t := WorkingReference()
	t.Warming, t.WarmTime = 0.0008, 10
	return Sensor{Transducer: t, Range: 5, Transverse: [2]float64{0.01, 0.008}, Arm: 1e-3}
}

// Device10V is the 10 V/g seismic accelerometer.
func Device10V() Sensor {
	t := Seismic()
	t.Warming, t.WarmTime = 0.003, 15
	return Sensor{Transducer: t, Creeps: []Creep{{3e-3, 45}}, Range: 5, Transverse: [2]float64{0.02, -0.015}, Arm: 2e-3}
}

// X12 is the exciter X-12: 25 mm, voltage drive, 2.4 kg moved, the same distortion at its own full stroke.
func X12() Shaker {
	s := X03()
	s.Armature, s.Payload, s.Stroke = 1.6, 0.8, 25e-3
	s.Force, s.Resistance, s.Hardening, s.Asymmetry = 12, 6.8, 0.205, 0.0364
	return s
}

// X03 is the exciter X-03: 10 mm, 100 N, voltage drive, 1.2 kg moved. Hardening and asymmetry are such that one hertz at full stroke has 26 % third and 6 % second harmonic of the acceleration.
func X03() Shaker {
	return Shaker{
		Armature: 0.7, Payload: 0.5, Resonance: 2, Damping: 0.1, Stroke: 10e-3, Stop: 1.12, Hardening: 0.185, Asymmetry: 0.029,
		Force: 6, Resistance: 4.5, Gain: 10, Noise: Noise{White: 2e-6, Corner: 20}, Clip: 40, Limit: 16,
		Latency: 0.05, Ramp: 0.1,
		Guidance: [2]Guidance{{0.02, 340, 12}, {0.012, 510, 15}}, Rocking: Guidance{0.3, 420, 12},
	}
}

// Recorder8 is the recorder D-8: 24 bit, ±10 V, 2000 frames a second, 30 ppm fast.
func Recorder8() Recorder {
	return Recorder{Rate: 2000, Clock: 30e-6, FullScale: 10, Bits: 24, Noise: Noise{White: 1e-7, Corner: 10}}
}

// Site is the ground of the laboratory times a factor: 0.2 a quiet night, 1 a working day, 10 a workshop.
func Site(factor float64) Ground {
	g := QuietFloor()
	g.Density *= factor
	for i := range g.Machines {
		g.Machines[i].Level *= factor
	}
	return g
}

// Scene names a live bench of the invented laboratory.
type Scene struct {
	Exciter   string  // "X-12" or "X-03"
	Reference string  // "100 mV/g" or "1 V/g"
	Site      float64 // factor on the ground motion of the laboratory: 0.2, 1 or 10 in the studies
	Warm      bool    // switched on hours ago: no creep, no drift, no warming up
}

// Setup is the bench of the scene, with a 10 V/g device and recorder D-8. Its numbers are assumed values of the right size, not measured ones.
func (s Scene) Setup() (Setup, error) {
	setup := Setup{
		Ground: Site(s.Site), Device: Device10V(), Recorder: Recorder8(),
		Hum: Hum{Frequency: 50.01, Reference: 0.2e-3, Device: 1e-3, Harmonics: []float64{0.3, 0.2, 0, 0.1}},
	}
	switch s.Exciter {
	case "X-12":
		setup.Shaker = X12()
	case "X-03":
		setup.Shaker = X03()
	default:
		return Setup{}, fmt.Errorf("simulated bench: no exciter %q, there are X-12 and X-03", s.Exciter)
	}
	switch s.Reference {
	case "100 mV/g":
		setup.Reference = Reference100mV()
	case "1 V/g":
		setup.Reference = Reference1V()
	default:
		return Setup{}, fmt.Errorf("simulated bench: no reference of %q, there are 100 mV/g and 1 V/g", s.Reference)
	}
	if !(s.Site >= 0) || math.IsInf(s.Site, 1) {
		return Setup{}, fmt.Errorf("simulated bench: ground motion times %g, allowed are finite values from zero", s.Site)
	}
	if s.Warm {
		setup.Reference, setup.Device = setup.Reference.warm(), setup.Device.warm()
	}
	return setup, nil
}
