package plan_test

import (
	"math"
	"testing"

	"plumbline/plan"
)

// TestPeterson compares both models with a table of values (dB re 1 (m/s²)²/Hz) computed from the published coefficients and checked against an
// independent 1001-point table to 0.0006 dB.
//
// Verifies: Peterson 1993 new low and high noise models
func TestPeterson(t *testing.T) {
	for _, c := range []struct{ period, low, high float64 }{
		{0.1, -168.000, -91.500}, {1, -166.400, -116.850}, {5, -141.096, -97.691}, {10, -163.750, -115.790}, {20, -173.386, -138.497}, {100, -185.070, -131.500}, {1000, -178.480, -111.770},
	} {
		for _, m := range []struct {
			model plan.Model
			want  float64
		}{{plan.LowNoise, c.low}, {plan.HighNoise, c.high}} {
			got, err := m.model.Level(c.period)
			if err != nil || math.Abs(got-m.want) > 0.0011 {
				t.Errorf("%s at %g s: %.4f dB (%v), want %.3f dB", m.model, c.period, got, err, m.want)
			}
		}
	}
	if a, err := plan.LowNoise.At(1); err != nil || math.Abs(20*math.Log10(a)+166.4) > 1e-9 {
		t.Errorf("NLNM at 1 Hz: %g m/s²/√Hz (%v), want -166.4 dB", a, err)
	}
	if a, err := plan.HighNoise.At(40); err != nil || math.Abs(20*math.Log10(a)+91.5) > 1e-9 {
		t.Errorf("NHNM at 40 Hz: %g m/s²/√Hz (%v), want the value at 10 Hz", a, err)
	}
	if _, err := plan.HighNoise.Level(2e5); err == nil {
		t.Error("a period of 200 000 s is accepted")
	}
	if _, err := plan.ParseModel("quiet"); err == nil {
		t.Error("an unknown model is accepted")
	}
}

// TestDensity reads between rows straight in log-log and refuses what is not stated.
func TestDensity(t *testing.T) {
	d := plan.Density{Table: []plan.DensityRow{{1, 1e-6}, {100, 1e-4}}}
	for _, c := range []struct{ f, want float64 }{{1, 1e-6}, {10, 1e-5}, {100, 1e-4}, {0.9995, 1e-6}} {
		if got, err := d.At(c.f); err != nil || math.Abs(got/c.want-1) > 1e-12 {
			t.Errorf("at %g Hz: %g (%v), want %g", c.f, got, err, c.want)
		}
	}
	if _, err := d.At(0.5); err == nil {
		t.Error("a density is given below the table")
	}
	within(t, "white with corner", must(t, plan.Density{White: 1.5e-6, Corner: 100}, 1), 1.5e-6*math.Sqrt(101), 1e-12)
}

func must(t *testing.T, d plan.Density, f float64) float64 {
	t.Helper()
	v, err := d.At(f)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// TestFrequencies: exact base-ten third octaves (10^(n/10) Hz), decades, and a band with few points.
func TestFrequencies(t *testing.T) {
	got := plan.ThirdOctaves(1, 2)
	want := []float64{1, 1.258925, 1.584893, 1.995262} // closed form
	if len(got) != len(want) {
		t.Fatalf("third octaves %v, want %v", got, want)
	}
	for i := range want {
		within(t, "third octave", got[i], want[i], 1e-6)
	}
	if d := plan.Decades(0.5, 20, 1, 2, 5); len(d) != 6 || d[0] != 0.5 || d[5] != 20 {
		t.Errorf("decades %v, want 0.5 1 2 5 10 20", d)
	}
	band := plan.Band(1, 100, 6)
	if len(band) != 6 || band[0] != 1 || math.Abs(band[5]/100-1) > 1e-12 {
		t.Errorf("band %v, want six points from 1 Hz to 100 Hz", band)
	}
	if b := plan.Band(0.5, 2000, 6); len(b) != 10 { // 36 steps of a third octave, at most four at once
		t.Errorf("band of 12 octaves: %d points, want 10", len(b))
	}
}
