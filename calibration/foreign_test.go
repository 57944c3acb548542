package calibration

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"plumbline/internal/simulator"
)

// lines is what a spectrum says of a signal of 1 V at f with white noise and further lines.
func lines(f, rate, seconds float64, noise float64, further map[float64]float64) (at, amplitude float64) {
	rng := rand.New(rand.NewPCG(20261125, 7))
	x := make([]float64, int(seconds*rate))
	for k := range x {
		t := float64(k) / rate
		x[k] = 2 + math.Sin(2*math.Pi*f*t) + 0.2*math.Sin(6*math.Pi*f*t+1) + 0.05*math.Sin(2*math.Pi*50.01*t) + noise*rng.NormFloat64()
	}
	for g, a := range further {
		for k := range x {
			x[k] += a * math.Sin(2*math.Pi*g*float64(k)/rate+0.7)
		}
	}
	s := newSpectrum(f, 50, rate)
	for len(x) > 0 { // in pieces that fit nothing
		n := min(len(x), 777)
		s.add(x[:n], 1)
		x = x[n:]
	}
	return s.foreign(f)
}

// TestForeignLineIsMeasured: frequency to a bin and amplitude to 15 % of what was put in, wherever it lies between bins; nothing where nothing was put in.
func TestForeignLineIsMeasured(t *testing.T) {
	for _, c := range []struct{ f, rate, seconds float64 }{{1, 500, 60}, {10, 2000, 20}, {97, 2000, 10}, {1000, 48000, 3}, {5, 2000, 400}} {
		for _, k := range []float64{22, 3, math.Floor(0.3141 * c.rate / c.f)} {
			g := (k + 0.47) * c.f // between harmonics
			if g > 0.45*c.rate {
				continue
			}
			bin := c.rate / float64(newSpectrum(c.f, 50, c.rate).size)
			if near := math.Abs(math.Remainder(g, 50)); near < 6*bin {
				g += 12 * bin // and clear of the mains
			}
			at, amplitude := lines(c.f, c.rate, c.seconds, 0.002, map[float64]float64{g: 0.005})
			if math.Abs(at-g) > bin || math.Abs(amplitude/0.005-1) > 0.15 {
				t.Errorf("%g Hz at %g samples per second: line of 0.005 V at %.6g Hz found as %.4g V at %.6g Hz (bin %.3g Hz)", c.f, c.rate, g, amplitude, at, bin)
			}
		}
		if at, amplitude := lines(c.f, c.rate, c.seconds, 0.002, nil); amplitude > foreignShare {
			t.Errorf("%g Hz at %g samples per second: nothing was put in, %.3g V found at %.4g Hz", c.f, c.rate, amplitude, at)
		}
	}
}

// folded are harmonics of the signal that the recorder's missing filter folds back: they are its own, not foreign.
func TestFoldedHarmonicIsNotForeign(t *testing.T) {
	if at, a := lines(97, 2000, 20, 0.002, map[float64]float64{2000 - 15*97: 0.004}); a > foreignShare {
		t.Errorf("the folded 15th harmonic is taken for a foreign line at %.4g Hz, %.3g V", at, a)
	}
}

// TestSetSpeaks plants what only spectrum and set of points show: a machine line, an AC coupling that nobody declared, one point beside a cable resonance; and
// nothing.
func TestSetSpeaks(t *testing.T) {
	frequencies := []float64{1, 3, 10, 30, 97}
	never := Settling{NotApplicable: "recorded after settling"}
	for _, c := range []struct {
		name, want string
		at         int
		bench      func(*simulator.Bench, float64)
	}{
		{"healthy", "", 0, func(*simulator.Bench, float64) {}},
		{"machine", "foreign-line", 0, func(b *simulator.Bench, _ float64) {
			b.Ground.Machines = []simulator.Machine{{Frequency: 24.7, Level: 0.01}}
		}},
		{"AC coupling of 0.3 Hz", "low-end", 0, func(b *simulator.Bench, _ float64) { b.Recorder.Coupling[1] = 0.3 }},
		{"cable resonance", "stands-alone", 2, func(b *simulator.Bench, f float64) {
			if f == 10 {
				b.Recorder.Gain[1] = 1.05
			}
		}},
	} {
		var all Job
		for i, f := range frequencies {
			b := simulator.FenwickLane()
			b.Recorder.Rate = 1000
			c.bench(&b, f)
			j, _ := simulated(t, b, uint64(i)+20261125, simulator.Point{Frequency: f, Level: 0.5, Duration: 20})
			j.judging(never)
			if i == 0 {
				all = j
				continue
			}
			all.Points = append(all.Points, j.Points...)
		}
		r, err := Evaluate(all, 1)
		if err != nil {
			t.Fatal(err)
		}
		got := ""
		for i, p := range r.Points {
			for _, code := range strings.Fields(codes(p.Remarks)) {
				if code == "foreign-line" || code == "low-end" || code == "stands-alone" {
					got += fmt.Sprintf(" %s@%g", code, frequencies[i])
				}
			}
		}
		switch {
		case c.want == "" && got != "":
			t.Errorf("%s: remarks%s", c.name, got)
		case c.want != "" && !strings.Contains(got, fmt.Sprintf(" %s@%g", c.want, frequencies[c.at])):
			t.Errorf("%s: remarks%q, want %s at %g Hz", c.name, got, c.want, frequencies[c.at])
		}
		for _, other := range []string{"low-end", "stands-alone"} {
			if other != c.want && strings.Contains(got, other) {
				t.Errorf("%s: remarks%s", c.name, got)
			}
		}
	}
}
