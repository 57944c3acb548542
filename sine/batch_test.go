package sine

import (
	"errors"
	"math"
	"math/cmplx"
	"testing"
)

// lcg is reproducible noise between -1 and 1: x <- (1103515245 x + 12345) mod 2^31, value 2 x/2^31 - 1.
func lcg(seed uint64, n int) []float64 {
	y := make([]float64, n)
	for i := range y {
		seed = (1103515245*seed + 12345) % (1 << 31)
		y[i] = 2*float64(seed)/(1<<31) - 1
	}
	return y
}

// Source of the values: an independent numpy implementation (QR), the same signal and regressors.
// Verifies: ISO 16063-11:1999 sine approximation (method 3)
func TestBatchGoldenSine(t *testing.T) {
	x := record(768, 256, func(t float64) float64 {
		return 0.2*math.Cos(2*math.Pi*t+0.7) + 0.028*math.Cos(6*math.Pi*t+0.4) + 9.7 + 0.01*t + 0.001*math.Cos(100*math.Pi*t+0.1)
	})
	for i, v := range lcg(12345, 768) {
		x[0][i] += 1e-3 * v
	}
	f, err := Batch(x, Settings{Rate: 256, Frequency: 1, Harmonics: 5, Drift: 2, Mains: 50, MainsOrder: 1, Known: true}, Uniform)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "amplitude", cmplx.Abs(f.Channels[0].Amplitude), 0.20000704922417317, 2e-10)
	near(t, "phase", cmplx.Phase(f.Channels[0].Amplitude), 0.7000793744245022, 1e-9)
	near(t, "condition number", f.Condition, 1.384843563902326, 1e-9)
	if f.Frequency != 1 || f.FrequencyStd != 0 {
		t.Errorf("a known frequency was changed to %g, %g", f.Frequency, f.FrequencyStd)
	}
	near(t, "residual", f.Channels[0].Residual, 1e-3/math.Sqrt(3), 3e-5) // closed form: uniform noise of half-width 1e-3; its scatter 2 %
}

// Source of the values: the same numpy implementation, three iterations, equal weights.
func TestBatchGoldenFrequency(t *testing.T) {
	x := record(2560, 256, tone(1, 1.0003, 0.2), tone(0.5, 1.0003, -0.4))
	for c := range x {
		for i, v := range lcg(uint64(c+1), 2560) {
			x[c][i] += 1e-3 * v
		}
	}
	s := Settings{Rate: 256, Frequency: 1, Harmonics: 5, Drift: 2, Mains: 50, MainsOrder: 1, Weights: []float64{1, 1}}
	f, err := Batch(x, s, Uniform)
	if err != nil {
		t.Fatal(err)
	}
	q := ratioOf(t, f, 1, 0)
	near(t, "frequency", f.Frequency, 1.0002996276519396, 1e-11)
	near(t, "modulus of the ratio", cmplx.Abs(q.Value), 0.49996002605122003, 5e-10)
	near(t, "phase of the ratio", cmplx.Phase(q.Value), -0.5999502222355637, 1e-9)
	if q.N != 0 || q.StdRe != q.Noise || !(q.Noise > 0) {
		t.Errorf("ratio of a batch: N %d, Std %g, Noise %g", q.N, q.StdRe, q.Noise)
	}
}

// jacquelin is the published example of a sine fit to scattered points. Source: Jacquelin, Regressions et equations integrales (2009), as in the tests of a public
// Julia package of sinusoidal regressions; the optimum recomputed by an independent script.
func jacquelin() (design, []float64) {
	x := []float64{-1.983, -1.948, -1.837, -1.827, -1.663, -.815, -.778, -.754, -.518, .322, .418, .781, .931, 1.510, 1.607}
	y := []float64{.936, .810, .716, .906, .247, -1.513, -1.901, -1.565, -1.896, .051, .021, 1.069, .862, .183, .311}
	return design{rate: 1, times: x, length: x[14] - x[0], frames: 15, harmonics: 1}, y
}

func TestBatchJacquelin(t *testing.T) {
	d, y := jacquelin()
	check := func(start float64, known bool, w, sine, cosine, ssr float64) {
		t.Helper()
		f, err := d.fit([][]float64{y}, Settings{Rate: 1, Frequency: start / (2 * math.Pi), Harmonics: 1, Known: known})
		if err != nil {
			t.Fatalf("from w %g: %v", start, err)
		}
		c := f.Channels[0]
		near(t, "w", 2*math.Pi*f.Frequency, w, 6e-7)
		near(t, "sine", -imag(c.Amplitude), sine, 6e-7)
		near(t, "cosine", real(c.Amplitude), cosine, 6e-7)
		near(t, "SSR", c.Residual*c.Residual*12, ssr, 6e-7)
	}
	check(2.02074, true, 2.02074, 1.275205, -0.577491, 0.345516)
	check(2.02074, false, 1.981306, 1.289338, -0.571687, 0.320353)
	check(2*math.Pi*14/15/(1.607+1.983), false, 1.981306, 1.289338, -0.571687, 0.320353) // strongest bin of the transform of y taken as uniform
}

