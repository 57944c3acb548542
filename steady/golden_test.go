package steady

import (
	"math"
	"testing"
)

// noise is the pseudo noise of the check values: x <- (1103515245 x + 12345) mod 2^31, value = 2 x/2^31 - 1.
func noise(seed, n int) []float64 {
	out := make([]float64, n)
	for i := range out {
		seed = (1103515245*seed + 12345) % (1 << 31)
		out[i] = 2*float64(seed)/(1<<31) - 1
	}
	return out
}

// transient is amplitude·exp(-(k+½)/tau) + scale·noise.
func transient(amplitude, tau, scale float64, seed, n int) []float64 {
	x := noise(seed, n)
	for k := range x {
		x[k] = amplitude*math.Exp(-(float64(k)+0.5)/tau) + scale*x[k]
	}
	return x
}

// near compares relative to want.
func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance*math.Abs(want)) {
		t.Errorf("%s: %.15g, want %.15g (relative difference %.2g, allowed %.2g)", what, got, want, got/want-1, tolerance)
	}
}

// halfTolerance: the half widths of the study of the settling rules came from a library whose Student quantile is off by up to 3e-9 near 50 degrees of freedom
// (2.0063728604 for 52.3 where numerical integration of the density gives 2.0063728623).
const halfTolerance = 5e-9

// TestFit compares FIT with the study of the settling rules, deterministic check values.
func TestFit(t *testing.T) {
	for _, want := range []struct {
		n          int
		mean, half float64
	}{
		{24, -0.0009161292788375775, 0.39793411810960844},
		{40, -0.013056438385600637, 0.07188526870709269},
		{60, -0.025345072311600096, 0.030299219448564355},
	} {
		f := newFitter(averaged())
		f.grid.use(10)
		x := transient(0.8, 8, 0.1, 77, want.n)[2:]
		for c, windows := range [][2][]float64{{x, nil}, {nil, x}, {x, x}} {
			got := f.fit(windows)[min(c, 1)]
			near(t, "mean", got.mean, want.mean, 1e-9)
			near(t, "half width", got.half, want.half, halfTolerance)
		}
	}
}

// clicked and started are series of the study of the settling rules.
func clicked() []float64 {
	x := transient(0.5, 5, 0.12, 5, 800)
	x[20] += 4
	x[41] -= 6
	return x
}

func started() []float64 {
	x := transient(0, 1, 0.1, 9, 800)
	copy(x, []float64{3, -5, 8, -2, 6, -4})
	return x
}

// TestAveraged compares the whole rule, fed block by block, with the study of the settling rules, deterministic check values; U = 0.1.
func TestAveraged(t *testing.T) {
	for _, want := range []struct {
		name       string
		x          []float64
		tauMax     float64
		block      int
		mean, half float64
	}{
		{"transient", transient(0.8, 8, 0.15, 77, 800), 10, 70, -0.019110397820427283, 0.038842870475429225},
		{"clicks", clicked(), 10, 33, -0.05874816495299442, 0.08317018568299865},
		{"startup", started(), 4, 27, -0.006618307178862873, 0.09371574049477523},
		{"slow", transient(0.6, 30, 0.1, 31, 800), 30, 70, 0.02552312609004729, 0.0814227707463661},
	} {
		t.Run(want.name, func(t *testing.T) {
			modulus := run(t, Settings{Rule: Averaged, Modulus: 0.1, TauMax: want.tauMax}, want.x, nil)
			phase := run(t, Settings{Rule: Averaged, Phase: 0.1 * shrink, TauMax: want.tauMax}, nil, turned(want.x))
			both := run(t, Settings{Rule: Averaged, Modulus: 0.1, Phase: 0.1 * shrink, TauMax: want.tauMax}, want.x, turned(want.x))
			for _, a := range []Answer{modulus, phase, both} {
				if a.State != Steady || a.Blocks != want.block || a.Looked != want.block || a.Needed != want.block {
					t.Errorf("%v at block %d, want steady at %d", a.State, a.Blocks, want.block)
				}
				if a.Modulus.Judged {
					near(t, "mean of the modulus", a.Modulus.Mean, want.mean, 1e-9)
					near(t, "half width of the modulus", a.Modulus.HalfWidth, want.half, halfTolerance)
				}
				if a.Phase.Judged {
					near(t, "mean of the phase", math.Remainder(a.Phase.Mean-turn, 2*math.Pi)/shrink, want.mean, 1e-9)
					near(t, "half width of the phase", a.Phase.HalfWidth/shrink, want.half, halfTolerance)
				}
			}
		})
	}
}

// A series that is judged as a phase is shrunk, so that clicks of it do not wrap, and turned, so that it does: it starts just below π.
const (
	shrink = 0.01
	turn   = math.Pi - 0.003
)

func turned(x []float64) []float64 {
	y := make([]float64, len(x))
	for k := range x {
		y[k] = math.Remainder(x[k]*shrink+turn, 2*math.Pi)
	}
	return y
}

// run feeds a judge until it answers or the series ends.
func run(t *testing.T, s Settings, re, im []float64) Answer {
	t.Helper()
	j, err := NewJudge(s)
	if err != nil {
		t.Fatal(err)
	}
	var a Answer
	for k := range max(len(re), len(im)) {
		var b Block
		if re != nil {
			b.LnRatio = complex(re[k], 0)
		}
		if im != nil {
			b.LnRatio += complex(0, im[k])
		}
		if a = j.Add(b); a.State != Settling {
			return a
		}
	}
	return a
}
