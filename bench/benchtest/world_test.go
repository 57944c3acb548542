package benchtest_test

import (
	"testing"

	"plumbline/bench/benchtest"
)

func worldRig(*testing.T) benchtest.Rig {
	w := benchtest.NewWorld(2000, 1)
	return benchtest.Rig{
		Exciter: w, Digitizer: w, Frequency: 10, Amplitude: 1, Slew: 1 / w.Ramp, Dry: true,
		Output: func() ([]float64, float64) { return w.Output(), w.Rate },
		Unplug: func() { w.Fault(benchtest.Fault{Gone: true}) },
		Lose:   func() { w.Lose(100) },
	}
}

func TestWorldIsAnExciter(t *testing.T)  { benchtest.Exciter(t, worldRig) }
func TestWorldIsADigitizer(t *testing.T) { benchtest.Digitizer(t, worldRig) }
