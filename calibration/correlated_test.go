package calibration

import (
	"math"
	"math/rand/v2"
	"testing"

	"plumbline/uncertainty"
)

// lag1 is the lag-1 autocorrelation of a series about its mean.
func lag1(x []float64) float64 {
	mean := uncertainty.Mean(x)
	var num, den float64
	for i, v := range x {
		den += (v - mean) * (v - mean)
		if i > 0 {
			num += (v - mean) * (x[i-1] - mean)
		}
	}
	return num / den
}

// Coverage of 95.45 % intervals for the mean of AR(1) blocks. What plain s/sqrt(n) does stands beside it in the log: 67 % at phi 0.6.
// White noise must not be widened by more than a third on average.
func TestCorrelatedBlocks(t *testing.T) {
	const runs = 4000
	rng := rand.New(rand.NewPCG(11, 11))
	for _, c := range []struct {
		phi         float64
		n           int
		least, wide float64 // least coverage, largest mean widening
	}{{0, 12, 0.945, 1.33}, {0, 40, 0.945, 1.2}, {0.3, 40, 0.93, 9}, {0.6, 40, 0.915, 9}, {0.6, 100, 0.93, 9}, {0.8, 100, 0.90, 9}} {
		held, plain, widening := 0, 0, 0.0
		x := make([]float64, c.n)
		for range runs {
			v := rng.NormFloat64() / math.Sqrt(1-c.phi*c.phi)
			for i := range x {
				v = c.phi*v + rng.NormFloat64()
				x[i] = v
			}
			s, mean := uncertainty.StdDev(x)/math.Sqrt(float64(c.n)), uncertainty.Mean(x)
			u, dof := correlated(s, float64(c.n-1), lag1(x), c.n)
			if math.Abs(mean) <= uncertainty.Coverage(0.9545, dof)*u {
				held++
			}
			if math.Abs(mean) <= uncertainty.Coverage(0.9545, float64(c.n-1))*s {
				plain++
			}
			widening += u / s / runs
		}
		t.Logf("phi %.1f, %d blocks: %.1f %% held (plain %.1f %%), widened %.2f times", c.phi, c.n, 100*float64(held)/runs, 100*float64(plain)/runs, widening)
		if got := float64(held) / runs; got < c.least {
			t.Errorf("phi %.1f, %d blocks: coverage %.1f %%, want at least %.1f %%", c.phi, c.n, 100*got, 100*c.least)
		}
		if widening > c.wide {
			t.Errorf("phi %.1f, %d blocks: widened %.2f times on average, want at most %.2f", c.phi, c.n, widening, c.wide)
		}
	}
}

// Half the change along a significant line is left; along one that may be chance, nothing.
func TestTrendLeft(t *testing.T) {
	if got := trendLeft(-1e-4, -9, 20); math.Abs(got-1e-3) > 1e-15 {
		t.Errorf("slope -1e-4 1/s over 20 s: %g left, want 1e-3", got)
	}
	if got := trendLeft(1e-4, 2, 20); got != 0 {
		t.Errorf("a line of 2 standard deviations: %g left, want 0", got)
	}
}
