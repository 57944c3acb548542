package sine

import (
	"math"
	"math/cmplx"
	"testing"
)

// Closed form.
func TestNearestMains(t *testing.T) {
	for _, c := range []struct {
		f, mains, T float64
		k           int
		distance    float64
		separable   bool
	}{
		{100.0005, 50, 10, 2, 0.005, false}, {97, 50, 0.5, 2, 1.5, true}, {97, 50, 0.3, 2, 0.9, false}, {49.7, 50, 10, 1, 3, true},
		{1, 50, 1, 1, 49, true}, {158.489, 60, 1, 3, 21.511, true}, {1250, 50, 5, 25, 0, false},
	} {
		k, d := NearestMains(c.f, c.mains, c.T)
		if k != c.k || math.Abs(d-c.distance) > 1e-9 || Separable(c.f, c.mains, c.T) != c.separable {
			t.Errorf("%g Hz, mains %g Hz, %g s: %d, %g, want %d, %g", c.f, c.mains, c.T, k, d, c.k, c.distance)
		}
	}
	if k, d := NearestMains(50, 0, 10); k != 0 || !math.IsInf(d, 1) || !Separable(50, 0, 10) {
		t.Errorf("no mains: %d, %g", k, d)
	}
}

// The rule of the mains regressors: |f_mains - h f| T_b >= 1 for every harmonic, f_mains T_b >= 1; blocks get longer where a line near the fundamental asks for it
// and the record allows, and there are at least six blocks where it allows. Source: study of the estimator.
func TestMainsRule(t *testing.T) {
	for _, c := range []struct {
		name          string
		f, rate, T    float64
		least, most   float64 // s, of a block
		blocks        int     // at least
		with, without []float64
	}{
		{"1 Hz", 1, 1000, 30, 2, 2, 15, []float64{50, 100, 150}, nil},
		{"1 Hz, short", 1, 1000, 8.2, 2, 2, 4, []float64{50}, nil},
		{"10 Hz: the fifth harmonic is on the mains", 10, 1000, 10, 0.25, 0.5, 12, []float64{100, 150}, []float64{50}},
		{"97 Hz: 3 Hz from the mains", 97, 5000, 5, 0.33, 0.5, 10, []float64{50, 100}, nil},
		{"97 Hz, short", 97, 5000, 1, 0.33, 0.5, 2, []float64{100}, nil},
		{"49.5 Hz: 0.5 Hz from the mains", 49.5, 5000, 30, 2, 2.3, 12, []float64{50}, nil},
		{"49.5 Hz, short: not separable", 49.5, 5000, 1.5, 0.25, 0.3, 5, []float64{300}, []float64{50, 100}},
		{"100 Hz: on the mains", 100, 5000, 10, 0.25, 0.5, 12, []float64{50, 150}, []float64{100, 200, 300, 400, 500}},
		{"1250 Hz: neighbours", 1230, 10000, 5, 0.25, 0.5, 10, []float64{50, 500, 1200, 1250, 1300}, []float64{700, 1150}},
		{"5 kHz in 2 s", 5000.3, 50000, 2, 0.25, 0.5, 6, []float64{50}, nil},
	} {
		s := Settings{Rate: c.rate, Frequency: c.f, Harmonics: 5, Drift: 1, Mains: 50, Frames: int64(c.T * c.rate)}
		size, err := s.blockSize()
		if err != nil {
			t.Fatal(err)
		}
		T := float64(size) / c.rate
		if n := int(s.Frames) / size; T < c.least*0.99 || T > c.most*1.01 || n < c.blocks {
			t.Errorf("%s: %d blocks of %.4g s, want %d of %g to %g s", c.name, n, T, c.blocks, c.least, c.most)
		}
		if cycles := T * c.f; math.Abs(cycles-math.Round(cycles)) > 0.06 {
			t.Errorf("%s: block of %.4g cycles", c.name, cycles)
		}
		freq, harmonics := s.regressors(size)
		have := map[float64]bool{}
		for _, f := range freq[harmonics:] {
			have[f] = true
			for h := 1; h <= harmonics; h++ {
				if math.Abs(f-float64(h)*c.f)*T < 0.98 {
					t.Errorf("%s: %g Hz is a regressor, %.3g/T from harmonic %d", c.name, f, math.Abs(f-float64(h)*c.f)*T, h)
				}
			}
		}
		for _, f := range c.with {
			if !have[f] {
				t.Errorf("%s: %g Hz is no regressor: %v", c.name, f, freq[harmonics:])
			}
		}
		for _, f := range c.without {
			if have[f] {
				t.Errorf("%s: %g Hz is a regressor: %v", c.name, f, freq[harmonics:])
			}
		}
	}
}

// Hum that wanders by 0.01 Hz does not reach the ratio, and its level is found. Truth: the simulated level.
func TestHum(t *testing.T) {
	r := seeded(t, 61)
	f := func(a, hum float64) func(t float64) float64 {
		return func(t float64) float64 {
			w := 2*math.Pi*50*t + 0.3*math.Sin(2*math.Pi*t/5) // +- 0.06 Hz
			return a*math.Cos(2*math.Pi*97*t+0.2) + hum*(math.Cos(w)+0.5*math.Cos(2*w+1)+0.3*math.Cos(3*w))
		}
	}
	x := record(25000, 5000, noisy(r, 1e-3, f(1, 0.02)), noisy(r, 1e-3, f(1, 0.1)))
	fit := accumulate(t, x, Settings{Rate: 5000, Frequency: 97, Harmonics: 5, Drift: 1, Mains: 50, Orders: []int{21}, Frames: 25000}, 4096)
	q := ratioOf(t, fit, 1, 0)
	near(t, "ratio", cmplx.Abs(q.Value-1), 0, 2e-4) // a plain sine fit: 1e-2
	for c, hum := range []float64{0.02, 0.1} {
		for k, share := range []float64{1, 0.5, 0.3} {
			l := fit.Channels[c].Mains[k]
			near(t, "frequency", l.Frequency, 50*float64(k+1), 0)
			near(t, "level", real(l.Amplitude), share*hum, 0.01*hum+4*l.Std)
		}
		last := fit.Channels[c].Mains[len(fit.Channels[c].Mains)-1]
		if last.Frequency != 1050 || real(last.Amplitude) > 4*last.Std {
			t.Errorf("order 21, where there is nothing: %+v", last)
		}
	}
}
