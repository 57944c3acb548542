package uncertainty

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// JCGM 101 7.9.2: examples of the clause from memory (0.000 35 g has δ 0.000 005 g, 8 g with two digits 0.05 g and with one 0.5 g), the others by its definition.
//
// Verifies: JCGM 101 7.9.2
func TestTolerance(t *testing.T) {
	for _, c := range []struct {
		u      float64
		digits int
		want   float64
	}{
		{0.00035, 2, 0.000005}, {8, 2, 0.05}, {8, 1, 0.5}, {31.664, 2, 0.5}, {31.664, 1, 5}, {0.0996, 2, 0.005}, {0.994, 2, 0.005}, {-2, 2, 0.05}, {0, 2, 0}, {inf, 2, 0},
	} {
		near(t, "tolerance", Tolerance(c.u, c.digits), c.want, 1e-12*c.want)
	}
}

// The run stops by itself, keeps what it promises and depends on nothing but the seed: digits of u and of the ends of runs with twenty seeds
// agree with the exact ones to the tolerance in at least nine of ten (the standard's factor of two aims at 95 %).
//
// Verifies: JCGM 101 7.9.4
func TestStopsWhenStable(t *testing.T) {
	set := NewSet()
	uses := inputs(set, make([]float64, 4), Rectangular{math.Sqrt(3)}, Rectangular{math.Sqrt(3)}, Rectangular{math.Sqrt(3)}, Rectangular{math.Sqrt(3)})
	f := func(x []float64) complex128 { return complex(21+x[0]+x[1]+x[2]+x[3], 0) }
	const u, end = 2.0 / 21, 3.879407 / 21 // JCGM 101 9.2.3, exact; known to 0.0005
	const runs = 20
	right, fewest, most := 0, math.MaxInt, 0
	for seed := range uint64(runs) {
		s, err := Simulate(set, f, uses, SimulationSettings{Trials: 4_000_000, Digits: 2, Seed: seed, Probability: 0.95})
		if err != nil || !s.Stable {
			t.Fatalf("seed %d: stable %v, %v", seed, s.Stable, err)
		}
		fewest, most = min(fewest, s.Trials), max(most, s.Trials)
		d := Tolerance(u, 2)
		if math.Abs(s.Modulus.Std-u) <= d && math.Abs(s.Modulus.High-1-end) <= d && math.Abs(1-s.Modulus.Low-end) <= d {
			right++
		}
	}
	if fewest <= leastSequences*block || most > 2_000_000 {
		t.Errorf("%d to %d trials, want more than the least (%d) and fewer than two million", fewest, most, leastSequences*block)
	}
	if right < runs*9/10 {
		t.Errorf("seeds 0 to %d: %d of %d runs right to two digits, want nine of ten", runs-1, right, runs)
	}
	// u of 0.95 needs its ends to 0.0025 u, u of 10.1 only to 0.05 u (closed form of the tolerance): many more trials for the first.
	trials := func(u float64) int {
		set := NewSet()
		uses := inputs(set, []float64{0}, Normal{u})
		s, err := Simulate(set, func(x []float64) complex128 { return complex(1000+x[0], 0) }, uses, SimulationSettings{Trials: 4_000_000, Digits: 2, Seed: 1, Probability: 0.95})
		if err != nil || !s.Stable {
			t.Fatalf("u %g: stable %v, %v", u, s.Stable, err)
		}
		return s.Trials
	}
	if a, b := trials(0.95), trials(0.101); a <= b || b != leastSequences*block {
		t.Errorf("%d trials for u 0.95, %d for 0.101; want more than the least, and the least (%d)", a, b, leastSequences*block)
	}
}

