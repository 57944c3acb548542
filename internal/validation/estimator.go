package validation

import (
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"sync"

	"plumbline/sine"
)

// estimatorCase is one frequency with one length of record.
type estimatorCase struct {
	frequency float64 // Hz
	periods   int
}

// estimator compares the scatter of the ratio from the streaming approximation with the Cramér-Rao bound in white noise. The true frequency
// is 20 ppm off the nominal one, and each record also holds distortion, hum and drift, which the bound does not know of.
//
//	u(ln|r|) = u(arg r) = e/sqrt(T),  e² = sum_c (e_c/A_c)²,  e_c the one-sided spectral density of channel c
func estimator(s Settings, w io.Writer) (misses []string, err error) {
	runs := s.runs(400, 4000)
	fmt.Fprintf(w, "Scatter of the ratio of two channels over the bound, %d runs each (seed %d), frequency refined, harmonics 1 to 5, drift and mains lines fitted; "+
		"a count of %d runs tells the ratio to ±%.1f %% (three standard deviations). Bias in standard deviations of one run.\n\n", runs, s.Seed, runs, 300/math.Sqrt(2*float64(runs)))
	var rows [][]string
	for _, f := range []float64{0.5, 1, 3, 10, 97, 1000, 10000} {
		for _, periods := range []int{3, 10, 30} {
			ratio, bias, err := scatter(estimatorCase{f, periods}, runs, s)
			if err != nil {
				return nil, fmt.Errorf("%g Hz, %d periods: %w", f, periods, err)
			}
			rows = append(rows, []string{fmt.Sprintf("%g", f), fmt.Sprint(periods), fmt.Sprintf("%.3f", ratio[0]), fmt.Sprintf("%.3f", ratio[1]), fmt.Sprintf("%+.2f", bias[0]), fmt.Sprintf("%+.2f", bias[1])})
			if low := 1 - 3/math.Sqrt(2*float64(runs)); periods >= 10 && (min(ratio[0], ratio[1]) < low || max(ratio[0], ratio[1]) > 1.15+3/math.Sqrt(2*float64(runs))) {
				misses = append(misses, fmt.Sprintf("estimator at %g Hz, %d periods: %.3f and %.3f of the bound", f, periods, ratio[0], ratio[1]))
			}
		}
	}
	table(w, []string{"Hz", "periods", "modulus / bound", "phase / bound", "bias of modulus", "bias of phase"}, rows)
	return misses, nil
}

// scatter is the standard deviation of ln modulus and phase over the bound, and their mean over the bound.
func scatter(c estimatorCase, runs int, s Settings) (ratio, bias [2]float64, err error) {
	errs := make([][2]float64, runs)
	fails := make([]error, max(1, s.Workers))
	var group sync.WaitGroup
	for k := range fails {
		group.Go(func() {
			for run := k; run < runs && fails[k] == nil; run += len(fails) {
				errs[run], fails[k] = c.run(rand.New(rand.NewPCG(s.Seed+uint64(c.frequency*1000)+uint64(c.periods), uint64(run))))
			}
		})
	}
	group.Wait()
	for _, e := range fails {
		if e != nil {
			return ratio, bias, e
		}
	}
	for i := range 2 {
		mean, sum := 0.0, 0.0
		for _, e := range errs {
			mean += e[i] / float64(runs)
		}
		for _, e := range errs {
			sum += (e[i] - mean) * (e[i] - mean)
		}
		ratio[i], bias[i] = math.Sqrt(sum/float64(runs-1)), mean
	}
	return ratio, bias, nil
}

// run is the error of one record's ln modulus and phase in units of the bound.
func (c estimatorCase) run(rng *rand.Rand) (e [2]float64, err error) {
	const sigma, amplitude, trueRatio = 1e-3, 1.0, 0.5
	perPeriod := 64.0
	rate := c.frequency * perPeriod
	frames := int(perPeriod) * c.periods
	f := c.frequency * (1 + 20e-6)
	phase := [2]float64{2 * math.Pi * rng.Float64(), 2 * math.Pi * rng.Float64()}
	lead := phase[1] - phase[0]
	samples := [][]float64{make([]float64, frames), make([]float64, frames)}
	a := [2]float64{amplitude, amplitude * trueRatio}
	for ch := range samples {
		drift := rng.NormFloat64() * 0.1
		for i := range samples[ch] {
			t := float64(i) / rate
			arg := 2*math.Pi*f*t + phase[ch]
			x := a[ch]*math.Cos(arg) + 0.05*a[ch]*math.Cos(3*arg) + 0.02*a[ch]*math.Cos(2*arg)
			samples[ch][i] = x + drift*t*rate/float64(frames) + 5 + sigma*rng.NormFloat64()
		}
	}
	fit, err := sine.Approximate(fromMemory(samples), 2, sine.Settings{Rate: rate, Frequency: c.frequency, Harmonics: 5, Drift: 1, Frames: int64(frames)})
	if err != nil {
		return e, err
	}
	r, err := fit.Ratio(1, 0)
	if err != nil {
		return e, err
	}
	bound := math.Sqrt(2/float64(frames)) * math.Hypot(sigma/a[0], sigma/a[1])
	e[0] = math.Log(math.Hypot(real(r.Value), imag(r.Value))/trueRatio) / bound
	e[1] = math.Remainder(math.Atan2(imag(r.Value), real(r.Value))-lead, 2*math.Pi) / bound
	return e, nil
}

// fromMemory reads samples as a recording.
func fromMemory(samples [][]float64) sine.Source {
	return func() (func(dst [][]float64) (int, error), error) {
		at := 0
		return func(dst [][]float64) (int, error) {
			n := min(len(dst[0]), len(samples[0])-at)
			if n == 0 {
				return 0, io.EOF
			}
			for c := range samples {
				copy(dst[c][:n], samples[c][at:at+n])
			}
			at += n
			return n, nil
		}, nil
	}
}
