package calibration

import (
	"fmt"
	"math"
	"math/cmplx"

	"plumbline/uncertainty"
)

// leastBlocks is the least number of blocks (or readings) a type A evaluation from the point itself may rest on: with three or more degrees
// of freedom Student's t has a variance.
const leastBlocks = 4

// addNoise puts the measured ratio into the model with its type A uncertainty: two inputs, the real and the imaginary part of ln ratio.
// Clause: JCGM 100 4.2
func addNoise(b *builder) error {
	e := b.point.Evidence
	if n := len(e.LnRatio); n < leastBlocks && !e.FromResidual {
		return fmt.Errorf("%d blocks or readings, at least %d are needed for a type A uncertainty", n, leastBlocks)
	}
	if !(e.DofLnRatio[0] > 0) {
		return fmt.Errorf("%g degrees of freedom are left for a type A uncertainty", e.DofLnRatio[0])
	}
	re := b.input(b.own("noise")+".modulus", "noise", 0, typeA(e.StdLnRatio[0], e.DofLnRatio[0]), e.DofLnRatio[0])
	if !b.point.HasPhase {
		b.factor(func(x []float64) complex128 { return complex(modulus(e.Ratio)*math.Exp(x[re]), 0) })
		return nil
	}
	im := b.input(b.own("noise")+".phase", "noise", 0, typeA(e.StdLnRatio[1], e.DofLnRatio[1]), e.DofLnRatio[1])
	b.factor(func(x []float64) complex128 { return e.Ratio * cmplx.Exp(complex(x[re], x[im])) })
	return nil
}

// addTrend adds what a significant trend of the ratio during the recording may have left: rectangular, on top of what the procedure states.
func addTrend(b *builder) error {
	left := b.point.Evidence.TrendLeft
	if b.point.Evidence.HumFrom != "" || left == [2]float64{} {
		return nil // on a mains line hum beats with the signal: its own term covers it
	}
	b.effect("settling left over", b.own("trend"), Band{Modulus: left[0], Phase: left[1]}, rectangular, math.Inf(1))
	return nil
}

func typeA(s, dof float64) uncertainty.Distribution {
	if s == 0 {
		return uncertainty.Constant{}
	}
	return uncertainty.StudentT{Scale: s, Dof: dof}
}

// addResolution adds the quantisation of both channels (half a step, rectangular, against the amplitude: an upper limit, since noise spreads
// the quantisation error) or half the display's step.
func addResolution(b *builder) error {
	if b.point.Method.display {
		half := b.job.Procedure.DisplayResolution[0] / 2
		if !(half > 0) {
			return fmt.Errorf("procedure %q states no display resolution, which values read off a display need", b.job.Procedure.Name)
		}
		b.effect("resolution", b.own("resolution.display"), Band{Modulus: half / real(b.point.Evidence.Ratio), Phase: math.NaN()}, rectangular, math.Inf(1))
		return nil
	}
	e := b.point.Evidence
	for _, c := range []struct {
		id              string
		step, amplitude float64
	}{{"reference", e.StepReference, e.AmplitudeReference}, {"device", e.StepDevice, e.AmplitudeDevice}} {
		if c.id == "reference" && b.point.Method.statedLevel { // the step of the display that states it
			c.step, c.amplitude = b.job.Procedure.DisplayResolution[1], b.point.Plan.Level
			if !(c.step > 0) {
				return fmt.Errorf("the step of the stated level is missing")
			}
		}
		half := c.step / 2 / c.amplitude
		b.effect("resolution", b.own("resolution."+c.id), Band{Modulus: half, Phase: half}, rectangular, math.Inf(1))
	}
	return nil
}

// addHum adds a mains line that lies on the point's frequency and so cannot be seen in its own recording: amplitude from the job's other
// recordings, phase unknown, hence arcsine in modulus and phase.
func addHum(b *builder) error {
	e := b.point.Evidence
	if e.HumFrom == "" {
		return nil
	}
	for _, c := range []struct {
		id             string
		hum, amplitude float64
	}{{"reference", e.HumReference, e.AmplitudeReference}, {"device", e.HumDevice, e.AmplitudeDevice}} {
		if c.id == "reference" && b.point.Method.statedLevel {
			continue
		}
		half := c.hum / c.amplitude
		b.effect("hum", b.own("hum."+c.id), Band{Modulus: half, Phase: half}, arcsine, math.Inf(1))
	}
	return nil
}
