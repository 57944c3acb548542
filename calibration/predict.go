package calibration

import (
	"errors"

	"plumbline/recording"
	"plumbline/uncertainty"
)

// reads says whether the reference is an instrument whose display is read.
func (j *Job) reads() bool { return j.Procedure.DisplayResolution[0] > 0 }

// toCome is a point whose evidence is still to be gathered, in the form the job's method expects.
func (j *Job) toCome(plan PointPlan) PointPlan {
	if j.reads() {
		plan.Readings = []Reading{{}}
	} else if plan.Recording == nil {
		plan.Recording = &recording.Recording{Name: "to be recorded"}
	}
	return plan
}

// ValidateSetup is Validate of a job that has no points yet.
func (j Job) ValidateSetup() error {
	j.Points = []PointPlan{j.toCome(PointPlan{Frequency: j.Device.ReferenceFrequency, Label: "point to come"})}
	return j.Validate()
}

// Predict is the point that expected evidence would give: the model and budget of Evaluate, so that what is promised is what will be reported. With
// simulate the reported uncertainty is chosen as Evaluate does; without, it is that of first order, which is quick. The error says why there would be no
// value at this frequency.
func (j Job) Predict(plan PointPlan, e Evidence, simulate bool, workers int) (Point, error) {
	plan = j.toCome(plan)
	m := j.method(plan)
	p := Point{Plan: plan, Method: m, Frequency: plan.Frequency, Level: plan.Level, Evidence: e}
	p.HasPhase = !m.withoutPhase && j.Reference.hasPhase()
	set := uncertainty.NewSet()
	if simulate {
		p.evaluate(&j, set, 0, workers)
		if p.Refused != "" {
			return p, errors.New(p.Refused)
		}
		return p, nil
	}
	b := &builder{job: &j, set: set, point: &p}
	if err := b.build(); err != nil {
		return p, err
	}
	budget, err := uncertainty.Propagate(set, b.model(), b.uses, j.Procedure.Probability)
	if err != nil {
		return p, err
	}
	p.Budget, p.Sensitivity = budget, budget.Value
	p.Reported = Reported{Evaluation: FirstOrder, EvaluationPhase: FirstOrder, UModulus: budget.Modulus.Expanded, KModulus: budget.Modulus.K, UPhase: budget.Phase.Expanded, KPhase: budget.Phase.K}
	p.applyScope(j.Scope)
	return p, nil
}

// ModulusAt is the modulus of the chain's transfer at f in Hz with gains, corners and tables, coherent SI; it is an error where a stage's transfer is not known.
func (c Chain) ModulusAt(f float64) (float64, error) {
	for _, s := range c.Stages {
		if err := s.usable(f); err != nil {
			return 0, err
		}
	}
	return c.gainAt(f), nil
}
