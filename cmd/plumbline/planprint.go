package main

import (
	"fmt"
	"io"
	"math"
	"strings"
	"text/tabwriter"

	"plumbline/plan"
	"plumbline/quantity"
)

// printPlan prints the plan a person reads: one line for each point in the order of measuring, totals, what cannot be had and what would help.
func printPlan(w io.Writer, p plan.Plan, invented bool) error {
	r := p.Request
	e := r.Exciter
	fmt.Fprintf(w, "device       %s, %s, %s\n", r.Job.Device.Serial, r.Job.Device.Model, r.Job.Device.Kind)
	fmt.Fprintf(w, "reference    %s, %s, certificate %s\n", r.Job.Reference.Serial, r.Job.Reference.Model, r.Job.Reference.Certificate.Number)
	fmt.Fprintf(w, "exciter      %s, %s, stroke %.3g mm peak-to-peak\n", e.Serial, e.Model, 1e3*e.Stroke)
	fmt.Fprintf(w, "wanted       %s\n", wish(p))
	if invented {
		fmt.Fprintln(w, "ALL DATA ARE INVENTED: an example, not a plan.")
	}
	fmt.Fprintln(w)
	var notes noteList
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(t, strings.Join([]string{"f", "level", "set by", "at most", "bound by", "type A", "U", "settle", "measure", "cycles", "rate", ""}, "\t"))
	fmt.Fprintln(t, strings.Join([]string{"Hz", r.UnitText(), "", "", "", "%", "%", "s", "s", "", "1/s", ""}, "\t"))
	for _, q := range p.Points {
		fmt.Fprintln(t, strings.Join(planRow(r, q, &notes), "\t"))
	}
	if err := t.Flush(); err != nil {
		return err
	}
	printInfeasible(w, p)
	printTotals(w, p)
	for _, m := range p.Remarks {
		notes.number(m.Text)
	}
	fmt.Fprintln(w)
	for i, n := range notes {
		fmt.Fprintf(w, "%5d  %s\n", i+1, n)
	}
	if len(notes) > 0 {
		fmt.Fprintln(w)
	}
	return nil
}

// noteList numbers notes; the same text has the same number.
type noteList []string

func (l *noteList) number(text string) string {
	for i, n := range *l {
		if n == text {
			return fmt.Sprint(i + 1)
		}
	}
	*l = append(*l, text)
	return fmt.Sprint(len(*l))
}

// wish is what is wanted in words.
func wish(p plan.Plan) string {
	var parts []string
	x := p.Request.Wish
	if x.U > 0 {
		parts = append(parts, fmt.Sprintf("U at most %.3g %%", 100*x.U))
	}
	if x.TypeA > 0 {
		parts = append(parts, fmt.Sprintf("type A at most %.3g %%", 100*x.TypeA))
	}
	if x.Time > 0 {
		parts = append(parts, "the best within "+duration(x.Time))
	}
	return fmt.Sprintf("%s (%.4g %% coverage), at most %s for a point", strings.Join(parts, ", "), 100*p.Request.Job.Procedure.Probability, duration(x.Longest))
}

func planRow(r plan.Request, q plan.Point, notes *noteList) []string {
	var marks []string
	for _, m := range q.Remarks {
		marks = append(marks, notes.number(m.Text))
	}
	for _, m := range q.Remedies {
		marks = append(marks, notes.number(fmt.Sprintf("%.4g Hz would need %s", q.Frequency, m)))
	}
	end := ""
	switch {
	case q.Repeat:
		end = "again"
	case q.Together:
		end = "together"
	}
	if !q.MeetsTarget {
		end = strings.TrimSpace(end + " misses the target")
	}
	show := func(x float64) string {
		v := r.InUnit(x, q.Frequency)
		return fmt.Sprintf("%.*f", quantity.Decimals(v, 2), v)
	}
	return []string{
		fmt.Sprintf("%.4g", q.Frequency), show(q.Level), q.LevelFrom, show(q.Highest), q.Binding, twoDigits(100 * q.Claim), twoDigits(100 * q.U),
		fmt.Sprintf("%.1f", q.Settling), fmt.Sprintf("%.1f", q.Measuring), fmt.Sprintf("%.0f", q.Cycles), fmt.Sprintf("%g", q.Rate),
		"  " + strings.TrimSpace(strings.Join(marks, " ")+" "+end),
	}
}

// twoDigits prints an uncertainty with two digits, rounded up.
func twoDigits(x float64) string {
	if !(x > 0) || math.IsInf(x, 0) {
		return ""
	}
	d := quantity.Decimals(x, 2)
	step := math.Pow(10, float64(d))
	return fmt.Sprintf("%.*f", d, math.Ceil(x*step-1e-9)/step)
}

func printInfeasible(w io.Writer, p plan.Plan) {
	if len(p.Infeasible) == 0 {
		return
	}
	fmt.Fprintln(w, "\nnot feasible")
	for _, q := range p.Infeasible {
		fmt.Fprintf(w, "  %.4g Hz: %s\n", q.Frequency, q.Reason)
		for _, m := range q.Remedies {
			fmt.Fprintf(w, "    would need %s\n", m)
		}
	}
}

func printTotals(w io.Writer, p plan.Plan) {
	fmt.Fprintf(w, "\nbench time   %s", duration(p.Bench))
	if p.ChangeOver > 0 {
		fmt.Fprintf(w, ", change-over %s", duration(p.ChangeOver))
	}
	if p.WarmUp > 0 {
		fmt.Fprintf(w, ", warm-up %s (%s)", duration(p.WarmUp), p.WarmUpFrom)
	}
	fmt.Fprintf(w, "; in all %s\n", duration(p.Total))
	if m := p.Multisine; m != nil {
		fmt.Fprintf(w, "together     %d lines, %d periods of %g s after %.0f s, the %s binds; %s instead of %s one by one\n",
			len(m.Lines), m.Periods, m.Period, m.Settling, m.Binding, duration(m.Bench), duration(m.Stepped))
	}
	enough := "enough"
	if !p.Enough {
		enough = "too few"
	}
	fmt.Fprintf(w, "points       %d, the procedure asks for %d: %s\n", p.Distinct, p.Request.Job.Procedure.LeastPoints, enough)
	verdict := "every point meets what is wanted"
	switch timed := p.Request.Wish.Time > 0; {
	case timed && !p.MeetsTarget:
		verdict = "the time is too short for these points"
	case timed:
		verdict = "the least the time allows"
	case !p.MeetsTarget:
		verdict = "not every point meets what is wanted"
	}
	fmt.Fprintf(w, "uncertainty  U up to %s %%, type A up to %s %%: %s\n", twoDigits(100*p.WorstU), twoDigits(100*p.WorstTypeA), verdict)
	for _, d := range p.Deviations {
		fmt.Fprintf(w, "deviation    %s\n", d.Text)
	}
}

// duration prints a time as people say it.
func duration(s float64) string {
	if s < 120 {
		return fmt.Sprintf("%.0f s", s)
	}
	m := int(math.Round(s / 60))
	if m < 120 {
		return fmt.Sprintf("%d min", m)
	}
	return fmt.Sprintf("%d h %02d min", m/60, m%60)
}
