package validation

import (
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"time"

	"plumbline/calibration"
	"plumbline/internal/simulator"
	"plumbline/quantity"
	"plumbline/steady"
)

const (
	degree      = math.Pi / 180
	probability = 0.9545
	rho         = 0.8 // correlation of the certificate's errors over frequency
	mains       = 50
)

// spot is one frequency of the coverage study with the sizes of what acts there: standard deviations of the certificate and of repeated
// mountings, half-widths of the rest. Sizes of the modulus are relative, of the phase in rad. Assumed values, right in size for a long-stroke and a
// medium exciter. Recordings hold 16 blocks, at 1 Hz, where noise has a part in the uncertainty, 24: with fewer the judge of steadiness cannot exclude a transient
// and states more than the truth asks for (16 blocks at 1 Hz: the phase was covered in 98.4 % of 500 runs).
type spot struct {
	frequency, level, duration, rate float64
	certificate, certificatePhase    float64
	linearity, baseStrain, settling  float64
	repeat                           float64
	motion                           float64 // transverse motion of the exciter
}

var spots = []spot{
	{1, 0.3, 48, 400, 0.0050, 0.15 * degree, 0.0006, 0.0005, 0.0005, 0.0006, 0.02},
	{10, 1, 16, 400, 0.0025, 0.10 * degree, 0.0004, 0.0003, 0.0003, 0.0004, 0.015},
	{97, 1, 12, 2400, 0.0025, 0.10 * degree, 0.0003, 0.0003, 0.0001, 0.0004, 0.03},
	{1000, 5, 8, 6400, 0.0035, 0.15 * degree, 0.0003, 0.0003, 0.0001, 0.0009, 0.15},
}

// Sizes that are the same at every frequency.
const (
	drift             = 0.002
	temperatureHalf   = 2.0 // K
	coefficientOfR    = 2e-4
	coefficientOfD    = 4e-4
	coefficientStd    = 5e-5
	gainStd           = 0.0003
	delayStd          = 1e-6 // s
	transverseS       = 0.03
	resonanceLow      = 8000.0
	resonanceHigh     = 20000.0
	repeatDof         = 10
	effectPhase       = 0.02 * degree // of every stated influence
	referenceOfStudy  = 97.0
	warming           = 0.001 // largest error of the device's sensitivity at the start of the drive, relative
	warmTime          = 2.0   // s
	referenceRoomTemp = 23.0
)

// uniform draws within ± half.
func uniform(r *rand.Rand, half float64) float64 { return half * (2*r.Float64() - 1) }

// nature is what acts on one simulated calibration, drawn once: what it shares between frequencies and what it does not.
type nature struct {
	rng                                *rand.Rand
	commonModulus, commonPhase         float64 // of the certificate
	drift, driftPhase, strain, strainP float64 // units of their half-widths
	temperature                        float64 // °C
	aR, aD                             float64
	gain                               [2]float64
	delay                              [2]float64
	resonance                          float64
}

func newNature(r *rand.Rand) nature {
	return nature{
		rng: r, commonModulus: r.NormFloat64(), commonPhase: r.NormFloat64(),
		drift: uniform(r, 1), driftPhase: uniform(r, 1), strain: uniform(r, 1), strainP: uniform(r, 1),
		temperature: referenceRoomTemp + 1 + uniform(r, temperatureHalf),
		aR:          coefficientOfR + coefficientStd*r.NormFloat64(), aD: coefficientOfD + coefficientStd*r.NormFloat64(),
		gain:      [2]float64{1 + gainStd*r.NormFloat64(), 1 + gainStd*r.NormFloat64()},
		delay:     [2]float64{delayStd * r.NormFloat64(), delayStd * r.NormFloat64()},
		resonance: resonanceLow * math.Pow(resonanceHigh/resonanceLow, r.Float64()),
	}
}

