package recording

import (
	"math"
	"os"
	"strings"
	"testing"
)

// wandering is a sine of the given period on a slow wander, with normal noise.
func wandering(t *testing.T, seed uint64, n int, amplitude, period, wander, noise float64) []float64 {
	r := seeded(t, seed, 12)
	x := sine(r, n, amplitude, period, 0.3, noise, 0)
	for i := range x {
		x[i] += wander * math.Sin(2*math.Pi*0.37*float64(i)/float64(n)-1.3)
	}
	return x
}

// rounded gives samples the resolution of 32-bit floating point (0 bits), of integers of full scale 1 or, below 0, of so many
// significant digits.
func rounded(x []float64, bits int) []float64 {
	y := make([]float64, len(x))
	for i, v := range x {
		switch y[i] = float64(float32(v)); {
		case bits < 0 && v != 0:
			e := math.Pow(10, math.Floor(math.Log10(math.Abs(v)))+1+float64(bits))
			y[i] = math.Round(v/e) * e
		case bits > 0:
			q := math.Ldexp(1, 1-bits)
			y[i] = math.RoundToEven(v/q) * q
		}
	}
	return y
}

// TestClippedWandering: some twelve samples in a period, nearly the same phases in every other one, and crests that are cut
// on one side only while the signal wanders: the outermost value comes again and again, no other does.
func TestClippedWandering(t *testing.T) {
	for _, bits := range []int{0, 24} {
		for _, period := range []float64{12.5, 12.5004, 12.3, 12.8, 6.25, 10.0003, 20.32} {
			for _, limit := range []float64{0.55, 0.7, 0.9} {
				x := wandering(t, uint64(period), 6000, 0.01, period, 0.0015, 1e-6)
				x = rounded(limited(x, -1, limit*0.0115), bits)
				f := one(t, inspected(Channel{Unit: fs, Bits: bits}, 1000, x), Clipped)
				if !f.Refuse || f.Count < 12 {
					t.Errorf("bits %d, period %v, limit %v: %+v", bits, period, limit, f)
				}
			}
		}
	}
}

// TestPiledByRounding: values that come again for other reasons than clipping: few codes, the same phases in every period
// without noise or with a shift that the crests do not show, and stretches that stand still.
func TestPiledByRounding(t *testing.T) {
	runs := 400
	if os.Getenv("PLUMBLINE_SOAK") == "1" {
		runs = 10_000
	}
	r := seeded(t, 13, 13)
	for k := range runs {
		bits := []int{0, 8, 12, 16, 24, -4, -6}[r.IntN(7)]
		step := 0x1p-24
		if bits > 0 {
			step = math.Ldexp(1, 1-bits)
		}
		amplitude := min(0.6, step*math.Exp(1+r.Float64()*15))
		period := float64(3 + r.IntN(60))
		if r.IntN(2) == 0 {
			period /= float64(1 + r.IntN(4))
		}
		shift := []float64{0, 0, 1e-7, 1e-6, 1e-5, 1e-4, 1e-3}[r.IntN(7)]
		noise := []float64{0, 0, 0.2, 0.5, 1, 2, 5, 50}[r.IntN(8)] * step
		noise = min(noise, 0.05) // full scale is 1
		phase := r.Float64() * 7
		if r.IntN(2) == 0 {
			phase = math.Pi / 2 // a sample on every crest
		}
		n := 500 + r.IntN(9000)
		x := rounded(sine(r, n, amplitude, period+shift, phase, noise, 0), bits)
		held := r.IntN(3) == 0
		if held { // beyond the highest value, as a charge amplifier in overload does
			from, level := r.IntN(n/2), 1.1*amplitude
			for i := from; i < from+20+n/10; i++ {
				x[i] = rounded([]float64{level}, bits)[0]
			}
		}
		for _, f := range inspected(Channel{Unit: fs, Bits: max(0, bits)}, 1+r.IntN(5000), x) {
			if f.Code == Clipped && (!held || strings.Contains(f.Text, "outermost")) {
				t.Errorf("run %d: bits %d, %d samples, amplitude %.3g steps, period %v + %v, phase %v, noise %v steps, held %v: %s",
					k, bits, n, amplitude/step, period, shift, phase, noise/step, held, f.Text)
			}
		}
	}
}
