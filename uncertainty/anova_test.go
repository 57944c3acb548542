package uncertainty

import (
	"math"
	"math/big"
	"math/rand/v2"
	"os"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// nistGroups reads the groups of an analysis of variance set of NIST StRD.
func nistGroups(t *testing.T, name string) (groups [][]float64) {
	t.Helper()
	group, value := nist(t, "nist_anova/"+name+".dat")
	index := map[float64]int{}
	for i, g := range group {
		k, ok := index[g]
		if !ok {
			k = len(groups)
			index[g] = k
			groups = append(groups, nil)
		}
		groups[k] = append(groups[k], value[i])
	}
	return groups
}

// certified reads the certified values of such a set from its file.
func certified(t *testing.T, name string) (between, within, f, residual float64, dofs [2]float64) {
	t.Helper()
	text, err := os.ReadFile("/usr/lib/python3/dist-packages/scipy/stats/tests/data/nist_anova/" + name + ".dat")
	if err != nil {
		t.Fatalf("%v (Debian package python3-scipy)", err)
	}
	numbers := func(pattern string) (x []float64) {
		m := regexp.MustCompile(pattern).FindStringSubmatch(string(text))
		if m == nil {
			t.Fatalf("%s: no line %q", name, pattern)
		}
		for _, field := range strings.Fields(m[1]) {
			v, err := strconv.ParseFloat(field, 64)
			if err != nil {
				t.Fatal(err)
			}
			x = append(x, v)
		}
		return x
	}
	b, w := numbers(`(?m)^Between \w+ +(.*)$`), numbers(`(?m)^Within \w+ +(.*)$`)
	return b[1], w[1], b[3], numbers(`Standard Deviation +(\S+)`)[0], [2]float64{b[0], w[0]}
}

// exact is both sums of squares of the numbers as float64 holds them, in rational arithmetic.
func exact(groups [][]float64) (between, within float64) {
	sum, n := new(big.Rat), 0
	means := make([]*big.Rat, len(groups))
	for i, g := range groups {
		means[i] = new(big.Rat)
		for _, x := range g {
			means[i].Add(means[i], new(big.Rat).SetFloat64(x))
		}
		sum.Add(sum, means[i])
		n += len(g)
		means[i].Quo(means[i], big.NewRat(int64(len(g)), 1))
	}
	sum.Quo(sum, big.NewRat(int64(n), 1))
	b, w := new(big.Rat), new(big.Rat)
	for i, g := range groups {
		d := new(big.Rat).Sub(means[i], sum)
		b.Add(b, d.Mul(d, d).Mul(d, big.NewRat(int64(len(g)), 1)))
		for _, x := range g {
			d := new(big.Rat).Sub(new(big.Rat).SetFloat64(x), means[i])
			w.Add(w, d.Mul(d, d))
		}
	}
	between, _ = b.Float64()
	within, _ = w.Float64()
	return between, within
}

// NIST StRD, all eleven one-way sets: certified values read in the files. Digits is how many of them the decimal data allow once they are float64: readings with 7 leading
// digits in common lose five or six, those with 13 (near 1e12, where float64 numbers lie 1.2e-4 apart) all but four. Against exact arithmetic on the same
// float64 numbers nothing may be lost but the last digits.
//
// Verifies: GUM H.5.2
func TestAnalysisOfVariance(t *testing.T) {
	for _, c := range []struct {
		name   string
		digits float64
	}{
		{"SiRstv", 13}, {"AtmWtAg", 10}, {"SmLs01", 13}, {"SmLs02", 13}, {"SmLs03", 13}, {"SmLs04", 9.8}, {"SmLs05", 9.8}, {"SmLs06", 9.8}, {"SmLs07", 3.8}, {"SmLs08", 3.8}, {"SmLs09", 3.8},
	} {
		groups := nistGroups(t, c.name)
		a, err := OneWay(groups...)
		if err != nil {
			t.Fatal(err)
		}
		between, within, f, residual, dofs := certified(t, c.name)
		relative := func(what string, got, want, tolerance float64) {
			near(t, c.name+": "+what, got/want, 1, tolerance)
		}
		allowed := math.Pow(10, -c.digits)
		relative("between", a.SquaresBetween, between, allowed)
		relative("within", a.SquaresWithin, within, allowed)
		relative("F", a.F, f, allowed)
		relative("residual", a.Within().Std, residual, allowed)
		near(t, c.name+": degrees of freedom", a.DofBetween, dofs[0], 0)
		near(t, c.name+": degrees of freedom", a.DofWithin, dofs[1], 0)
		exactBetween, exactWithin := exact(groups)
		relative("between, exact arithmetic", a.SquaresBetween, exactBetween, 1e-12)
		relative("within, exact arithmetic", a.SquaresWithin, exactWithin, 1e-12)
		near(t, c.name+": size", a.Size(), float64(len(groups[0])), 1e-9)
	}
}

// Zener voltage of GUM H.5 (means of the ten days in V and their standard deviations in µV from memory; published: mean 10.000097 V, s(mean of a day) 57 µV, pooled
// 85 µV, F 2.25 with 9 and 40, between days 43 µV, u 18 µV).
//
// Verifies: GUM H.5.2
func TestZener(t *testing.T) {
	means := []float64{172, 116, 13, 144, 106, 31, 60, 125, 163, 41}
	s := []float64{60, 77, 111, 101, 67, 93, 80, 73, 88, 86}
	var groups []Group
	for i := range means {
		groups = append(groups, Group{N: 5, Mean: 10 + means[i]*1e-6, S: s[i] * 1e-6})
	}
	a, err := OneWayOf(groups)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "mean", a.MeanOfMeans, 10.000097, 5e-7)
	near(t, "s of the day means", a.StdMeans, 57e-6, 0.5e-6)
	near(t, "s within", a.Within().Std, 85e-6, 0.5e-6)
	near(t, "F", a.F, 2.25, 0.03)
	near(t, "between days", a.Between().Std, 43e-6, 0.5e-6)
	near(t, "u", a.StdOfMean().Std, 18e-6, 0.5e-6)
	if a.DofBetween != 9 || a.DofWithin != 40 || a.StdOfMean().Dof != 9 || a.Input("V", "days").Dof != 9 {
		t.Errorf("degrees of freedom %g, %g, %g, want 9, 40, 9", a.DofBetween, a.DofWithin, a.StdOfMean().Dof)
	}
	if !(a.P > 0.03 && a.P < 0.05) { // published: F_0.95 = 2.12 < 2.25 < F_0.975 = 2.45
		t.Errorf("P %g, want between 0.025 and 0.05", a.P)
	}
	in := a.Input("V", "days")
	if in.Value != a.MeanOfMeans || in.Dist != (StudentT{a.StdOfMean().Std, 9}) {
		t.Errorf("input %+v", in)
	}
}

