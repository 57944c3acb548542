package plan_test

import (
	"math"
	"testing"
	"time"

	"plumbline/calibration"
	"plumbline/plan"
	"plumbline/quantity"
)

const g = quantity.StandardGravity

func unit(t *testing.T, text string) quantity.Unit {
	t.Helper()
	u, err := quantity.ParseUnit(text)
	if err != nil {
		t.Fatal(err)
	}
	return u
}

// tenPoints are those of the project's own study of stepped sines and multisines.
func tenPoints() []float64 {
	return []float64{0.7, 1.1, 1.9, 3.1, 5.1, 9.9, 20.1, 40.1, 70.1, 97.1}
}

// study is the bench of the project's own study: ±5 mm, 0.5 m/s, 100 N on 1.2 kg, 0.3 g at most; densities in g/√Hz of 1.5e-6 √(1+100/f) (reference of
// 100 mV/g) or 4e-7 √(1+5/f) (1 V/g), 3e-8 √(1+100/f) (device of 10 V/g); 1e-7 √(1+10/f) V/√Hz; warm, so nothing but the level loop is slow.
func study(t *testing.T, quiet bool) plan.Request {
	t.Helper()
	day := time.Date(2026, 10, 12, 0, 0, 0, 0, time.UTC)
	sensitivity := 0.1 / g
	noise := plan.Density{White: 1.5e-6 * g, Corner: 100}
	if quiet {
		sensitivity, noise = 1/g, plan.Density{White: 4e-7 * g, Corner: 5}
	}
	channel := func(name string) calibration.Chain {
		return calibration.Chain{Column: 1, Stages: []calibration.Stage{{
			Identity: calibration.Identity{Kind: "recorder", Model: "simulated", Serial: "D-8"}, Channel: name, FullScale: 10, Gain: 1, GainUnit: unit(t, "V/V"), StdGain: 0.0005,
		}}}
	}
	var influences []calibration.Influence
	for _, key := range calibration.InfluenceKeys() {
		influences = append(influences, calibration.Influence{Key: key, NotApplicable: "study"})
	}
	reference := calibration.Reference{
		Transducer:  calibration.Transducer{Identity: calibration.Identity{Kind: "reference", Model: "simulated", Serial: "R-201"}, Unit: unit(t, "V/g"), Nominal: sensitivity, Transverse: math.NaN()},
		Certificate: calibration.Document{Number: "HL-2026-0201", Laboratory: "Higher Laboratory (invented)", Date: day.AddDate(0, -6, 0)},
	}
	for _, f := range plan.ThirdOctaves(0.4, 400) {
		reference.Table = append(reference.Table, calibration.CalibratedPoint{Frequency: f, Modulus: sensitivity, StdModulus: 0.0025, Phase: math.NaN(), StdPhase: math.NaN()})
	}
	return plan.Request{
		Job: calibration.Job{
			Number: "J-0417", Performed: day, Until: day, Subject: calibration.OfTransducer, Clock: math.NaN(), Seed: 1,
			Device: calibration.Device{Transducer: calibration.Transducer{
				Identity: calibration.Identity{Kind: "accelerometer", Model: "seismic", Serial: "A-0407"}, Unit: unit(t, "V/g"), Nominal: 10 / g, ReferenceFrequency: 97.1, Range: 0.5 * g, Transverse: math.NaN()}},
			Reference: reference, ReferenceChain: channel("1"), DeviceChain: channel("2"),
			Procedure: calibration.Procedure{
				Name: "study", Method: "comparison", Probability: 0.9545, Trials: 10000, Harmonics: 5, Drift: 1, Mains: 50, LeastPoints: 6, LeastPeriods: 10,
				FrequencyRange: [2]float64{0.4, 400}, LevelRange: [2]float64{0.05, 100}, UsableBand: 0.45, Influences: influences,
			},
		},
		Exciter: plan.Exciter{
			Identity: calibration.Identity{Kind: "exciter", Model: "simulated", Serial: "X-03"}, Stroke: 10e-3, Velocity: 0.5, Force: 100, Armature: 1.2, Cap: 0.3 * g,
			FrequencyRange: [2]float64{0.4, 400}, LoopCycles: 4,
		},
		Site:        plan.Site{Density: plan.Density{Table: []plan.DensityRow{{0.1, 1e-6 * g}, {1, 4.7e-6 * g}, {10, 1.4e-5 * g}, {400, 3e-6 * g}}}, NotCommon: 0.03},
		DeviceNoise: plan.Density{White: 3e-8 * g, Corner: 100}, ReferenceNoise: noise, RecorderNoise: plan.Density{White: 1e-7, Corner: 10},
		Rates: []float64{500, 2000},
		Wish:  plan.Wish{Frequencies: tenPoints(), LevelUnit: unit(t, "g"), Motion: quantity.Acceleration, UseOfLimit: 1, TypeA: 1e-3, Longest: 600, Workers: 1},
	}
}

func within(t *testing.T, what string, got, want, relative float64) {
	t.Helper()
	if !(math.Abs(got/want-1) <= relative) {
		t.Errorf("%s: %.6g, want %.6g within %g %%", what, got, want, 100*relative)
	}
}

func planned(t *testing.T, r plan.Request) plan.Plan {
	t.Helper()
	p, err := plan.Make(r)
	if err != nil {
		t.Fatal(err)
	}
	return p
}
