package bench

import (
	"math"
	"math/rand/v2"
	"testing"
)

// TestQuietWithoutMains: hum a little off its nominal frequency, with harmonics, is no noise about a frequency between its lines; noise stays noise.
func TestQuietWithoutMains(t *testing.T) {
	const rate, noise, seed = 2000.0, 5e-6, 8
	t.Logf("seed %d", seed)
	rng := rand.New(rand.NewPCG(seed, 1))
	x := make([]float64, 10*int(rate))
	for i := range x {
		at := float64(i) / rate
		x[i] = 0.02 + noise*rng.NormFloat64()
		for h, a := range []float64{2e-4, 6e-5, 4e-5} {
			x[i] += a * math.Sin(2*math.Pi*50.01*float64(h+1)*at)
		}
	}
	hum, _ := band(x, 80, rate)
	l, ok := band(withoutMains(x, 50, rate), 80, rate)
	want := noise * math.Sqrt(l.Width/(rate/2)) // white noise spreads evenly up to half the rate
	if !ok || l.Seen > 1.3*want || l.Seen < want/1.3 || hum.Seen < 5*want {
		t.Errorf("about 80 Hz %.3g V, with hum %.3g V, want %.3g V", l.Seen, hum.Seen, want)
	}
	if got := withoutMains(x, 0, rate); len(got) != len(x) {
		t.Errorf("without mains %d samples of %d are left", len(got), len(x))
	}
}
