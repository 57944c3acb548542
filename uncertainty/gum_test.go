package uncertainty

import (
	"math"
	"testing"
)

var inf = math.Inf(1)

// near fails where got is further than tolerance from want.
func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: %.10g, want %.10g within %.2g", what, got, want, tolerance)
	}
}

// endGauge is example H.1 of the GUM: lengths in nm, temperatures in °C. Inputs read in the example's reproduction in an open uncertainty library's documentation.
func endGauge(set *Set) (RealModel, []int) {
	add := func(id, influence string, value float64, d Distribution, dof float64) int {
		return set.Add(Input{ID: id, Influence: influence, Value: value, Dist: d, Dof: dof})
	}
	lS := add("l_S", "standard", 50000623, Normal{25}, 18)
	d0 := add("d0", "comparison", 215, Normal{5.8}, 24)
	d1 := add("d1", "comparison", 0, Normal{3.9}, 5)
	d2 := add("d2", "comparison", 0, Normal{6.7}, 8)
	da := add("delta alpha", "difference of expansion", 0, Rectangular{1e-6}, 50)
	alpha := add("alpha_S", "expansion", 11.5e-6, Rectangular{2e-6}, inf)
	dt := add("delta theta", "difference of temperature", 0, Rectangular{0.05}, 2)
	mean := add("mean theta", "temperature", -0.1, Normal{0.2}, inf)
	cycle := add("Delta", "temperature", 0, Arcsine{0.5}, inf)
	f := func(x []float64) float64 {
		return x[lS] + x[d0] + x[d1] + x[d2] - x[lS]*(x[da]*(x[mean]+x[cycle])+x[alpha]*x[dt])
	}
	return f, []int{lS, d0, d1, d2, da, alpha, dt, mean, cycle}
}

// Verifies: GUM 5.1.2
// Verifies: GUM 5.1.3
// Verifies: GUM G.4.1
// Verifies: GUM 5.1.2 NOTE
func TestEndGauge(t *testing.T) {
	set := NewSet()
	f, uses := endGauge(set)
	b, err := PropagateReal(set, f, uses, 0.99)
	if err != nil {
		t.Fatal(err)
	}
	// Published (GUM H.1): 838 nm over 50 mm, u 32 nm, contributions 25, 9.7, 2.9, 16.6 nm; recomputed from the inputs to more digits.
	near(t, "l", b.Value, 50000838, 0)
	near(t, "u_c", b.Std, 31.664, 5e-4)
	for i, want := range []float64{25, 5.8, 3.9, 6.7, 2.88679, 0, 16.599, 0, 0} {
		near(t, "contribution of "+set.Input(i).ID, math.Abs(b.Contributions[i].C), want, 1e-3)
	}
	d := math.Sqrt(math.Pow(b.Contributions[1].C, 2) + math.Pow(b.Contributions[2].C, 2) + math.Pow(b.Contributions[3].C, 2))
	near(t, "u(d)", d, 9.6819, 1e-4)
	near(t, "nu_eff", b.Dof, 16.752, 1e-3) // recomputed; published 16.7
	truncated := b.Truncated(0.99)
	near(t, "truncated dof", truncated.Dof, 16, 0)
	near(t, "t_99(16)", truncated.K, 2.9208, 5e-5)        // published 2.92
	near(t, "U_99", truncated.Expanded, 92.48, 5e-3)      // recomputed; published 93, with u_c rounded to 32 first
	near(t, "U_99 of 32 nm", 32*truncated.K, 93.47, 5e-3) // the published route
	if !(b.K < truncated.K) {
		t.Errorf("k %g without truncation, want less than %g", b.K, truncated.K)
	}
	// alpha_S and theta act in second order only: published terms 11.7 and 1.7 nm, u 34 nm with them; recomputed 11.726, 1.667, 33.807.
	near(t, "u with second order", b.StdSecondOrder, 33.807, 1e-3)
	var da, dt float64
	for _, term := range b.Terms {
		switch {
		case term.I == 4:
			da += term.Modulus * term.Modulus
		case term.I == 5 && term.J == 6:
			dt = term.Modulus
		default:
			t.Errorf("unexpected term of %s and %s: %g", set.Input(term.I).ID, set.Input(term.J).ID, term.Modulus)
		}
	}
	near(t, "delta alpha times theta", math.Sqrt(da), 11.726, 1e-3)
	near(t, "alpha_S times delta theta", dt, 1.667, 1e-3)
	near(t, "bias", b.Bias, 0, 1e-6)
}

