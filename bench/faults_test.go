package bench_test

import (
	"context"
	"errors"
	"fmt"
	"testing"

	"plumbline/bench"
	"plumbline/bench/benchtest"
	"plumbline/internal/simulator"
	"plumbline/quantity"
)

// TestRunsOnTheSimulatedBench hands the bench of the invented laboratory to the suite of whole runs.
func TestRunsOnTheSimulatedBench(t *testing.T) {
	const g = quantity.StandardGravity
	benchtest.Runs(t, func(t *testing.T) benchtest.Bench {
		s, l, w := fenwick(t, simulator.Scene{Exciter: "X-03", Reference: "1 V/g", Site: 1, Warm: true}, 8, nil, nil, step(10, 0.3*g), step(3, 0.1*g))
		s.Quiet = 2
		plant := func(f simulator.Fault) func() {
			return func() {
				if err := l.Plant(f); err != nil {
					t.Error(err)
				}
			}
		}
		var out []float64
		rate := w.Tap(func(v float64) { out = append(out, v) })
		return benchtest.Bench{
			Rig: benchtest.Rig{
				Exciter: l, Digitizer: l, Frequency: 10, Amplitude: 0.05,
				Output: func() ([]float64, float64) { return out, rate },
				Unplug: plant(simulator.Fault{Kind: simulator.Unplugged}),
				Lose:   plant(simulator.Fault{Kind: simulator.Gap, Frames: 100}),
			},
			Set: s, Latency: 0.05,
			Pull: plant(simulator.Fault{Kind: simulator.Pulled, Channel: 1}),
		}
	})
}

// TestFaultsOnTheSimulatedBench plants faults at full level, at phases all over the cycle, and takes the time until the halt.
func TestFaultsOnTheSimulatedBench(t *testing.T) {
	const g = quantity.StandardGravity
	phases := 3
	if soak() {
		phases = 20
	}
	for _, c := range []struct {
		name  string
		fault simulator.Fault
	}{
		{"reference pulled", simulator.Fault{Kind: simulator.Pulled, Channel: 1}},
		{"device pulled", simulator.Fault{Kind: simulator.Pulled, Channel: 2}},
		{"reference flat", simulator.Fault{Kind: simulator.Flat, Channel: 1}},
		{"gain of the reference halved", simulator.Fault{Kind: simulator.Gain, Channel: 1, Size: 0.5}},
		{"table held", simulator.Fault{Kind: simulator.Stuck}},
		{"amplifier runs away", simulator.Fault{Kind: simulator.Runaway, Size: 2}},
	} {
		for _, p := range [][2]float64{{0.5, 0.005}, {1, 0.02}, {10, 0.2}, {97, 0.2}} {
			f := p[0]
			t.Run(fmt.Sprintf("%s, %g Hz", c.name, f), func(t *testing.T) {
				worst := 0.0
				for k := range phases {
					s, l, w := fenwick(t, simulator.Scene{Exciter: "X-03", Reference: "1 V/g", Site: 1, Warm: true}, uint64(k), &benchtest.Memory{}, &benchtest.Script{}, step(f, p[1]*g))
					at, level := 0.0, 0
					s.Watch = func(e bench.Event) {
						if e.Kind == "level" || level > 0 && e.Kind == "block" {
							level++
						}
						if level == 3 && at == 0 {
							fault := c.fault
							at = w.Now().Seconds + float64(k)/float64(phases)/f
							fault.At = at
							if err := l.Plant(fault); err != nil {
								t.Error(err)
							}
						}
					}
					halted := haltClock{Live: l, witness: w}
					s.Exciter = &halted
					_, err := bench.Run(context.Background(), s)
					if !errors.Is(err, bench.ErrUnsafe) || at == 0 || halted.at < at {
						t.Fatalf("fault at %.3f s, halt at %.3f s: %v", at, halted.at, err)
					}
					worst = max(worst, halted.at-at)
				}
				t.Logf("%s, %g Hz: %.3f s at most", c.name, f, worst)
				if limit := min(0.5, 2/f) + 0.05; worst > limit { // the bench shows what happens 50 ms late
					t.Errorf("halt after %.3f s, at most %.3f s are allowed", worst, limit)
				}
			})
		}
	}
}

// haltClock notes when the exciter was halted first.
type haltClock struct {
	*simulator.Live
	witness *simulator.Witness
	at      float64
}

func (h *haltClock) Halt() error {
	if h.at == 0 {
		h.at = h.witness.Now().Seconds
	}
	return h.Live.Halt()
}
