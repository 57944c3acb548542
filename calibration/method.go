package calibration

import (
	"errors"
	"fmt"
	"math"
	"math/cmplx"

	"plumbline/sine"
)

// Method is one way to come from what was recorded or read to the ratio of device and reference.
type Method struct {
	Name         string // as printed
	CannotKnow   string // what a result of this method does not tell; empty: nothing
	fits         func(*Job, PointPlan) bool
	measure      func(*Job, PointPlan, []int) (Point, *acquisition)
	withoutPhase bool
	statedLevel  bool // the reference is the level that the exciter states
	display      bool // the display shows the sensitivity itself
}

// Methods lists every method, asked in order.
func Methods() []Method {
	return []Method{
		{Name: "channels exchanged", CannotKnow: "the channels' gains, which cancel",
			fits:    func(_ *Job, p PointPlan) bool { return p.Recording != nil && p.Exchanged != nil },
			measure: (*Job).measureExchanged},
		{Name: "stated level", CannotKnow: "phase, what is common to device and reference, and the exciter's level during the recording: it stands as stated",
			fits:    func(j *Job, p PointPlan) bool { return p.Recording != nil && j.Reference.StatesLevel },
			measure: (*Job).measureAgainstLevel, withoutPhase: true, statedLevel: true},
		{Name: "both channels recorded",
			fits:    func(_ *Job, p PointPlan) bool { return p.Recording != nil },
			measure: (*Job).measureRatio},
		{Name: "read off a display", CannotKnow: "phase, distortion, hum, noise of the signals and whether the display's average had settled before it was read",
			fits:    func(_ *Job, p PointPlan) bool { return p.Recording == nil },
			measure: (*Job).measureReadings, withoutPhase: true, display: true},
	}
}

// method is the method of a point.
func (j *Job) method(p PointPlan) Method {
	for _, m := range Methods() {
		if m.fits(j, p) {
			return m
		}
	}
	panic("calibration: a point that no method fits")
}

// measure takes the evidence of one point by the method that fits it.
func (j *Job) measure(plan PointPlan, orders []int) (Point, *acquisition) {
	m := j.method(plan)
	p, a := m.measure(j, plan, orders)
	p.Plan, p.Method = plan, m
	p.HasPhase = !m.withoutPhase && j.Reference.hasPhase()
	return p, a
}

// refused is a point without a value.
func refused(plan PointPlan, err error) (Point, *acquisition) {
	return Point{Plan: plan, Frequency: plan.Frequency, Level: math.NaN(), Refused: flatten(err)}, nil
}

// measureReadings takes a series of displayed values.
func (j *Job) measureReadings(plan PointPlan, _ []int) (Point, *acquisition) {
	p := Point{Plan: plan, Frequency: plan.Frequency}
	p.Evidence, p.Level, p.Refused = readingEvidence(plan)
	return p, nil
}

// measureRatio takes a recording of both channels.
func (j *Job) measureRatio(plan PointPlan, orders []int) (Point, *acquisition) {
	a, err := j.acquire(plan, plan.Recording.From(int64(math.Round(plan.Held*plan.Recording.Info.Rate))), j.ReferenceChain, j.DeviceChain, orders)
	if err == nil && plan.Held > 0 { // where the whole cannot be approximated, the judge looks at the part at the level held as well
		if whole, failed := j.acquire(plan, *plan.Recording, j.ReferenceChain, j.DeviceChain, orders); failed == nil {
			a.whole = &whole
		}
	}
	if err != nil {
		return refused(plan, err)
	}
	p := Point{Plan: plan, Frequency: a.fit.Frequency, Evidence: a.evidence()}
	err = j.enoughPeriods(plan, plan.Recording.Name, p.Evidence.Duration)
	if err == nil {
		err = j.level(&p)
	}
	if err == nil {
		err = errors.Join(j.swapped(p), a.lostSamples(plan.Recording.Name, plan.Frequency), a.impulsive(plan.Recording.Name))
	}
	if err != nil {
		return refused(plan, err)
	}
	return p, &a
}

