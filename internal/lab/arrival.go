package lab

import (
	"fmt"
	"math"
	"runtime"

	"plumbline/bench"
	"plumbline/calibration"
	"plumbline/internal/format"
	"plumbline/recording"
)

// Bounds of what a recording made elsewhere may show at a step.
const (
	ofNominal  = 0.01 // frequency off the nominal one, relative
	mostlySine = 0.5  // residual over amplitude of the reference, or of the device where only it is recorded
)

// fewTrials is enough where only the judgement counts.
const fewTrials = 10_000

// Arrival is a recording that was made elsewhere, as it was looked at.
type Arrival struct {
	Recording recording.Recording
	Point     calibration.Point
	Useless   string // why it cannot be kept at all; empty: it can
	Unsteady  string // why it can be kept with a reason only; empty: it is steady
}

// Look opens a recording that was made for a step and judges it as an evaluation does.
func (l Lab) Look(m *Measurement, step int, path string) Arrival {
	rec, err := l.Open(path, format.Options{Units: m.Bench.Folder.Units})
	a := Arrival{Recording: rec}
	if err != nil {
		a.Useless = err.Error()
		return a
	}
	s, job := m.Steps[step], m.Job.Calibration
	job.Procedure.Trials = fewTrials
	plan := calibration.PointPlan{Label: s.Label, Frequency: s.Lines[0].Frequency, Level: math.NaN(), Recording: &rec}
	if of := m.of[s.Points[0]]; of >= 0 {
		plan.Level = job.Points[of].Level
	}
	job.Points = []calibration.PointPlan{plan}
	result, err := calibration.Evaluate(job, runtime.GOMAXPROCS(0))
	if err != nil {
		a.Useless = err.Error()
		return a
	}
	a.Point = result.Points[0]
	a.Useless, a.Unsteady = objections(a.Point)
	return a
}

// objections are what speaks against keeping a point that was evaluated.
func objections(p calibration.Point) (useless, unsteady string) {
	e := p.Evidence
	amplitude, residual := e.AmplitudeReference, e.ResidualReference
	if amplitude == 0 {
		amplitude, residual = e.AmplitudeDevice, e.ResidualDevice
	}
	switch g := e.Judgement; {
	case p.Refused != "":
		return p.Refused, ""
	case math.Abs(p.Frequency/p.Plan.Frequency-1) > ofNominal:
		return fmt.Sprintf("its frequency is %.6g Hz, %g Hz is wanted", p.Frequency, p.Plan.Frequency), ""
	case residual > mostlySine*amplitude:
		return fmt.Sprintf("%.3g V are not explained beside an amplitude of %.3g V at %g Hz: another frequency, or no excitation", residual, amplitude, p.Plan.Frequency), ""
	case !g.Judged():
		return "", fmt.Sprintf("its steadiness cannot be judged (%s): record longer, from the start of the drive", g.Why)
	case !g.Steady():
		return "", fmt.Sprintf("it is not steady: ±%.2g %% instead of ±%.2g %% (%.3g s): record longer", 100*g.HalfWidth[0], 100*g.Wanted[0], e.Duration)
	}
	return "", ""
}

// Outcome is what a step of a recording made elsewhere came to.
func (a Arrival) Outcome(step int, reason, operator string) bench.Outcome {
	o := bench.Outcome{Step: step, Answers: a.Point.Evidence.Judgement.Answers, Seconds: a.Point.Evidence.Duration, Reason: reason, Operator: operator}
	if f := a.Point.Plan.Frequency; !math.IsNaN(a.Point.Level) && f > 0 {
		o.Level = []float64{a.Point.Level}
	}
	return o
}
