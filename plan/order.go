package plan

import (
	"fmt"
	"math"
	"slices"

	"plumbline/calibration"
	"plumbline/quantity"
)

// order puts the points, which descend in frequency, in the order of measuring: the reference frequency first, then downwards, what is measured together,
// and at the end the first and the slowest stepped point again.
func (pl *Plan) order() {
	reference := pl.Request.Job.Device.ReferenceFrequency
	var first, rest, together []Point
	for _, p := range pl.Points {
		switch {
		case p.Together:
			together = append(together, p)
		case len(first) == 0 && math.Abs(p.Frequency/reference-1) <= sameFrequency:
			first = append(first, p)
		default:
			rest = append(rest, p)
		}
	}
	stepped := append(first, rest...)
	pl.Points = append(slices.Clone(stepped), together...)
	if len(stepped) == 0 {
		return
	}
	again := func(p Point) {
		p.Repeat, p.Remarks = true, nil
		pl.Points = append(pl.Points, p)
	}
	again(stepped[0])
	if slowest := stepped[len(stepped)-1]; len(stepped) > 1 {
		again(slowest)
	}
}

const (
	warmUpFactor   = 10.0 // discharge time constants after which e^-10 = 0.005 % of a step is left
	linearityRatio = 10.0 // a level lower than the highest by more than this tells little of linearity (common practice, no source)
	sagShare       = 0.05 // share of the stroke a sag may take without a remark
)

// finish adds up times and says what has to be known about the whole set.
func (pl *Plan) finish() {
	r := pl.Request
	items := 0
	for _, p := range pl.Points {
		if p.Together {
			continue
		}
		pl.Bench += p.Bench
		items++
	}
	if pl.Multisine != nil {
		pl.Bench += pl.Multisine.Bench
		items++
	}
	pl.ChangeOver = float64(items) * r.Exciter.ChangeOver
	pl.warmUp()
	pl.Total = pl.WarmUp + pl.Bench + pl.ChangeOver
	pl.MeetsTarget = len(pl.Points) > 0 && (r.Wish.Time == 0 || pl.Bench+pl.ChangeOver <= r.Wish.Time)
	highest := 0.0
	for _, p := range pl.Points {
		if !p.Repeat {
			pl.Distinct++
		}
		pl.MeetsTarget = pl.MeetsTarget && p.MeetsTarget
		pl.WorstU, pl.WorstTypeA = max(pl.WorstU, p.U), max(pl.WorstTypeA, p.Claim)
		highest = max(highest, p.Level)
	}
	pl.Enough = pl.Distinct >= r.Job.Procedure.LeastPoints
	if !pl.Enough {
		pl.remark("few-points", "%d points, the procedure's least number for a frequency response is %d", pl.Distinct, r.Job.Procedure.LeastPoints)
	}
	for i := range pl.Points {
		if p := &pl.Points[i]; !p.Repeat {
			pl.methodRange(p)
			if p.Level*linearityRatio < highest && !p.Together {
				p.remark("linearity", "the level is %.2g of the highest of the set: amplitude and frequency change together, so a deviation here may be one of linearity; a further recording at %.4g Hz and a like level would tell",
					p.Level/highest, r.Job.Device.ReferenceFrequency)
			}
		}
	}
	pl.siteRemarks()
}

func (pl *Plan) remark(code, format string, args ...any) {
	pl.Remarks = append(pl.Remarks, calibration.Remark{Code: code, Text: fmt.Sprintf(format, args...)})
}

// methodRange marks a point outside the procedure's ranges of frequency and level as a deviation.
func (pl *Plan) methodRange(p *Point) {
	pr := pl.Request.Job.Procedure
	deviate := func(code, format string, args ...any) {
		p.remark(code, format, args...)
		pl.Deviations = append(pl.Deviations, p.Remarks[len(p.Remarks)-1])
	}
	if lo, hi := pr.FrequencyRange[0], pr.FrequencyRange[1]; p.Frequency < lo*(1-edge) || p.Frequency > hi*(1+edge) {
		deviate("frequency-range", "%.4g Hz is outside the method's range of frequency, %g Hz to %g Hz: a deviation", p.Frequency, lo, hi)
	}
	if lo, hi := pr.LevelRange[0], pr.LevelRange[1]; p.Level < lo || p.Level > hi {
		deviate("level-range", "at %.4g Hz the level of %.3g m/s² is outside the method's range, %g m/s² to %g m/s²: a deviation", p.Frequency, p.Level, lo, hi)
	}
}

