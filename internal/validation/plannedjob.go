package validation

import (
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"time"

	"plumbline/calibration"
	"plumbline/internal/simulator"
	"plumbline/plan"
	"plumbline/quantity"
	"plumbline/steady"
)

// What jobs are drawn from.
const (
	lowestPlanned, highestPlanned = 0.7, 200.0 // Hz
	clearOfMains                  = 1.2        // blocks in which a line of the mains must turn once against a point or a harmonic of it, at least
	longestPlanned                = 600.0      // s for one point
	phasePerModulus               = 0.1 * degree / 1e-3
	drivePlanned                  = 3.0 // V peak
	slewPlanned                   = 6.0 // V/s
)

// plannedJob is a job as a laboratory may have it on its desk, and the bench it will be measured on. The laboratory states of the bench what is true.
type plannedJob struct {
	name    string
	setup   simulator.Setup
	request plan.Request
}

// drawJob draws a job.
func drawJob(seed uint64, number int) (plannedJob, error) {
	r := rand.New(rand.NewPCG(seed, uint64(number)))
	either := func(a, b string) string {
		if r.IntN(2) == 0 {
			return a
		}
		return b
	}
	between := func(low, high float64) float64 { return low * math.Pow(high/low, r.Float64()) }
	scene := simulator.Scene{Exciter: either("X-03", "X-12"), Reference: either("100 mV/g", "1 V/g"), Site: between(0.2, 3), Warm: true}
	setup, err := scene.Setup()
	if err != nil {
		return plannedJob{}, err
	}
	device := between(1, 10) // V/g
	setup.Device.Midband = device / quantity.StandardGravity
	setup.Device.Noise.White *= 10 / device // of such devices 3e-7 V/√Hz each: assumed
	frequencies := drawFrequencies(r)
	setup.Recorder.Rate = 2000
	if frequencies[0] < 50 {
		setup.Recorder.Rate = 1000
	}
	target := between(0.0005, 0.003)
	j := plannedJob{setup: setup, request: plan.Request{
		Job:         setJob(setup, device, frequencies, target, between(0.0005, 0.003)),
		Exciter:     stated(scene.Exciter, setup.Shaker),
		Site:        plan.Site{Density: groundTable(setup.Ground), NotCommon: setup.Ground.NotCommon},
		DeviceNoise: density(setup.Device.Noise), ReferenceNoise: density(setup.Reference.Noise), RecorderNoise: density(setup.Recorder.Noise),
		Rates: []float64{setup.Recorder.Rate},
		Wish: plan.Wish{Frequencies: frequencies, Level: between(0.03, 0.3) * quantity.StandardGravity, Motion: quantity.Acceleration, LevelUnit: must(quantity.ParseUnit("g")),
			UseOfLimit: 0.4 + 0.4*r.Float64(), TypeA: target, Longest: longestPlanned, Workers: 1},
	}}
	j.request.Job.Loop = j.request.Exciter.Loop()
	j.name = fmt.Sprintf("job %d (%s, %s reference, device of %.2g V/g, ground × %.2g, %.2g %%)", number, scene.Exciter, scene.Reference, device, scene.Site, 100*target)
	return j, nil
}

// drawFrequencies draws five to eight points, one in each of as many parts of the range, descending, off the mains with their harmonics.
func drawFrequencies(r *rand.Rand) []float64 {
	n := 5 + r.IntN(4)
	var all []float64
	for i := n - 1; i >= 0; i-- {
		for {
			f := lowestPlanned * math.Pow(highestPlanned/lowestPlanned, (float64(i)+r.Float64())/float64(n))
			place := math.Pow(10, math.Floor(math.Log10(f))-2)
			if f = math.Round(f/place) * place; offAllMains(f) && (len(all) == 0 || f < 0.9*all[len(all)-1]) {
				all = append(all, f)
				break
			}
		}
	}
	return all
}

func offAllMains(f float64) bool {
	for h := 1.0; h <= 5; h++ {
		if k := max(1, math.Round(h*f/mains)); math.Abs(h*f-k*mains)*plan.BlockLength(f, mains) < clearOfMains {
			return false
		}
	}
	return true
}

func density(n simulator.Noise) plan.Density { return plan.Density{White: n.White, Corner: n.Corner} }

