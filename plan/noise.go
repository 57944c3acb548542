package plan

import (
	"fmt"
	"math"

	"plumbline/calibration"
	"plumbline/quantity"
)

// Noise is the noise of the ratio at one point: amplitude densities referred to the level, relative, in 1/√Hz. Ground motion common to both transducers
// cancels in the ratio; only the share that acts on each alone counts.
type Noise struct {
	Reference, Device                 float64 // self-noise
	ReferenceRecorder, DeviceRecorder float64
	Ground                            float64 // not common, of both transducers together
}

// Total is e of u(ln|r|) = e/√T: the root of the sum of squares.
func (n Noise) Total() float64 {
	return math.Sqrt(n.Reference*n.Reference + n.Device*n.Device + n.ReferenceRecorder*n.ReferenceRecorder + n.DeviceRecorder*n.DeviceRecorder + n.Ground*n.Ground)
}

// TimeFor is the measuring time in s after which the standard uncertainty of ln|r| is std: T = (e/u)², the Cramer-Rao bound of a sine in white noise.
func (n Noise) TimeFor(std float64) float64 {
	q := n.Total() / std
	return q * q
}

// motionOf is the quantity of motion a transducer senses; acceleration where its unit does not tell.
func motionOf(t calibration.Transducer) quantity.Motion {
	if _, input, ok := t.Unit.Per(); ok {
		if m, known := quantity.MotionOf(input); known {
			return m
		}
	}
	return quantity.Acceleration
}

// signal is the voltage at the recorder for 1 m/s² at f, of one transducer with its chain.
func signal(t calibration.Transducer, sensitivity float64, c calibration.Chain, f float64) (float64, error) {
	gain, err := c.ModulusAt(f)
	if err != nil {
		return 0, err
	}
	return quantity.Acceleration.To(motionOf(t), 1, f) * sensitivity * gain, nil
}

// signals are the volts at the recorder for 1 m/s² at f, of the reference (0 where only its stated level is used) and of the device.
func (r Request) signals(f float64) (reference, device float64, err error) {
	if !r.Job.Reference.StatesLevel {
		s, _, err := r.Job.Reference.Sensitivity(f)
		if err != nil {
			return 0, 0, err
		}
		if reference, err = signal(r.Job.Reference.Transducer, s, r.Job.ReferenceChain, f); err != nil {
			return 0, 0, err
		}
	}
	device, err = signal(r.Job.Device.Transducer, r.Job.Device.Nominal, r.Job.DeviceChain, f)
	return reference, device, err
}

// noise is the noise of the ratio at f and a level in m/s² peak.
func (r Request) noise(f, level float64) (n Noise, err error) {
	reference, device, err := r.signals(f)
	if err != nil {
		return n, err
	}
	at := func(name string, d Density, perUnit float64, into *float64) {
		v, e := d.At(f)
		if e != nil && err == nil {
			err = fmt.Errorf("%s: %w", name, e)
		}
		*into = v * perUnit / level
	}
	own := func(t calibration.Transducer) float64 { return motionOf(t).To(quantity.Acceleration, 1, f) }
	at("self-noise of device "+r.Job.Device.Serial, r.DeviceNoise, own(r.Job.Device.Transducer), &n.Device)
	at("noise of the recorder", r.RecorderNoise, 1/device, &n.DeviceRecorder)
	if !r.Job.Reference.StatesLevel {
		at("self-noise of reference "+r.Job.Reference.Serial, r.ReferenceNoise, own(r.Job.Reference.Transducer), &n.Reference)
		at("noise of the recorder", r.RecorderNoise, 1/reference, &n.ReferenceRecorder)
	}
	ground, e := r.Site.At(f)
	if e != nil && err == nil {
		err = e
	}
	n.Ground = math.Sqrt2 * r.Site.NotCommon * ground / level
	if r.Job.Reference.StatesLevel { // nothing cancels what the stated level does not hold
		n.Ground = ground / level
	}
	return n, err
}
