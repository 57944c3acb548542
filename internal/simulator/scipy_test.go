package simulator

import (
	"bytes"
	"encoding/json"
	"math"
	"os/exec"
	"testing"
)

// python is Debian's interpreter: it has scipy.
const python = "/usr/bin/python3"

// motionOf is what testdata/motion.py makes of a case.
func motionOf(t *testing.T, in map[string]any) (x, v []float64) {
	t.Helper()
	text, err := json.Marshal(in)
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(python, "testdata/motion.py")
	cmd.Stdin = bytes.NewReader(text)
	var stderr bytes.Buffer
	cmd.Stderr = &stderr
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("%s testdata/motion.py (make setup installs it): %v\n%s", python, err, stderr.String())
	}
	var answer struct{ X, V []float64 }
	if err := json.Unmarshal(out, &answer); err != nil {
		t.Fatal(err)
	}
	return answer.X, answer.V
}

// caseOf is an exciter and its drive, V or A at the coil, as motion.py takes them.
func caseOf(s Shaker, frequency, drive, ramp float64, times []float64) map[string]any {
	limit := s.Limit
	if limit == 0 {
		limit = math.MaxFloat64
	}
	return map[string]any{
		"mass": s.mass(), "resonance": s.Resonance, "damping": s.Damping, "stroke": s.Stroke, "stop": s.Stop * s.Stroke / 2, "hard": 400, "dead": 3,
		"hardening": s.Hardening, "asymmetry": s.Asymmetry, "force": s.Force, "resistance": s.Resistance, "current": s.Current, "limit": limit,
		"drive": drive, "frequency": frequency, "ramp": ramp, "times": times,
	}
}

// TestMotionAgreesWithScipy: outside reference, the same equation of motion written in Python and solved by an adaptive method of eighth order: at full stroke, at a current drive, and hard
// against the stops with the amplifier at its current limit.
func TestMotionAgreesWithScipy(t *testing.T) {
	current := X12()
	current.Current, current.Damping = true, 0.3
	limited := X03()
	limited.Limit = 0.9
	for _, c := range []struct {
		name             string
		shaker           Shaker
		frequency, drive float64 // Hz; V or A at the coil
		parts            int     // steps a step is divided into
	}{
		{"full stroke", X03(), 1, 0.65, 1},
		{"current drive", current, 1.3, 0.25, 1},
		{"stops", limited, 2, 4.5, 16},
	} {
		const ramp, every, points = 0.5, 97, 120
		h := 1.0 / 8000 / float64(c.parts)
		s := c.shaker
		times := make([]float64, points)
		for i := range times {
			times[i] = float64((i+1)*every) / 8000
		}
		x, v := motionOf(t, caseOf(s, c.frequency, c.drive, ramp, times))
		table := newTable(s)
		n, worst, fastest, widest := 0, 0.0, 0.0, 0.0
		for i := range times {
			for range every * c.parts {
				n++
				at := float64(n) * h
				table.step(c.drive*min(1, at/ramp)*math.Cos(2*math.Pi*c.frequency*at), h)
			}
			worst, fastest, widest = max(worst, math.Abs(table.x-x[i])), max(fastest, math.Abs(table.v-v[i])), max(widest, math.Abs(x[i]))
		}
		// Straight lines between the samples of the drive cost 1e-6 of it. Against the stops every stroke meets the kink of the contact force within a step, which a
		// table in motion does not forget: smaller steps show that it goes to the same solution.
		allowed := 3e-6 * widest
		if c.parts > 1 {
			allowed = 1e-3 * widest
		}
		if worst > allowed || fastest > 20*allowed || (table.peak > table.stop) != (c.parts > 1) {
			t.Errorf("%s: off by %.2g m and %.2g m/s at %.3g m, allowed %.2g m", c.name, worst, fastest, widest, allowed)
		}
		t.Logf("%s: off by %.2g m and %.2g m/s at %.3g m", c.name, worst, fastest, widest)
	}
}
