package benchtest_test

import (
	"testing"

	"plumbline/bench"
	"plumbline/bench/benchtest"
	"plumbline/steady"
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

// worldBench is a World with two steps.
func worldBench(t *testing.T) benchtest.Bench {
	r := worldRig(t)
	w := r.Exciter.(*benchtest.World)
	sensitivity := func(c int) func(float64) complex128 {
		return func(float64) complex128 { return complex(w.Sensors[c], 0) }
	}
	rule := steady.Settings{Rule: steady.Wary, Modulus: 1e-3, TauMax: 4}
	return benchtest.Bench{
		Rig: r, Latency: 0.15,
		Set: bench.Set{
			Limits:    bench.Limits{Drive: 1, Slew: 10, Level: func(float64) float64 { return 20 }},
			Reference: bench.Input{Column: 1, Scale: 1, Limit: 9.9, Sensitivity: sensitivity(0)},
			Device:    bench.Input{Column: 2, Scale: 1, Limit: 9.9, Sensitivity: sensitivity(1)},
			Steps: []bench.Step{
				{Points: []int{0}, Label: "10 Hz", Lines: []bench.Line{{Frequency: 10, Level: 3}}, Judge: rule, Block: 0.3, Longest: 60},
				{Points: []int{1}, Label: "2 Hz", Lines: []bench.Line{{Frequency: 2, Level: 1}}, Judge: rule, Block: 1, Longest: 90},
			},
			Quiet: 1, Harmonics: 3, Drift: 1, Mains: 50,
		},
		Pull: func() { w.Fault(benchtest.Fault{Pulled: [2]bool{true, false}}) },
	}
}

func TestRunsOnTheWorld(t *testing.T) { benchtest.Runs(t, worldBench) }