// Groups of different sizes by hand: (1, 3), (6), (4, 5, 6, 9): means 2, 6, 6, of all 34/7; within 2 + 0 + 14 = 16 with 4; between 2·(20/7)² + 5·(8/7)² = 160/7 with 2;
// effective size (7 - 21/7)/2 = 2.
func TestUnbalanced(t *testing.T) {
	a, err := OneWay([]float64{1, 3}, []float64{6}, []float64{4, 5, 6, 9})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "mean", a.Mean, 34.0/7, 1e-14)
	near(t, "mean of means", a.MeanOfMeans, 14.0/3, 1e-14)
	near(t, "within", a.SquaresWithin, 16, 1e-13)
	near(t, "between", a.SquaresBetween, 160.0/7, 1e-13)
	near(t, "size", a.Size(), 2, 1e-14)
	near(t, "F", a.F, 160.0/7/2/4, 1e-13)
	b := a.Between() // variance (80/7 - 4)/2 = 26/7; its dof (26/7)²/((40/7)²/2 + 2²/4)
	near(t, "component", b.Std*b.Std, 26.0/7, 1e-13)
	near(t, "its degrees of freedom", b.Dof, 676.0/49/(1600.0/49/2+1), 1e-12)
	next := a.Next(4) // 26/7 + 4/4 = 40/7 - 4 (1/2 - 1/4)
	near(t, "one further group of four", next.Std*next.Std, 26.0/7+1, 1e-13)
	near(t, "its degrees of freedom", next.Dof, math.Pow(33.0/7, 2)/(1600.0/49/2+1.0/4), 1e-12)
	near(t, "u of the mean of means", a.StdOfMean().Std, math.Sqrt(16.0/3/3), 1e-14)
	short, err := OneWayOf([]Group{{2, 2, math.Sqrt2}, {1, 6, math.NaN()}, {4, 6, math.Sqrt(14.0 / 3)}})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "from summaries", short.F, a.F, 1e-13)
}