// Workers draw ahead without effect on what is used; a limit of trials that is too small ends the run unstable; without variance the ends alone decide.
//
// Verifies: JCGM 101 7.9.4
func TestStopIsReproducible(t *testing.T) {
	set, model, uses := ratioSet()
	s := SimulationSettings{Trials: 40 * block, Digits: 2, Seed: 4, Probability: 0.95, Keep: true}
	one, err := Simulate(set, model, uses, s)
	if err != nil {
		t.Fatal(err)
	}
	s.Workers = 3
	three, err := Simulate(set, model, uses, s)
	if err != nil || one.Modulus != three.Modulus || one.Phase != three.Phase || one.Trials != three.Trials || one.Stable != three.Stable ||
		!slices.Equal(one.ModulusSample, three.ModulusSample) || !slices.Equal(one.PhaseSample, three.PhaseSample) || len(one.PhaseSample) != one.Trials {
		t.Errorf("three workers: %d trials, one: %d; %v", three.Trials, one.Trials, err)
	}
	fixed, err := Simulate(set, model, uses, SimulationSettings{Trials: one.Trials, Seed: 4, Probability: 0.95})
	if err != nil || fixed.Modulus != one.Modulus || fixed.Correlation != one.Correlation || fixed.Stable {
		t.Errorf("as many trials without stopping: %+v, %v, want %+v", fixed.Modulus, err, one.Modulus)
	}
	s.Trials, s.Keep = 11*block+5, false
	wide := NewSet()
	few, err := Simulate(wide, func(x []float64) complex128 { return complex(1000+x[0], 0) }, inputs(wide, []float64{0}, Normal{0.95}), s)
	if err != nil || few.Stable || few.Trials != 11*block {
		t.Errorf("too few trials: stable %v after %d, %v", few.Stable, few.Trials, err)
	}
	s.Trials = 11 * block
	if _, _, err := SimulateReal(wide, func(x []float64) float64 { return x[0] }, []int{0}, s); err == nil || !strings.Contains(err.Error(), "simulation of 180224 trials (seed 4): 2 digits are not stable") {
		t.Errorf("too few trials of a real result: %v", err)
	}
	none := NewSet()
	ends, err := Simulate(none, func(x []float64) complex128 { return complex(1000+x[0], 0) }, inputs(none, []float64{0}, StudentT{0.24, 2}), SimulationSettings{Trials: 4_000_000, Digits: 2, Seed: 1, Probability: 0.95})
	if err != nil || !ends.Stable || !math.IsNaN(ends.Modulus.Std) || !math.IsNaN(ends.Correlation) {
		t.Errorf("Student t without variance: %+v, %v", ends, err)
	}
	for _, c := range []struct {
		change func(*SimulationSettings)
		want   string
	}{
		{func(s *SimulationSettings) { s.Digits = 3 }, "until 3 digits"},
		{func(s *SimulationSettings) { s.Digits, s.Probability = 2, 0.999 }, "coverage probability of 0.999"},
		{func(s *SimulationSettings) { s.Digits, s.Trials = 1, 10000 }, "at most 10000 trials, want at least 163840"},
	} {
		s := settings(1_000_000, 1)
		c.change(&s)
		if _, err := Simulate(set, model, uses, s); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%v, want %q", err, c.want)
		}
	}
	if _, err := Simulate(set, func(x []float64) complex128 { return complex(1+math.Sqrt(0.0123+x[1]), 0) }, uses, SimulationSettings{Trials: 1_000_000, Digits: 2, Seed: 1, Probability: 0.95}); err == nil ||
		!strings.Contains(err.Error(), "(seed 1): model is NaN") {
		t.Errorf("a trial that is not finite: %v", err)
	}
}

// Keeping the tails alone gives what keeping everything gives; tails that turn out too short are noticed.
func TestTailsSuffice(t *testing.T) {
	set, model, uses := ratioSet()
	for _, p := range []float64{0.05, 0.5, 0.9, 0.9545, 0.99} {
		s := SimulationSettings{Trials: 3*block + 77, Seed: 6, Probability: p, Keep: true}
		sim, err := Simulate(set, model, uses, s)
		if err != nil {
			t.Fatal(err)
		}
		for name, c := range map[string]struct {
			in     Interval
			sample []float64
		}{"modulus": {sim.Modulus, sim.ModulusSample}, "phase": {sim.Phase, sim.PhaseSample}} {
			var in Interval
			in.cover(slices.Clone(c.sample), p)
			if in.Low != c.in.Low || in.High != c.in.High || in.ShortestLow != c.in.ShortestLow || in.ShortestHigh != c.in.ShortestHigh {
				t.Errorf("p %g, %s: %+v, the whole sample gives %+v", p, name, c.in, in)
			}
			near(t, name+": mean", c.in.Mean, Mean(c.sample), 1e-15)
			near(t, name+": std", c.in.Std, StdDev(c.sample), 1e-14)
		}
		var cross, m, q float64
		for i := range sim.ModulusSample {
			dm, dp := sim.ModulusSample[i]-sim.Modulus.Mean, sim.PhaseSample[i]-sim.Phase.Mean
			cross, m, q = cross+dm*dp, m+dm*dm, q+dp*dp
		}
		near(t, "correlation", sim.Correlation, cross/math.Sqrt(m*q), 1e-12)
	}
	g := &trials{set: set, uses: uses, columns: 1, settings: settings(2*block, 1), evaluate: func(x []float64) (float64, float64) { return x[1], 0 }}
	if _, complete, err := g.all(func(part, int) tailLimits { return tailLimits{low: -0.02, high: 0.001} }); complete || err != nil {
		t.Errorf("lower tail of a few trials: complete %v, %v", complete, err)
	}
	all, complete, err := g.all(everything)
	if !complete || err != nil {
		t.Errorf("everything kept: complete %v, %v", complete, err)
	}
	if r, err := simulate(g); err != nil || r.intervals != all.intervals {
		t.Errorf("tails %+v, everything %+v, %v", r.intervals, all.intervals, err)
	}
}

func TestSortFloats(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
		y := make([]float64, rapid.SampledFrom([]int{0, 1, 5, worthDigits, 3000}).Draw(t, "values"))
		scale := rapid.SampledFrom([]float64{1e-300, 1, 1e300}).Draw(t, "scale")
		coarse := rapid.Bool().Draw(t, "with equal values")
		for i := range y {
			if y[i] = r.NormFloat64() * scale; coarse {
				y[i] = math.Round(r.NormFloat64())
			}
		}
		want := slices.Sorted(slices.Values(y))
		if sortFloats(y); !slices.Equal(y, want) {
			t.Fatal("not in order")
		}
	})
	y := append(make([]float64, worthDigits), math.Inf(1), math.Inf(-1), math.SmallestNonzeroFloat64, -math.SmallestNonzeroFloat64)
	if sortFloats(y); !math.IsInf(y[0], -1) || !math.IsInf(y[len(y)-1], 1) || y[1] >= 0 || y[len(y)-2] <= 0 {
		t.Error("extreme values out of order")
	}
}
