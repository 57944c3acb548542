package conformity

import (
	"errors"
	"fmt"
	"math"
	"math/cmplx"
	"strings"

	"plumbline/calibration"
	"plumbline/quantity"
	"plumbline/uncertainty"
)

// Judge decides everything a device's specification asks of a result: the sensitivity at the reference frequency against its tolerance, the deviation from it
// at every other point of the flatness band, the phase, and every line of the table of limits at each of its points. What the specification does not state
// is not judged; a point that has no value, and a line of the table without a point, is not decided and says why. Items is what the job states of such items, for
// the global risk. Workers has no effect on the outcome.
func Judge(r *calibration.Result, rule Rule, items Items, workers int) ([]Statement, error) {
	j := &judgement{r: r, device: r.Job.Device, reference: r.ReferencePoint(), rule: rule, items: items, workers: workers}
	d := j.device
	if d.Tolerance > 0 {
		j.sensitivity(j.reference, d.ReferenceFrequency, calibration.FrequencyLimit{Lower: -d.Tolerance, Upper: d.Tolerance}, "")
	}
	if d.Flatness > 0 {
		for i := range r.Points {
			if i != j.reference && inBand(d, r.Points[i].Plan.Frequency) {
				j.deviation(i, calibration.FrequencyLimit{Lower: -d.Flatness, Upper: d.Flatness}, "")
			}
		}
	}
	if d.PhaseTolerance > 0 {
		l := calibration.FrequencyLimit{Of: calibration.LimitedPhase, From: d.PhaseBand[0], To: d.PhaseBand[1], Lower: -d.PhaseTolerance, Upper: d.PhaseTolerance}
		if d.PhaseBand == [2]float64{} {
			l.From, l.To = d.ReferenceFrequency, d.ReferenceFrequency
		}
		j.line(l, "")
	}
	for _, l := range d.Limits {
		j.line(l, " "+span(l))
	}
	return j.statements, errors.Join(j.errs...)
}

func inBand(d calibration.Device, f float64) bool {
	return d.FlatnessBand == [2]float64{} || f >= d.FlatnessBand[0] && f <= d.FlatnessBand[1]
}

// sameFrequency is how far, relative, a point may lie from the single frequency of a limit and still be judged by it.
const sameFrequency = 1e-3

// holds says whether a limit is about a frequency.
func holds(l calibration.FrequencyLimit, f float64) bool {
	if l.From == l.To {
		return math.Abs(f/l.From-1) <= sameFrequency
	}
	return f >= l.From && f <= l.To
}

// span is the frequencies of a limit in words.
func span(l calibration.FrequencyLimit) string {
	if l.From == l.To {
		return fmt.Sprintf("at %g Hz", l.From)
	}
	return fmt.Sprintf("from %g Hz to %g Hz", l.From, l.To)
}

// judgement gathers the statements about one result.
type judgement struct {
	r          *calibration.Result
	device     calibration.Device
	reference  int // point at the reference frequency, -1 without
	rule       Rule
	items      Items
	workers    int
	statements []Statement
	errs       []error
}

// decide adds the statement about a value for which there is evidence.
func (j *judgement) decide(q Question, e Evidence, err error) {
	var s Statement
	if err == nil {
		s, err = Decide(q, j.rule, e)
	}
	if err == nil {
		err = s.addGlobal(j.items, q, e, !q.Relative && !q.Phase && math.Abs(q.Frequency/j.device.ReferenceFrequency-1) <= sameFrequency)
	}
	if err != nil {
		j.errs = append(j.errs, err)
		return
	}
	j.statements = append(j.statements, s)
}

// undecided adds the statement about something that has no value.
func (j *judgement) undecided(q Question, why string) {
	rule := ""
	if j.rule != nil {
		rule = j.rule.String()
	}
	j.statements = append(j.statements, Statement{Subject: q.Subject, Requirement: q.Requirement, Frequency: q.Frequency, Relative: q.Relative, Phase: q.Phase, Tolerance: q.Tolerance,
		Acceptance: Limits{Lower: math.NaN(), Upper: math.NaN()}, Value: math.NaN(), U: math.NaN(), Risk: math.NaN(), Rule: rule, Remarks: []string{why}})
}

