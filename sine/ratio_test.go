package sine

import (
	"errors"
	"math"
	"math/cmplx"
	"testing"
)

// fitOf is a Fit whose blocks hold the ratios in channel 1 over channel 0, one second apart.
func fitOf(ratios []complex128, weights []int) Fit {
	f := Fit{Rate: 1000, Frames: int64(1000 * len(ratios)), BlockSize: 1000, Frequency: 10}
	f.Channels = []Channel{{Amplitude: 1}, {Amplitude: ratios[0]}}
	for i, r := range ratios {
		f.Blocks = append(f.Blocks, Block{Time: float64(i) + 0.5, Z: []complex128{1, r}, Variance: []float64{0, 0}, Weight: weights[i]})
	}
	return f
}

// Verifies: GUM 4.2.3
// Closed forms, worked by hand: mean, standard deviation of the mean, Hann mean, lag-1 autocorrelation and slope of the series 0.01 {1, 2, 0, 3} about ln 2.
func TestRatioStatistics(t *testing.T) {
	var r []complex128
	for _, v := range []float64{0.01, 0.02, 0, 0.03} {
		r = append(r, cmplx.Rect(2*math.Exp(v), math.Pi-0.01+v))
	}
	q := ratioOf(t, fitOf(r, []int{1, 1, 1, 1}), 1, 0)
	near(t, "modulus", math.Log(cmplx.Abs(q.Value)/2), 0.015, 1e-4) // mean of the values, not of their logarithms
	// deviations from the mean in 0.01: -1/2, 1/2, -3/2, 3/2; sum of squares 5
	near(t, "standard deviation of the mean", q.StdRe, 0.01*math.Sqrt(5./3/4), 1e-12)
	near(t, "the same of the phase", q.StdIm, q.StdRe, 1e-12)
	near(t, "lag 1", q.Lag1Re, (-0.25-0.75-2.25)/5, 1e-12)
	near(t, "slope", q.SlopeRe, 0.01*(1.5*0.5-0.5*0.5-0.5*1.5+1.5*1.5)/5, 1e-12)
	rest := 5 - 0.4*0.4*5 // sum of squares less slope^2 S_tt
	near(t, "t of the slope", q.TrendIm, 0.4/math.Sqrt(rest/2/5), 1e-10)
	h := []float64{math.Pow(math.Sin(math.Pi/8), 2), math.Pow(math.Sin(3*math.Pi/8), 2)} // sum of all four is 2
	near(t, "Hann", real(q.Hann), 0.01*(h[0]/2*(-0.5+1.5)+h[1]/2*(0.5-1.5)), 1e-12)
	spread := 2*math.Pow(h[0]/2-0.25, 2) + 2*math.Pow(h[1]/2-0.25, 2)
	near(t, "standard deviation of Hann", q.HannStd, 0.01*math.Sqrt(5./3*spread), 1e-12)
	if q.N != 4 || q.Dof != 3 {
		t.Errorf("N %d, dof %g", q.N, q.Dof)
	}
	for i, v := range q.Ln { // the phase crosses pi without a jump
		near(t, "phase", imag(v)-cmplx.Phase(q.Value), []float64{0.01, 0.02, 0, 0.03}[i]-0.015, 2e-4) // the phase of the mean of the values
	}
}

// A merged block counts as many times as it has blocks: a series in which equal neighbours are merged has the same mean, and a block of weight w has the variance 1/w.
func TestRatioWeights(t *testing.T) {
	ratios := []complex128{cmplx.Exp(0.01), cmplx.Exp(0.04), cmplx.Exp(0.02)}
	q := ratioOf(t, fitOf(ratios, []int{2, 1, 3}), 1, 0)
	mean := (2*0.01 + 0.04 + 3*0.02) / 6
	s2 := (2*math.Pow(0.01-mean, 2) + math.Pow(0.04-mean, 2) + 3*math.Pow(0.02-mean, 2)) / 2
	near(t, "standard deviation of the mean", q.StdRe, math.Sqrt(s2/6), 1e-12)
	near(t, "value", real(q.Value), (2*math.Exp(0.01)+math.Exp(0.04)+3*math.Exp(0.02))/6, 1e-12)
	many := fitOf([]complex128{ratios[0], ratios[0], ratios[1], ratios[2], ratios[2], ratios[2]}, []int{1, 1, 1, 1, 1, 1})
	near(t, "value of the unmerged series", cmplx.Abs(ratioOf(t, many, 1, 0).Value-q.Value), 0, 1e-12)
}

