package certificate

import (
	"fmt"
	"math"
	"math/cmplx"
	"slices"
	"strings"

	"plumbline/calibration"
)

const (
	markOutside      = "†" // outside the laboratory's scope
	markPhaseOutside = "¶" // the phase outside the scope
	markRaised       = "‡" // U of the modulus raised to the smallest claimable one
	markRaisedPhase  = "§" // U of the phase raised
)

// results is the table of values, with its notes and its figure.
func (a *author) results() Section {
	s := Section{Heading: "Results", Blocks: []Block{Paragraph{Text: a.definitions()}, Paragraph{Text: slices.Concat(a.origins(), a.judgedBy(), plain(" "), a.statedTemperature())}, a.table()}}
	if f := a.response(); len(f.Points) > 1 {
		s.Blocks = append(s.Blocks, Plot{Figure: f, Caption: a.plotCaption()})
	}
	return s
}

func (a *author) definitions() Text {
	t := rich("{} *S* is the complex sensitivity, the ratio of the output to the {}, both as amplitudes of the sine at the frequency *f*; |*S*| is its modulus. ",
		a.subject(), a.motion.String())
	if a.anyPhase() {
		t = append(t, rich("*φ* is its phase, positive where the output leads. ")...)
	}
	if a.reference >= 0 {
		t = append(t, rich("*δ* = |*S*(*f*)| / |*S*({})| − 1 is the deviation from the value at the reference frequency. ", hertz(a.r.Job.Device.ReferenceFrequency)+thin+"Hz")...)
	}
	t = append(t, rich("*U* is the expanded measurement uncertainty for a coverage probability of {}"+thin+"%, *k* its coverage factor; levels are peak values.", probability(a.r.Job.Procedure.Probability))...)
	if !a.motionInSI() {
		t = append(t, rich(" 1"+thin+"{} = {}"+thin+"{}.", a.input.Symbol, short(a.input.Factor), a.motion.Unit().Symbol)...)
	}
	return t
}

// origins says how the values were come by.
func (a *author) origins() Text {
	read, exchanged := 0, 0
	for _, i := range a.valued() {
		switch plan := a.r.Points[i].Plan; {
		case plan.Recording == nil:
			read++
		case plan.Exchanged != nil:
			exchanged++
		}
	}
	ref := a.r.Job.Reference
	t := plain("Every value was computed from recordings of both channels, which are kept and listed with their digests in the annex.")
	switch {
	case read > 0:
		return rich("#Read off a display.# The values were read off the display of "+
			"{}, {}, serial number {}, and entered by hand. No signal was recorded, so that the signals cannot be evaluated again; the readings are listed in the annex.", ref.Kind, ref.Model, ref.Serial)
	case ref.StatesLevel:
		return rich("#Against a stated level.# The level of the motion is the one stated by {}, {}, serial number {}; only the output of the item was recorded. "+
			"The recordings are kept and listed with their digests in the annex.", ref.Kind, ref.Model, ref.Serial)
	case exchanged == len(a.valued()) && exchanged > 0:
		t = append(t, plain(" At every frequency two recordings were made, the second with the transducers exchanged between the channels; the geometric mean of the two ratios is free of the channels' transfers.")...)
	case exchanged > 0:
		t = append(t, plain(fmt.Sprintf(" At %d of the frequencies two recordings were made, the second with the transducers exchanged between the channels; the geometric mean of the two ratios is free of the channels' transfers.", exchanged))...)
	}
	return t
}

func (a *author) columns() []Column {
	unit := a.r.Job.Device.Unit.Symbol
	modulus, deviation, phase := plain("Sensitivity"), rich("Deviation from {}", hertz(a.r.Job.Device.ReferenceFrequency)+thin+"Hz"), plain("Phase")
	c := []Column{
		{Head: rich("*f*"), Unit: plain("Hz"), Kind: Number},
		{Head: plain("Level"), Unit: plain(a.input.Symbol), Kind: Number},
		{Group: modulus, Head: rich("|*S*|"), Unit: plain(unit), Kind: Number},
		{Group: modulus, Head: rich("*U*"), Unit: plain("%"), Kind: Number},
		{Group: modulus, Head: rich("*k*"), Kind: Number},
	}
	if a.reference >= 0 {
		c = append(c,
			Column{Group: deviation, Head: rich("*δ*"), Unit: plain("%"), Kind: Number},
			Column{Group: deviation, Head: rich("*U*"), Unit: plain("%"), Kind: Number},
			Column{Group: deviation, Head: rich("*k*"), Kind: Number})
	}
	if a.anyPhase() {
		c = append(c,
			Column{Group: phase, Head: rich("*φ*"), Unit: plain("°"), Kind: Number},
			Column{Group: phase, Head: rich("*U*"), Unit: plain("°"), Kind: Number},
			Column{Group: phase, Head: rich("*k*"), Kind: Number})
	}
	return append(c, Column{Head: plain("Notes"), Kind: Marks})
}

func (a *author) table() Table {
	var n notes
	t := Table{Columns: a.columns()}
	common := a.commonRemarks()
	for i, p := range a.r.Points {
		var marks []string
		if p.OutOfScope {
			marks = append(marks, markOutside)
		}
		if has(p.Remarks, codePhaseOutside) {
			marks = append(marks, markPhaseOutside)
		}
		if p.Refused != "" {
			marks = append(marks, n.of("no value: "+p.Refused))
		}
		for _, r := range p.Remarks {
			if !common[r.Text] && !saidElsewhere[r.Code] {
				marks = append(marks, n.of(r.Text))
			}
		}
		t.Rows = append(t.Rows, Row{Cells: append(a.cells(i, p), plain(strings.Join(marks, ", ")))})
	}
	a.scopeNotes(&n)
	a.wholeTable(&n, common)
	a.repeated(&n)
	t.Notes = n.list
	t.dropUnused()
	return t
}

