package plan_test

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"plumbline/calibration"
	"plumbline/internal/simulator"
)

// TestMultisineAchieved carries a planned multisine out on the simulator, a clock 30 ppm off, and evaluates every line of it: the values scatter by what was promised within 20 %, their mean
// is off by no more than the scatter explains, and U is what was promised for the number of blocks there are.
func TestMultisineAchieved(t *testing.T) {
	const seed, runs, rate = 7, 40, 250.0
	t.Logf("seed %d", seed)
	rng := rand.New(rand.NewPCG(seed, 0))
	bench := simulator.FenwickLane()
	bench.Exciter = simulator.Exciter{Stroke: 10e-3, Velocity: 0.5, Level: 0.3 * g, Third: 0.14, Second: 0.056, Floor: 5e-4}
	bench.Recorder.Rate, bench.Recorder.Clock = rate, 30e-6
	r := study(t, false)
	r.Rates, r.Wish.Frequencies = []float64{rate}, []float64{0.7, 1.1, 1.9, 3.1, 5.1, 9.9, 20.1}
	r.Wish.MultisineFrom, r.Wish.LongestPeriod, r.Wish.Seed, r.Wish.TypeA, r.Wish.Longest = 1000, 10, 1, 1e-3, 6000
	r.Job.DeviceChain.Column = 2
	m := planned(t, r).Multisine
	if m == nil {
		t.Fatal("no multisine is planned")
	}
	var lines []simulator.Line
	var together []float64
	for _, l := range m.Lines {
		lines = append(lines, simulator.Line{Frequency: l.Frequency, Level: l.Level, Phase: l.Phase})
		together = append(together, l.Frequency)
	}
	job := r.Job
	job.Procedure.Trials = 10000
	sums, squares := make([]complex128, len(lines)), make([]float64, len(lines))
	for range runs {
		samples, truths := bench.Multisine(lines, m.Measuring, rng)
		rec := simulator.Recording("planned.wav", samples, rate, bench.Recorder.Bits)
		job.Points = nil
		for _, f := range together {
			job.Points = append(job.Points, calibration.PointPlan{Label: "planned line", Frequency: f, Level: math.NaN(), Together: together, Recording: &rec})
		}
		res, err := calibration.Evaluate(job, 1)
		if err != nil {
			t.Fatal(err)
		}
		for i, p := range res.Points {
			if p.Refused != "" {
				t.Fatalf("%g Hz: refused: %s", together[i], p.Refused)
			}
			d := cmplx.Log(p.Evidence.Ratio / truths[i].Ratio)
			sums[i] += d
			squares[i] += real(d)*real(d) + imag(d)*imag(d)
			within(t, "level", p.Level, m.Lines[i].Level, 0.02)
		}
	}
	for i, f := range together {
		mean := sums[i] / runs
		scatter := math.Sqrt((squares[i]/runs - real(mean)*real(mean) - imag(mean)*imag(mean)) / 2)
		t.Logf("%g Hz: scatter %.3g, promised %.3g, mean off by %.2g of it", f, scatter, m.Std, cmplx.Abs(mean)/m.Std)
		if math.Abs(scatter/m.Std-1) > 0.2 || cmplx.Abs(mean) > 0.5*m.Std { // 3.2 standard deviations of the mean of so many
			t.Errorf("%g Hz: scatter %.3g, promised %.3g, mean off by %.3g", f, scatter, m.Std, mean)
		}
	}
}
