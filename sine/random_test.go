package sine

import (
	"math"
	"math/cmplx"
	"testing"
)

// Whatever the rate, frequency, length, hum and error of the start value: the truth lies within what the fit claims, nothing is rejected, no step is seen.
func TestRandomRecords(t *testing.T) {
	r := seeded(t, 81)
	fitted := 0
	for range 250 {
		rate := 120 * math.Pow(400, r.Float64())               // 120 to 48000 per s
		nominal := 0.1 * math.Pow(0.44*rate/0.1, r.Float64())  // 0.1 Hz to 0.44 fs
		cycles := 2.1 * math.Pow(300, r.Float64())             // 2 to 600
		f := nominal * (1 + 0.02*math.Pow(2*r.Float64()-1, 3)) // up to 2 %, mostly little
		n := min(int(cycles/nominal*rate), 100000)
		T, hum, mains := float64(n)/rate, 0.01*r.Float64(), 50+0.01*r.NormFloat64()
		if T*nominal < 2.1 || n < 100 {
			continue
		}
		if k, d := NearestMains(f, 50, T); d < 2 && k <= mainsOrders { // there is no telling
			continue
		}
		if T < 0.5 { // hum beside a harmonic is not seen
			hum = 0
		}
		a, b, h := tone(1, f, 6*r.Float64()), tone(2, f, 0), tone(hum, mains, 1)
		x := record(n, rate, noisy(r, 1e-3, func(t float64) float64 { return 5 + a(t) + h(t) }), noisy(r, 1e-3, func(t float64) float64 { return b(t) - 3 }))
		fit, err := Approximate(source(x, 5000), 2, Settings{Rate: rate, Frequency: nominal, Harmonics: 5, Drift: 1, Mains: 50, Frames: int64(n)})
		if err != nil {
			t.Errorf("%g Hz called %g Hz, %d samples at %g per s, hum %g: %v", f, nominal, n, rate, hum, err)
			continue
		}
		fitted++
		q := ratioOf(t, fit, 1, 0)
		ratio := math.Log(cmplx.Abs(q.Value)/2) / q.Noise
		frequency := (fit.Frequency - f) / fit.FrequencyStd
		if math.Abs(ratio) > 6 || math.Abs(frequency) > 9 || len(fit.Steps) > 0 || fit.Rejected > 0 { // 9: Student t with as few as 4 degrees of freedom
			t.Errorf("%g Hz called %g Hz, %d samples at %g per s, hum %g: ratio %.1f, frequency %.1f standard deviations off, %d blocks of %d, steps %v, %d rejected",
				f, nominal, n, rate, hum, ratio, frequency, len(fit.Blocks), fit.BlockSize, fit.Steps, fit.Rejected)
		}
	}
	if fitted < 150 {
		t.Errorf("only %d records fitted", fitted)
	}
}
