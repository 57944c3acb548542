package bench_test

import (
	"context"
	"math"
	"math/cmplx"
	"testing"

	"plumbline/bench"
	"plumbline/bench/benchtest"
	"plumbline/internal/simulator"
	"plumbline/quantity"
)

// fenwick is a run on the simulated bench of the invented laboratory.
func fenwick(t testing.TB, scene simulator.Scene, seed uint64, m *benchtest.Memory, o bench.Operator, steps ...bench.Step) (bench.Set, *simulator.Live, *simulator.Witness) {
	t.Helper()
	setup, err := scene.Setup()
	if err != nil {
		t.Fatal(err)
	}
	l, w, err := simulator.New(setup, seed)
	if err != nil {
		t.Fatal(err)
	}
	return bench.Set{
		Exciter: l, Digitizer: l, Archive: m, Operator: o, Steps: steps, Harmonics: 5, Drift: 1, Mains: 50, Quiet: 5,
		Limits:    bench.Limits{Drive: 0.6, Slew: 2, Level: fenwickLimit},
		Reference: bench.Input{Column: 1, Scale: 1, Limit: 4.95, Sensitivity: w.Reference},
		Device:    bench.Input{Column: 2, Scale: 1, Limit: 4.95, Sensitivity: w.Device},
	}, l, w
}

// fenwickLimit is what a stroke of 5 mm either way, 0.5 m/s and the force admit, m/s² peak.
func fenwickLimit(f float64) float64 {
	const g = quantity.StandardGravity
	omega := 2 * math.Pi * f
	return min(5e-3*omega*omega, 0.5*omega, 4*g) * 1.02
}

// ten is the set of ten points, 0.7 to 97 Hz, at the levels of the project's own study.
func ten() []bench.Step {
	const g = quantity.StandardGravity
	var steps []bench.Step
	for _, p := range [][2]float64{{0.7, 0.0099}, {1, 0.02}, {2, 0.081}, {3, 0.18}, {5, 0.3}, {10, 0.3}, {20, 0.3}, {40, 0.3}, {80, 0.3}, {97, 0.3}} {
		steps = append(steps, step(p[0], p[1]*g))
	}
	return steps
}

func TestTenPointsOnTheSimulatedBench(t *testing.T) {
	for _, c := range []struct {
		name      string
		reference string
		tauMax    float64
		most      float64 // s
	}{
		{"low noise", "1 V/g", 4, 140},   // 131 s are wanted, and the mean of twelve seeds
		{"100 mV/g", "100 mV/g", 4, 300}, // 234 s are wanted: the rule asks for 40 blocks where a block scatters by the target
	} {
		t.Run(c.name, func(t *testing.T) {
			if c.reference == "100 mV/g" && !soak() {
				return // twice as long
			}
			scene := simulator.Scene{Exciter: "X-03", Reference: c.reference, Site: 1, Warm: true}
			m, o := &benchtest.Memory{}, &benchtest.Script{}
			s, _, w := fenwick(t, scene, 5, m, o, ten()...)
			for i := range s.Steps {
				s.Steps[i].Judge.TauMax = c.tauMax
				s.Steps[i].Judge.Phase = 0
			}
			s.Watch = func(e bench.Event) {
				if e.Block != nil {
					t.Logf("%7.2f %s step %d: block %d level %.5g ln %.6f dist %.4g left %.3g", e.Seconds, e.Kind, e.Step, e.Block.Number, e.Block.Level, e.Block.LnRatio, e.Block.Distortion, e.Block.Left)
					return
				}
				t.Logf("%7.2f %s step %d: %s", e.Seconds, e.Kind, e.Step, e.Text)
			}
			r, err := bench.Run(context.Background(), s)
			if err != nil {
				t.Fatal(err, o.Asked)
			}
			for i, k := range r.Kept {
				f := s.Steps[i].Lines[0].Frequency
				got, want := k.Answers[0].LnRatio(), cmplx.Log(w.Ratio(f))
				t.Logf("%5g Hz: %5.2f s, %2d blocks, level off %+.3f %%, ln|r| off %+.4f %%, half width %.4f %%", f, k.Seconds, k.Answers[0].Blocks, 100*(k.Level[0]/s.Steps[i].Lines[0].Level-1), 100*real(got-want), 100*k.Answers[0].Modulus.HalfWidth)
			}
			t.Logf("%.1f s, quiet check of %g s included", r.Seconds, s.Quiet)
			if r.Seconds-s.Quiet > c.most {
				t.Errorf("%.1f s for ten points, at most %g s are wanted", r.Seconds-s.Quiet, c.most)
			}
		})
	}
}
