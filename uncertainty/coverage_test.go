package uncertainty

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"os/exec"
	"testing"
)

// scipy is the outside reference for quantiles at odd degrees of freedom.
//
// Verifies: GUM G.3.2
// Verifies: JCGM 102 6.5
func TestAgainstScipy(t *testing.T) {
	out, err := exec.Command("/usr/bin/python3", "testdata/reference.py").Output()
	if err != nil {
		t.Fatalf("scipy reference: %v (Debian package python3-scipy)", err)
	}
	var ref struct{ Coverage, Student, Quantile, Normal, Ellipsoid [][]float64 }
	if err := json.Unmarshal(out, &ref); err != nil {
		t.Fatal(err)
	}
	relative := func(what string, args []float64, got, want, tolerance float64) {
		if !(math.Abs(got-want) <= tolerance*math.Abs(want)+1e-300) {
			t.Errorf("%s%v = %.12g, scipy %.12g", what, args, got, want)
		}
	}
	for _, r := range ref.Coverage {
		tolerance := 1e-8
		if r[1] > largestDof {
			tolerance = 3e-6
		}
		relative("Coverage", r[:2], Coverage(r[0], r[1]), r[2], tolerance)
	}
	for _, r := range ref.Student {
		tolerance := 1e-9
		if r[1] > largestDof { // the normal distribution stands for it above a million
			tolerance = 1e-3
		}
		relative("StudentCDF", r[:2], StudentCDF(r[0], r[1]), r[2], tolerance)
	}
	for _, r := range ref.Quantile {
		relative("NormalQuantile", r[:1], NormalQuantile(r[0]), r[1], 1e-10)
	}
	for _, r := range ref.Normal {
		relative("NormalCDF", r[:1], NormalCDF(r[0]), r[1], 1e-12)
	}
	for _, r := range ref.Ellipsoid {
		relative("EllipsoidFactor", r[:2], EllipsoidFactor(r[0], int(r[1])), r[2], 1e-8)
	}
	if len(ref.Coverage) != 120 || len(ref.Student) != 150 || len(ref.Ellipsoid) != 16 {
		t.Errorf("scipy gave %d, %d and %d values, want 120, 150 and 16", len(ref.Coverage), len(ref.Student), len(ref.Ellipsoid))
	}
}

// The interval y ± t(nu_eff) u must cover the truth as often as it says: exactly for readings alone, nearly with a rectangular effect beside them
// (method study: about 92.8 % to 95 %, against 84 to 90 % with k = 2 for two or three readings).
func TestCoverageOfWelchSatterthwaite(t *testing.T) {
	const trials = 20000 // one standard error of a fraction near 95 %: 0.15 %
	r := rand.New(rand.NewPCG(7, 7))
	for _, c := range []struct {
		n         int
		halfWidth float64 // of the other effect, in standard deviations of one reading
		low, high float64
	}{
		{2, 0, 0.945, 0.955}, {3, 0, 0.945, 0.955}, {5, 0, 0.945, 0.955},
		{3, 0.5, 0.92, 0.965}, {3, 2, 0.93, 0.99}, {5, 1, 0.94, 0.965},
	} {
		inside := 0
		readings := make([]float64, c.n)
		for range trials {
			effect := c.halfWidth * (2*r.Float64() - 1)
			for i := range readings {
				readings[i] = effect + r.NormFloat64() // the truth is 0
			}
			set := NewSet()
			in, err := FromReadings("x", "repeatability", readings)
			if err != nil {
				t.Fatal(err)
			}
			uses := []int{set.Add(in), set.Add(Input{ID: "e", Influence: "effect", Dist: Rectangular{c.halfWidth}, Dof: inf})}
			b, err := PropagateReal(set, func(x []float64) float64 { return x[0] + x[1] }, uses, 0.95)
			if err != nil {
				t.Fatal(err)
			}
			if math.Abs(b.Value) <= b.Expanded {
				inside++
			}
		}
		if got := float64(inside) / trials; got < c.low || got > c.high {
			t.Errorf("%d readings, half-width %g, seed 7: coverage %.4f, want %.3f to %.3f", c.n, c.halfWidth, got, c.low, c.high)
		}
	}
}