// measureExchanged takes two recordings, the second with the transducers' cables exchanged between the channels. The geometric mean of the
// two ratios is free of the channels' gains, delays and corners:
//
//	r1 = S_D G_D / (S_R G_R),   r2 = S_D G_R / (S_R G_D),   S_D/S_R = sqrt(r1 r2)
func (j *Job) measureExchanged(plan PointPlan, orders []int) (Point, *acquisition) {
	p, a := j.measureRatio(plan, orders)
	if p.Refused != "" {
		return p, nil
	}
	b, err := j.acquire(plan, *plan.Exchanged, j.DeviceChain, j.ReferenceChain, orders) // the reference now is in the device's channel
	if err == nil {
		err = errors.Join(b.lostSamples(plan.Exchanged.Name, plan.Frequency), b.impulsive(plan.Exchanged.Name))
	}
	if err == nil && math.Abs(b.fit.Frequency/p.Frequency-1) > remarkFrequency {
		err = fmt.Errorf("recording %s: %g Hz, but %g Hz in recording %s: the two must be made at one frequency", plan.Exchanged.Name, b.fit.Frequency, p.Frequency, plan.Recording.Name)
	}
	if err != nil {
		return refused(plan, err)
	}
	a.exchanged, a.second = b.findings, &b
	first, second := p.Evidence, b.evidence()
	step := cmplx.Log(second.Ratio / first.Ratio) // near zero: the channels' gains are nearly equal, so the branch of the root is clear
	p.Evidence.Ratio = first.Ratio * cmplx.Exp(step/2)
	for i := range p.Evidence.StdLnRatio {
		p.Evidence.StdLnRatio[i] = math.Hypot(first.StdLnRatio[i], second.StdLnRatio[i]) / 2
	}
	p.Evidence.DofLnRatio = exchangedDof(first, second)
	for i := range p.Evidence.TrendLeft {
		p.Evidence.TrendLeft[i] = (first.TrendLeft[i] + second.TrendLeft[i]) / 2
	}
	p.Evidence.Exchange = cmplx.Exp(-step / 2) // G_D/G_R as found
	p.Evidence.Blocks += second.Blocks
	p.Evidence.Rejected += second.Rejected
	return p, a
}

// exchangedDof is the Welch-Satterthwaite degrees of freedom of the mean of two series, of modulus and phase.
func exchangedDof(a, b Evidence) (dof [2]float64) {
	for i := range dof {
		va, vb := a.StdLnRatio[i]*a.StdLnRatio[i], b.StdLnRatio[i]*b.StdLnRatio[i]
		dof[i] = a.DofLnRatio[i] + b.DofLnRatio[i]
		if va+vb > 0 {
			dof[i] = (va + vb) * (va + vb) / (va*va/a.DofLnRatio[i] + vb*vb/b.DofLnRatio[i])
		}
	}
	return dof
}

// measureAgainstLevel takes a recording of the device alone; the level of the motion is the one the exciter states. Recorder and exciter
// may have clocks of their own: each amplitude is taken at the frequency found in the recording.
func (j *Job) measureAgainstLevel(plan PointPlan, orders []int) (Point, *acquisition) {
	if !(plan.Level > 0) {
		return refused(plan, fmt.Errorf("%s: the exciter's stated level is missing", plan.Label))
	}
	a, err := j.acquireDevice(plan, orders)
	if err == nil {
		err = errors.Join(a.lostSamples(plan.Recording.Name, plan.Frequency), a.impulsive(plan.Recording.Name))
	}
	if err != nil {
		return refused(plan, err)
	}
	p := Point{Plan: plan, Frequency: a.fit.Frequency, Level: plan.Level, Evidence: a.amplitudeEvidence(plan.Level)}
	if err := j.enoughPeriods(plan, plan.Recording.Name, p.Evidence.Duration); err != nil {
		return refused(plan, err)
	}
	return p, &a
}

// amplitudeEvidence is the evidence of one channel against a level: the scatter is that of the block amplitudes.
func (a acquisition) amplitudeEvidence(level float64) Evidence {
	e := a.evidenceOf(a.device)
	ch := a.fit.Channels[a.device]
	mean := modulus(ch.Amplitude)
	e.Ratio = complex(mean/level, 0)
	sum := 0.0
	for _, b := range a.fit.Blocks {
		if b.Rejected {
			continue
		}
		l := math.Log(modulus(b.Z[a.device]) / mean)
		e.LnRatio = append(e.LnRatio, complex(l, 0))
		e.BlockTime = append(e.BlockTime, b.Time)
		sum += l * l
	}
	n := float64(len(e.LnRatio))
	e.StdLnRatio = [2]float64{math.Sqrt(sum / (n - 1) / n), math.NaN()}
	e.DofLnRatio = [2]float64{n - 1, math.NaN()}
	return e
}

// evidenceOf is what a fit of one channel tells.
func (a acquisition) evidenceOf(device int) Evidence {
	ch := a.fit.Channels[device]
	return Evidence{
		Duration: float64(a.fit.Frames) / a.fit.Rate, Rate: a.fit.Rate, Periods: a.fit.Periods, Frames: a.fit.Frames,
		Blocks: acceptedBlocks(a.fit), Rejected: a.fit.Rejected, FrequencyStd: a.fit.FrequencyStd,
		AmplitudeDevice: modulus(ch.Amplitude), StepDevice: a.steps[1],
		DistortionDevice: ch.Distortion, ResidualDevice: ch.Residual,
	}
}

func acceptedBlocks(f sine.Fit) int {
	n := 0
	for _, b := range f.Blocks {
		if !b.Rejected {
			n += b.Weight
		}
	}
	return n
}
