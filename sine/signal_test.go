package sine

import (
	"io"
	"math"
	"math/rand/v2"
	"testing"
)

// record samples the channels, functions of time in s, n times.
func record(n int, rate float64, channels ...func(t float64) float64) [][]float64 {
	x := make([][]float64, len(channels))
	for c, f := range channels {
		x[c] = make([]float64, n)
		for i := range x[c] {
			x[c][i] = f(float64(i) / rate)
		}
	}
	return x
}

// tone is a cos(2 pi f t + phase).
func tone(a, f, phase float64) func(t float64) float64 {
	return func(t float64) float64 { return a * math.Cos(2*math.Pi*f*t+phase) }
}

// noisy adds normal noise of standard deviation sigma.
func noisy(r *rand.Rand, sigma float64, f func(t float64) float64) func(t float64) float64 {
	return func(t float64) float64 { return f(t) + sigma*r.NormFloat64() }
}

// source reads x in pieces of up to size frames.
func source(x [][]float64, size int) Source {
	return func() (func([][]float64) (int, error), error) {
		from := 0
		return func(dst [][]float64) (int, error) {
			n := min(len(dst[0]), len(x[0])-from, size)
			if n == 0 {
				return 0, io.EOF
			}
			for c := range dst {
				copy(dst[c], x[c][from:from+n])
			}
			from += n
			return n, nil
		}, nil
	}
}

// accumulate fits x added in pieces of size frames.
func accumulate(t *testing.T, x [][]float64, s Settings, size int) Fit {
	t.Helper()
	a, err := NewAccumulator(s, len(x))
	if err != nil {
		t.Fatal(err)
	}
	addAll(t, a, x, size)
	f, err := a.Fit()
	if err != nil {
		t.Fatal(err)
	}
	return f
}

func addAll(t *testing.T, a *Accumulator, x [][]float64, size int) {
	t.Helper()
	piece := make([][]float64, len(x))
	for i := 0; i < len(x[0]); i += size {
		for c := range x {
			piece[c] = x[c][i:min(i+size, len(x[c]))]
		}
		if err := a.Add(piece); err != nil {
			t.Fatal(err)
		}
	}
}

func ratioOf(t *testing.T, f Fit, d, r int) Ratio {
	t.Helper()
	q, err := f.Ratio(d, r)
	if err != nil {
		t.Fatal(err)
	}
	return q
}

// near fails unless got is want to within tolerance.
func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: %.17g, want %.17g to %.2g (off %.3g)", what, got, want, tolerance, got-want)
	}
}

// seeded is a random source whose seed is printed with a failing test.
func seeded(t testing.TB, seed uint64) *rand.Rand {
	t.Helper()
	t.Logf("seed %d", seed)
	return rand.New(rand.NewPCG(seed, 2))
}
