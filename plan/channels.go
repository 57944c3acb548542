package plan

import (
	"fmt"
	"math"
	"math/cmplx"

	"plumbline/calibration"
	"plumbline/quantity"
)

// Highest is the highest admissible level at f in Hz with the limit that sets it, m/s² peak.
func (r Request) Highest(f float64) (level float64, binding string, err error) {
	p := Point{Frequency: f}
	if err := r.limits(&p); err != nil {
		return 0, "", fmt.Errorf("limits at %g Hz: %w", f, err)
	}
	return p.Highest, p.Binding, nil
}

// Channel is one of the two channels as a live bench needs to know it.
type Channel struct {
	Sensitivity func(f float64) complex128     // V at the recorder per m/s² at f in Hz, as far as known
	Limit       float64                        // V peak at which the recorder, or the transducer before it, ends
	Noise       func(f, width float64) float64 // V expected within width Hz about f with the exciter silent; 0 not known
}

// Channels are those of the reference and of the device. Where the reference is not calibrated, and for harmonics, its nominal sensitivity counts.
func (r Request) Channels() (reference, device Channel) {
	ref, dut := r.Job.Reference, r.Job.Device
	reference = r.channel(ref.Transducer, r.Job.ReferenceChain, r.ReferenceNoise, func(f float64) complex128 {
		modulus, phase, err := ref.Sensitivity(f)
		if err != nil {
			return complex(ref.Nominal, 0) * decaying(ref.Transducer, f)
		}
		if math.IsNaN(phase) {
			phase = 0
		}
		return cmplx.Rect(modulus, phase)
	})
	device = r.channel(dut.Transducer, r.Job.DeviceChain, r.DeviceNoise, func(f float64) complex128 {
		return cmplx.Rect(dut.Nominal, dut.PhaseNominal) * decaying(dut.Transducer, f)
	})
	return reference, device
}

// decaying is the transfer of a first-order high-pass with the transducer's discharge time constant.
func decaying(t calibration.Transducer, f float64) complex128 {
	if !(t.TimeConstant > 0) {
		return 1
	}
	return 1 / complex(1, -1/(2*math.Pi*f*t.TimeConstant))
}

func (r Request) channel(t calibration.Transducer, c calibration.Chain, noise Density, own func(f float64) complex128) Channel {
	motion := motionOf(t)
	sensitivity := func(f float64) complex128 {
		gain, err := c.ModulusAt(f)
		if err != nil {
			gain = c.Gain()
		}
		return own(f) * complex(gain*quantity.Acceleration.To(motion, 1, f), 0) * turn(motion)
	}
	limit := c.FullScale()
	if t.Range > 0 {
		if volts := t.Range * t.Nominal * c.Gain(); limit == 0 || volts < limit {
			limit = volts
		}
	}
	return Channel{Sensitivity: sensitivity, Limit: limit, Noise: func(f, width float64) float64 {
		transducer, e1 := noise.At(f)
		recorder, e2 := r.RecorderNoise.At(f)
		ground, e3 := r.Site.At(f)
		if e1 != nil || e2 != nil || e3 != nil {
			return 0
		}
		perLevel := cmplx.Abs(sensitivity(f))
		transducer *= perLevel * motion.To(quantity.Acceleration, 1, f)
		return math.Sqrt(width * (transducer*transducer + recorder*recorder + ground*ground*perLevel*perLevel))
	}}
}

// turn is the direction of a motion of phase 0 in acceleration: velocity follows it by a quarter, displacement by half a cycle.
func turn(m quantity.Motion) complex128 {
	switch m {
	case quantity.Velocity:
		return -1i
	case quantity.Displacement:
		return -1
	}
	return 1
}