// Groups that differ less than their readings scatter: no component between them, and a further group scatters as its readings do; none that scatters at all.
func TestWithoutEffectOfGroups(t *testing.T) {
	a, err := OneWay([]float64{1, 5}, []float64{2, 4}, []float64{3, 3.2})
	if err != nil {
		t.Fatal(err)
	}
	if b := a.Between(); b != (Estimate{}) || a.F >= 1 || a.P < 0.5 {
		t.Errorf("component %+v, F %g, P %g; want none", b, a.F, a.P)
	}
	near(t, "one further group", a.Next(2).Std, a.Within().Std/math.Sqrt2, 1e-14)
	near(t, "its degrees of freedom", a.Next(2).Dof, 3, 0)
	if a, err = OneWay([]float64{2, 2}, []float64{2, 2}); err != nil || a.P != 1 || a.Between() != (Estimate{}) || a.Within().Std != 0 {
		t.Errorf("no scatter at all: %+v, %v", a, err)
	}
	if a, err = OneWay([]float64{2, 2}, []float64{3, 3}); err != nil || a.P != 0 || !(a.Between().Std > 0) {
		t.Errorf("scatter between groups only: %+v, %v", a, err)
	}
	for _, groups := range [][][]float64{nil, {{1, 2}}, {{1}, {2}}, {{1, 2}, {}}, {{1, 2}, {math.NaN()}}} {
		if _, err := OneWay(groups...); err == nil {
			t.Errorf("groups %v accepted", groups)
		}
	}
	for _, groups := range [][]Group{nil, {{0, 1, 1}, {3, 1, 1}}, {{2, 1, math.NaN()}, {3, 1, 1}}, {{2, 1, -1}, {3, 1, 1}}} {
		if _, err := OneWayOf(groups); err == nil {
			t.Errorf("groups %v accepted", groups)
		}
	}
}

// Mountings of different numbers of readings, true effects and scatter known: the mean of means with t(J-1) covers the truth as it says, and both components
// are right on average.
func TestComponentsOnAverage(t *testing.T) {
	const experiments, between, within = 5000, 0.3, 0.2
	r := rand.New(rand.NewPCG(17, 17))
	sizes := []int{2, 3, 3, 5, 8}
	covered := 0
	var varianceBetween, varianceWithin float64
	for range experiments {
		var groups [][]float64
		for _, n := range sizes {
			effect := between * r.NormFloat64()
			g := make([]float64, n)
			for i := range g {
				g[i] = 10 + effect + within*r.NormFloat64()
			}
			groups = append(groups, g)
		}
		a, err := OneWay(groups...)
		if err != nil {
			t.Fatal(err)
		}
		u := a.StdOfMean()
		covered += count(math.Abs(a.MeanOfMeans-10) <= Coverage(0.95, u.Dof)*u.Std)
		varianceBetween += (a.meanBetween() - a.meanWithin()) / a.Size() / experiments
		varianceWithin += a.meanWithin() / experiments
	}
	near(t, "coverage (seed 17)", float64(covered)/experiments, 0.95, 0.012)
	near(t, "variance between", varianceBetween, between*between, 0.003) // its standard error is 0.001
	near(t, "variance within", varianceWithin, within*within, 0.001)
}

// Pooling stated deviations is pooling the readings: 3 with 2 and 1 with 6 degrees of freedom are √((18 + 6)/8) with 8 (closed form).
//
// Verifies: GUM 4.2.4
func TestPooledOf(t *testing.T) {
	e, err := PooledOf(Estimate{3, 2}, Estimate{1, 6})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "s", e.Std, math.Sqrt(3), 1e-15)
	near(t, "dof", e.Dof, 8, 0)
	for _, bad := range [][]Estimate{nil, {{1, 0}}, {{-1, 2}}, {{1, inf}}, {{math.NaN(), 2}}} {
		if _, err := PooledOf(bad...); err == nil {
			t.Errorf("%v accepted", bad)
		}
	}
}
