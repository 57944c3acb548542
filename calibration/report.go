package calibration

import (
	"fmt"
	"math"

	"plumbline/uncertainty"
)

// Limits of the policy that chooses the reported evaluation.
const (
	dominantShare = 0.5   // a non-normal influence above this share of the variance calls for Monte Carlo
	mountingLimit = 0.001 // relative standard uncertainty of the relative motion above which Monte Carlo is reported
	fewDof        = 2     // Student's t with no more degrees of freedom has no variance
	fewShare      = 1. / 9
	nonlinear     = 0.01 // change of the standard uncertainty by second-order terms
)

// report chooses the evaluation that is stated for modulus and phase.
//
// Monte Carlo is reported when one non-normal influence holds more than half the variance, when the relative motion exceeds 0.1 %, when a
// type A estimate with two or fewer degrees of freedom exceeds a third of the combined uncertainty, or when terms of second order matter;
// first order with Welch-Satterthwaite and Student's t otherwise. The Monte Carlo U is the half width of the interval about the value that holds
// the coverage probability.
func report(b uncertainty.Budget, sim uncertainty.Simulation, phase bool) Reported {
	r := Reported{Evaluation: FirstOrder, EvaluationPhase: FirstOrder, UPhase: math.NaN(), KPhase: math.NaN()}
	r.UModulus, r.KModulus = b.Modulus.Expanded, b.Modulus.K
	r.Reason = "no influence calls for Monte Carlo"
	if why := policy(b, func(row uncertainty.Row) (float64, float64, float64) {
		return row.Modulus, row.ShareModulus, row.DofModulus
	}); why != "" {
		r.Evaluation, r.Reason = MonteCarlo, why
	} else if math.Abs(b.SecondOrder.StdModulus-b.Modulus.Std) > nonlinear*b.Modulus.Std {
		r.Evaluation, r.Reason = MonteCarlo, "terms of second order matter"
	}
	if r.Evaluation == MonteCarlo {
		r.UModulus = sim.Modulus.Half
		r.KModulus = ratioOr(r.UModulus, b.Modulus.Std)
	}
	if !phase {
		return r
	}
	r.UPhase, r.KPhase = b.Phase.Expanded, b.Phase.K
	r.ReasonPhase = "no influence calls for Monte Carlo"
	if why := policy(b, func(row uncertainty.Row) (float64, float64, float64) { return 0, row.SharePhase, row.DofPhase }); why != "" {
		r.EvaluationPhase, r.ReasonPhase = MonteCarlo, why
		r.UPhase = sim.Phase.Half
		r.KPhase = ratioOr(r.UPhase, b.Phase.Std)
	}
	return r
}

func ratioOr(a, b float64) float64 {
	if b == 0 {
		return math.NaN()
	}
	return a / b
}

// policy names the influence that calls for Monte Carlo, "" where none does.
func policy(b uncertainty.Budget, of func(uncertainty.Row) (u, share, dof float64)) string {
	for _, row := range b.Rows {
		u, share, dof := of(row)
		switch {
		case share > dominantShare && row.Distribution != "normal" && row.Distribution != "Student t":
			return fmt.Sprintf("%s (%s) holds %.0f %% of the variance", row.Influence, row.Distribution, 100*share)
		case row.Influence == nameOf("mounting") && u > mountingLimit:
			return fmt.Sprintf("%s is asymmetric and exceeds 0.1 %%", row.Influence)
		case dof <= fewDof && share > fewShare:
			return fmt.Sprintf("%s rests on %.0f degrees of freedom", row.Influence, dof)
		}
	}
	return ""
}

// applyScope never states less than the laboratory's smallest claimable uncertainty and marks a point outside its scope.
func (p *Point) applyScope(scope []Scope) {
	if len(scope) == 0 {
		return
	}
	f := p.Plan.Frequency
	for _, s := range scope {
		if f < s.From || f > s.To {
			continue
		}
		if s.Modulus > p.Reported.UModulus {
			p.Reported.UModulus, p.Reported.RaisedModulus = s.Modulus, true
		}
		if p.HasPhase && s.Phase > p.Reported.UPhase {
			p.Reported.UPhase, p.Reported.RaisedPhase = s.Phase, true
		}
		if p.HasPhase && math.IsNaN(s.Phase) {
			p.remark("phase-outside-scope", "the phase at %g Hz is outside the laboratory's scope", f)
		}
		return
	}
	p.OutOfScope = true
	p.remark("outside-scope", "%g Hz is outside the laboratory's scope", f)
}

func (p *Point) remark(code, format string, args ...any) {
	p.Remarks = append(p.Remarks, Remark{Code: code, Text: fmt.Sprintf(format, args...)})
}
