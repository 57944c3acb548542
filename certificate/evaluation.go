package certificate

import (
	"plumbline/calibration"
	"plumbline/uncertainty"
)

// judged is one stated uncertainty with both evaluations it could come from, in the units printed.
type judged struct {
	frequency  float64
	first      uncertainty.Combined
	interval   uncertainty.Interval // relative to the value
	simulated  bool
	u, k       float64
	evaluation calibration.Evaluation
	reason     string
	raised     bool // to the laboratory's scope
}

// evaluation is the annex that sets both evaluations beside each other.
func (a *author) evaluation() Section {
	s := Section{Heading: "Evaluations", Annex: true, Blocks: []Block{Paragraph{Text: rich(
		"First order: combined standard uncertainty *u*~c~, effective degrees of freedom *ν*, coverage factor and *U* = *k* *u*~c~. " +
			"Monte Carlo: standard deviation and ends of the probabilistically symmetric coverage interval, all as differences from the value. Stated: what the results give, and why.")}}}
	var modulus, deviation, phase []judged
	for _, i := range a.valued() {
		p := a.r.Points[i]
		q := p.Reported
		modulus = append(modulus, judged{p.StatedFrequency(), p.Budget.Modulus, fromOne(p.Simulation.Modulus), p.Simulation.Trials > 0, q.UModulus, q.KModulus, q.Evaluation, q.Reason, q.RaisedModulus})
		if d := p.Deviation; d != nil && i != a.reference {
			ratio := 1 + d.Value
			deviation = append(deviation, judged{p.StatedFrequency(), scaled(d.Budget.Modulus, ratio), scaledInterval(fromOne(d.Simulation.Modulus), ratio), d.Simulation.Trials > 0,
				d.Expanded(), d.Reported.KModulus, d.Reported.Evaluation, d.Reported.Reason, false})
		}
		if p.HasPhase {
			phase = append(phase, judged{p.StatedFrequency(), p.Budget.Phase, p.Simulation.Phase, p.Simulation.Trials > 0, q.UPhase, q.KPhase, q.EvaluationPhase, q.ReasonPhase, q.RaisedPhase})
		}
	}
	s.Blocks = append(s.Blocks, evaluations("Modulus, relative", "%", 100, modulus))
	if len(deviation) > 0 {
		s.Blocks = append(s.Blocks, evaluations("Deviation from the value at the reference frequency", "%", 100, deviation))
	}
	if len(phase) > 0 {
		s.Blocks = append(s.Blocks, evaluations("Phase", "°", ofPhase.scale, phase))
	}
	return s
}

// fromOne turns an interval of ratios to the first-order value into differences from it.
func fromOne(i uncertainty.Interval) uncertainty.Interval {
	i.Mean, i.Low, i.High = i.Mean-1, i.Low-1, i.High-1
	return i
}

func scaled(c uncertainty.Combined, by float64) uncertainty.Combined {
	c.Std, c.Expanded = c.Std*by, c.Expanded*by
	return c
}

func scaledInterval(i uncertainty.Interval, by float64) uncertainty.Interval {
	i.Std, i.Low, i.High = i.Std*by, i.Low*by, i.High*by
	return i
}

func evaluations(caption, unit string, scale float64, list []judged) Table {
	first, simulated, stated := plain("First order"), plain("Monte Carlo"), plain("Stated")
	t := Table{
		Caption: strong(caption),
		Columns: []Column{
			{Head: rich("*f*"), Unit: plain("Hz"), Kind: Number},
			{Group: first, Head: rich("*u*~c~"), Unit: plain(unit), Kind: Number},
			{Group: first, Head: rich("*ν*"), Kind: Number},
			{Group: first, Head: rich("*k*"), Kind: Number},
			{Group: first, Head: rich("*U*"), Unit: plain(unit), Kind: Number},
			{Group: simulated, Head: rich("*u*"), Unit: plain(unit), Kind: Number},
			{Group: simulated, Head: plain("low"), Unit: plain(unit), Kind: Number},
			{Group: simulated, Head: plain("high"), Unit: plain(unit), Kind: Number},
			{Group: stated, Head: rich("*U*"), Unit: plain(unit), Kind: Number},
			{Group: stated, Head: rich("*k*"), Kind: Number},
			{Group: stated, Head: plain("from"), Kind: Fixed},
			{Head: plain("Why"), Kind: Marks},
		},
	}
	var n notes
	for _, j := range list {
		cells := []string{hertz(j.frequency), significant(scale*j.first.Std, 2), freedom(j.first.Dof), coverage(j.first.K), significant(scale*j.first.Expanded, 2)}
		if j.simulated {
			cells = append(cells, significant(scale*j.interval.Std, 2), signed(significant(scale*j.interval.Low, 2)), signed(significant(scale*j.interval.High, 2)))
		} else {
			cells = append(cells, dash, dash, dash)
		}
		why, from, k := "", string(j.evaluation), coverage(j.k)
		switch {
		case j.raised:
			why, from, k = n.of("raised to the smallest claimable uncertainty"), "scope", dash
		case j.reason != "":
			why = n.of(j.reason)
		}
		cells = append(cells, significant(scale*j.u, 2), k, from, why)
		var row Row
		for _, c := range cells {
			row.Cells = append(row.Cells, plain(c))
		}
		t.Rows = append(t.Rows, row)
	}
	t.Notes = n.list
	return t
}
