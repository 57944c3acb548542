package sine

import (
	"math"
	"math/rand/v2"
	"testing"
)

// BenchmarkAccumulator approximates a recording of two channels in memory from the first sample to the ratio. testdata/bench_scipy.py does the same work.
func BenchmarkAccumulator(b *testing.B) {
	for _, c := range []struct {
		name string
		s    Settings
		T    float64
	}{
		{"mains", Settings{Rate: 48000, Frequency: 97, Harmonics: 5, Drift: 1, Mains: 50}, 20},
		{"plain", Settings{Rate: 48000, Frequency: 97, Harmonics: 5, Drift: 1}, 20},
		{"slow", Settings{Rate: 48000, Frequency: 1, Harmonics: 5, Drift: 1}, 20},
		{"low rate", Settings{Rate: 1000, Frequency: 1, Harmonics: 5, Drift: 1, Mains: 50}, 60},
	} {
		b.Run(c.name, func(b *testing.B) {
			n := int(c.T * c.s.Rate)
			c.s.Frames = int64(n)
			x := benchRecord(n, c.s)
			piece := make([][]float64, 2)
			for b.Loop() {
				a, err := NewAccumulator(c.s, 2)
				if err != nil {
					b.Fatal(err)
				}
				for i := 0; i < n; i += 8192 {
					for k := range piece {
						piece[k] = x[k][i:min(i+8192, n)]
					}
					if err := a.Add(piece); err != nil {
						b.Fatal(err)
					}
				}
				f, err := a.Fit()
				if err != nil {
					b.Fatal(err)
				}
				if _, err := f.Ratio(1, 0); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(b.N)*float64(2*n)/b.Elapsed().Seconds(), "samples/s")
		})
	}
}

func benchRecord(n int, s Settings) [][]float64 {
	r := rand.New(rand.NewPCG(1, 2))
	f := s.Frequency * (1 + 1e-6)
	return record(n, s.Rate, noisy(r, 1e-3, func(t float64) float64 { return 10 + math.Cos(2*math.Pi*f*t) + 0.01*math.Cos(100*math.Pi*t) }),
		noisy(r, 1e-3, func(t float64) float64 { return 2*math.Cos(2*math.Pi*f*t-0.3) + 0.01*math.Cos(100*math.Pi*t) }))
}

// BenchmarkAdd is the cost of the samples alone in steady work.
func BenchmarkAdd(b *testing.B) {
	s := Settings{Rate: 48000, Frequency: 97, Harmonics: 5, Drift: 1, Frames: 1 << 40}
	x := benchRecord(8192, s)
	a, err := NewAccumulator(s, 2)
	if err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	for b.Loop() {
		if err := a.Add(x); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.N)*2*8192/b.Elapsed().Seconds(), "samples/s")
}
