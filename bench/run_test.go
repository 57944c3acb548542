package bench_test

import (
	"context"
	"fmt"
	"math"
	"math/cmplx"
	"testing"

	"plumbline/bench"
	"plumbline/bench/benchtest"
	"plumbline/steady"
)

// rule is the rule the tests judge by: half width of 0.1 %, tau_max of four blocks.
var rule = steady.Settings{Rule: steady.Wary, Modulus: 1e-3, Phase: 2e-3, TauMax: 4}

// step is a step of one line in blocks of two cycles, a quarter of a second at least.
func step(f, level float64) bench.Step {
	cycles := math.Max(2, math.Ceil(0.25*f-1e-9))
	return bench.Step{Points: []int{0}, Label: fmt.Sprintf("%g Hz", f), Lines: []bench.Line{{Frequency: f, Level: level}}, Judge: rule, Block: cycles / f, Longest: 60 + 60/f}
}

// highPass is the response of the World's device at f.
func highPass(w *benchtest.World, f float64) complex128 {
	if w.HighPass == 0 {
		return 1
	}
	return 1 / (1 - complex(0, w.HighPass/f))
}

// set is a run on a World.
func set(w *benchtest.World, m *benchtest.Memory, o bench.Operator, steps ...bench.Step) bench.Set {
	return bench.Set{
		Exciter: w, Digitizer: w, Archive: m, Operator: o, Steps: steps, Harmonics: 5, Drift: 1, Mains: 50,
		Limits:    bench.Limits{Drive: 5, Slew: 20, Level: func(f float64) float64 { return math.Min(30, 0.005*math.Pow(2*math.Pi*f, 2)) }},
		Reference: bench.Input{Column: 1, Scale: 1, Limit: 9.9, Sensitivity: func(float64) complex128 { return complex(w.Sensors[0], 0) }},
		Device:    bench.Input{Column: 2, Scale: 1, Limit: 9.9, Sensitivity: func(f float64) complex128 { return complex(w.Sensors[1], 0) * highPass(w, f) }},
	}
}

func TestRunKeepsSteadyPoints(t *testing.T) {
	w, m := benchtest.NewWorld(2000, 7), &benchtest.Memory{}
	w.HighPass = 0.05
	s := set(w, m, &benchtest.Script{}, step(0.7, 0.09), step(3, 1), step(10, 3), step(97, 3))
	s.Quiet = 2
	s.Watch = func(e bench.Event) {
		if e.Block != nil {
			t.Logf("%7.2f %s step %d: block %d level %.5g ln %.6f dist %.4g left %.3g", e.Seconds, e.Kind, e.Step, e.Block.Number, e.Block.Level, e.Block.LnRatio, e.Block.Distortion, e.Block.Left)
			return
		}
		t.Logf("%7.2f %s step %d: %s", e.Seconds, e.Kind, e.Step, e.Text)
	}
	r, err := bench.Run(context.Background(), s)
	if err != nil {
		t.Fatal(err)
	}
	if len(r.Kept) != len(s.Steps) {
		t.Fatalf("%d steps kept of %d", len(r.Kept), len(s.Steps))
	}
	for i, k := range r.Kept {
		l := s.Steps[i].Lines[0]
		if math.Abs(k.Level[0]/l.Level-1) > 0.01 {
			t.Errorf("%g Hz: level %.5g m/s², wanted %.5g m/s²", l.Frequency, k.Level[0], l.Level)
		}
		want := cmplx.Log(complex(w.Sensors[1]/w.Sensors[0], 0) * highPass(w, l.Frequency))
		got := k.Answers[0].LnRatio()
		if d := got - want; math.Abs(real(d)) > 2e-3 || math.Abs(imag(d)) > 4e-3 {
			t.Errorf("%g Hz: ln ratio %.6f, want %.6f", l.Frequency, got, want)
		}
	}
}