// The rows of a complex budget have the published dof of H.1's comparison: 25.6 from rounded numbers, 25.447 recomputed.
//
// Verifies: GUM G.4.1
func TestEndGaugeRows(t *testing.T) {
	set := NewSet()
	f, uses := endGauge(set)
	b, err := Propagate(set, func(x []float64) complex128 { return complex(f(x), 0) }, uses, 0.99)
	if err != nil {
		t.Fatal(err)
	}
	names := []string{"standard", "comparison", "difference of expansion", "expansion", "difference of temperature", "temperature"}
	var share float64
	for i, r := range b.Rows {
		if r.Influence != names[i] {
			t.Errorf("row %d is %s, want %s", i, r.Influence, names[i])
		}
		share += r.ShareModulus
		if r.SharePhase != 0 || r.Phase != 0 || !math.IsInf(r.DofPhase, 1) {
			t.Errorf("%s: phase %g, share %g, dof %g of a real result, want 0, 0, infinite", r.Influence, r.Phase, r.SharePhase, r.DofPhase)
		}
	}
	near(t, "sum of shares", share, 1, 1e-12)
	near(t, "dof of the comparison", b.Rows[1].DofModulus, 25.447, 1e-3)
	near(t, "u of the comparison", b.Rows[1].Modulus*50000838, 9.6819, 1e-4)
	near(t, "u_c", b.Modulus.Std*50000838, 31.664, 1e-3)
	if b.Rows[3].Modulus != 0 || !math.IsInf(b.Rows[3].DofModulus, 1) || b.Rows[5].Distribution != "normal" {
		t.Errorf("row without effect: %+v", b.Rows[3])
	}
	if b.Phase.Std != 0 || b.Phase.Expanded != 0 || b.Correlation != 0 {
		t.Errorf("phase of a real result: %+v, correlation %g, want none", b.Phase, b.Correlation)
	}
	near(t, "u with second order", b.SecondOrder.StdModulus*50000838, 33.807, 1e-3)
}

// readings of example H.2 of the GUM: V in V, I in A, phi in rad (read in an open uncertainty library's tests).
var h2 = [][]float64{
	{5.007, 4.994, 5.005, 4.990, 4.999},
	{19.663e-3, 19.639e-3, 19.640e-3, 19.685e-3, 19.678e-3},
	{1.0456, 1.0438, 1.0468, 1.0428, 1.0433},
}

// impedance is R, X and Z of V, I and phi.
func impedance(v, i, phi float64) [3]float64 {
	return [3]float64{v / i * math.Cos(phi), v / i * math.Sin(phi), v / i}
}

// Published values read (GUM H.2), recomputed from the raw readings to more digits.
//
// Verifies: GUM 5.2.2
// Verifies: GUM 5.2.3
// Verifies: GUM F.1.2.3
func TestSimultaneousResistanceAndReactance(t *testing.T) {
	set := NewSet()
	j, err := AddReadings(set, "VIphi", "readings", h2)
	if err != nil {
		t.Fatal(err)
	}
	evaluate := func(f RealModel) RealBudget {
		b, err := PropagateReal(set, f, j.Uses(), 0.95)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "dof", b.Dof, 4, 1e-9) // five readings of all together
		return b
	}
	var in, out []RealBudget
	for k := range 3 {
		in = append(in, evaluate(func(x []float64) float64 { return j.At(x, k) }))
		out = append(out, evaluate(func(x []float64) float64 { return impedance(j.At(x, 0), j.At(x, 1), j.At(x, 2))[k] }))
	}
	for k, want := range [][2]float64{{4.9990, 0.00320936}, {19.6610e-3, 9.47101e-6}, {1.04446, 7.52064e-4}} {
		near(t, "mean", in[k].Value, want[0], 1e-9)
		near(t, "u of mean", in[k].Std, want[1], want[1]*1e-5)
	}
	for k, want := range [][2]float64{{127.73217, 0.07107}, {219.84651, 0.29558}, {254.25970, 0.23634}} {
		near(t, "R, X, Z", out[k].Value, want[0], 5e-6)
		near(t, "u of R, X, Z", out[k].Std, want[1], 6e-6)
	}
	r := func(b []RealBudget, i, k int) float64 { return CovarianceReal(b[i], b[k]) / b[i].Std / b[k].Std }
	for _, c := range []struct {
		budgets []RealBudget
		i, k    int
		want    float64
	}{
		{in, 0, 1, -0.35531}, {in, 0, 2, 0.85762}, {in, 1, 2, -0.64511},
		{out, 0, 1, -0.58843}, {out, 0, 2, -0.48526}, {out, 1, 2, 0.99251},
	} {
		near(t, "correlation", r(c.budgets, c.i, c.k), c.want, 6e-6)
	}
}

