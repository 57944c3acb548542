package uncertainty

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
)

// trapezoid is the distribution function of a symmetric trapezoid by its closed form.
func trapezoid(a, beta float64) func(float64) float64 {
	return func(x float64) float64 {
		y := math.Abs(x) / a
		height := 1 / (1 + beta)
		upper := 0.5 + height*math.Min(y, beta)
		if y > beta {
			upper = 1 - height*(1-y)*(1-y)/(1-beta)/2
		}
		if x < 0 {
			return 1 - upper
		}
		return upper
	}
}

// shapes is every distribution with its standard deviation and distribution function in closed form (nil where there is none).
var shapes = []struct {
	d   Distribution
	std float64
	cdf func(x float64) float64
}{
	{Normal{2}, 2, func(x float64) float64 { return NormalCDF(x / 2) }},
	{Rectangular{3}, math.Sqrt(3), func(x float64) float64 { return (x + 3) / 6 }},
	{Triangular{3}, 3 / math.Sqrt(6), trapezoid(3, 0)},
	{Trapezoidal{3, 0.4}, 3 * math.Sqrt(1.16/6), trapezoid(3, 0.4)},
	{Trapezoidal{3, 0}, 3 / math.Sqrt(6), trapezoid(3, 0)},
	{Arcsine{3}, 3 / math.Sqrt2, func(x float64) float64 { return 0.5 + math.Asin(x/3)/math.Pi }},
	{CurvilinearTrapezoid{3, 0.5}, math.Sqrt(3 + 0.25/9), nil},
	{StudentT{2, 9}, 2 * math.Sqrt(9.0/7), func(x float64) float64 { return StudentCDF(x/2, 9) }},
	{StudentT{1, 2.5}, math.Sqrt(5), func(x float64) float64 { return StudentCDF(x, 2.5) }},
	{StudentT{1, 2}, math.NaN(), func(x float64) float64 { return StudentCDF(x, 2) }},
	{StudentT{1, 1}, math.NaN(), func(x float64) float64 { return StudentCDF(x, 1) }},
	{StudentT{1, math.Inf(1)}, 1, NormalCDF},
	{Product{Rectangular{1}, Arcsine{2}}, math.Sqrt(2.0 / 3), nil},
	{Product{Rectangular{1}, Rectangular{1}}, 1.0 / 3, func(x float64) float64 { // density -ln|x|/2
		if x == 0 {
			return 0.5
		}
		return 0.5 + x*(1-math.Log(math.Abs(x)))/2
	}},
}

// Single draws and columns have the shape they claim: standard deviation, and the largest distance between the distribution functions (Kolmogorov-Smirnov,
// limit 1.95/√n: one in a thousand).
//
// Verifies: GUM 4.3.7
// Verifies: GUM 4.3.9
// Verifies: JCGM 101 6.4.6
// Verifies: JCGM 101 6.4.9
func TestShapes(t *testing.T) {
	const n = 200_000
	for _, s := range shapes {
		set := NewSet()
		i := set.Add(Input{ID: "x", Value: 10, Dist: s.d, Dof: 1})
		_, column, err := SimulateReal(set, func(x []float64) float64 { return x[i] - 10 }, []int{i}, SimulationSettings{Trials: n, Seed: 3, Probability: 0.95, Keep: true})
		if err != nil {
			t.Fatal(err)
		}
		single := make([]float64, n)
		r := rand.New(rand.NewPCG(4, 4))
		for k := range single {
			single[k] = s.d.Sample(r)
		}
		for how, sample := range map[string][]float64{"column": column, "single": single} {
			mean, std := Mean(sample), StdDev(sample)
			if !math.IsNaN(s.std) && s.d != (StudentT{1, 2.5}) { // the estimate of a variance without a fourth moment does not converge
				near(t, s.d.String()+" "+how+": mean", mean, 0, 4*s.std/math.Sqrt(n))
				near(t, s.d.String()+" "+how+": std", std, s.std, 0.01*s.std)
			}
			if s.cdf == nil {
				continue
			}
			slices.Sort(sample)
			distance := 0.0
			for k, x := range sample {
				distance = max(distance, math.Abs(s.cdf(x)-float64(k)/n), math.Abs(s.cdf(x)-float64(k+1)/n))
			}
			if !(distance < 1.95/math.Sqrt(n)) {
				t.Errorf("%v %s, seeds 3 and 4: distance of distribution functions %.5f, want less than %.5f", s.d, how, distance, 1.95/math.Sqrt(n))
			}
		}
		if _, isT := s.d.(StudentT); !isT && math.Abs(s.d.Std()-s.std) > 1e-12 {
			t.Errorf("%v: Std %.12g, want %.12g", s.d, s.d.Std(), s.std)
		}
	}
	if (StudentT{0.3, 2}).Std() != 0.3 {
		t.Errorf("Student t: Std %g, want its scale (GUM 4.2.3)", StudentT{0.3, 2}.Std())
	}
}

