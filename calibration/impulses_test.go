package calibration

import (
	"math"
	"math/rand/v2"
	"testing"

	"plumbline/sine"
)

// Truth: what a click of height h adds to the amplitude of a line over L samples is at most 2h/L.
func TestImpulses(t *testing.T) {
	const seed = 61
	t.Logf("seed %d", seed)
	r := rand.New(rand.NewPCG(seed, 1))
	const rate, n = 1000.0, 10000
	for _, c := range []struct {
		name            string
		f, noise, grid  float64
		every           int
		height          float64
		distortion, low float64 // of the third harmonic; effect, least
	}{
		{"undisturbed", 80, 1e-4, 0, 0, 0, 0.02, 0},
		{"noisy", 80, 0.1, 0, 0, 0, 0, 0},
		{"without noise", 80, 0, 0, 0, 0, 0.02, 0},
		{"slow and distorted", 1, 1e-5, 0, 0, 0, 0.1, 0},
		{"slow, few codes", 1, 0, 0.05, 0, 0, 0, 0},
		{"codes and noise", 2, 0.002, 0.01, 0, 0, 0, 0},
		{"fast", 400, 1e-4, 0, 0, 0, 0, 0},
		{"clicks in every block", 80, 1e-4, 0, 450, 5, 0.003, 2 * 5 / 500. / 1.3},
		{"clicks, slow", 2, 1e-3, 0, 450, 1, 0, 2 * 1 / 1000. / 1.3},
		{"clicks in a few blocks", 80, 1e-4, 0, 3000, 5, 0, 0},
	} {
		x := make([]float64, n)
		for i := range x {
			p := 2 * math.Pi * 1.002 * c.f * float64(i) / rate
			x[i] = math.Cos(p) + c.distortion*math.Cos(3*p+1) + c.noise*r.NormFloat64()
			if c.every > 0 && i%c.every == 100 {
				x[i] += c.height
			}
			if c.grid > 0 {
				x[i] = math.Round(x[i]/c.grid) * c.grid
			}
		}
		m := newImpulses(c.f, rate)
		for i := 0; i < n; i += 777 {
			m.add(x[i:min(n, i+777)], 1)
		}
		e := m.effect(1, c.grid)
		if e < c.low || c.low == 0 && e > 0 || e > 2*c.low {
			t.Errorf("%s: effect %.3g, want at least %.3g; %+v", c.name, e, c.low, m)
		}
	}
}

// TestRejectedBlocksAreNamed: channel by its number in the recording, samples from 1.
func TestRejectedBlocksAreNamed(t *testing.T) {
	fit := sine.Fit{Rate: 1000, BlockSize: 100}
	for k := range 8 {
		fit.Blocks = append(fit.Blocks, sine.Block{Time: (float64(100*k) + 49.5) / 1000, Weight: 1, Rejected: k%2 == 1, Cause: k%3 - 1})
	}
	a := acquisition{fit: fit, columns: []int{3, 5}}
	const want = ": channel 3 in samples 101 to 200, all channels in samples 301 to 400, channel 5 in samples 501 to 600, ..."
	if got := a.rejectedBlocks(); got != want {
		t.Errorf("%q, want %q", got, want)
	}
}
