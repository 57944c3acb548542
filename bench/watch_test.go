package bench_test

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"testing"

	"plumbline/bench"
	"plumbline/bench/benchtest"
)

// levelAt is a level the World reaches well within its limits at f, m/s² peak.
func levelAt(f float64) float64 {
	return math.Min(3, 0.0025*math.Pow(2*math.Pi*f, 2))
}

// nonlinear is a World with a suspension that makes some ten per cent of third harmonic at full stroke, noisy transducers and a slow device.
func nonlinear(rate float64, seed uint64) *benchtest.World {
	w := benchtest.NewWorld(rate, seed)
	w.Cubic, w.HighPass = 2e7, 0.05
	w.Noise = [2]float64{3e-5, 3e-5}
	return w
}

// soak says that the long tests are asked for.
func soak() bool { return os.Getenv("PLUMBLINE_SOAK") != "" }

// pulled runs a step and takes the reference's cable away at a time after the given event of the run; it returns how long the run went on, s.
func pulled(t *testing.T, w *benchtest.World, f float64, kind string, after float64, fault benchtest.Fault) float64 {
	t.Helper()
	o := &benchtest.Script{}
	s := set(w, &benchtest.Memory{}, o, step(f, levelAt(f)))
	at, blocks, level := 0.0, 0, false
	s.Watch = func(e bench.Event) {
		if e.Kind == "level" {
			level = true
		}
		if e.Kind == "block" && level {
			blocks++
		}
		if at == 0 && e.Kind == kind && (kind != "block" || blocks == 2) {
			at = w.Seconds() + after
			w.Later(at, fault)
		}
	}
	_, err := bench.Run(context.Background(), s)
	if !errors.Is(err, bench.ErrUnsafe) {
		t.Fatalf("%g Hz, %.3f s after %q: %v, want a stop by the watch; questions %v", f, after, kind, err, o.Asked)
	}
	if at == 0 || w.HaltedAt() < at {
		t.Errorf("%g Hz: halted before the fault: %v", f, err)
	}
	return w.HaltedAt() - at
}

// TestPulledCableStopsTheRun takes the reference's cable away at full level and in the middle of the soft start, at phases all over the cycle: the run halts within two
// cycles and half a second, where both hold, and within half a second at low frequencies.
func TestPulledCableStopsTheRun(t *testing.T) {
	const seed = 20
	t.Logf("seed %d", seed)
	n := 8
	if soak() {
		n = 200
	}
	for _, f := range []float64{0.1, 0.5, 1, 10, 100} {
		for _, kind := range []string{"block", "check"} {
			var delays []float64
			for k := range n {
				after := float64(k) / float64(n) / f
				if kind == "check" {
					after = 0.35/f + 0.15 + 0.5*after // the soft start takes a cycle
				}
				w := nonlinear(2000, seed+uint64(k))
				for c := range w.Noise {
					w.Noise[c] = min(w.Noise[c], 0.03*levelAt(f)*w.Sensors[c])
				}
				delays = append(delays, pulled(t, w, f, kind, after, benchtest.Fault{Pulled: [2]bool{true, false}}))
			}
			slices.Sort(delays)
			t.Logf("%5g Hz after %s: median %.3f s, largest %.3f s", f, kind, delays[len(delays)/2], delays[len(delays)-1])
			limit := min(0.5, 2/f)
			if kind == "check" && f < 0.5 {
				limit += 0.4 / f // the waveform of a soft start is not known, and the channels pass their zeros apart: it takes until a channel that lives must move
			}
			if worst := delays[len(delays)-1]; worst > limit {
				t.Errorf("%g Hz, %s: %.3f s until the halt", f, kind, worst)
			}
		}
	}
}

// TestHealthyRunsAreNotStopped runs healthy Worlds of random properties.
func TestHealthyRunsAreNotStopped(t *testing.T) {
	const seed = 21
	rng := rand.New(rand.NewPCG(seed, 0))
	n := 4
	if soak() {
		n = 1000
	}
	stopped, asked := 0, 0
	for k := range n {
		w := nonlinear(2000, rng.Uint64())
		w.Resonance, w.Damping = 2+6*rng.Float64(), 0.2+0.6*rng.Float64()
		w.Delay = rng.IntN(600)
		w.Cubic *= 0.5 * rng.Float64() // more changes the response by more than the watch admits
		w.Noise = [2]float64{3e-5 * rng.Float64(), 1e-4 * rng.Float64()}
		w.Warming, w.WarmTime = 0.01*rng.Float64(), 5+20*rng.Float64()
		o := &benchtest.Script{}
		for range 20 {
			o.Answers = append(o.Answers, bench.Decision{Choice: bench.Skip, Name: "script"})
		}
		s := set(w, &benchtest.Memory{}, o, step(0.5, levelAt(0.5)), step(0.7, levelAt(0.7)), step(1, levelAt(1)), step(2, levelAt(2)), step(3, levelAt(3)), step(5, levelAt(5)), step(10, 3), step(40, 3), step(97, 3))
		if _, err := bench.Run(context.Background(), s); err != nil {
			stopped++
			t.Logf("run %d (resonance %.2f Hz, damping %.2f, cubic %.3g, noise %.2g, delay %d): %v", k, w.Resonance, w.Damping, w.Cubic, w.Noise, w.Delay, err)
		}
		for _, q := range o.Asked {
			t.Logf("run %d: %s: %s", k, q.Step.Label, q.Why)
		}
		asked += len(o.Asked)
	}
	t.Logf("seed %d: %d of %d runs stopped, %d questions", seed, stopped, n, asked)
	if stopped > 0 {
		t.Errorf("%d of %d healthy runs stopped", stopped, n)
	}
}

// TestFaultsStopTheRun makes each fault once at full level.
func TestFaultsStopTheRun(t *testing.T) {
	for _, c := range []struct {
		name  string
		fault benchtest.Fault
	}{
		{"device pulled", benchtest.Fault{Pulled: [2]bool{false, true}}},
		{"reference stuck", benchtest.Fault{Stuck: [2]bool{true, false}}},
		{"device stuck", benchtest.Fault{Stuck: [2]bool{false, true}}},
		{"clipped", benchtest.Fault{Clip: 0.5}}, // of the level
		{"half the response", benchtest.Fault{Factor: 0.5}},
		{"one and a half times the response", benchtest.Fault{Factor: 1.6}},
	} {
		for _, f := range []float64{1, 10, 100} {
			t.Run(fmt.Sprintf("%s, %g Hz", c.name, f), func(t *testing.T) {
				w, fault := nonlinear(2000, 3), c.fault
				fault.Clip *= levelAt(f) * w.Sensors[0]
				if d := pulled(t, w, f, "block", 0.3/f, fault); d > 0.5 {
					t.Errorf("%.3f s until the halt", d)
				}
			})
		}
	}
}
