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
	rounding      = 1e-12 // relative or rad: differences below come from the arithmetic
	statedDigits  = 2     // significant digits an expanded uncertainty is stated to
)

// report chooses the evaluation that is stated for modulus and phase.
//
// Monte Carlo is reported when one non-normal influence holds more than half the variance, when the relative motion exceeds 0.1 %, when a
// type A estimate with two or fewer degrees of freedom exceeds a third of the combined uncertainty, when terms of second order matter, or when first
// order understates: its U is too small, by more than half a unit of the last digit it is stated to. Otherwise it is first order with
// Welch-Satterthwaite and Student's t, also where that U is larger than it need be. The Monte Carlo U is the half width of the interval about the
// value that holds the coverage probability.
func report(set *uncertainty.Set, b uncertainty.Budget, sim uncertainty.Simulation, phase bool) Reported {
	doubt := b.Doubt(set)
	m := choose(policy(b, func(row uncertainty.Row) (float64, float64, float64) {
		return row.Modulus, row.ShareModulus, row.DofModulus
	}), doubt.Modulus, b.Modulus, 1, sim, sim.Modulus)
	r := Reported{Evaluation: m.evaluation, Reason: m.reason, UModulus: m.u, KModulus: m.k, AgreementModulus: m.agreement, UPhase: math.NaN(), KPhase: math.NaN(), EvaluationPhase: FirstOrder}
	if phase {
		q := choose(policy(b, func(row uncertainty.Row) (float64, float64, float64) { return 0, row.SharePhase, row.DofPhase }), doubt.Phase, b.Phase, 0, sim, sim.Phase)
		r.EvaluationPhase, r.ReasonPhase, r.UPhase, r.KPhase, r.AgreementPhase = q.evaluation, q.reason, q.u, q.k, q.agreement
	}
	return r
}

// choice is what is stated for one component.
type choice struct {
	evaluation Evaluation
	reason     string
	u, k       float64
	agreement  Agreement
}

// choose weighs both evaluations of one component. Influence says which influence calls for Monte Carlo and doubt why first order is doubtful, both
// "" where there is nothing; centre is the value about which the Monte Carlo interval lies.
func choose(influence, doubt string, first uncertainty.Combined, centre float64, sim uncertainty.Simulation, in uncertainty.Interval) choice {
	c := choice{evaluation: FirstOrder, reason: noCall, u: first.Expanded, k: first.K}
	if sim.Trials > 0 {
		c.agreement = agree(first, centre, in)
	}
	switch {
	case influence != "":
		c.evaluation, c.reason = MonteCarlo, influence
	case doubt != "":
		c.evaluation, c.reason = MonteCarlo, doubt
	case c.agreement.Outcome == Understates:
		c.evaluation, c.reason = MonteCarlo, "first order understates: its interval holds less than the coverage probability"
	case c.agreement.Outcome == Validated:
		c.reason = noCall + "; both evaluations agree in the digits stated"
	case c.agreement.Outcome == Overstates:
		c.reason = noCall + "; first order states rather too much"
	}
	if c.evaluation == MonteCarlo {
		c.u, c.k = in.Half, ratioOr(in.Half, first.Std)
	}
	return c
}

const noCall = "no influence calls for Monte Carlo"

// Outcome is what the comparison of both evaluations says of first order. The zero value is no comparison.
type Outcome string

// The outcomes. Understates: the interval value ± U of first order holds less than the coverage probability, by more than the tolerance in U. Overstates:
// the ends differ by more than the tolerance, but it holds the coverage probability.
const (
	NotCompared Outcome = ""
	Validated   Outcome = "validated"
	Understates Outcome = "understates"
	Overstates  Outcome = "overstates"
)

// Agreement is the comparison of first order with Monte Carlo for one component, relative for a modulus and in rad for a phase.
type Agreement struct {
	uncertainty.Validation
	Outcome Outcome
}

// agree compares the intervals. The tolerance is half a unit of the last digit to which U is stated, not that of u: finer differences cannot be read off a
// certificate.
//
// Clause: JCGM 101 8.1
func agree(first uncertainty.Combined, centre float64, in uncertainty.Interval) Agreement {
	a := Agreement{Validation: first.Validate(centre, in, statedDigits)}
	a.Tolerance = max(uncertainty.Tolerance(first.Expanded, statedDigits), rounding)
	switch {
	case in.Half-first.Expanded > a.Tolerance:
		a.Outcome = Understates
	case a.Valid():
		a.Outcome = Validated
	default:
		a.Outcome = Overstates
	}
	return a
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