// line judges every point of one line of the table of limits. Where is added to the requirement.
func (j *judgement) line(l calibration.FrequencyLimit, where string) {
	of := map[calibration.LimitedQuantity]func(f float64, l calibration.FrequencyLimit, where string) Question{
		calibration.LimitedSensitivity: j.sensitivityQuestion, calibration.LimitedDeviation: j.deviationQuestion, calibration.LimitedPhase: j.phaseQuestion,
	}[l.Of]
	if of == nil {
		j.errs = append(j.errs, fmt.Errorf("limit %s: of quantity %d, want that of the sensitivity, the deviation or the phase", span(l), l.Of))
		return
	}
	found := false
	for i := range j.r.Points {
		if !holds(l, j.r.Points[i].Plan.Frequency) {
			continue
		}
		found = true
		switch l.Of {
		case calibration.LimitedSensitivity:
			j.sensitivity(i, j.r.Points[i].Plan.Frequency, l, where)
		case calibration.LimitedDeviation:
			if i != j.reference {
				j.deviation(i, l, where)
			}
		case calibration.LimitedPhase:
			j.phase(i, l, where)
		}
	}
	if !found {
		q := of(l.From, l, where)
		q.Subject, _, _ = strings.Cut(q.Subject, " at ")
		q.Subject += " " + span(l)
		j.undecided(q, "no point was measured "+span(l))
	}
}

// sensitivity judges the sensitivity at point i, meant for frequency f, against limits relative to the nominal one.
func (j *judgement) sensitivity(i int, f float64, l calibration.FrequencyLimit, where string) {
	q := j.sensitivityQuestion(f, l, where)
	switch {
	case i < 0:
		j.undecided(q, "no point with a value at the reference frequency")
		return
	case j.r.Points[i].Refused != "":
		j.undecided(q, noValue+j.r.Points[i].Refused)
		return
	}
	p := j.r.Points[i]
	q.Value = cmplx.Abs(p.Sensitivity)
	e, err := j.evidence(i, false, q.Value, p.Reported, p.Budget.Modulus.Dof, q.Value, 0)
	j.decide(q, e, err)
}

const noValue = "the point has no value: "

func (j *judgement) sensitivityQuestion(f float64, l calibration.FrequencyLimit, where string) Question {
	d := j.device
	return Question{
		Subject:     fmt.Sprintf("sensitivity at %g Hz", f),
		Requirement: ofRelative(l) + " of " + quantity.Format(d.Nominal, d.Unit, quantity.Decimals(d.Unit.FromSI(d.Nominal), 3)) + where,
		Frequency:   f,
		Tolerance:   Limits{Lower: d.Nominal * (1 + l.Lower), Upper: d.Nominal * (1 + l.Upper)},
	}
}

// deviation judges the deviation of point i from the value at the reference frequency.
func (j *judgement) deviation(i int, l calibration.FrequencyLimit, where string) {
	p := j.r.Points[i]
	q := j.deviationQuestion(p.Plan.Frequency, l, where)
	switch {
	case p.Refused != "":
		j.undecided(q, noValue+p.Refused)
		return
	case p.Deviation == nil:
		j.undecided(q, "no point with a value at the reference frequency")
		return
	}
	q.Value = p.Deviation.Value
	e, err := j.evidence(i, true, q.Value, p.Deviation.Reported, p.Deviation.Budget.Modulus.Dof, 1+p.Deviation.Value, -1)
	j.decide(q, e, err)
}

