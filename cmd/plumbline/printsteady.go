package main

import (
	"fmt"
	"io"
	"math"
	"text/tabwriter"

	"plumbline/calibration"
	"plumbline/steady"
)

const degrees = 180 / math.Pi

// repeated is one line about a point measured again.
func repeated(r calibration.Repetition, phase bool) string {
	line := fmt.Sprintf("repeated: %.4g Hz: ", r.Point.StatedFrequency())
	if r.Refused != "" {
		return line + "not compared: " + r.Refused
	}
	line += difference(r.Modulus, 100, " %")
	if phase && r.Point.HasPhase {
		line += "; phase " + difference(r.Phase, degrees, "°")
	}
	return line
}

func difference(c steady.Check, scale float64, unit string) string {
	text := fmt.Sprintf("difference %.2g%s, %.2g%s is explained", math.Abs(c.Difference)*scale, unit, c.Allowed*scale, unit)
	if c.Flagged {
		return text + ": the rest is not"
	}
	return text
}

// printSteadiness prints how the points were judged, where the procedure has them judged.
func printSteadiness(w io.Writer, r calibration.Result) error {
	s := r.Job.Procedure.Settling
	if s.Rule == 0 {
		return nil
	}
	wanted := fmt.Sprintf("%.2g %%", 100*s.Modulus)
	if s.Phase > 0 {
		wanted += fmt.Sprintf(", %.2g°", s.Phase*degrees)
	}
	fmt.Fprintf(w, "\nsteadiness (rule %v; half widths at 95 %%, wanted %s)\n", s.Rule, wanted)
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(t, "f\tmodulus\tphase\tblocks\tdiscarded\ttau_max\t  judged; tau_max from")
	fmt.Fprintln(t, "Hz\t%\t°\t\t\ts\t")
	for _, p := range r.Points {
		steadiness(t, p, "")
	}
	for _, q := range r.Repeats {
		steadiness(t, q.Point, ", repeated")
	}
	return t.Flush()
}

func steadiness(w io.Writer, p calibration.Point, again string) {
	g := p.Evidence.Judgement
	if p.Refused != "" {
		return
	}
	f := fmt.Sprintf("%.4g", p.StatedFrequency())
	if !g.Judged() {
		fmt.Fprintf(w, "%s\t\t\t\t\t\t  %s%s\n", f, g.State(), again)
		return
	}
	phase := ""
	if g.Wanted[1] > 0 {
		phase = fmt.Sprintf("%.2g", g.HalfWidth[1]*degrees)
	}
	blocks := 0
	for _, a := range g.Answers {
		blocks += a.Blocks
	}
	fmt.Fprintf(w, "%s\t%.2g\t%s\t%d\t%d\t%.3g\t  %s%s; %s\n", f, 100*g.HalfWidth[0], phase, blocks, g.Discarded(), g.TauMax*g.Block, g.State(), again, g.Cause())
}