// studyBench is the simulated bench of the study: exciter distortion, ground motion, hum, drift, noise and a clock 30 ppm off.
func studyBench(s spot) simulator.Bench {
	b := simulator.FenwickLane()
	b.Recorder.Rate = s.rate
	if s.frequency > 200 {
		b.Exciter = simulator.Small()
		b.Device.Resonance = 30e3
	}
	return b
}

// measure lets nature act on one frequency, forwards: it returns the recording's samples, the true sensitivity of the device at its reference
// temperature, and the certificate's row for the reference.
func (n *nature) measure(s spot) (samples [][]float64, device complex128, row calibration.CalibratedPoint, level float64) {
	b := studyBench(s)
	f, r := s.frequency, n.rng
	reference := b.Reference.Sensitivity(f)
	device = b.Device.Sensitivity(f)
	mix := func(common float64) float64 { return math.Sqrt(rho)*common + math.Sqrt(1-rho)*r.NormFloat64() }
	// the certificate was right for the reference as it was, but for its own error; since then the reference drifted
	row = calibration.CalibratedPoint{Frequency: f,
		Modulus:    cmplx.Abs(reference) * (1 + s.certificate*mix(n.commonModulus)),
		Phase:      cmplx.Phase(reference) + s.certificatePhase*mix(n.commonPhase),
		StdModulus: s.certificate, StdPhase: s.certificatePhase}
	dt := n.temperature - referenceRoomTemp
	gainR := (1 + drift*n.drift) * (1 + n.aR*dt)
	gainD := (1 + n.aD*dt)
	phaseR := effectPhase * n.driftPhase
	// the device above the joint reads high
	gainD /= 1 - (f/n.resonance)*(f/n.resonance)
	// effects on the device's reading relative to the reference's
	effect := complex(1, 0)
	for _, half := range []float64{s.linearity, s.settling} {
		effect *= complex(1+uniform(r, half), uniform(r, effectPhase))
	}
	effect *= complex(1+s.baseStrain*n.strain, effectPhase*n.strainP)
	effect *= complex(1+s.repeat*r.NormFloat64(), effectPhase*r.NormFloat64())
	arcsine := func() float64 { return s.motion * transverseS * math.Sin(2*math.Pi*r.Float64()) }
	effect *= complex(1+arcsine(), arcsine()) * complex(1+arcsine(), arcsine())
	b.Reference.Midband *= gainR * n.gain[0]
	b.Device.Midband *= gainD * cmplx.Abs(effect) * n.gain[1]
	b.Device.Warming, b.Device.WarmTime = uniform(r, warming), warmTime // every recording begins at the start of the drive
	b.Recorder.Delay = [2]float64{n.delay[0] - phaseR/(2*math.Pi*f), n.delay[1] - cmplx.Phase(effect)/(2*math.Pi*f)}
	samples, truth := b.Record(simulator.Point{Frequency: f, Level: s.level, Duration: s.duration}, r)
	return samples, device, row, truth.Level
}