// The second approach of GUM H.2.4: each of the five sets of readings is reduced to R, X and Z first, whose means and standard deviations of the mean then hold the
// correlations by themselves (recomputed; published as the same to the digits given).
//
// Verifies: GUM 4.2.3
func TestSimultaneousReducedFirst(t *testing.T) {
	var sets [3][]float64
	for i := range h2[0] {
		for k, v := range impedance(h2[0][i], h2[1][i], h2[2][i]) {
			sets[k] = append(sets[k], v)
		}
	}
	for k, want := range [][2]float64{{127.73163, 0.07127}, {219.84689, 0.29549}, {254.26005, 0.23625}} {
		in, err := FromReadings("x", "x", sets[k])
		if err != nil {
			t.Fatal(err)
		}
		near(t, "R, X, Z", in.Value, want[0], 6e-6)
		near(t, "u of R, X, Z", in.Dist.Std(), want[1], 6e-6)
	}
}

// Ignoring the correlations must be visible: recomputed 0.1945, 0.2009, 0.2041 instead of 0.071, 0.296, 0.236.
func TestSimultaneousWithoutCorrelation(t *testing.T) {
	set := NewSet()
	var uses []int
	for k, id := range []string{"V", "I", "phi"} {
		in, err := FromReadings(id, id, h2[k])
		if err != nil {
			t.Fatal(err)
		}
		uses = append(uses, set.Add(in))
	}
	for k, want := range []float64{0.1945, 0.2009, 0.2041} {
		b, err := PropagateReal(set, func(x []float64) float64 { return impedance(x[0], x[1], x[2])[k] }, uses, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "u without correlation", b.Std, want, 5e-5)
	}
}

// Published values read (GUM H.3), recomputed to more digits.
//
// Verifies: GUM H.3.2
// Verifies: GUM H.3.4
func TestThermometerLine(t *testing.T) {
	temperature := []float64{21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511}
	correction := []float64{-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160}
	l, err := FitLine(temperature, correction, 20)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "y1", l.A, -0.17120379, 5e-9)
	near(t, "u(y1)", l.UA, 0.0028776, 5e-8)
	near(t, "y2", l.B, 0.0021827, 5e-8)
	near(t, "u(y2)", l.UB, 0.00066794, 5e-9)
	near(t, "r(y1,y2)", l.Correlation, -0.93043, 5e-6)
	near(t, "s", l.S, 0.0034976, 5e-8)
	near(t, "SSR", l.S*l.S*l.Dof, 1.10096583e-4, 5e-13)
	near(t, "dof", l.Dof, 9, 0)
	y, u := l.At(30)
	near(t, "b(30)", y, -0.149377, 5e-7)
	near(t, "u(b(30))", u, 0.0041386, 5e-8)
}

