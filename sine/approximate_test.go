package sine

import (
	"errors"
	"io"
	"math"
	"math/cmplx"
	"strings"
	"testing"
)

// The start value may be wrong by as much as a nominal frequency or a clock makes it. Truth: the simulated frequency.
func TestOffNominal(t *testing.T) {
	for _, c := range []struct {
		name           string
		f, nominal     float64
		rate, T, sigma float64
	}{
		{"158.489 Hz called 160 Hz", 158.489, 160, 10000, 5, 1e-3},
		{"160 Hz called 158.489 Hz", 160, 158.489, 10000, 5, 1e-3},
		{"3 % off", 970.1, 1000, 10000, 3, 1e-3},
		{"clock 100 ppm off at 5 kHz", 5000.5, 5000, 50000, 3, 1e-3},
		{"clock 5 ppm off, known at once", 97.0005, 97, 5000, 30, 1e-3},
		{"31.6228 Hz called 31.5 Hz, noise three times the signal", 31.622777, 31.5, 2000, 20, 3},
		{"3.15 Hz called 3.16 Hz", 3.15, 3.16, 1000, 20, 1e-3},
		{"49.2 Hz called 49 Hz, beside the mains", 49.2, 49, 5000, 10, 1e-3},
		{"0.1 Hz", 0.1003, 0.1, 200, 65, 1e-3},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := seeded(t, 41)
			n := int(c.rate * c.T)
			a, b, hum := tone(1, c.f, 0.2), tone(2, c.f, 0.7), tone(0.05, 50.002, 1)
			x := record(n, c.rate, noisy(r, c.sigma, func(t float64) float64 { return a(t) + hum(t) }), noisy(r, c.sigma, func(t float64) float64 { return b(t) + hum(t) - 3 }))
			f, err := Approximate(source(x, 5000), 2, Settings{Rate: c.rate, Frequency: c.nominal, Harmonics: 5, Drift: 1, Mains: 50, Frames: int64(n)})
			if err != nil {
				t.Fatal(err)
			}
			near(t, "frequency", f.Frequency, c.f, 5*f.FrequencyStd)
			bound := math.Sqrt(6) / (math.Pi * c.T * math.Sqrt(float64(n))) * c.sigma / math.Sqrt(5)
			if f.FrequencyStd > 3*bound {
				t.Errorf("frequency known to %.3g Hz, the bound is %.3g Hz", f.FrequencyStd, bound)
			}
			q := ratioOf(t, f, 1, 0)
			near(t, "modulus of the ratio", cmplx.Abs(q.Value), 2, 2*5*q.Noise)
			near(t, "phase of the ratio", cmplx.Phase(q.Value), 0.5, 5*q.Noise)
			if f.Passes > 3 || !f.inTune() {
				t.Errorf("%d passes, regressors at %.9g Hz, line at %.9g Hz", f.Passes, f.Start, f.Frequency)
			}
		})
	}
}

// A clock that is right costs one pass, one that is not costs the beginning of a second one.
func TestPasses(t *testing.T) {
	r := seeded(t, 42)
	x := record(60000, 1000, noisy(r, 1e-3, tone(1, 10.0005, 0.2)))
	read := 0
	open := func() (func([][]float64) (int, error), error) {
		next, err := source(x, 1000)()
		return func(dst [][]float64) (int, error) {
			n, err := next(dst)
			read += n
			return n, err
		}, err
	}
	for _, c := range []struct {
		start        float64
		passes, most int
	}{{10.0005, 1, 60000}, {10, 2, 73000}} {
		read = 0
		f, err := Approximate(open, 1, Settings{Rate: 1000, Frequency: c.start, Harmonics: 5, Drift: 1, Frames: 60000})
		if err != nil {
			t.Fatal(err)
		}
		if f.Passes != c.passes || read > c.most {
			t.Errorf("from %g Hz: %d passes, %d frames read, want %d and at most %d", c.start, f.Passes, read, c.passes, c.most)
		}
		near(t, "residual", f.Channels[0].Residual, 1e-3, 2e-5)
	}
}

// Without a line near the nominal frequency the strongest one is named.
func TestNoLine(t *testing.T) {
	r := seeded(t, 43)
	s := Settings{Rate: 2000, Harmonics: 5, Drift: 1, Mains: 50, Frames: 20000}
	for _, c := range []struct {
		name    string
		nominal float64
		x       func(t float64) float64
		say     string
	}{
		{"another point's recording", 71, tone(1, 20.002, 0), "20"},
		{"a harmonic of the true line", 100, func(t float64) float64 { return tone(1, 20.002, 0)(t) + tone(0.02, 100.01, 0)(t) }, "20"},
		{"exciter off", 20, tone(0.1, 50.01, 0), "50"},
		{"noise alone", 20, tone(0, 1, 0), ""},
	} {
		x := record(20000, 2000, noisy(r, 0.01, c.x), noisy(r, 0.01, c.x))
		s.Frequency = c.nominal
		_, err := Approximate(source(x, 4096), 2, s)
		if !errors.Is(err, ErrNoLine) || !strings.Contains(err.Error(), c.say) {
			t.Errorf("%s: %v, want %v naming %q", c.name, err, ErrNoLine, c.say)
		}
		t.Logf("%s: %v", c.name, err)
	}
	// three cycles are too few to search: the amplitude must still stand out of its noise
	x := record(3000, 1000, noisy(r, 1, tone(0, 1, 0)))
	if _, err := Approximate(source(x, 4096), 1, Settings{Rate: 1000, Frequency: 1, Harmonics: 3, Drift: 1, Frames: 3000}); !errors.Is(err, ErrNoLine) {
		t.Errorf("three seconds of noise: %v, want %v", err, ErrNoLine)
	}
}

