package sine

import (
	"bytes"
	"encoding/base64"
	"encoding/binary"
	"encoding/json"
	"math"
	"math/cmplx"
	"os/exec"
	"testing"
)

// python is Debian's interpreter: it has scipy.
const python = "/usr/bin/python3"

// scipyFit is what testdata/reference.py says.
type scipyFit struct {
	Blocks [][]struct {
		Z        [][2]float64
		Variance float64
		Hum      []float64
	}
	Batch struct {
		Frequency float64
		Z         [][2]float64
	}
}

// scipy fits x block by block, or as a whole where size is 0.
func scipy(t *testing.T, rate float64, freq []float64, harmonics, drift, size int, x [][]float64) scipyFit {
	t.Helper()
	in := map[string]any{"rate": rate, "size": size, "freq": freq, "harmonics": harmonics, "drift": drift, "blocks": size > 0}
	var samples []string
	for _, y := range x {
		raw := make([]byte, 0, 8*len(y))
		for _, v := range y {
			raw = binary.LittleEndian.AppendUint64(raw, math.Float64bits(v))
		}
		samples = append(samples, base64.StdEncoding.EncodeToString(raw))
	}
	in["samples"] = samples
	text, err := json.Marshal(in)
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(python, "testdata/reference.py")
	cmd.Stdin = bytes.NewReader(text)
	var stderr bytes.Buffer
	cmd.Stderr = &stderr
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("%s testdata/reference.py (make setup installs it): %v\n%s", python, err, stderr.String())
	}
	var f scipyFit
	if err := json.Unmarshal(out, &f); err != nil {
		t.Fatal(err)
	}
	return f
}

func toComplex(v [2]float64) complex128 { return complex(v[0], v[1]) }

// Outside reference: scipy.linalg.lstsq (singular values) block by block on the same regressors.
func TestBlocksAgreeWithScipy(t *testing.T) {
	for _, c := range []struct {
		name string
		s    Settings
		n    int
	}{
		{"1 Hz", Settings{Rate: 1000, Frequency: 1, Harmonics: 5, Drift: 1, Mains: 50}, 12000},
		{"97 Hz, odd block of several tiles", Settings{Rate: 5000, Frequency: 97, Harmonics: 5, Drift: 2, Mains: 50, Block: 1805}, 12000},
		{"5 Hz, block shorter than a tile", Settings{Rate: 500, Frequency: 5, Harmonics: 5, Drift: 3, Mains: 60, Block: 301}, 3010},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := seeded(t, 71)
			f := c.s.Frequency * (1 + 2e-5)
			y := func(a float64) func(t float64) float64 {
				return noisy(r, 1e-3, func(t float64) float64 {
					return 10 + 0.01*t + a*math.Cos(2*math.Pi*f*t+0.2) + 0.1*a*math.Cos(6*math.Pi*f*t) + 0.01*math.Cos(2*math.Pi*c.s.Mains*t+1)
				})
			}
			x := record(c.n, c.s.Rate, y(1), y(0.003))
			c.s.Frames, c.s.Known = int64(c.n), true
			a, err := NewAccumulator(c.s, 2)
			if err != nil {
				t.Fatal(err)
			}
			addAll(t, a, x, 777)
			fit, err := a.Fit()
			if err != nil {
				t.Fatal(err)
			}
			b := a.basis
			compareBlocks(t, a, fit, scipy(t, b.rate, b.freq, b.harmonics, b.drift, b.size, x))
		})
	}
}

// Outside reference: scipy.optimize.least_squares, amplitudes and one frequency for both channels at once.
func TestBatchAgreesWithScipy(t *testing.T) {
	r := seeded(t, 72)
	s := Settings{Rate: 500, Frequency: 5, Harmonics: 1, Drift: 2, Mains: 50, MainsOrder: 2, Weights: []float64{1, 1}}
	y := func(a, phase float64) func(t float64) float64 {
		return noisy(r, 1e-2, func(t float64) float64 {
			return a*math.Cos(2*math.Pi*5.003*t+phase) + 0.05*math.Cos(100*math.Pi*t) + 3 + 0.01*t*t
		})
	}
	x := record(4000, 500, y(1, 0.2), y(2, 0.7))
	got, err := Batch(x, s, Uniform)
	if err != nil {
		t.Fatal(err)
	}
	want := scipy(t, 500, []float64{5, 50, 100}, 1, 2, 0, x).Batch
	near(t, "frequency", got.Frequency, want.Frequency, 1e-9*5)
	for c, ch := range got.Channels {
		z := toComplex(want.Z[c])
		near(t, "modulus", cmplx.Abs(ch.Amplitude)/cmplx.Abs(z), 1, 1e-9)
		near(t, "phase", cmplx.Phase(ch.Amplitude/z), 0, 1e-7) // 8 s of pi times the tolerance of the frequency
	}
}

func compareBlocks(t *testing.T, a *Accumulator, fit Fit, want scipyFit) {
	t.Helper()
	if len(fit.Blocks) != len(want.Blocks) || fit.Rejected > 0 {
		t.Fatalf("%d blocks, %d rejected, want %d", len(fit.Blocks), fit.Rejected, len(want.Blocks))
	}
	for i, b := range fit.Blocks {
		for c, w := range want.Blocks[i] {
			scale := cmplx.Abs(toComplex(w.Z[0]))
			near(t, "fundamental", cmplx.Abs(b.Z[c]-toComplex(w.Z[0]))/scale, 0, 1e-11)
			near(t, "residual variance", b.Variance[c]/w.Variance, 1, 1e-9)
			for h, z := range a.blocks.lines(i, c) {
				turned := rotated(z, wrap(float64(h+1)*turns(fit.Frequency, fit.Rate, a.blocks.at[i])))
				near(t, "harmonic", cmplx.Abs(turned-toComplex(w.Z[h]))/scale, 0, 1e-11)
			}
			for k, p := range a.blocks.humOf(i, c) {
				near(t, "hum", math.Sqrt(p), math.Sqrt(w.Hum[k]), 1e-9*scale)
			}
		}
	}
}
