package steady_test

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"os"
	"testing"

	"plumbline/internal/simulator"
	"plumbline/sine"
	"plumbline/steady"
)

const (
	frequency = 1.0   // Hz
	block     = 2.0   // s: two cycles
	duration  = 240.0 // s
	rate      = 500.0 // samples a second
	warming   = 20.0  // s, longest time constant of the device's warming
	wanted    = 1e-3  // half width of modulus and phase
)

// point is one simulated point from switch-on: the level control (time constant 4 s to 15 s, 10 % to 40 % off), creep of both outputs, distortion, ground, hum and
// self-noise of the simulator, and a device whose sensitivity warms by 0.1 % to 0.5 % with 8 s to 20 s. It returns the blocks and the true ln ratio.
func point(t *testing.T, r *rand.Rand) (blocks []steady.Block, truth complex128) {
	t.Helper()
	bench := simulator.FenwickLane()
	bench.Recorder.Rate = rate
	bench.Exciter.Settling, bench.Exciter.Start = 4+11*r.Float64(), 0.1+0.3*r.Float64()
	samples, known := bench.Record(simulator.Point{Frequency: frequency, Level: 1, Duration: duration}, r)
	size, tau := 0.001+0.004*r.Float64(), 8+(warming-8)*r.Float64()
	for i := range samples[1] {
		samples[1][i] *= 1 - size*math.Exp(-float64(i)/rate/tau)
	}
	a, err := sine.NewAccumulator(sine.Settings{Rate: rate, Frequency: known.RecordedFrequency, Harmonics: 5, Drift: 1, Mains: 50, Block: int(block * rate),
		Frames: int64(len(samples[0])), Known: true}, 2)
	if err != nil {
		t.Fatal(err)
	}
	if err := a.Add(samples); err != nil {
		t.Fatal(err)
	}
	fit, err := a.Fit()
	if err != nil {
		t.Fatal(err)
	}
	for _, b := range fit.Blocks {
		blocks = append(blocks, steady.Block{LnRatio: cmplx.Log(b.Z[1] / b.Z[0]), LnLevel: math.Log(cmplx.Abs(b.Z[0])), Dropped: b.Rejected})
	}
	return blocks, cmplx.Log(known.Ratio)
}

// TestRecorded lets the rules judge points that were recorded from switch-on at 1 Hz, modulus and phase together. At most 5 % of the points may be accepted with a
// modulus or a phase further from the truth than the half width claimed (three standard deviations of the binomial distribution allowed), and all are accepted
// within the 240 s recorded. PLUMBLINE_SOAK=1 records 400 points.
func TestRecorded(t *testing.T) {
	const seed = 41
	runs := 15
	if os.Getenv("PLUMBLINE_SOAK") == "1" {
		runs = 400
	}
	t.Logf("%d points, seed %d", runs, seed)
	type count struct {
		wrong, open int
		wait        float64
	}
	counts := map[steady.Rule]*count{steady.Averaged: {}, steady.Wary: {}}
	for i := range runs {
		blocks, truth := point(t, rand.New(rand.NewPCG(seed, uint64(i))))
		for rule, c := range counts {
			tau, err := steady.TauMax(rule, block, steady.TimeConstant{Source: "level control", Seconds: 15}, steady.TimeConstant{Source: "warming", Seconds: warming})
			if err != nil {
				t.Fatal(err)
			}
			j, err := steady.NewJudge(steady.Settings{Rule: rule, Modulus: wanted, Phase: wanted, TauMax: tau, Level: true})
			if err != nil {
				t.Fatal(err)
			}
			for _, b := range blocks {
				if j.Add(b).State != steady.Settling {
					break
				}
			}
			a := j.Finish()
			if a.State != steady.Steady {
				c.open++
				continue
			}
			c.wait += float64(a.Blocks) * block
			d := a.LnRatio() - truth
			if math.Abs(real(d)) > a.Modulus.HalfWidth || math.Abs(math.Remainder(imag(d), 2*math.Pi)) > a.Phase.HalfWidth {
				c.wrong++
				t.Logf("point %d, %v: off by %.3g and %.3g rad, claimed %.3g and %.3g rad", i, rule, real(d), imag(d), a.Modulus.HalfWidth, a.Phase.HalfWidth)
			}
		}
	}
	for _, rule := range []steady.Rule{steady.Averaged, steady.Wary} {
		c, n := counts[rule], float64(runs)
		t.Logf("%v: %d of %d wrong, %d not accepted, mean wait %.0f s", rule, c.wrong, runs, c.open, c.wait/math.Max(1, n-float64(c.open)))
		if float64(c.wrong) > 0.05*n+3*math.Sqrt(n*0.05*0.95) {
			t.Errorf("%v: %d of %d points accepted wrongly", rule, c.wrong, runs)
		}
		if c.open > 0 {
			t.Errorf("%v: %d of %d points not accepted within %g s", rule, c.open, runs, duration)
		}
	}
}
