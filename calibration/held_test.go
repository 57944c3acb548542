package calibration

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"strings"
	"testing"

	"plumbline/internal/simulator"
)

// TestLevelThatWasLed: a recording that begins while the level is led to its value in steps of amplitude and phase is refused as it is; told from when on the level was held, it gives
// the level that was held and the ratio by the judge, who sees all of it.
func TestLevelThatWasLed(t *testing.T) {
	const held = 3.0
	b := simulator.FenwickLane()
	b.Recorder.Rate = 400
	j, truths := simulated(t, b, 77, simulator.Point{Frequency: 20, Level: 1, Duration: 20})
	j.Loop = Loop{Exciter: "X-12", Cycles: 4}
	samples, _ := b.Record(simulator.Point{Frequency: 20, Level: 1, Duration: 20}, rand.New(rand.NewPCG(77, 1)))
	late, _ := b.Record(simulator.Point{Frequency: 20, Level: 1, Duration: 20}, rand.New(rand.NewPCG(78, 1)))
	for c := range samples {
		for i := range int(held * b.Recorder.Rate) { // a quarter of the level and four samples behind, then half of it and two behind
			share, shift := 0.25, 4
			if i > int(held*b.Recorder.Rate/2) {
				share, shift = 0.5, 2
			}
			samples[c][i] = share * late[c][i+shift]
		}
	}
	rec := simulator.Recording("led", samples, b.Recorder.Rate, 24)
	j.Points[0].Recording, j.Points[0].Block = &rec, 0.25
	for _, told := range []float64{0, held} {
		j.Points[0].Held = told
		r, err := Evaluate(j, 1)
		if err != nil {
			t.Fatal(err)
		}
		p := r.Points[0]
		if told == 0 {
			if !strings.Contains(p.Refused, "samples are missing") {
				t.Errorf("not told: %q, a refusal is wanted", p.Refused)
			}
			continue
		}
		if p.Refused != "" {
			t.Fatal(p.Refused)
		}
		if math.Abs(p.Level-1) > 0.002 || math.Abs(p.Evidence.Duration-17) > 0.3 {
			t.Errorf("level %.4g m/s² over %.3g s, want 1 m/s² over 17 s", p.Level, p.Evidence.Duration)
		}
		g := p.Evidence.Judgement
		if !g.Judged() || g.Answers[0].Blocks != 80 || g.Block != 0.25 {
			t.Errorf("judgement %+v, all 80 blocks of 0.25 s are wanted", g)
		}
		if d := cmplx.Log(p.Sensitivity / truths[0]); math.Abs(real(d)) > g.HalfWidth[0] || math.Abs(imag(d)) > g.HalfWidth[1] {
			t.Errorf("off by %v, half widths %v", d, g.HalfWidth)
		}
	}
}