// The value is not biased by the noise of the denominator: at a block signal to noise ratio of 3 sum z_d conj(z_r)/sum |z_r|^2 is 18 % low (-2 sigma^2/A^2, closed form).
func TestRatioIsNotBiasedByNoise(t *testing.T) {
	r := seeded(t, 51)
	const n = 20000
	f := Fit{Rate: 1000, Frames: 1000 * n, BlockSize: 1000, Channels: []Channel{{Amplitude: 1}, {Amplitude: 2}}}
	for i := range n {
		noise := func() complex128 { return complex(r.NormFloat64(), r.NormFloat64()) / 3 }
		f.Blocks = append(f.Blocks, Block{Time: float64(i), Z: []complex128{1 + noise(), 2 + noise()}, Variance: []float64{1, 1}, Weight: 1})
	}
	q := ratioOf(t, f, 1, 0)
	near(t, "value", cmplx.Abs(q.Value-2), 0, 5*math.Sqrt(5/9./n))
	near(t, "mean of the logarithms", math.Log(2), weightedMean(q), 5*q.StdRe) // harmonic function: no bias either
}

func weightedMean(q Ratio) float64 {
	sum := 0.0
	for _, v := range q.Ln {
		sum += real(v) / float64(q.N)
	}
	return sum
}

// Where the phase of both wandered the value is that of the cross product; with noise it is refused.
func TestRatioOfWanderingPhase(t *testing.T) {
	f := fitOf([]complex128{2, 2, 2, 2, 2, 2}, []int{1, 1, 1, 1, 1, 1})
	for i := range f.Blocks {
		w := cmplx.Rect(1, float64(i))
		f.Blocks[i].Z = []complex128{w, 2i * w}
	}
	near(t, "value", cmplx.Abs(ratioOf(t, f, 1, 0).Value-2i), 0, 1e-15)
	for i := range f.Blocks {
		f.Blocks[i].Variance = []float64{10, 10} // 1000 samples: noise 0.14 of the block values
	}
	if _, err := f.Ratio(1, 0); !errors.Is(err, ErrNoLine) {
		t.Errorf("noise and wander: %v, want %v", err, ErrNoLine)
	}
}

func TestRatioRefuses(t *testing.T) {
	f := fitOf([]complex128{2, 2}, []int{1, 1})
	if _, err := f.Ratio(2, 0); err == nil {
		t.Error("a third channel of two accepted")
	}
	f.Channels[0] = Channel{Amplitude: 1e-3, Std: 1e-3}
	if _, err := f.Ratio(1, 0); !errors.Is(err, ErrNoLine) {
		t.Errorf("a disconnected reference: %v, want %v", err, ErrNoLine)
	}
	f = fitOf([]complex128{2, 2}, []int{1, 1})
	for i := range f.Blocks {
		f.Blocks[i].Rejected = true
	}
	if _, err := f.Ratio(1, 0); !errors.Is(err, ErrDisturbed) {
		t.Errorf("every block rejected: %v, want %v", err, ErrDisturbed)
	}
}

// A ratio that had not settled shows: in the trend, in the lag-1 autocorrelation, in Hann; a settled one does not.
func TestUnsettledPointShows(t *testing.T) {
	r := seeded(t, 52)
	for _, c := range []struct {
		name     string
		warmUp   float64 // relative change of the device's gain, gone with 5 s
		unsteady bool
	}{{"settled", 0, false}, {"warming up", 0.01, true}} {
		x := [][]float64{make([]float64, 20000), make([]float64, 20000)}
		for i := range x[0] {
			s := float64(i) / 1000
			w := 2*math.Pi*10*s + 0.2
			x[0][i] = math.Cos(w) + 1e-2*r.NormFloat64()
			x[1][i] = (1+c.warmUp*math.Exp(-s/5))*math.Cos(w) + 1e-2*r.NormFloat64()
		}
		q := ratioOf(t, accumulate(t, x, Settings{Rate: 1000, Frequency: 10, Harmonics: 5, Drift: 1, Frames: 20000}, 4096), 1, 0)
		if (math.Abs(q.TrendRe) > 4) != c.unsteady || (q.Lag1Re > 0.5) != c.unsteady || (math.Abs(real(q.Hann)) > 2*q.HannStd) != c.unsteady {
			t.Errorf("%s: t of the trend %.2f, lag 1 %.2f, Hann %.2f of its standard deviations", c.name, q.TrendRe, q.Lag1Re, real(q.Hann)/q.HannStd)
		}
		if math.Abs(q.TrendIm) > 4 {
			t.Errorf("%s: t of the phase's trend %.2f", c.name, q.TrendIm)
		}
	}
}
