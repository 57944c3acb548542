package scpi

import (
	"fmt"
	"os"
	"testing"

	"plumbline/bench/benchtest"
	"plumbline/internal/driver/scpi/scpitest"
)

// The instruments of the contract: 2000 frames per second, steps of 50 mV up to 1 V.
const contractRate = 2000

func contractGenerator() Generator {
	d := StandardGenerator()
	d.Setup = []string{"SOURce:VOLTage:UNIT VPP"}
	d.Unit, d.Largest, d.StepTime = "peak-to-peak", 1, 0.001
	return d
}

func contractDigitizer() Sampler {
	d := StandardDigitizer()
	d.Index, d.FullScale = "DATA:INDex?", 10
	d.OverflowErrors = []int{301}
	return d
}

// rig is generator and digitizer in one scriptable instrument, wired with gains of 1 and 0.5.
func rig(t *testing.T, paced bool) benchtest.Rig {
	t.Helper()
	w := scpitest.NewWorld(contractRate, 2, paced, scpitest.Wire(1e-3, 1, 0.5))
	w.Keep()
	in, err := scpitest.Start(w, scpitest.Config{Generator: true, Inputs: []int{0, 1}})
	must(t, err)
	t.Cleanup(in.Close)
	d, s := contractGenerator(), contractDigitizer()
	d.Limit, s.Limit = 3, 3 // the machine may be busy
	e, err := OpenExciter(t.Context(), in.Address(), d)
	must(t, err)
	t.Cleanup(func() { e.Close() })
	g, err := OpenDigitizer(t.Context(), []string{in.Address()}, s, Sampling{Rate: contractRate})
	must(t, err)
	t.Cleanup(func() { g.Close() })
	return benchtest.Rig{
		Exciter: e, Digitizer: g, Frequency: 10, Amplitude: 0.8, Tones: 1, Floor: 2e-3,
		Slew:   0.05 * contractRate, // a step of the amplitude is a jump
		Output: func() ([]float64, float64) { return w.Sounds(), contractRate },
		Unplug: in.Close,
		Lose:   func() { in.Provoke(scpitest.Fault{Do: scpitest.Overflow, On: "DATA:REM", Skip: 2, Times: 1, By: 1}) },
		Stall:  func() { in.Provoke(scpitest.Fault{Do: scpitest.Silence}) },
	}
}

// worlds are those in which the contract is tried: one where time passes by itself, and with PLUMBLINE_SOAK one that goes by the clock besides.
func worlds(t *testing.T, try func(*testing.T, benchtest.Factory)) {
	paces := []bool{false}
	if os.Getenv("PLUMBLINE_SOAK") != "" {
		paces = append(paces, true)
	}
	for _, paced := range paces {
		t.Run(fmt.Sprintf("paced %v", paced), func(t *testing.T) {
			try(t, func(t *testing.T) benchtest.Rig { return rig(t, paced) })
		})
	}
}

func TestExciterKeepsTheContract(t *testing.T)   { worlds(t, benchtest.Exciter) }
func TestDigitizerKeepsTheContract(t *testing.T) { worlds(t, benchtest.Digitizer) }