func (j *judgement) deviationQuestion(f float64, l calibration.FrequencyLimit, where string) Question {
	return Question{
		Subject:     fmt.Sprintf("deviation at %g Hz from the sensitivity at %g Hz", f, j.device.ReferenceFrequency),
		Requirement: ofRelative(l) + where,
		Frequency:   f,
		Relative:    true,
		Tolerance:   Limits{Lower: l.Lower, Upper: l.Upper},
	}
}

// phase judges the phase of point i. A phase is taken within half a turn of the nominal one.
func (j *judgement) phase(i int, l calibration.FrequencyLimit, where string) {
	p := j.r.Points[i]
	q := j.phaseQuestion(p.Plan.Frequency, l, where)
	switch {
	case p.Refused != "":
		j.undecided(q, noValue+p.Refused)
		return
	case !p.HasPhase:
		j.undecided(q, "the point has no phase")
		return
	}
	nominal := j.device.PhaseNominal
	q.Value = nominal + cmplx.Phase(p.Sensitivity*cmplx.Rect(1, -nominal))
	rep := p.Reported
	if rep.EvaluationPhase != calibration.MonteCarlo {
		j.decide(q, FirstOrder{Value: q.Value, U: rep.UPhase, K: rep.KPhase, Dof: p.Budget.Phase.Dof}, nil)
		return
	}
	settings := uncertainty.SimulationSettings{Trials: p.Simulation.Trials, Seed: p.Simulation.Seed, Probability: j.r.Job.Procedure.Probability, Workers: j.workers, Keep: true}
	s, err := uncertainty.Simulate(j.r.Set, p.Model, p.Uses, settings)
	j.decide(q, MonteCarlo{Value: q.Value, U: rep.UPhase, Sample: s.PhaseSample, Scale: 1, Offset: q.Value}, err)
}

func (j *judgement) phaseQuestion(f float64, l calibration.FrequencyLimit, where string) Question {
	nominal := j.device.PhaseNominal
	words := within(l, degrees(l.Lower), degrees(l.Upper), "°", "")
	return Question{
		Subject:     fmt.Sprintf("phase at %g Hz", f),
		Requirement: words + fmt.Sprintf(" of %.4g°", degrees(nominal)) + where,
		Frequency:   f,
		Phase:       true,
		Tolerance:   Limits{Lower: nominal + l.Lower, Upper: nominal + l.Upper},
	}
}

func degrees(rad float64) float64 { return rad * 180 / math.Pi }

// ofRelative is relative limits in words.
func ofRelative(l calibration.FrequencyLimit) string {
	return within(l, 100*l.Lower, 100*l.Upper, "%", " ")
}

// within is two limits, given in the unit they are printed in, in words; gap stands between number and unit.
func within(l calibration.FrequencyLimit, lower, upper float64, unit, gap string) string {
	number := func(x float64) string {
		sign := "+"
		if x < 0 {
			sign = "−"
		} else if x == 0 {
			sign = ""
		}
		return fmt.Sprintf("%s%.4g%s%s", sign, math.Abs(x), gap, unit)
	}
	switch {
	case l.Lower == -l.Upper:
		return fmt.Sprintf("within ±%.4g%s%s", upper, gap, unit)
	case math.IsInf(l.Lower, -1):
		return "not above " + number(upper)
	case math.IsInf(l.Upper, 1):
		return "not below " + number(lower)
	}
	return "within " + number(lower) + " and " + number(upper)
}

// evidence is what is known of offset + scale * (relative modulus), from the evaluation that is reported.
func (j *judgement) evidence(i int, deviation bool, value float64, rep calibration.Reported, dof, scale, offset float64) (Evidence, error) {
	u := rep.UModulus * math.Abs(scale)
	if rep.Evaluation != calibration.MonteCarlo {
		return FirstOrder{Value: value, U: u, K: rep.KModulus, Dof: dof}, nil
	}
	sample, err := j.r.ModulusSample(i, deviation, j.workers)
	if err != nil {
		return nil, err
	}
	return MonteCarlo{Value: value, U: u, Sample: sample, Scale: scale, Offset: offset}, nil
}
