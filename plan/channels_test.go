package plan_test

import (
	"math"
	"math/cmplx"
	"testing"
)

// TestChannels: what a live bench is told of the channels of the study follows from its transducers.
func TestChannels(t *testing.T) {
	r := study(t, false)
	r.Job.Device.TimeConstant = 1 / (2 * math.Pi) // a high-pass of first order that is down by √2 and 45° ahead at 1 Hz
	reference, device := r.Channels()
	if z := reference.Sensitivity(20); cmplx.Abs(z-complex(0.1/g, 0)) > 1e-9 {
		t.Errorf("reference %v V/(m/s²), want that of its certificate", z)
	}
	if z := reference.Sensitivity(5000); cmplx.Abs(z-complex(0.1/g, 0)) > 1e-9 {
		t.Errorf("reference %v V/(m/s²) where it is not calibrated, want the nominal one", z)
	}
	if z, want := device.Sensitivity(1), cmplx.Rect(10/g/math.Sqrt2, math.Pi/4); cmplx.Abs(z-want) > 1e-12 {
		t.Errorf("device %v V/(m/s²), want %v", z, want)
	}
	within(t, "limit of the reference's channel", reference.Limit, 10, 1e-12)
	within(t, "limit of the device's channel, by its range of 0.5 g", device.Limit, 5, 1e-12)
	// at 10 Hz: 1.5e-6 g √(1+100/10) of the reference and 1.4e-5 g of the ground at 0.1 V/g, 1e-7 √(1+10/10) V of the recorder
	want := math.Sqrt(4) * math.Hypot(0.1*math.Hypot(1.5e-6*math.Sqrt(11), 1.4e-5), 1e-7*math.Sqrt2)
	within(t, "noise of the reference's channel in 4 Hz", reference.Noise(10, 4), want, 1e-9)
	level, binding, err := r.Highest(1)
	if err != nil || binding != "stroke" {
		t.Errorf("1 Hz: %q, %v", binding, err)
	}
	within(t, "highest level at 1 Hz", level, 5e-3*4*math.Pi*math.Pi, 1e-12) // 5 mm peak
	if _, _, err := r.Highest(5000); err == nil {
		t.Error("a level is admitted where the reference is not calibrated")
	}
}