const (
	codePhaseOutside = "phase-outside-scope"
	codeImport       = "import"
)

// saidElsewhere is the codes of remarks that a certificate does not print among the notes of the results, because it says the same by a mark, beside
// the recordings, under Equipment or in the words above the table; what was entered and not needed is no matter for the customer.
var saidElsewhere = map[string]bool{"outside-scope": true, codePhaseOutside: true, codeImport: true, "validity-override": true, "override-unused": true, "device-temperature": true}

func has(remarks []calibration.Remark, code string) bool {
	return slices.ContainsFunc(remarks, func(r calibration.Remark) bool { return r.Code == code })
}

// scopeNotes explains the marks about the laboratory's scope that the table has.
func (a *author) scopeNotes(n *notes) {
	some := func(of func(calibration.Point) bool) bool { return slices.ContainsFunc(a.r.Points, of) }
	const raised = "*U* of the {} was raised to the smallest uncertainty that the laboratory claims at this frequency; no *k* belongs to it."
	outside := some(func(p calibration.Point) bool { return p.OutOfScope })
	modulus := some(func(p calibration.Point) bool { return p.Reported.RaisedModulus })
	if outside {
		n.list = append(n.list, Note{Mark: markOutside, Text: plain("Outside the scope for which the laboratory states its smallest claimable uncertainty.")})
	}
	if some(func(p calibration.Point) bool { return has(p.Remarks, codePhaseOutside) }) {
		n.list = append(n.list, Note{Mark: markPhaseOutside, Text: plain("The phase is outside the laboratory's scope.")})
	}
	if modulus {
		n.list = append(n.list, Note{Mark: markRaised, Text: rich(raised, "modulus")})
	}
	if some(func(p calibration.Point) bool { return p.Reported.RaisedPhase }) {
		n.list = append(n.list, Note{Mark: markRaisedPhase, Text: rich(raised, "phase")})
	}
	if a.reference >= 0 && (outside || modulus || len(a.r.Job.Scope) > 0) {
		n.all(rich("A deviation *δ* is a ratio of two values of the item, in which what both share cancels; it is not subject to the laboratory's scope."))
	}
}

// commonRemarks is the texts that every point with a value carries, where there are several points.
func (a *author) commonRemarks() map[string]bool {
	with := a.valued()
	n := map[string]int{}
	for _, i := range with {
		seen := map[string]bool{}
		for _, r := range a.r.Points[i].Remarks {
			if !seen[r.Text] {
				seen[r.Text] = true
				n[r.Text]++
			}
		}
	}
	common := map[string]bool{}
	for text, k := range n {
		common[text] = len(with) > 1 && k == len(with)
	}
	return common
}

// wholeTable adds what holds for every point: common remarks in the order of the first point's, then those about the job.
func (a *author) wholeTable(n *notes, common map[string]bool) {
	for _, r := range a.r.Points[a.valued()[0]].Remarks {
		if common[r.Text] && !saidElsewhere[r.Code] {
			n.all(rich("All points: {}", sentence(r.Text)))
		}
	}
	for _, r := range a.r.Remarks {
		if !saidElsewhere[r.Code] {
			n.all(plain(sentence(r.Text)))
		}
	}
}

// cells is one row of the table of results.
func (a *author) cells(i int, p calibration.Point) []Text {
	unit := a.r.Job.Device.Unit
	refused := p.Refused != ""
	f, q := p.StatedFrequency(), p.Reported
	cells := []string{hertz(f), significant(a.input.FromSI(p.Level), 3)}
	if refused {
		cells[1] = dash
	}
	three := func(value, u, shown, k float64, raised string, ok bool) {
		if !ok {
			cells = append(cells, dash, dash, dash)
			return
		}
		v, _ := rounded(value, u)
		factor := coverage(k)
		if raised != "" {
			raised, factor = thin+raised, dash
		}
		cells = append(cells, v, significant(shown, digitsOfU)+raised, factor)
	}
	m := unit.FromSI(cmplx.Abs(p.Sensitivity))
	three(m, q.UModulus*m, 100*q.UModulus, q.KModulus, markIf(q.RaisedModulus, markRaised), !refused)
	if a.reference >= 0 {
		v, u, k := a.deviation(i, p)
		cells = append(cells, v, u, k)
	}
	if a.anyPhase() {
		three(degrees(cmplx.Phase(p.Sensitivity)), degrees(q.UPhase), degrees(q.UPhase), q.KPhase, markIf(q.RaisedPhase, markRaisedPhase), !refused && p.HasPhase)
	}
	out := make([]Text, len(cells))
	for i, c := range cells {
		out[i] = plain(c)
	}
	return out
}

func markIf(is bool, mark string) string {
	if is {
		return mark
	}
	return ""
}

// deviation is the deviation in percent with its U and k as printed. At the reference frequency it is zero by definition.
func (a *author) deviation(i int, p calibration.Point) (value, u, k string) {
	switch d := p.Deviation; {
	case i == a.reference:
		return "0", dash, dash
	case p.Refused != "" || d == nil:
		return dash, dash, dash
	case !positive(d.Expanded()):
		return signed(significant(100*d.Value, digitsOfU)), dash, dash
	default:
		v, w := rounded(100*d.Value, 100*d.Expanded())
		return signed(v), w, coverage(d.Reported.KModulus)
	}
}

func degrees(rad float64) float64 { return rad * 180 / math.Pi }
