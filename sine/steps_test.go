package sine

import (
	"math"
	"math/cmplx"
	"testing"
)

// dropping is a tone whose recorder leaves out (positive) or repeats lost[k] samples at frame at[k].
func dropping(n int, rate, f, phase float64, at, lost []int) []float64 {
	x := make([]float64, n)
	gone := 0
	for i := range x {
		for k, a := range at {
			if i == a {
				gone += lost[k]
			}
		}
		x[i] = math.Cos(2*math.Pi*f*float64(i+gone)/rate + phase)
	}
	return x
}

// Truth: the simulated loss. Its size is known modulo one period, to the noise of the phase.
func TestDroppedSamples(t *testing.T) {
	for _, c := range []struct {
		name       string
		f, rate, T float64
		at, lost   []int
		place      float64 // tolerance, blocks
		size       float64 // tolerance, samples
	}{
		{"97 Hz, 20 samples", 97, 5000, 10, []int{23456}, []int{20}, 0.01, 1e-2},
		{"97 Hz, one sample", 97, 5000, 10, []int{23456}, []int{1}, 0.02, 1e-2},
		{"97 Hz, 20 samples twice over", 97, 5000, 10, []int{23456}, []int{-20}, 0.01, 1e-2},
		{"97 Hz, two losses", 97, 5000, 10, []int{23456, 35555}, []int{20, 7}, 0.01, 1e-2},
		{"5 kHz, one sample", 5000, 50000, 5, []int{153210}, []int{1}, 0.01, 1e-2},
		{"1 Hz, 0.2 s", 1, 1000, 30, []int{15321}, []int{200}, 0.2, 0.2},
		{"1 Hz, 5 ms", 1, 1000, 30, []int{15321}, []int{5}, 0.2, 0.2},
		{"1 Hz, 0.2 s between two blocks", 1, 1000, 30, []int{16000}, []int{200}, 0.01, 0.2},
		{"1 Hz, 0.2 s early", 1, 1000, 30, []int{4100}, []int{200}, 0.2, 0.2},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := seeded(t, 31)
			n := int(c.T * c.rate)
			x := [][]float64{dropping(n, c.rate, c.f, 0.2, c.at, c.lost), dropping(n, c.rate, c.f, 0.7, c.at, c.lost)}
			for i := range n {
				x[0][i] += 1e-3 * r.NormFloat64()
				x[1][i] = 2*x[1][i] + 1e-3*r.NormFloat64()
			}
			f, err := Approximate(source(x, 4096), 2, Settings{Rate: c.rate, Frequency: c.f, Harmonics: 5, Drift: 1, Mains: 50, Frames: int64(n)})
			if err != nil {
				t.Fatal(err)
			}
			if len(f.Steps) != len(c.at) {
				t.Fatalf("steps %+v, want at frames %v", f.Steps, c.at)
			}
			for k, s := range f.Steps {
				near(t, "frame", float64(s.Sample), float64(c.at[k]), c.place*float64(f.BlockSize)+2)
				near(t, "lost samples", s.Lost*c.rate, float64(c.lost[k]), c.size)
				if s.Time != float64(s.Sample)/c.rate || f.Blocks[s.Block].Time < s.Time || s.Block > 0 && f.Blocks[s.Block-1].Time > s.Time+float64(f.BlockSize)/c.rate {
					t.Errorf("step at %g s is said to lie before block %d at %g s", s.Time, s.Block, f.Blocks[s.Block].Time)
				}
			}
			// the frequency is not fooled: it stays within its uncertainty, the ratio too
			near(t, "frequency", f.Frequency, c.f, 5*f.FrequencyStd)
			q := ratioOf(t, f, 1, 0)
			near(t, "modulus of the ratio", cmplx.Abs(q.Value), 2, 2*6*q.Noise)
			near(t, "phase of the ratio", cmplx.Phase(q.Value), 0.5, 6*q.Noise)
			near(t, "amplitude", cmplx.Abs(f.Channels[0].Amplitude), 1, 6*f.Channels[0].Std)
			near(t, "phase at the first sample", cmplx.Phase(f.Channels[0].Amplitude), 0.2, 12*f.Channels[0].Std)
		})
	}
}

// A loss in a record long enough to merge blocks is kept, and blocks after it are not averaged with those before.
func TestDroppedSamplesMerged(t *testing.T) {
	r := seeded(t, 32)
	const n, rate = 40000, 200.
	at, lost := []int{7130, 30011}, []int{5, 3}
	x := [][]float64{dropping(n, rate, 5, 0.2, at, lost), dropping(n, rate, 5, 0.7, at, lost)}
	for i := range n {
		x[0][i] += 1e-3 * r.NormFloat64()
		x[1][i] += 1e-3 * r.NormFloat64()
	}
	a, err := NewAccumulator(Settings{Rate: rate, Frequency: 5, Harmonics: 3, Drift: 1, Block: 80, Frames: n}, 2)
	if err != nil {
		t.Fatal(err)
	}
	a.limit = 128
	addAll(t, a, x, 1000)
	f, err := a.Fit()
	if err != nil {
		t.Fatal(err)
	}
	if len(f.Steps) != 2 {
		t.Fatalf("steps %+v, want two", f.Steps)
	}
	for k, s := range f.Steps {
		near(t, "frame", float64(s.Sample), float64(at[k]), 2*float64(f.BlockSize)*float64(int(1)<<a.level))
		near(t, "lost samples", s.Lost*rate, float64(lost[k]), 0.02)
	}
	near(t, "frequency", f.Frequency, 5, 5*f.FrequencyStd)
	near(t, "amplitude", cmplx.Abs(f.Channels[0].Amplitude), 1, 1e-4)
	near(t, "ratio", cmplx.Abs(ratioOf(t, f, 1, 0).Value), 1, 1e-4)
}

// What is no step must not be taken for one: a phase that settles, a generator whose phase wanders, one disturbed block.
func TestNoSteps(t *testing.T) {
	r := seeded(t, 33)
	wander := 0.0
	for _, c := range []struct {
		name  string
		phase func(t float64) float64 // rad
	}{
		{"settling within 3 s", func(t float64) float64 { return 0.5 * math.Exp(-t/3) }},
		{"settling within 0.7 s", func(t float64) float64 { return 0.5 * math.Exp(-t/0.7) }},
		{"drifting generator", func(t float64) float64 { return 1e-4 * t * t }},
		{"random walk", func(float64) float64 { wander += 1e-4 * r.NormFloat64(); return wander }},
	} {
		x := [][]float64{make([]float64, 30000), make([]float64, 30000)}
		for i := range x[0] {
			p := 2*math.Pi*3*float64(i)/1000 + c.phase(float64(i)/1000)
			x[0][i] = math.Cos(p) + 1e-4*r.NormFloat64()
			x[1][i] = math.Cos(p+0.3) + 1e-4*r.NormFloat64()
		}
		for k := range 40 { // one knock, in one block
			x[0][17000+k] += 0.5
		}
		f := accumulate(t, x, Settings{Rate: 1000, Frequency: 3, Harmonics: 3, Drift: 1, Frames: 30000}, 5000)
		if len(f.Steps) > 0 {
			t.Errorf("%s: %+v", c.name, f.Steps)
		}
		near(t, c.name+": ratio", cmplx.Abs(ratioOf(t, f, 1, 0).Value), 1, 1e-4)
	}
}
