package main

import (
	"fmt"
	"io"
	"math"
	"math/cmplx"
	"slices"
	"strings"
	"text/tabwriter"

	"plumbline/calibration"
	"plumbline/conformity"
	"plumbline/internal/lab"
	"plumbline/quantity"
	"plumbline/uncertainty"
)

const minus = "−"

// printEvaluation prints the table a person reads: what was calibrated, one line for each point, remarks as notes, verdicts.
func printEvaluation(w io.Writer, e *lab.Evaluation) error {
	j := e.Result.Job
	p := printer{job: j, phase: slices.ContainsFunc(e.Result.Points, func(q calibration.Point) bool { return q.HasPhase })}
	fmt.Fprintf(w, "device       %s, %s, %s\n", j.Device.Serial, j.Device.Model, j.Device.Kind)
	fmt.Fprintf(w, "reference    %s, %s, certificate %s of %s\n", j.Reference.Serial, j.Reference.Model, j.Reference.Certificate.Number, j.Reference.Certificate.Date.Format("2006-01-02"))
	fmt.Fprintf(w, "job          %s, %s, coverage probability %.4g %%\n", j.Number, map[calibration.Subject]string{calibration.OfTransducer: "sensitivity of the transducer", calibration.OfChain: "sensitivity of the whole chain"}[j.Subject], 100*j.Procedure.Probability)
	if e.Job.Particulars.Invented {
		fmt.Fprintln(w, "ALL DATA ARE INVENTED: an example, not a calibration.")
	}
	fmt.Fprintln(w)
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', tabwriter.AlignRight)
	for _, line := range p.headers() {
		fmt.Fprintln(t, strings.Join(line, "\t")+"\t")
	}
	for _, point := range e.Result.Points {
		fmt.Fprintln(t, strings.Join(p.row(point), "\t")+"\t")
	}
	if err := t.Flush(); err != nil {
		return err
	}
	for _, r := range e.Result.Repeats {
		fmt.Fprintln(w, repeated(r, e.Result.Points[r.Of].HasPhase))
	}
	fmt.Fprintln(w)
	for _, r := range append(append([]calibration.Remark{}, e.Result.Remarks...), e.Result.Deviations...) {
		p.note(r.Text)
	}
	for i, n := range p.notes {
		fmt.Fprintf(w, "%5d  %s\n", i+1, n)
	}
	if err := printSteadiness(w, e.Result); err != nil {
		return err
	}
	printStatements(w, e.Statements, e.Overall, j)
	return nil
}

// printer turns points into rows and collects the notes.
type printer struct {
	job   calibration.Job
	phase bool // some point has one
	notes []string
}

// note returns the number of a note, which is the same for the same text.
func (p *printer) note(text string) int {
	for i, n := range p.notes {
		if n == text {
			return i + 1
		}
	}
	p.notes = append(p.notes, text)
	return len(p.notes)
}

func (p *printer) inputUnit() quantity.Unit {
	_, input, _ := p.job.Device.Unit.Per()
	return input
}

// headers are the lines above the table; the last column, the notes, is the only one that is not aligned.
func (p *printer) headers() [2][]string {
	h := [2][]string{
		{"f", "level", "|S|", "U", "k", "deviation", "U"},
		{"Hz", p.inputUnit().Symbol + " peak", p.job.Device.Unit.Symbol, "%", "", "%", "%"},
	}
	if p.phase {
		h[0], h[1] = append(h[0], "phase", "U", "k"), append(h[1], "°", "°", "")
	}
	h[0] = append(h[0], "  notes")
	return h
}

func (p *printer) row(q calibration.Point) []string {
	var numbers []int
	for _, r := range q.Remarks {
		numbers = append(numbers, p.note(r.Text))
	}
	slices.Sort(numbers)
	var notes []string
	for _, n := range slices.Compact(numbers) {
		notes = append(notes, fmt.Sprint(n))
	}
	f := fmt.Sprintf("%.4g", q.StatedFrequency())
	if q.Refused != "" {
		row := make([]string, len(p.headers()[1]), len(p.headers()[0]))
		row[0], row[2] = f, "no value"
		return append(row, "  "+fmt.Sprint(p.note("refused: "+q.Refused)))
	}
	u := p.job.Device.Unit
	modulus := u.FromSI(cmplx.Abs(q.Sensitivity))
	value, _ := uncertainty.Round(modulus, modulus*q.Reported.UModulus, 2)
	row := []string{f, level(p.inputUnit(), q.Level), value, relative(q.Reported.UModulus), factor(q.Reported.KModulus), "", ""}
	if d := q.Deviation; d != nil {
		row[5], row[6] = withUncertainty(100*d.Value, 100*d.Expanded())
	}
	if q.HasPhase {
		v, up := withUncertainty(cmplx.Phase(q.Sensitivity)*180/math.Pi, q.Reported.UPhase*180/math.Pi)
		row = append(row, v, up, factor(q.Reported.KPhase))
	} else if p.phase {
		row = append(row, "", "", "")
	}
	return append(row, "  "+strings.Join(notes, " "))
}

func level(u quantity.Unit, si float64) string {
	if math.IsNaN(si) {
		return ""
	}
	x := u.FromSI(si)
	return fmt.Sprintf("%.*f", quantity.Decimals(x, 3), x)
}

func relative(u float64) string {
	_, text := uncertainty.Round(0, 100*u, 2)
	return text
}

func factor(k float64) string {
	if math.IsNaN(k) {
		return ""
	}
	return fmt.Sprintf("%.2f", k)
}

// withUncertainty rounds a value and its U, both in the same unit; a value that is exact by definition stands alone.
func withUncertainty(x, u float64) (value, expanded string) {
	if u == 0 {
		return "0", ""
	}
	value, expanded = uncertainty.Round(x, u, 2)
	return strings.Replace(value, "-", minus, 1), expanded
}

func printStatements(w io.Writer, statements []conformity.Statement, overall conformity.Verdict, j calibration.Job) {
	if len(statements) == 0 {
		return
	}
	fmt.Fprintf(w, "\nconformity (%s)\n", statements[0].Rule)
	for _, s := range statements {
		fmt.Fprintf(w, "  %s: %s, %s", s.Subject, s.Requirement, s.Verdict)
		if s.Verdict != conformity.NotDecided {
			unit := s.Unit(j.Device.Unit)
			value, u := unit.FromSI(s.Value), unit.FromSI(s.U)
			v, ut := withUncertainty(value, u)
			fmt.Fprintf(w, " (%s ± %s %s; probability of lying outside %s; %s)", v, ut, unit.Symbol, probability(s.Risk), s.Evaluation)
		}
		for _, r := range s.Remarks {
			fmt.Fprintf(w, "; %s", r)
		}
		fmt.Fprintln(w)
	}
	fmt.Fprintf(w, "  taken together: %s\n", overall)
}

// probability prints a risk without pretending to know tiny ones.
func probability(p float64) string {
	switch {
	case p < 1e-4:
		return "below 0.01 %"
	case p > 1-1e-4:
		return "above 99.99 %"
	}
	return fmt.Sprintf("%.2g %%", 100*p)
}
