package channel

import (
	"encoding/json"
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"os/exec"
	"strings"
	"testing"
)

// source is 1 V rms known to 0.1 %, flat to 0.02 %.
var source = Source{Amplitude: math.Sqrt2, Std: 1e-3, Flatness: 2e-4}

// shown is what a channel of the given full scale and corners shows at each frequency, with an error of standard deviation std.
func shown(rng *rand.Rand, fullScale, std float64, corners []float64, frequencies ...float64) []Reading {
	var r []Reading
	for _, f := range frequencies {
		h := complex(1, 0)
		for _, c := range corners {
			h *= complex(0, f/c) / complex(1, f/c)
		}
		a := source.Amplitude / fullScale * cmplx.Abs(h)
		if rng != nil {
			a *= 1 + math.Hypot(std, source.Flatness)*rng.NormFloat64()
		}
		r = append(r, Reading{Frequency: f, Amplitude: a, Std: std, Phase: cmplx.Phase(h)})
	}
	return r
}

// TestFitIsExact takes readings without error: closed form of the high-pass.
func TestFitIsExact(t *testing.T) {
	for _, c := range [][]float64{nil, {0.3}, {0.5, 0.1}, {0.4, 0.4}} {
		r, err := Fit(source, shown(nil, 12.5, 1e-4, c, 0.5, 1, 2, 5, 20, 100), len(c))
		if err != nil {
			t.Fatalf("corners %v: %v", c, err)
		}
		if math.Abs(r.FullScale/12.5-1) > 1e-10 || len(r.Corners) != len(c) || r.StdSource != source.Std {
			t.Errorf("corners %v: %+v", c, r)
		}
		for i := range r.Corners {
			if math.Abs(r.Corners[i].Frequency/c[i]-1) > 1e-7 {
				t.Errorf("corner %d of %v: %g", i+1, c, r.Corners[i].Frequency)
			}
		}
	}
}

// TestCoverage draws readings 2000 times, each with its own error: 95.45 % of a normal distribution lie within two standard deviations.
func TestCoverage(t *testing.T) {
	const trials, seed, fullScale = 2000, 20261125, 9.87
	t.Logf("seed %d", seed)
	rng := rand.New(rand.NewPCG(seed, 1))
	for _, c := range [][]float64{{}, {0.3}, {0.9, 0.2}, {0.4, 0.4}} {
		inside, refused := make([]int, 1+len(c)), 0
		for range trials {
			r, err := Fit(source, shown(rng, fullScale, 1e-4, c, 0.25, 0.5, 1, 2, 5, 20, 100), len(c))
			if err != nil {
				refused++
				continue
			}
			within := func(k int, e, u float64) {
				if math.Abs(e) <= 2*u {
					inside[k]++
				}
			}
			within(0, r.FullScale/fullScale-1, r.StdType)
			for i := range r.Corners {
				within(i+1, r.Corners[i].Frequency/c[i]-1, r.Corners[i].Std)
			}
		}
		if refused > trials*3/100 {
			t.Errorf("corners %v: %d of %d refused, one in a hundred by chi-squared and some by the discriminant are right", c, refused, trials)
		}
		for k, n := range inside {
			if p := float64(n) / float64(trials-refused); p < 0.94 || p > 0.966 && !(len(c) == 2 && c[0] == c[1]) {
				t.Errorf("corners %v, result %d: %.3f within two standard deviations, 0.954 are right", c, k, p)
			}
		}
	}
}

// TestFitAgreesWithScipy compares with the nonlinear least squares of scipy on the amplitudes themselves: another form of the model, another algorithm. The two weigh errors alike to first order.
func TestFitAgreesWithScipy(t *testing.T) {
	const seed = 7
	readings := shown(rand.New(rand.NewPCG(seed, 2)), 9.87, 3e-5, []float64{0.8, 0.15}, 0.2, 0.4, 0.8, 2, 5, 20, 100)
	r, err := Fit(source, readings, 2)
	if err != nil {
		t.Fatal(err)
	}
	data, err := json.Marshal(readings)
	if err != nil {
		t.Fatal(err)
	}
	script := `
import json, sys
import numpy as np
from scipy.optimize import curve_fit
r = json.loads(sys.argv[1])
f = np.array([x["Frequency"] for x in r]); a = np.array([x["Amplitude"] for x in r]); s = np.hypot([x["Std"] for x in r], 2e-4) * a
m = lambda f, F, p, q: np.sqrt(2) / F / np.sqrt((1 + (p/f)**2) * (1 + (q/f)**2))
p, c = curve_fit(m, f, a, p0=[10, 1, 0.1], sigma=s, absolute_sigma=True, xtol=1e-14, ftol=1e-14)
print(json.dumps([*p, *np.sqrt(np.diag(c))]))`
	out, err := exec.Command("/usr/bin/python3", "-c", script, string(data)).Output()
	if err != nil {
		t.Fatal("python3 with scipy is needed:", err)
	}
	var want []float64
	if err := json.Unmarshal(out, &want); err != nil {
		t.Fatal(err)
	}
	got := []float64{r.FullScale, r.Corners[0].Frequency, r.Corners[1].Frequency, r.StdType * r.FullScale, r.Corners[0].Std * r.Corners[0].Frequency, r.Corners[1].Std * r.Corners[1].Frequency}
	for i := range 3 {
		if math.Abs(got[i]-want[i]) > 0.05*want[i+3] {
			t.Errorf("parameter %d: %.9g, scipy has %.9g ± %.2g", i, got[i], want[i], want[i+3])
		}
		if math.Abs(got[i+3]/want[i+3]-1) > 0.02 {
			t.Errorf("standard uncertainty %d: %.4g, scipy has %.4g", i, got[i+3], want[i+3])
		}
	}
}

