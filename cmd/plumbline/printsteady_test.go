package main

import (
	"strings"
	"testing"

	"plumbline/calibration"
	"plumbline/steady"
)

// TestRepeatedLine: what a repeated point shows, without a phase, flagged, and where nothing could be compared.
func TestRepeatedLine(t *testing.T) {
	p := calibration.Point{Plan: calibration.PointPlan{Frequency: 80}, Frequency: 80, HasPhase: true}
	modulus, phase := steady.Check{Difference: -0.00012, Allowed: 0.00035}, steady.Check{Difference: 0.001, Allowed: 0.0005, Flagged: true}
	for _, c := range []struct {
		r     calibration.Repetition
		phase bool
		want  string
	}{
		{calibration.Repetition{Point: p, Modulus: modulus}, false, "repeated: 80 Hz: difference 0.012 %, 0.035 % is explained"},
		{calibration.Repetition{Point: p, Modulus: modulus, Phase: phase}, true, "0.035 % is explained; phase difference 0.057°, 0.029° is explained: the rest is not"},
		{calibration.Repetition{Point: p, Refused: "too short"}, true, "repeated: 80 Hz: not compared: too short"},
	} {
		if got := repeated(c.r, c.phase); !strings.HasSuffix(got, c.want) {
			t.Errorf("%q, want %q", got, c.want)
		}
	}
}
