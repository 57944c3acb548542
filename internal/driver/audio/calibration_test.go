//go:build linux

package audio_test

import (
	"context"
	"fmt"
	"math"
	"strings"
	"testing"

	"plumbline/bench"
	"plumbline/bench/benchtest"
	"plumbline/internal/driver/audio"
	"plumbline/internal/driver/audio/audiotest"
	"plumbline/steady"
)

// repeats is an operator who repeats a point where a busy machine lost frames, once the table is at rest.
type repeats struct {
	t     *testing.T
	loop  *audiotest.Loop
	asked int
}

func (r *repeats) Decide(_ context.Context, q bench.Question) (bench.Decision, error) {
	r.asked++
	if r.asked > 5 || !strings.Contains(q.Why, "frames were lost") && !strings.Contains(q.Why, "ran dry") {
		return bench.Decision{Choice: bench.Stop, Name: "operator"}, nil
	}
	eventually(r.t, "at rest", func() bool { return largest(last(r.loop.Driven(), 3*audiotest.Rate/2)) == 0 })
	return bench.Decision{Choice: bench.Again, Name: "operator"}, nil
}

// TestCalibration runs three points through server, driver and bench, with the frame counter beside them, and finds the complex ratio that the loop was built with.
func TestCalibration(t *testing.T) {
	t.Parallel()
	s := audiotest.Start(t)
	l := audiotest.Connect(t, s)
	a := open(t, audio.Config{
		Server: s.Address, Sink: audiotest.Sink, Source: audiotest.Source, Rate: audiotest.Rate, Output: audiotest.DriveOutput, FullScale: fullScale,
		Latency: mostLatency, Limit: patience, Counter: audio.Counter{Output: audiotest.CounterOutput, Input: audiotest.CounterInput},
	})
	const inputScale = 10 // V, of both inputs; the sensitivities are 1 V/(m/s²) and what the ratio makes of it
	archive := &benchtest.Memory{}
	var steps []bench.Step
	for i, f := range []float64{20, 40, 80} {
		steps = append(steps, bench.Step{
			Points: []int{i}, Label: fmt.Sprintf("%g Hz", f), Lines: []bench.Line{{Frequency: f, Level: 0.8}}, Block: 0.2, Longest: 30,
			Judge: steady.Settings{Rule: steady.Wary, Modulus: 1e-3, Phase: 1e-3, TauMax: 4},
		})
	}
	report, err := bench.Run(context.Background(), bench.Set{
		Exciter: a, Digitizer: a, Steps: steps, Harmonics: 3, Drift: 1, Mains: 50, Archive: archive, Operator: &repeats{t: t, loop: l},
		Limits:    bench.Limits{Drive: 2, Slew: 4, Level: func(float64) float64 { return 4 }},
		Reference: bench.Input{Column: audiotest.ReferenceInput, Scale: inputScale, Limit: 9.9, Sensitivity: func(float64) complex128 { return 1 }},
		Device:    bench.Input{Column: audiotest.DeviceInput, Scale: inputScale, Limit: 9.9, Sensitivity: func(float64) complex128 { return audiotest.Ratio(0) }},
		Watch: func(e bench.Event) {
			if e.Block == nil {
				t.Logf("%6.2f s %s: %s", e.Seconds, e.Kind, e.Text)
			}
		},
	})
	if err != nil || len(report.Kept) != len(steps) {
		t.Fatalf("%d points of %d kept: %v", len(report.Kept), len(steps), err)
	}
	for i, k := range report.Kept {
		f := steps[i].Lines[0].Frequency
		want, got := audiotest.Ratio(f), k.Answers[0]
		modulus, phase := math.Hypot(real(want), imag(want)), math.Atan2(imag(want), real(want))
		dm, dp := real(got.LnRatio())-math.Log(modulus), imag(got.LnRatio())-phase
		t.Logf("%g Hz: modulus off by %.2g within %.2g, phase by %.2g rad within %.2g rad, in %.1f s", f, dm, got.Modulus.HalfWidth, dp, got.Phase.HalfWidth, k.Seconds)
		if !(math.Abs(dm) <= got.Modulus.HalfWidth) || !(math.Abs(dp) <= got.Phase.HalfWidth) || k.Reason != "" {
			t.Errorf("%g Hz: ln ratio %.6f, built was %.6f and %.6f rad, half widths %.2g and %.2g (%s)", f, got.LnRatio(), math.Log(modulus), phase, got.Modulus.HalfWidth, got.Phase.HalfWidth, k.Reason)
		}
	}
	if kept := archive.Kept(); len(kept) != len(steps) || kept[0].Info.Channels[0].Bits != 32 {
		t.Errorf("%d recordings kept", len(kept))
	}
}