// warmUp is ten of the longest discharge time constants, or what the exciter asks for.
func (pl *Plan) warmUp() {
	e := pl.Request.Exciter
	pl.WarmUp, pl.WarmUpFrom = e.WarmUp, "exciter "+e.Serial
	for _, d := range pl.Request.Job.Discharges() {
		if t := warmUpFactor * d.Seconds; t > pl.WarmUp {
			pl.WarmUp, pl.WarmUpFrom = t, fmt.Sprintf("%g discharge time constants of %s, %.3g s each", warmUpFactor, d.Source, d.Seconds)
		}
	}
	if pl.WarmUp == 0 {
		pl.WarmUpFrom = ""
		pl.remark("warm-up", "no discharge time constant is stated: the warm-up cannot be planned")
	}
}

// siteRemarks says what the plan assumes of ground, payload and recorder.
func (pl *Plan) siteRemarks() {
	r := pl.Request
	switch s := r.Site; {
	case s.Model != NoModel:
		pl.remark("site", "ground motion is assumed as %g times %s (above 10 Hz its value there), not measured: a quiet check would tell", s.Factor, s.Model)
	case !s.Density.Stated():
		pl.remark("site", "nothing is stated of the ground motion: it is left out")
	}
	for _, t := range []struct {
		what string
		mass float64
	}{{"device " + r.Job.Device.Serial, r.Job.Device.Mass}, {"reference " + r.Job.Reference.Serial, r.Job.Reference.Mass}} {
		if t.mass == 0 && r.Exciter.Force > 0 && !r.Job.Reference.StatesLevel {
			pl.remark("mass", "the mass of %s is not stated: force and sag are planned without it", t.what)
		}
	}
	if sag := r.Exciter.Sag(r.payload()); sag > sagShare*r.Exciter.Stroke/2 {
		pl.remark("sag", "the payload of %.3g kg pulls the table %.2g mm from the middle, %.0f %% of the half stroke: a softer level, or centring, gives it back",
			r.payload(), 1e3*sag, 100*sag/(r.Exciter.Stroke/2))
	}
	if step(r.Job.DeviceChain) == 0 {
		pl.remark("resolution", "the recorder's resolution is not stated: it is left out")
	}
	if len(r.Exciter.Distortion) == 0 {
		pl.remark("distortion", "the exciter's distortion is not stated: the ranges are used up to their ends")
	}
}

// describe says what has to be known about one point.
func (r Request) describe(p *Point) {
	p.Velocity = quantity.Acceleration.To(quantity.Velocity, p.Level, p.Frequency)
	p.Displacement = quantity.Acceleration.To(quantity.Displacement, p.Level, p.Frequency)
	const distorted = 0.1 // relative distortion worth a remark (assumption)
	if d, ok := shareAt(r.Exciter.Distortion, p.Frequency); ok && d > distorted {
		p.remark("distortion", "the exciter's distortion of %.2g %% counts against the ranges and calls for linear transducers", 100*d)
	}
	if in, ok := r.Job.Procedure.Influence("transverse"); ok && in.NotApplicable == "" {
		motion, stated := shareAt(r.Exciter.Transverse, p.Frequency)
		if band, found := in.At(p.Frequency); stated && found && motion > band.Modulus {
			p.remark("transverse", "the exciter's transverse motion of %.3g %% is more than the %.3g %% of the procedure: U is predicted with it, the procedure needs it too", 100*motion, 100*band.Modulus)
		}
	}
	if s := r.Exciter.Suspension; s > 0 && p.Frequency < s {
		p.remark("suspension", "below the suspension resonance of %g Hz the spring takes part of the force", s)
	}
}