// From a bad start the iteration must say that it does not converge, never return what it happens to reach.
func TestBatchReportsFailure(t *testing.T) {
	d, y := jacquelin()
	for _, start := range []float64{0.5, 1.0} { // rad per unit
		f, err := d.fit([][]float64{y}, Settings{Rate: 1, Frequency: start / (2 * math.Pi), Harmonics: 1})
		if !errors.Is(err, ErrNotConverged) {
			t.Errorf("from w %g: w %g, error %v, want %v", start, 2*math.Pi*f.Frequency, err, ErrNotConverged)
		}
	}
	x := record(1000, 1000, tone(1, 33, 0))
	if f, err := Batch(x, Settings{Rate: 1000, Frequency: 36.4, Harmonics: 1}, Uniform); !errors.Is(err, ErrNotConverged) && math.Abs(f.Frequency-33) > 1e-6 {
		t.Errorf("3.4 bins off: %.9g Hz, error %v", f.Frequency, err)
	}
}

// Source: the tests of the same Julia package (noise-free sines are recovered).
func TestBatchNoiseFree(t *testing.T) {
	for _, c := range []struct {
		f, offset, cosine, sine float64
		n                       int
		length                  float64
	}{{3, 1.25, 4, 0, 100, 1}, {2, 0.25, 0.48, -1.5, 1337, 4}} {
		d := design{rate: 1, length: c.length, frames: c.n, harmonics: 1}
		y := make([]float64, c.n)
		for i := range y {
			d.times = append(d.times, c.length*float64(i)/float64(c.n-1))
			s, k := math.Sincos(2 * math.Pi * c.f * d.times[i])
			y[i] = c.offset + c.cosine*k + c.sine*s
		}
		f, err := d.fit([][]float64{y}, Settings{Rate: 1, Frequency: c.f + 0.25/c.length, Harmonics: 1})
		if err != nil {
			t.Fatal(err)
		}
		near(t, "frequency", f.Frequency, c.f, 1e-11)
		near(t, "cosine", real(f.Channels[0].Amplitude), c.cosine, 1e-10)
		near(t, "sine", -imag(f.Channels[0].Amplitude), c.sine, 1e-10)
	}
}

// A drift that the polynomial cannot follow shows in the difference between Hann and uniform weights.
// Source: study of the estimator, 0.5 V decaying with 2 s under 0.2 V at 1 Hz, 5 cycles, order 2: LS 0.99 %, Hann 0.046 % off.
func TestBatchHannSeesDrift(t *testing.T) {
	x := record(5000, 1000, func(t float64) float64 { return 0.2*math.Cos(2*math.Pi*t+0.3) + 0.5*math.Exp(-t/2) })
	s := Settings{Rate: 1000, Frequency: 1, Harmonics: 5, Drift: 2, Known: true}
	var off [2]float64
	for i, w := range []Weighting{Uniform, Hann} {
		f, err := Batch(x, s, w)
		if err != nil {
			t.Fatal(err)
		}
		off[i] = cmplx.Abs(f.Channels[0].Amplitude/cmplx.Rect(0.2, 0.3) - 1)
	}
	if !(off[1] < 0.1*off[0]) || off[0] < 5e-3 || off[0] > 2e-2 || off[1] > 1e-3 {
		t.Errorf("uniform %.4f %% off, Hann %.4f %%", 100*off[0], 100*off[1])
	}
}

func TestBatchRefuses(t *testing.T) {
	good := Settings{Rate: 100, Frequency: 1, Harmonics: 3, Drift: 1}
	for _, c := range []struct {
		what string
		x    [][]float64
		s    Settings
		want error
	}{
		{"two regressors in half a cycle", record(50, 100, tone(1, 1, 0)), Settings{Rate: 100, Frequency: 1, Harmonics: 3, Drift: 3}, ErrCollinear},
		{"too few samples", record(8, 100, tone(1, 1, 0)), good, ErrShort},
		{"missing sample", [][]float64{{1, 2, math.NaN(), 3}}, good, nil},
		{"unequal channels", [][]float64{make([]float64, 100), make([]float64, 99)}, good, nil},
		{"no channels", nil, good, nil},
		{"no rate", record(100, 100, tone(1, 1, 0)), Settings{Frequency: 1, Harmonics: 1}, nil},
	} {
		if _, err := Batch(c.x, c.s, Uniform); err == nil || c.want != nil && !errors.Is(err, c.want) {
			t.Errorf("%s: error %v, want %v", c.what, err, c.want)
		} else {
			t.Logf("%s: %v", c.what, err)
		}
	}
}