// TestNoCornerInSight finds an upper limit where the readings begin far above the corner, and none where they end it.
func TestNoCornerInSight(t *testing.T) {
	r, err := Fit(source, shown(nil, 10, 1e-4, []float64{0.005}, 1, 10, 100), 1)
	if err != nil {
		t.Fatal(err)
	}
	if len(r.Corners) != 0 || r.LargestPlausible < 0.005 || r.LargestPlausible > 0.1 {
		t.Errorf("%+v, want a largest plausible corner between 0.005 Hz and 0.1 Hz", r)
	}
}

func TestFitRefuses(t *testing.T) {
	resonant := shown(nil, 10, 1e-5, nil, 0.5, 1, 2, 5, 20)
	for i := range resonant { // second order, quality 2 at 1 Hz: |H|⁻² = (1 - 1/f²)² + 1/(4f²)
		f := resonant[i].Frequency
		resonant[i].Amplitude /= math.Sqrt(math.Pow(1-1/(f*f), 2) + 1/(4*f*f))
	}
	for _, c := range []struct {
		want     string
		source   Source
		readings []Reading
		corners  int
	}{
		{"volt", Source{}, shown(nil, 10, 1e-4, nil, 1), 0},
		{"no uncertainty", Source{Amplitude: 1}, []Reading{{Frequency: 1, Amplitude: 0.1}}, 0},
		{"1 frequencies for full scale and 1 corners", source, shown(nil, 10, 1e-4, nil, 1), 1},
		{"stands twice", source, shown(nil, 10, 1e-4, nil, 1, 1), 0},
		{"allowed are 0 to 2", source, shown(nil, 10, 1e-4, nil, 1), 3},
		{"do not follow 0 corners", source, shown(nil, 10, 1e-4, []float64{0.3}, 1, 2, 5, 10), 0},
		{"do not follow 1 corners", source, shown(nil, 10, 1e-4, []float64{0.5, 0.5}, 0.5, 1, 2, 5, 10), 1},
		{"do not show a second corner", source, shown(nil, 10, 1e-4, []float64{0.3}, 1, 2, 5, 10), 2},
		{"resonant high-pass at 1 Hz with a quality of 2,", source, resonant, 2},
	} {
		if _, err := Fit(c.source, c.readings, c.corners); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%v, want %q", err, c.want)
		}
	}
}

// TestDelay builds phases from corners and a delay, exactly and with noise.
func TestDelay(t *testing.T) {
	const want = 12e-6
	own, first := []Corner{{Frequency: 0.3, Std: 0.01}}, []Corner{{Frequency: 0.31, Std: 0.01}}
	var readings []Reading
	for _, f := range []float64{1, 10, 100, 1000} {
		phase := cmplx.Phase(complex(0, f/0.3)/complex(1, f/0.3)) - cmplx.Phase(complex(0, f/0.31)/complex(1, f/0.31)) - 2*math.Pi*f*want
		readings = append(readings, Reading{Frequency: f, Amplitude: 0.1, Phase: phase, StdPhase: 1e-5})
	}
	delay, std, err := FitDelay(readings, own, first)
	if err != nil || math.Abs(delay-want) > 1e-12 {
		t.Errorf("delay %g s, %v, want %g s", delay, err, want)
	}
	if least := 1e-5 / (2 * math.Pi * math.Sqrt(1+1e2+1e4+1e6)); std < least || std > 3*least { // the scatter, and little by the corners
		t.Errorf("standard uncertainty %g s, the scatter alone makes %g s", std, least)
	}
	if _, _, err := FitDelay([]Reading{{Frequency: 10, Phase: 3, StdPhase: 1e-5}}, nil, nil); err == nil || !strings.Contains(err.Error(), "inverted") {
		t.Errorf("inverted: %v", err)
	}
	if _, _, err := FitDelay(nil, nil, nil); err == nil {
		t.Error("no reading: no error")
	}
}

func ExampleFit() {
	v := Source{Amplitude: math.Sqrt2, Std: 0.001, Flatness: 0.0002}
	r, err := Fit(v, []Reading{{Frequency: 1, Amplitude: 0.135457, Std: 1e-5}, {Frequency: 10, Amplitude: 0.141358, Std: 1e-5}, {Frequency: 100, Amplitude: 0.141421, Std: 1e-5}}, 1)
	fmt.Printf("%.4f V, corner %.2f Hz, %v\n", r.FullScale, r.Corners[0].Frequency, err)
	// Output: 10.0000 V, corner 0.30 Hz, <nil>
}
