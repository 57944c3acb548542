package bench_test

import (
	"context"
	"math"
	"math/cmplx"
	"testing"

	"pgregory.net/rapid"

	"plumbline/bench"
	"plumbline/bench/benchtest"
)

// witness sees every drive a run asks for, and when.
type witness struct {
	*benchtest.World
	limits  bench.Limits
	last    bench.Signal
	at      float64
	offence string
}

func (w *witness) Drive(ctx context.Context, s bench.Signal) error {
	t := w.Seconds()
	if p := s.Peak(); p > w.limits.Drive*(1+1e-9) {
		w.offence = "beyond the cap"
	}
	before := map[float64]float64{}
	for _, q := range w.last {
		before[q.Frequency] = cmplx.Abs(q.Amplitude)
	}
	var growth float64
	for _, q := range s {
		growth += max(0, cmplx.Abs(q.Amplitude)-before[q.Frequency])
	}
	if growth > w.limits.Slew*(t-w.at)*(1+1e-9)+1e-12 {
		w.offence = "faster than the slew"
	}
	w.last, w.at = s, t
	return w.World.Drive(ctx, s)
}

// TestDriveStaysWithinLimits runs tables whose response changes at random in the middle of runs, through random delays, and looks at every drive asked for.
func TestDriveStaysWithinLimits(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w := benchtest.NewWorld(2000, rapid.Uint64().Draw(t, "seed"))
		w.Delay = rapid.IntRange(0, 1500).Draw(t, "delay")
		w.Resonance = rapid.Float64Range(1, 60).Draw(t, "resonance")
		w.Damping = rapid.Float64Range(0.05, 1.5).Draw(t, "damping")
		w.Gain = math.Pow(10, rapid.Float64Range(-1, 3).Draw(t, "gain"))
		factors := rapid.SliceOfN(rapid.Float64Range(-3, 3), 1, 20).Draw(t, "factors")
		hold := rapid.IntRange(1, 200).Draw(t, "reads for each factor")
		k := 0
		w.Response = func() float64 {
			k++
			return factors[k/hold%len(factors)]
		}
		p := step(rapid.SampledFrom([]float64{1, 5, 20, 90}).Draw(t, "frequency"), 0)
		f := p.Lines[0].Frequency
		p.Lines[0].Level, p.Longest, p.Distortion = levelAt(f), 20, rapid.SampledFrom([]float64{0, 0.01}).Draw(t, "distortion")
		o := &benchtest.Script{Answers: []bench.Decision{{Choice: bench.Again}, {Choice: bench.Lower}, {Choice: bench.Longer}}}
		s := set(w, &benchtest.Memory{}, o, p)
		s.Limits.Drive = math.Pow(10, rapid.Float64Range(-2, 1).Draw(t, "cap"))
		s.Limits.Slew = s.Limits.Drive * rapid.Float64Range(0.2, 10).Draw(t, "slew")
		x := &witness{World: w, limits: s.Limits}
		s.Exciter = x
		_, err := bench.Run(context.Background(), s)
		if x.offence != "" {
			t.Fatalf("a drive %s; the run ended with %v", x.offence, err)
		}
		if n := len(x.last); n > 0 && x.last.Peak() > 0 && w.HaltedAt() == 0 {
			t.Fatal("the run left the exciter on")
		}
	})
}
