package certificate

import (
	"fmt"
	"math"

	"plumbline/calibration"
	"plumbline/steady"
)

// judgedBy is one sentence on how steadiness was judged, nothing where it was not.
func (a *author) judgedBy() Text {
	s := a.r.Job.Procedure.Settling
	if s.Rule == 0 {
		return nil
	}
	wanted := "a half width of " + percent(s.Modulus) + thin + "% of the modulus"
	if s.Phase > 0 && a.anyPhase() {
		wanted += " and " + short(degrees(s.Phase)) + "° of the phase"
	}
	return plain(" Whether the points had settled was judged on the series of values behind each of them (rule " + s.Rule.String() + ", " + wanted + " wanted, at 95" + thin +
		"%): what was still settling was taken off, and the half width found is the random uncertainty. The findings are in the annex.")
}

// repeated is a line about every point that was measured again.
func (a *author) repeated(n *notes) {
	for _, r := range a.r.Repeats {
		f := hertz(r.Point.StatedFrequency()) + thin + "Hz"
		if r.Refused != "" {
			n.all(plain(fmt.Sprintf("Repeated at the end: %s: not compared: %s.", f, r.Refused)))
			continue
		}
		text := comparison(r.Modulus, 100, thin+"%")
		if a.r.Points[r.Of].HasPhase && r.Point.HasPhase {
			text += ", in phase " + comparison(r.Phase, degrees(1), "°")
		}
		n.all(plain(fmt.Sprintf("Repeated at the end: %s: difference %s.", f, text)))
	}
}

func comparison(c steady.Check, scale float64, unit string) string {
	return fmt.Sprintf("%s%s (at most %s%s is explained)", significant(math.Abs(c.Difference)*scale, digitsOfU), unit, significant(c.Allowed*scale, digitsOfU), unit)
}

// steadiness is what the judge found at every point, those measured again at the end.
func (a *author) steadiness() Table {
	half := plain("Half width at 95" + thin + "%")
	t := Table{
		Caption: strong("Steadiness"),
		Columns: []Column{
			{Head: rich("*f*"), Unit: plain("Hz"), Kind: Number},
			{Group: half, Head: plain("modulus"), Unit: plain("%"), Kind: Number},
			{Group: half, Head: plain("phase"), Unit: plain("°"), Kind: Number},
			{Head: plain("Blocks"), Kind: Number},
			{Head: plain("Blocks"), Unit: plain("discarded"), Kind: Number},
			{Head: rich("*τ*~max~"), Unit: plain("s"), Kind: Number},
			{Head: rich("*τ*~max~ from"), Kind: Words, Share: 1},
			{Head: plain("Judged"), Kind: Fixed},
		},
	}
	if a.r.Job.Procedure.Settling.Rule == 0 {
		return t
	}
	for _, i := range a.valued() {
		t.Rows = append(t.Rows, judgement(a.r.Points[i], ""))
	}
	for _, r := range a.r.Repeats {
		if r.Point.Refused == "" {
			t.Rows = append(t.Rows, judgement(r.Point, ", repeated"))
		}
	}
	t.Notes = []Note{{Text: rich("*τ*~max~ is the slowest time constant the judge was told to reckon with. Blocks discarded stand at the start of the recording.")}}
	return t
}

func judgement(p calibration.Point, again string) (row Row) {
	g := p.Evidence.Judgement
	cells := []string{measuredHertz(p.Frequency), dash, dash, dash, dash, dash, "", g.State() + again}
	if g.Judged() {
		blocks := 0
		for _, a := range g.Answers {
			blocks += a.Blocks
		}
		cells[1], cells[3], cells[4] = significant(100*g.HalfWidth[0], digitsOfU), fmt.Sprint(blocks), fmt.Sprint(g.Discarded())
		cells[5], cells[6] = significant(g.TauMax*g.Block, digitsOfU), g.Cause()
		if g.Wanted[1] > 0 {
			cells[2] = significant(degrees(g.HalfWidth[1]), digitsOfU)
		}
	}
	for _, c := range cells {
		row.Cells = append(row.Cells, plain(c))
	}
	return row
}
