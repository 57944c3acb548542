package plan_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"plumbline/calibration"
	"plumbline/internal/simulator"
)

// TestAchieved carries plans out on the simulator and compares what was promised with what the evaluation of the recordings reports: U of each point, and
// the type A uncertainty on the average of several recordings.
func TestAchieved(t *testing.T) {
	const seed, repeats = 5, 8
	t.Logf("seed %d", seed)
	rng := rand.New(rand.NewPCG(seed, 0))
	bench := simulator.FenwickLane()
	bench.Exciter = simulator.Exciter{Stroke: 10e-3, Velocity: 0.5, Level: 0.3 * g, Third: 0.14, Second: 0.056, Floor: 5e-4}
	bench.Recorder.Rate = 500
	r := study(t, false)
	r.Rates = []float64{500}
	r.Wish.Frequencies, r.Wish.Level = []float64{1, 3, 7}, 0.1*g
	r.Job.Device.ReferenceFrequency, r.Wish.UseOfLimit = 7, 0.9
	r.Job.DeviceChain.Column = 2
	p := planned(t, r)
	for _, q := range p.Points {
		if q.Repeat {
			continue
		}
		job := r.Job
		for range repeats {
			samples, _ := bench.Record(simulator.Point{Frequency: q.Frequency, Level: q.Level, Duration: q.Measuring}, rng)
			rec := simulator.Recording("planned.wav", samples, bench.Recorder.Rate, bench.Recorder.Bits)
			job.Points = append(job.Points, calibration.PointPlan{Label: "planned point", Frequency: q.Frequency, Level: math.NaN(), Recording: &rec})
		}
		res, err := calibration.Evaluate(job, 1)
		if err != nil {
			t.Fatal(err)
		}
		variance := 0.0
		for _, got := range res.Points {
			if got.Refused != "" {
				t.Fatalf("%g Hz: refused: %s", q.Frequency, got.Refused)
			}
			variance += got.Evidence.StdLnRatio[0] * got.Evidence.StdLnRatio[0] / repeats
			within(t, "U", got.Reported.UModulus, q.U, 0.2)
			within(t, "level", got.Level, q.Level, 0.02)
		}
		if ratio := math.Sqrt(variance) / q.StdTypeA; ratio < 1/1.5 || ratio > 1.5 {
			t.Errorf("%g Hz: type A %.3g achieved, %.3g promised", q.Frequency, math.Sqrt(variance), q.StdTypeA)
		} else {
			t.Logf("%g Hz: type A %.3g achieved, %.3g promised", q.Frequency, math.Sqrt(variance), q.StdTypeA)
		}
	}
}
