package uncertainty

import (
	"math"
	"os"
	"strconv"
	"strings"
	"testing"
)

// nist reads the two columns after the last line that starts with "Data:" of a NIST StRD file, as installed with Debian's python3-scipy.
func nist(t *testing.T, name string) (first, second []float64) {
	t.Helper()
	text, err := os.ReadFile("/usr/lib/python3/dist-packages/scipy/stats/tests/data/" + name)
	if err != nil {
		t.Fatalf("%v (Debian package python3-scipy)", err)
	}
	for _, line := range strings.Split(string(text[strings.LastIndex(string(text), "Data:"):]), "\n")[1:] {
		fields := strings.Fields(line)
		if len(fields) != 2 {
			continue
		}
		for i, column := range []*[]float64{&first, &second} {
			v, err := strconv.ParseFloat(fields[i], 64)
			if err != nil {
				t.Fatal(err)
			}
			*column = append(*column, v)
		}
	}
	return first, second
}

// NIST StRD Norris: certified values read in the file.
//
// Verifies: GUM H.3.2
func TestNorris(t *testing.T) {
	y, x := nist(t, "nist_linregress/Norris.dat")
	if len(x) != 36 {
		t.Fatalf("%d points, want 36", len(x))
	}
	l, err := FitLine(x, y, 0)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "B0", l.A, -0.262323073774029, 1e-12)
	near(t, "B1", l.B, 1.00211681802045, 1e-14)
	near(t, "sd(B0)", l.UA, 0.232818234301152, 1e-12)
	near(t, "sd(B1)", l.UB, 0.429796848199937e-3, 1e-15)
	near(t, "residual sd", l.S, 0.884796396144373, 1e-12)
}

// NIST StRD one-way sets: the pooled standard deviation within the groups against the certified residual one; SmLs09 has 13 leading digits in common.
//
// Verifies: GUM 4.2.4
func TestPooled(t *testing.T) {
	for _, c := range []struct {
		file           string
		want, relative float64
		dof            float64
	}{
		{"SiRstv", 0.104076068334656, 1e-11, 20}, {"AtmWtAg", 1.51048314446410e-5, 1e-8, 46},
		{"SmLs01", 0.1, 1e-12, 180}, {"SmLs09", 0.1, 3e-3, 18000}, // readings near 1e12 are spaced by 1.2e-4, so that 0.1 is only known to a part in a thousand
	} {
		group, value := nist(t, "nist_anova/"+c.file+".dat")
		groups := map[float64][]float64{}
		var order []float64
		for i, g := range group {
			if groups[g] == nil {
				order = append(order, g)
			}
			groups[g] = append(groups[g], value[i])
		}
		var all [][]float64
		for _, g := range order {
			all = append(all, groups[g])
		}
		s, dof := Pooled(all...)
		near(t, c.file, s, c.want, c.relative*c.want)
		near(t, c.file+": dof", dof, c.dof, 0)
	}
	if s, dof := Pooled([]float64{1}, nil, []float64{2}); !math.IsNaN(s) || dof != 0 {
		t.Errorf("single readings pooled: %g with %g degrees of freedom, want NaN with 0", s, dof)
	}
}

// Verifies: GUM 4.2.1
// Verifies: GUM 4.2.2
// Verifies: GUM 4.2.3
func TestReadings(t *testing.T) {
	x := []float64{1e9 + 1, 1e9 + 2, 1e9 + 4} // closed form: mean 7/3, variance 7/3
	near(t, "mean", Mean(x)-1e9, 7.0/3, 2e-7)
	near(t, "s", StdDev(x), math.Sqrt(7.0/3), 1e-7)
	in, err := FromReadings("x", "i", x)
	if err != nil || in.Dof != 2 || in.Dist != (StudentT{StdDev(x) / math.Sqrt(3), 2}) {
		t.Errorf("input of three readings: %+v, %v", in, err)
	}
	if _, err := FromReadings("x", "i", x[:1]); err == nil || !strings.Contains(err.Error(), "input x: 1 readings") {
		t.Errorf("one reading: %v", err)
	}
	if !math.IsNaN(Mean(nil)) || !math.IsNaN(StdDev(x[:1])) || !math.IsNaN(StdDev(nil)) {
		t.Error("mean of nothing and standard deviation of one reading: want NaN")
	}
	if d := TypeA("x", "i", 0, 2, inf).Dist; d != (Normal{2}) {
		t.Errorf("type A with infinite dof: %v, want normal", d)
	}
}

func TestFitsRefuse(t *testing.T) {
	if _, err := FitLine([]float64{1, 2}, []float64{1, 2}, 0); err == nil {
		t.Error("line through two points: want an error")
	}
	if _, err := FitLine([]float64{1, 1, 1}, []float64{1, 2, 3}, 0); err == nil {
		t.Error("line through three equal x: want an error")
	}
	for _, c := range [][3][]float64{{{1}, {1}, {0}}, {{0}, {1}, {1}}, {{1}, {1, 2}, {1}}, {nil, nil, nil}} {
		if _, err := FitProportion(c[0], c[1], c[2]); err == nil {
			t.Errorf("line through the origin of %v: want an error", c)
		}
	}
	// The weighted mean of 1 ± 1 and 4 ± 2 is 1.6 ± √0.8 with chi-squared 1.8 (closed form).
	p, err := FitProportion([]float64{1, 1}, []float64{1, 4}, []float64{1, 2})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "weighted mean", p.B, 1.6, 1e-15)
	near(t, "its u", p.U, math.Sqrt(0.8), 1e-15)
	near(t, "chi-squared", p.ChiSquare, 1.8, 1e-14)
}
