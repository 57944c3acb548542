package uncertainty

import (
	"fmt"
	"math"
	"testing"
)

// product is the relative model of twelve inputs whose speed is compared with testdata/bench_numpy.py: three normal, seven rectangular, one arcsine
// and a rectangular resonance frequency.
func product() (*Set, []int, RealModel) {
	set := NewSet()
	var uses []int
	add := func(value float64, d Distribution) {
		id := fmt.Sprintf("e%d", len(uses))
		uses = append(uses, set.Add(Input{ID: id, Influence: id, Value: value, Dist: d, Dof: math.Inf(1)}))
	}
	for _, sigma := range []float64{0.0035, 0.0005, 0.0009} {
		add(0, Normal{sigma})
	}
	for _, a := range []float64{0.002, 0.002, 0.0016, 0.0003, 0.0003, 0.00024, 0.0001} {
		add(0, Rectangular{a})
	}
	add(0, Arcsine{0.006})
	add(14000, Rectangular{6000})
	return set, uses, func(x []float64) float64 {
		q := 1000 / x[11]
		return 10 * (1 + x[0]) * (1 + x[1]) * (1 + x[2]) * (1 + x[3]) * (1 + x[4]) * (1 + x[5]) *
			(1 + x[6]) * (1 + x[7]) * (1 + x[8]) * (1 + x[9]) * (1 + x[10]) * (1 - q*q)
	}
}

// BenchmarkWideSet is BenchmarkTrials where the Set holds three hundred inputs of other results.
func BenchmarkWideSet(b *testing.B) {
	set, uses, f := product()
	for i := range 300 {
		set.Add(Input{ID: fmt.Sprintf("other %d", i), Dist: Normal{1}, Dof: math.Inf(1)})
	}
	benchmarkTrials(b, set, uses, f)
}

// benchmarkTrials draws and evaluates a million trials in blocks, into a million places as the counterpart does.
func benchmarkTrials(b *testing.B, set *Set, uses []int, f RealModel) {
	const trials = 1_000_000
	sample := make([]float64, trials)
	d := newDrawing(set, uses)
	for b.Loop() {
		for k := 0; k*block < trials; k++ {
			d.block(1, k, func(x []float64) (float64, float64) { return f(x), 0 }, [2][]float64{sample[k*block : min(trials, (k+1)*block)]})
		}
	}
	b.ReportMetric(trials*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mtrials/s")
}

func settings(trials, workers int) SimulationSettings {
	return SimulationSettings{Trials: trials, Seed: 1, Probability: 0.95, Workers: workers}
}

// BenchmarkTrials measures drawing and evaluating a million trials of the twelve-input product, without the summary.
func BenchmarkTrials(b *testing.B) {
	set, uses, f := product()
	benchmarkTrials(b, set, uses, f)
}

// BenchmarkSimulate measures the whole evaluation of a complex result, with both intervals of both components.
func BenchmarkSimulate(b *testing.B) {
	set, uses, f := product()
	for b.Loop() {
		if _, err := Simulate(set, func(x []float64) complex128 { return complex(f(x), f(x)*(x[1]+0.002)) }, uses, settings(1_000_000, 1)); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkSimulateReal measures the whole evaluation of a real result: the counterpart's trials and two quantiles, with both intervals.
func BenchmarkSimulateReal(b *testing.B) {
	set, uses, f := product()
	for b.Loop() {
		if _, _, err := SimulateReal(set, f, uses, settings(1_000_000, 1)); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkColumn(b *testing.B) {
	for _, d := range []Distribution{Normal{1}, Rectangular{1}, Triangular{1}, Trapezoidal{1, 0.3}, Arcsine{1}, StudentT{1, 9}, CurvilinearTrapezoid{1, 0.1}} {
		b.Run(d.String(), func(b *testing.B) {
			set := NewSet()
			i := set.Add(Input{ID: "x", Dist: d, Dof: 1})
			draw := newDrawing(set, []int{i})
			column := make([]float64, block)
			for b.Loop() {
				draw.block(1, 0, func(x []float64) (float64, float64) { return x[i], 0 }, [2][]float64{column})
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/block, "ns/draw")
		})
	}
}