// The normal columns' far tails, where a wrong table of layers would show: counts of four million draws against the distribution function,
// five standard deviations of a count allowed. The uppermost layer closes with the area of all others.
func TestZiggurat(t *testing.T) {
	const n = 4 << 20
	pcg := rand.NewPCG(5, 5)
	limits := []float64{0.1, 1, 2, 3, 3.5, tailStart, 4, 4.5, 5}
	above, below := make([]int, len(limits)), make([]int, len(limits))
	for range n {
		x := layered.normal(pcg)
		for k, limit := range limits {
			if x > limit {
				above[k]++
			} else if x < -limit {
				below[k]++
			}
		}
	}
	for k, limit := range limits {
		want := n * NormalCDF(-limit)
		for _, got := range []int{above[k], below[k]} {
			if math.Abs(float64(got)-want) > 5*math.Sqrt(want)+1 {
				t.Errorf("beyond %g: %d draws, want %.0f (seed 5)", limit, got, want)
			}
		}
	}
	top, area := layered.x[layers-1], layered.x[0]*layered.f[1]
	near(t, "area of the uppermost layer", top*(1-layered.f[layers-1]), area, 1e-9*area+1e-12)
	for i := range layers {
		if !(layered.x[i] > layered.x[i+1]) {
			t.Errorf("layer %d is %g wide, the one above %g", i, layered.x[i], layered.x[i+1])
		}
	}
}

func TestSineQuarter(t *testing.T) {
	for i := -1000; i <= 1000; i++ {
		a := float64(i) / 1000
		near(t, "sin(πa/2)", sineQuarter(a), math.Sin(math.Pi/2*a), 1e-13)
	}
}

// Verifies: GUM 4.3.3
func TestParseDistribution(t *testing.T) {
	for name, want := range map[string]Distribution{"normal": Normal{0.2}, "rectangular": Rectangular{0.2}, "triangular": Triangular{0.2}, "arcsine": Arcsine{0.2}} {
		d, err := ParseDistribution(name, 0.2)
		if err != nil || d != want || d.String() != name {
			t.Errorf("ParseDistribution(%q) = %v, %v, want %v", name, d, err, want)
		}
	}
	if got := strings.Join(DistributionNames(), " "); got != "normal rectangular triangular arcsine" {
		t.Errorf("names %q", got)
	}
	for _, c := range []struct {
		name string
		size float64
		want string
	}{
		{"gaussian", 1, `distribution "gaussian": want one of normal, rectangular, triangular, arcsine`},
		{"normal", -1, "size -1"}, {"normal", math.NaN(), "size NaN"}, {"arcsine", inf, "size +Inf"},
	} {
		if _, err := ParseDistribution(c.name, c.size); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("ParseDistribution(%q, %g): %v, want %q", c.name, c.size, err, c.want)
		}
	}
	if d := FromExpanded(0.5, 2); d != (Normal{0.25}) {
		t.Errorf("U 0.5 with k 2: %v, want 0.25", d)
	}
}
