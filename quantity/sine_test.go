package quantity

import (
	"math"
	"testing"
)

// TestKinematics checks conversions in a sine against closed forms to the digits printed in tables of the trade.
func TestKinematics(t *testing.T) {
	for _, c := range []struct{ f, a, v, x float64 }{
		{1, 9.80665, 1.56078, 0.248405}, {0.5, 9.80665, 3.12155, 0.993621}, {0.1, 0.1, 0.159155, 0.253303}, {0.4, 1, 0.397887, 0.158314},
		{16, 10, 99.4718e-3, 0.989465e-3}, {80, 100, 198.944e-3, 395.786e-6}, {160, 100, 99.4718e-3, 98.9465e-6},
		{159.1549431, 9.80665, 9.80665e-3, 9.80665e-6},
		{1, 0.018 * StandardGravity, 28.0940e-3, 4.47128e-3}, // 0.018 g at 1 Hz is 4.5 mm: common practice, no source
	} {
		v, x := Acceleration.To(Velocity, c.a, c.f), Acceleration.To(Displacement, c.a, c.f)
		if math.Abs(v/c.v-1) > 5e-6 || math.Abs(x/c.x-1) > 5e-6 {
			t.Errorf("%g m/s² at %g Hz: %g m/s and %g m, want %g and %g", c.a, c.f, v, x, c.v, c.x)
		}
		if back := Displacement.To(Acceleration, x, c.f); math.Abs(back/c.a-1) > 1e-12 {
			t.Errorf("%g Hz: back to %g m/s², want %g", c.f, back, c.a)
		}
	}
	// A long-stroke exciter of ±75 mm: 0.0296 m/s² at 0.1 Hz, 0.474 m/s² at 0.4 Hz (closed form).
	for _, c := range []struct{ f, a float64 }{{0.1, 0.0296}, {0.4, 0.474}} {
		if a := Displacement.To(Acceleration, 0.075, c.f); math.Abs(a-c.a) > 0.5e-3*c.a*10 {
			t.Errorf("75 mm at %g Hz: %g m/s², want %g", c.f, a, c.a)
		}
	}
}

// TestFactor checks the phase: velocity leads displacement by 90°, acceleration by 180° (differentiation of exp(+iωt)).
func TestFactor(t *testing.T) {
	const w = 2 * math.Pi * 7
	for _, c := range []struct {
		from, to Motion
		want     complex128
	}{
		{Displacement, Velocity, complex(0, w)}, {Displacement, Acceleration, complex(-w*w, 0)}, {Velocity, Acceleration, complex(0, w)},
		{Acceleration, Velocity, complex(0, -1/w)}, {Acceleration, Displacement, complex(-1/(w*w), 0)}, {Velocity, Velocity, 1},
	} {
		got := c.from.Factor(c.to, 7)
		if math.Abs(real(got)-real(c.want)) > 1e-12*math.Abs(real(c.want)) || math.Abs(imag(got)-imag(c.want)) > 1e-12*math.Abs(imag(c.want)) {
			t.Errorf("%v to %v: %v, want %v", c.from, c.to, got, c.want)
		}
	}
	for _, m := range []Motion{Displacement, Velocity, Acceleration} {
		u, err := ParseUnit(m.Unit().Symbol)
		if back, ok := MotionOf(u); err != nil || u != m.Unit() || !ok || back != m {
			t.Errorf("%v: unit %v read as %v (%v)", m, m.Unit(), u, err)
		}
	}
}

// TestAmplitude checks peak = sqrt 2 rms and peak-to-peak = 2 peak (closed form of a sine).
func TestAmplitude(t *testing.T) {
	for _, c := range []struct {
		a       Amplitude
		x, peak float64
	}{{Peak, 3, 3}, {RMS, 1, 1.4142135623730951}, {PeakToPeak, 18, 9}, {NotStated, 2, 2}} {
		if got := c.a.Peak(c.x); got != c.peak {
			t.Errorf("%g %v is %g peak, want %g", c.x, c.a, got, c.peak)
		}
		if got := c.a.FromPeak(c.peak); !near(got, c.x) {
			t.Errorf("%g peak is %g %v, want %g", c.peak, got, c.a, c.x)
		}
	}
}