// Table G.2 (column 95.45 % read in public programs, the others recomputed: two decimals, three for the last two of that column).
//
// Verifies: GUM G.3.2
func TestTableG2(t *testing.T) {
	p := []float64{0.6827, 0.90, 0.95, 0.9545, 0.99, 0.9973}
	for _, row := range []struct {
		dof float64
		k   [6]float64
	}{
		{1, [6]float64{1.84, 6.31, 12.71, 13.97, 63.66, 235.78}},
		{2, [6]float64{1.32, 2.92, 4.30, 4.53, 9.92, 19.21}},
		{3, [6]float64{1.20, 2.35, 3.18, 3.31, 5.84, 9.22}},
		{4, [6]float64{1.14, 2.13, 2.78, 2.87, 4.60, 6.62}},
		{5, [6]float64{1.11, 2.02, 2.57, 2.65, 4.03, 5.51}},
		{6, [6]float64{1.09, 1.94, 2.45, 2.52, 3.71, 4.90}},
		{7, [6]float64{1.08, 1.89, 2.36, 2.43, 3.50, 4.53}},
		{8, [6]float64{1.07, 1.86, 2.31, 2.37, 3.36, 4.28}},
		{9, [6]float64{1.06, 1.83, 2.26, 2.32, 3.25, 4.09}},
		{10, [6]float64{1.05, 1.81, 2.23, 2.28, 3.17, 3.96}},
		{16, [6]float64{1.03, 1.75, 2.12, 2.17, 2.92, 3.54}},
		{20, [6]float64{1.03, 1.72, 2.09, 2.13, 2.85, 3.42}},
		{50, [6]float64{1.01, 1.68, 2.01, 2.05, 2.68, 3.16}},
		{100, [6]float64{1.01, 1.66, 1.98, 2.03, 2.63, 3.08}},
		{inf, [6]float64{1.00, 1.64, 1.96, 2.00, 2.58, 3.00}},
	} {
		for i, want := range row.k {
			if got := math.Round(100*Coverage(p[i], row.dof)) / 100; math.Abs(got-want) > 1e-9 {
				t.Errorf("k for %g %% and %g degrees of freedom: %.2f, want %.2f", 100*p[i], row.dof, got, want)
			}
		}
	}
	dofs := []float64{11, 12, 13, 14, 15, 16, 17, 18, 19, 20, 25, 30, 35, 40, 45, 50}
	for i, want := range []float64{2.25, 2.23, 2.21, 2.20, 2.18, 2.17, 2.16, 2.15, 2.14, 2.13, 2.11, 2.09, 2.07, 2.06, 2.06, 2.05} {
		near(t, "k at 95.45 %", Coverage(0.9545, dofs[i]), want, 0.005)
	}
	near(t, "k(100)", Coverage(0.9545, 100), 2.025, 5e-4)
	near(t, "k(inf)", Coverage(0.9545, inf), 2, 5e-5)
	for _, bad := range [][2]float64{{0, 5}, {1, 5}, {0.95, 0}, {math.NaN(), 5}, {0.95, math.NaN()}} {
		if k := Coverage(bad[0], bad[1]); !math.IsNaN(k) {
			t.Errorf("Coverage(%g, %g) = %g, want NaN", bad[0], bad[1], k)
		}
	}
}

// Five readings have four degrees of freedom: k = 2.87, not the 2.65 of a table read by the number of readings (GUM Table G.2).
func TestDofIsNotTheNumberOfReadings(t *testing.T) {
	set := NewSet()
	in, err := FromReadings("x", "repeatability", h2[0])
	if err != nil {
		t.Fatal(err)
	}
	b, err := Propagate(set, func(x []float64) complex128 { return complex(x[0], 0) }, []int{set.Add(in)}, 0.9545)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "dof", b.Modulus.Dof, 4, 1e-12)
	near(t, "k", b.Modulus.K, 2.87, 0.005)
}

// JCGM 102: factors from memory of the document, recomputed 2.4477, 2.7955, 3.0802 and 2.2414, 2.3940, 2.4977.
//
// Verifies: JCGM 102 6.5
func TestJointCoverageFactors(t *testing.T) {
	for m, want := range map[int]float64{1: 1.95996, 2: 2.4477, 3: 2.7955, 4: 3.0802} {
		near(t, "ellipsoid", EllipsoidFactor(0.95, m), want, 6e-5)
	}
	for m, want := range map[int]float64{1: 1.95996, 2: 2.2414, 3: 2.3940, 4: 2.4977} {
		near(t, "rectangular (Bonferroni)", Coverage(1-0.05/float64(m), inf), want, 6e-5)
	}
}