// job is the laboratory's view: the certificate's table and what its procedure states. The pooled standard deviation of repeated mountings is an
// estimate itself.
func (n *nature) job(rows []calibration.CalibratedPoint, points []calibration.PointPlan) calibration.Job {
	inf := math.Inf(1)
	voltPerG := must(quantity.ParseUnit("V/g"))
	mVPer := must(quantity.ParseUnit("mV/(m/s²)"))
	one := must(quantity.ParseUnit("V/V"))
	chain := func(column int) calibration.Chain {
		return calibration.Chain{Column: column, Stages: []calibration.Stage{{
			Identity: calibration.Identity{Kind: "recorder", Model: "simulated", Serial: "D-8"}, Channel: fmt.Sprint(column),
			FullScale: 10, Gain: 1, GainUnit: one, StdGain: gainStd, StdDelay: delayStd}}}
	}
	identity := func(serial string) calibration.Identity {
		return calibration.Identity{Kind: "accelerometer", Model: "simulated", Serial: serial}
	}
	day := time.Date(2026, 11, 18, 0, 0, 0, 0, time.UTC)
	j := calibration.Job{
		Number: "study", Performed: day, Until: day, Subject: calibration.OfTransducer, Seed: n.rng.Uint64() >> 1, Clock: math.NaN(),
		Device: calibration.Device{Transducer: calibration.Transducer{Identity: identity("A-0401"), Unit: voltPerG, Nominal: 10 / quantity.StandardGravity,
			ReferenceFrequency: referenceOfStudy, Transverse: transverseS, ReferenceTemperature: referenceRoomTemp,
			Temperature: calibration.Coefficient{Value: coefficientOfD, Std: coefficientStd, Stated: true}}},
		Reference: calibration.Reference{Transducer: calibration.Transducer{Identity: identity("R-201"), Unit: mVPer, Nominal: 0.1 / quantity.StandardGravity,
			Transverse: transverseS, ReferenceTemperature: referenceRoomTemp,
			Temperature: calibration.Coefficient{Value: coefficientOfR, Std: coefficientStd, Stated: true}},
			Certificate: calibration.Document{Number: "study", Laboratory: "study", Date: day.AddDate(0, -6, 0)}, Table: rows, Correlation: rho},
		ReferenceChain: chain(1), DeviceChain: chain(2),
		Conditions: calibration.Conditions{Temperature: referenceRoomTemp + 1, TemperatureHalfWidth: temperatureHalf, Humidity: math.NaN(), Pressure: math.NaN()},
		Procedure: calibration.Procedure{Name: "study", Method: "comparison", Probability: probability, Trials: 10000, Harmonics: 5, Drift: 1, Mains: mains,
			LeastPoints: 1, LeastPeriods: 3, FrequencyRange: [2]float64{0.4, 10000}, LevelRange: [2]float64{0.01, 1000}, UsableBand: 0.4,
			Settling: calibration.Settling{Rule: steady.Wary, Modulus: 5e-4, Phase: 5e-4, Level: true, Slow: []steady.TimeConstant{{Source: "warming", Seconds: warmTime}}}},
		Points: points,
	}
	state := func(key, distribution string, size func(spot) (float64, float64), dof float64) {
		in := calibration.Influence{Key: key, Distribution: distribution, Dof: dof, Mountings: 1, Source: "study"}
		for _, s := range spots {
			m, p := size(s)
			in.Bands = append(in.Bands, calibration.Band{From: s.frequency * 0.9, To: s.frequency * 1.1, Modulus: m, Phase: p})
		}
		j.Procedure.Influences = append(j.Procedure.Influences, in)
	}
	chi2 := 0.0
	for range repeatDof {
		z := n.rng.NormFloat64()
		chi2 += z * z
	}
	pooled := math.Sqrt(chi2 / repeatDof)
	state("drift", "rectangular", func(spot) (float64, float64) { return drift, effectPhase }, inf)
	state("linearity", "rectangular", func(s spot) (float64, float64) { return s.linearity, effectPhase }, inf)
	state("settling", "rectangular", func(s spot) (float64, float64) { return s.settling, effectPhase }, inf)
	state("base-strain", "rectangular", func(s spot) (float64, float64) { return s.baseStrain, effectPhase }, inf)
	state("transverse", "arcsine", func(s spot) (float64, float64) { return s.motion, 0 }, inf)
	state("repeatability", "normal", func(s spot) (float64, float64) { return s.repeat * pooled, effectPhase * pooled }, repeatDof)
	j.Procedure.Influences = append(j.Procedure.Influences,
		calibration.Influence{Key: "temperature", Dof: inf, Source: "study"},
		calibration.Influence{Key: "mounting", Resonance: [2]float64{resonanceLow, resonanceHigh}, Dof: inf, Source: "study"})
	for _, key := range []string{"loading", "magnetic", "other"} {
		j.Procedure.Influences = append(j.Procedure.Influences, calibration.Influence{Key: key, NotApplicable: "does not act in the study", Dof: inf})
	}
	return j
}

func must[T any](v T, err error) T {
	if err != nil {
		panic("validation: a unit of the study does not parse")
	}
	return v
}