// groundTable is the density of the ground as a quiet check would give it, twelve rows an octave.
func groundTable(g simulator.Ground) (d plan.Density) {
	for f := 0.4; f < 500; f *= math.Exp2(1. / 12) {
		d.Table = append(d.Table, plan.DensityRow{Frequency: f, Density: g.At(f)})
	}
	return d
}

// stated is an exciter as its asset file has it. Its level loop is the program's own, which is at the level when it says so: what takes time of it is the approach.
func stated(serial string, s simulator.Shaker) plan.Exciter {
	return plan.Exciter{
		Identity: calibration.Identity{Kind: "exciter", Model: "simulated", Serial: serial}, Stroke: s.Stroke, Velocity: 0.5, Force: 50, Cap: quantity.StandardGravity,
		Armature: s.Armature, Fixture: s.Payload, Suspension: s.Resonance * math.Sqrt((s.Armature+s.Payload)/s.Armature), FrequencyRange: [2]float64{0.5, 400},
		LoopTime: 0.2, LoopCycles: 1,
	}
}

// setJob is the job without points. Nothing but certificate, gains and noise has a part in U, so that the noise, which a plan can be wrong about, counts.
func setJob(s simulator.Setup, device float64, frequencies []float64, target, certificate float64) calibration.Job {
	day := time.Date(2026, 11, 18, 0, 0, 0, 0, time.UTC)
	voltPerG, one := must(quantity.ParseUnit("V/g")), must(quantity.ParseUnit("V/V"))
	chain := func(column int) calibration.Chain {
		return calibration.Chain{Column: column, Stages: []calibration.Stage{{Identity: calibration.Identity{Kind: "recorder", Model: "simulated", Serial: "D-8"},
			Channel: fmt.Sprint(column), FullScale: s.Recorder.FullScale, Gain: 1, GainUnit: one, StdGain: gainStd, StdDelay: delayStd, Resolution: s.Recorder.Step()}}}
	}
	transducer := func(kind, serial string, t simulator.Sensor) calibration.Transducer {
		return calibration.Transducer{Identity: calibration.Identity{Kind: kind, Model: "simulated", Serial: serial}, Unit: voltPerG, Nominal: t.Midband,
			ReferenceFrequency: nearestTo(80, frequencies), Range: 0.97 * t.Range / t.Midband, Transverse: math.NaN(), TimeConstant: must(steady.HighPass(t.HighPass, t.Damping))}
	}
	j := calibration.Job{
		Number: "study", Performed: day, Until: day, Subject: calibration.OfTransducer, Seed: 1, Clock: math.NaN(),
		Device: calibration.Device{Transducer: transducer("accelerometer", "A-0401", s.Device)},
		Reference: calibration.Reference{Transducer: transducer("reference", "R-201", s.Reference),
			Certificate: calibration.Document{Number: "study", Laboratory: "study", Date: day.AddDate(0, -6, 0)}},
		ReferenceChain: chain(1), DeviceChain: chain(2),
		Conditions: calibration.Conditions{Temperature: referenceRoomTemp, TemperatureHalfWidth: 1, Humidity: math.NaN(), Pressure: math.NaN()},
		Procedure: calibration.Procedure{Name: "study", Method: "comparison", Probability: probability, Trials: 10000, Harmonics: 5, Drift: 1, Mains: mains,
			LeastPoints: 1, LeastPeriods: 10, FrequencyRange: [2]float64{0.4, 400}, LevelRange: [2]float64{0.01, 100}, UsableBand: 0.45,
			Settling: calibration.Settling{Rule: steady.Wary, Modulus: target, Phase: target * phasePerModulus, Level: true}},
	}
	for _, f := range plan.ThirdOctaves(0.5, 400) {
		known := s.Reference.Sensitivity(f)
		j.Reference.Table = append(j.Reference.Table, calibration.CalibratedPoint{Frequency: f, Modulus: cmplx.Abs(known), Phase: cmplx.Phase(known), StdModulus: certificate, StdPhase: certificate})
	}
	for _, key := range calibration.InfluenceKeys() {
		j.Procedure.Influences = append(j.Procedure.Influences, calibration.Influence{Key: key, NotApplicable: "not in the study", Dof: math.Inf(1)})
	}
	return j
}

// nearestTo is the frequency nearest to f.
func nearestTo(f float64, all []float64) float64 {
	best := all[0]
	for _, x := range all {
		if math.Abs(math.Log(x/f)) < math.Abs(math.Log(best/f)) {
			best = x
		}
	}
	return best
}