// Where the length is not announced, or wrong, the blocks are chosen again once it is known.
func TestUnknownLength(t *testing.T) {
	r := seeded(t, 44)
	x := record(4300, 1000, noisy(r, 1e-3, tone(1, 40, 0.2)), noisy(r, 1e-3, tone(1, 40, 0.2)))
	s := Settings{Rate: 1000, Frequency: 40, Harmonics: 5, Drift: 1, Mains: 50, Frames: 4300}
	want, err := Approximate(source(x, 1000), 2, s)
	if err != nil {
		t.Fatal(err)
	}
	for _, announced := range []int64{0, -1, 4300000} {
		s.Frames = announced
		got, err := Approximate(source(x, 1000), 2, s)
		if err != nil {
			t.Fatal(err)
		}
		if got.BlockSize != want.BlockSize || len(got.Blocks) != len(want.Blocks) {
			t.Errorf("announced %d: %d blocks of %d, want %d of %d", announced, len(got.Blocks), got.BlockSize, len(want.Blocks), want.BlockSize)
		}
	}
	s.Frames = 0
	if _, err := Approximate(source(record(40, 1000, tone(1, 40, 0)), 1000), 2-1, s); !errors.Is(err, ErrShort) {
		t.Errorf("1.6 cycles: %v, want %v", err, ErrShort)
	}
	if _, err := Approximate(source([][]float64{{}}, 1000), 1, s); !errors.Is(err, ErrShort) {
		t.Errorf("no samples: %v, want %v", err, ErrShort)
	}
}

// What the source says is passed on.
func TestSourceErrors(t *testing.T) {
	broken := errors.New("broken cable")
	s := Settings{Rate: 1000, Frequency: 40, Harmonics: 5, Drift: 1}
	if _, err := Approximate(func() (func([][]float64) (int, error), error) { return nil, broken }, 1, s); !errors.Is(err, broken) {
		t.Errorf("opening: %v", err)
	}
	if _, err := Approximate(func() (func([][]float64) (int, error), error) {
		return func([][]float64) (int, error) { return 0, broken }, nil
	}, 1, s); !errors.Is(err, broken) {
		t.Errorf("reading: %v", err)
	}
	if _, err := Approximate(func() (func([][]float64) (int, error), error) {
		return func([][]float64) (int, error) { return 0, nil }, nil
	}, 1, s); !errors.Is(err, io.ErrNoProgress) {
		t.Errorf("reading nothing for ever: %v", err)
	}
	if _, err := Approximate(nil, 0, s); err == nil {
		t.Error("no channels accepted")
	}
}

// Streaming and batch form estimate the same, without noise to rounding. With it the batch is at the bound and the stream at most 1.1 times it (TestBound), so they
// differ by sqrt(1.1^2 - 1) = 0.46 standard deviations.
func TestStreamingAgreesWithBatch(t *testing.T) {
	const apart = 0.46
	for _, c := range []struct{ sigma, tolerance float64 }{{0, 1e-12}, {0.01, 0}} {
		r := seeded(t, 45)
		const n, rate = 20000, 1000.
		x := record(n, rate, noisy(r, c.sigma, tone(1, 3.0003, 0.2)), noisy(r, c.sigma, tone(2, 3.0003, 0.7)))
		s := Settings{Rate: rate, Frequency: 3, Harmonics: 5, Drift: 1, Mains: 50, Frames: n}
		stream, err := Approximate(source(x, 4096), 2, s)
		if err != nil {
			t.Fatal(err)
		}
		batch, err := Batch(x, s, Uniform)
		if err != nil {
			t.Fatal(err)
		}
		p, q := ratioOf(t, stream, 1, 0), ratioOf(t, batch, 1, 0)
		tolerance := c.tolerance + 4*apart*q.Noise
		near(t, "ratio", cmplx.Abs(p.Value/q.Value-1), 0, tolerance)
		near(t, "frequency", stream.Frequency, batch.Frequency, c.tolerance+4*apart*batch.FrequencyStd)
		near(t, "amplitude", cmplx.Abs(stream.Channels[0].Amplitude)/cmplx.Abs(batch.Channels[0].Amplitude), 1, tolerance)
		near(t, "noise", p.Noise, q.Noise, 0.1*q.Noise+1e-8)
	}
}
