package conformity

import (
	"errors"
	"fmt"
	"math"
	"math/cmplx"

	"plumbline/calibration"
	"plumbline/quantity"
)

// Judge decides everything a device's specification asks of a result: the sensitivity at the reference frequency against its tolerance, and
// the deviation from it at every other point of the flatness band. What the specification does not state is not judged; a point that has no
// value is not decided and says why. Workers has no effect on the outcome.
func Judge(r *calibration.Result, rule Rule, workers int) ([]Statement, error) {
	var statements []Statement
	var errs []error
	add := func(s Statement, err error) {
		if err != nil {
			errs = append(errs, err)
			return
		}
		statements = append(statements, s)
	}
	dut := r.Job.Device
	ref := r.ReferencePoint()
	if dut.Tolerance > 0 {
		add(judgeReference(r, ref, rule, workers))
	}
	if dut.Flatness > 0 {
		for i := range r.Points {
			if i != ref && inBand(dut, r.Points[i].Plan.Frequency) {
				add(judgeFlatness(r, i, rule, workers))
			}
		}
	}
	return statements, errors.Join(errs...)
}

func inBand(d calibration.Device, f float64) bool {
	return d.FlatnessBand == [2]float64{} || f >= d.FlatnessBand[0] && f <= d.FlatnessBand[1]
}

// judgeReference judges the sensitivity at the reference frequency.
func judgeReference(r *calibration.Result, ref int, rule Rule, workers int) (Statement, error) {
	d := r.Job.Device
	q := Question{
		Subject:     fmt.Sprintf("sensitivity at %g Hz", d.ReferenceFrequency),
		Requirement: fmt.Sprintf("within ±%.4g %% of %s", 100*d.Tolerance, quantity.Format(d.Nominal, d.Unit, quantity.Decimals(d.Unit.FromSI(d.Nominal), 3))),
		Frequency:   d.ReferenceFrequency,
		Tolerance:   Limits{Lower: d.Nominal * (1 - d.Tolerance), Upper: d.Nominal * (1 + d.Tolerance)},
	}
	if ref < 0 {
		return undecided(q, rule, "no point with a value at the reference frequency"), nil
	}
	p := r.Points[ref]
	q.Value = cmplx.Abs(p.Sensitivity)
	e, err := evidence(r, ref, false, q.Value, p.Reported, p.Budget.Modulus.Dof, q.Value, 0, workers)
	if err != nil {
		return Statement{}, err
	}
	return Decide(q, rule, e)
}

// judgeFlatness judges the deviation of point i from the value at the reference frequency.
func judgeFlatness(r *calibration.Result, i int, rule Rule, workers int) (Statement, error) {
	d, p := r.Job.Device, r.Points[i]
	q := Question{
		Subject:     fmt.Sprintf("deviation at %g Hz from the sensitivity at %g Hz", p.Plan.Frequency, d.ReferenceFrequency),
		Requirement: fmt.Sprintf("within ±%.4g %%", 100*d.Flatness),
		Frequency:   p.Plan.Frequency,
		Relative:    true,
		Tolerance:   Limits{Lower: -d.Flatness, Upper: d.Flatness},
	}
	switch {
	case p.Refused != "":
		return undecided(q, rule, "the point has no value: "+p.Refused), nil
	case p.Deviation == nil:
		return undecided(q, rule, "no point with a value at the reference frequency"), nil
	}
	q.Value = p.Deviation.Value
	ratio := 1 + p.Deviation.Value
	e, err := evidence(r, i, true, q.Value, p.Deviation.Reported, p.Deviation.Budget.Modulus.Dof, ratio, -1, workers)
	if err != nil {
		return Statement{}, err
	}
	return Decide(q, rule, e)
}

// evidence is what is known of offset + scale * (relative modulus), from the evaluation that is reported.
func evidence(r *calibration.Result, i int, deviation bool, value float64, rep calibration.Reported, dof, scale, offset float64, workers int) (Evidence, error) {
	u := rep.UModulus * math.Abs(scale)
	if rep.Evaluation != calibration.MonteCarlo {
		return FirstOrder{Value: value, U: u, K: rep.KModulus, Dof: dof}, nil
	}
	sample, err := r.ModulusSample(i, deviation, workers)
	if err != nil {
		return nil, err
	}
	return MonteCarlo{U: u, Sample: sample, Scale: scale, Offset: offset}, nil
}

// undecided is the statement about something that has no value.
func undecided(q Question, rule Rule, why string) Statement {
	return Statement{Subject: q.Subject, Requirement: q.Requirement, Frequency: q.Frequency, Relative: q.Relative, Tolerance: q.Tolerance,
		Acceptance: Limits{Lower: math.NaN(), Upper: math.NaN()}, Value: math.NaN(), U: math.NaN(), Risk: math.NaN(), Rule: rule.String(), Remarks: []string{why}}
}
