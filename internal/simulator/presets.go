package simulator

import "plumbline/quantity"

// Reference1V is the low-noise 1 V/g reference.
func Reference1V() Sensor {
	const g = quantity.StandardGravity
	return Sensor{
		Transducer: Transducer{
			Midband: 1 / g, HighPass: 0.01, Damping: 1, Resonance: 8e3, Quality: 25,
			Noise: Noise{White: 4e-7 * g, Corner: 5}, Bias: 0.01, Creep: 2e-3, CreepTime: 10, Drift: 5e-6,
		},
		Range: 5, Transverse: [2]float64{0.01, -0.006}, Arm: 1e-3, Warming: 0.0008, WarmTime: 12,
	}
}

// Reference100mV is the 100 mV/g back-to-back reference.
func Reference100mV() Sensor {
	return Sensor{Transducer: WorkingReference(), Range: 5, Transverse: [2]float64{0.01, 0.008}, Arm: 1e-3, Warming: 0.0008, WarmTime: 10}
}

// Device10V is the 10 V/g seismic accelerometer.
func Device10V() Sensor {
	return Sensor{
		Transducer: Seismic(), Creeps: []Creep{{3e-3, 45}}, Range: 5, Transverse: [2]float64{0.02, -0.015}, Arm: 2e-3, Warming: 0.003, WarmTime: 15,
	}
}

// X12 is the exciter X-12: 25 mm, voltage drive.
func X12() Shaker {
	s := X03()
	s.Armature, s.Payload, s.Stroke, s.Stop = 1.6, 0.8, 25e-3, 14e-3
	s.Force, s.Resistance = 12, 6.8
	return s
}

// X03 is the exciter X-03: 10 mm, 100 N, voltage drive, 1.2 kg moved. Hardening and asymmetry are such that one hertz at full stroke has 26 % third and 6 % second harmonic of the acceleration.
func X03() Shaker {
	return Shaker{
		Armature: 0.7, Payload: 0.5, Resonance: 2, Damping: 0.1, Stroke: 10e-3, Stop: 5.6e-3, Hardening: 0.19, Asymmetry: 0.03,
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

// FenwickLive is the live bench of the invented laboratory: exciter X-03, the 100 mV/g reference, a 10 V/g device, recorder D-8, switched on at time zero. The assumed values of FenwickLane hold.
func FenwickLive() Setup {
	return Setup{
		Shaker: X03(), Ground: Site(1), Reference: Reference100mV(), Device: Device10V(),
		Hum: Hum{Frequency: 50.01, Reference: 0.2e-3, Device: 1e-3, Harmonics: []float64{0.3, 0.2, 0, 0.1}}, Recorder: Recorder8(),
	}
}

// Warm is the same bench after hours: no creep, no drift, no warming up.
func (s Setup) Warm() Setup {
	s.Reference, s.Device = s.Reference.warm(), s.Device.warm()
	return s
}