func TestFormat(t *testing.T) {
	volts, _ := ParseUnit("V/g")
	degrees, _ := ParseUnit("deg")
	g, _ := ParseUnit("g")
	percent, _ := ParseUnit("%")
	one, _ := ParseUnit("1")
	for _, c := range []struct{ got, want string }{
		{Format(1.0197162129779283, volts, 2), "10.00 V/g"},
		{Format(math.Pi/360, degrees, 1), "0.5°"},
		{Format(-1e-9, degrees, 2), "0.00°"},
		{Format(0.0123, percent, 1), "1.2 %"},
		{Format(1.0021, one, 3), "1.002"},
		{FormatAmplitude(0.980665, g, Peak, 3), "0.100 g peak"},
		{FormatAmplitude(0.980665, g, RMS, 4), "0.0707 g rms"},
		{FormatAmplitude(0.980665, g, PeakToPeak, 1), "0.2 g peak-to-peak"},
		{FormatAmplitude(0.980665, g, NotStated, 1), "0.1 g"},
	} {
		if c.got != c.want {
			t.Errorf("%q, want %q", c.got, c.want)
		}
	}
	for _, c := range []struct {
		x           float64
		significant int
		want        int
	}{{0.0123, 2, 3}, {9.96, 2, 0}, {0.0996, 2, 2}, {0.0994, 2, 3}, {123, 2, 0}, {0, 2, 1}, {math.NaN(), 3, 2}} {
		if got := Decimals(c.x, c.significant); got != c.want {
			t.Errorf("Decimals(%g, %d) = %d, want %d", c.x, c.significant, got, c.want)
		}
	}
}

// TestThirdOctaves checks exact frequencies 10^(n/10) (closed form) and the nominal ones of a list of key-comparison frequencies
// (CCAUV.V-K3, read).
//
// Verifies: IEC 61260-1:2014 exact mid-band frequencies, base ten
// Verifies: IEC 61260-1:2014 nominal mid-band frequencies of one-third octaves
func TestThirdOctaves(t *testing.T) {
	exact := []float64{0.1, 0.125893, 0.158489, 0.199526, 0.251189, 0.316228, 0.398107, 0.501187, 0.630957, 0.794328, 1, 1.258925, 1.584893, 1.995262, 2.511886,
		3.162278, 3.981072, 5.011872, 6.309573, 7.943282, 10, 12.589254, 15.848932, 19.952623, 25.118864, 31.622777, 39.810717}
	names := []float64{0.1, 0.125, 0.16, 0.2, 0.25, 0.315, 0.4, 0.5, 0.63, 0.8, 1, 1.25, 1.6, 2, 2.5, 3.15, 4, 5, 6.3, 8, 10, 12.5, 16, 20, 25, 31.5, 40}
	for i := range exact {
		n := i - 10
		if f := ThirdOctave(n); math.Abs(f-exact[i]) > 1e-6 {
			t.Errorf("third octave %d: %.6f Hz, want %.6f", n, f, exact[i])
		}
		if f := NominalThirdOctave(n); f != names[i] {
			t.Errorf("third octave %d: nominal %v Hz, want %v", n, f, names[i])
		}
		if got := NearestThirdOctave(names[i]); got != n {
			t.Errorf("%v Hz is third octave %d, want %d", names[i], got, n)
		}
	}
	for _, c := range []struct {
		n              int
		exact, nominal float64
	}{{19, 79.433, 80}, {20, 100, 100}, {22, 158.489, 160}, {30, 1000, 1000}, {32, 1584.893, 1600}, {40, 10000, 10000}} {
		if f := ThirdOctave(c.n); math.Abs(f-c.exact) > 5e-4 || NominalThirdOctave(c.n) != c.nominal {
			t.Errorf("third octave %d: %.3f Hz, nominal %v Hz; want %.3f and %v", c.n, f, NominalThirdOctave(c.n), c.exact, c.nominal)
		}
	}
}

// TestRoundNominal checks the rule with two frequencies of 24ths of octaves (read in the reference data of a public acoustics project).
//
// Verifies: IEC 61260-1:2014 E.3.4 rounding to nominal frequencies
func TestRoundNominal(t *testing.T) {
	for _, c := range []struct{ f, want float64 }{
		{41.567, 41.6}, {8785.2, 8800}, {4.9999, 5}, {4.994, 4.99}, {5.06, 5.1}, {0, 0}, {-1, 0}, {math.Inf(1), 0}, {math.NaN(), 0},
	} {
		if got := RoundNominal(c.f); got != c.want {
			t.Errorf("RoundNominal(%v) = %v, want %v", c.f, got, c.want)
		}
	}
}
