package certificate

import (
	"fmt"
	"math"
	"math/cmplx"
	"strings"

	"plumbline/calibration"
	"plumbline/figure"
)

const (
	markOutside = "†" // outside the laboratory's scope
	markRaised  = "‡" // U raised to the smallest claimable one
)

// results is the table of values, with its notes and its figure.
func (a *author) results() Section {
	s := Section{Heading: "Results", Blocks: []Block{Paragraph{Text: a.definitions()}, Paragraph{Text: a.origins()}, a.table()}}
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
			"{} {}, serial number {}, and entered by hand. No signal was recorded, so that the signals cannot be evaluated again; the readings are listed in the annex.", ref.Kind, ref.Model, ref.Serial)
	case ref.StatesLevel:
		return rich("#Against a stated level.# The level of the motion is the one stated by {} {}, serial number {}; only the output of the item was recorded. "+
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
			Column{Group: deviation, Head: rich("*U*"), Unit: plain("%"), Kind: Number})
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
	outside, raised := false, false
	common := a.commonRemarks()
	for i, p := range a.r.Points {
		var marks []string
		if p.OutOfScope {
			marks, outside = append(marks, markOutside), true
		}
		if p.Reported.RaisedModulus || p.Reported.RaisedPhase {
			marks, raised = append(marks, markRaised), true
		}
		if p.Refused != "" {
			marks = append(marks, n.of("no value: "+p.Refused))
		}
		for _, r := range p.Remarks {
			if !common[r.Text] && r.Code != "outside-scope" {
				marks = append(marks, n.of(r.Text))
			}
		}
		t.Rows = append(t.Rows, Row{Cells: append(a.cells(i, p), plain(strings.Join(marks, ", ")))})
	}
	if outside {
		n.list = append(n.list, Note{Mark: markOutside, Text: plain("Outside the scope for which the laboratory states its smallest claimable uncertainty.")})
	}
	if raised {
		n.list = append(n.list, Note{Mark: markRaised, Text: rich("*U* was raised above *k* *u*~c~ to the smallest uncertainty that the laboratory claims at this frequency.")})
	}
	a.wholeTable(&n, common)
	t.Notes = n.list
	t.dropUnused()
	return t
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
		if common[r.Text] && r.Code != "outside-scope" {
			n.all(rich("All points: {}", sentence(r.Text)))
		}
	}
	for _, r := range a.r.Remarks {
		n.all(plain(sentence(r.Text)))
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
	three := func(value, u, shown, k float64, ok bool) {
		if !ok {
			cells = append(cells, dash, dash, dash)
			return
		}
		v, _ := rounded(value, u)
		cells = append(cells, v, significant(shown, digitsOfU), coverage(k))
	}
	m := unit.FromSI(cmplx.Abs(p.Sensitivity))
	three(m, q.UModulus*m, 100*q.UModulus, q.KModulus, !refused)
	if a.reference >= 0 {
		v, u := a.deviation(i, p)
		cells = append(cells, v, u)
	}
	if a.anyPhase() {
		three(degrees(cmplx.Phase(p.Sensitivity)), degrees(q.UPhase), degrees(q.UPhase), q.KPhase, !refused && p.HasPhase)
	}
	out := make([]Text, len(cells))
	for i, c := range cells {
		out[i] = plain(c)
	}
	return out
}

// deviation is the deviation in percent with its U as printed. At the reference frequency it is zero by definition.
func (a *author) deviation(i int, p calibration.Point) (value, u string) {
	switch d := p.Deviation; {
	case i == a.reference:
		return "0", dash
	case p.Refused != "" || d == nil:
		return dash, dash
	case !positive(d.Expanded()):
		return signed(significant(100*d.Value, digitsOfU)), dash
	default:
		v, w := rounded(100*d.Value, 100*d.Expanded())
		return signed(v), w
	}
}

func degrees(rad float64) float64 { return rad * 180 / math.Pi }

// scaleOverTolerance is the height of the figure's scale over the flatness tolerance, so that the same figure always looks the same.
const scaleOverTolerance = 1.6

// plainScale is the height of the scale, relative, where the device has neither flatness nor tolerance.
const plainScale = 0.1

// response is the figure of the results.
func (a *author) response() figure.Response {
	d := a.r.Job.Device
	f := figure.Response{Title: "Frequency response of " + d.Model + ", serial number " + d.Serial, Reference: d.ReferenceFrequency,
		Flatness: d.Flatness, Band: d.FlatnessBand, Span: plainScale}
	switch {
	case d.Flatness > 0:
		f.Span = scaleOverTolerance * d.Flatness
	case d.Tolerance > 0:
		f.Span = scaleOverTolerance * d.Tolerance
	}
	if a.reference < 0 {
		return figure.Response{}
	}
	for _, i := range a.valued() {
		p := a.r.Points[i]
		q := figure.ResponsePoint{Frequency: p.StatedFrequency(), Deviation: math.NaN(), Phase: math.NaN(), UPhase: math.NaN()}
		switch {
		case i == a.reference:
			q.Deviation, q.U, q.Reference = 0, 0, true
		case p.Deviation != nil:
			q.Deviation, q.U = p.Deviation.Value, p.Deviation.Expanded()
		}
		v, _ := a.deviation(i, p)
		q.Label = v + thin + "%"
		if p.HasPhase {
			q.Phase, q.UPhase = cmplx.Phase(p.Sensitivity), p.Reported.UPhase
		}
		f.Points = append(f.Points, q)
	}
	return f
}

func (a *author) plotCaption() Text {
	t := rich("Bars are ±*U*.")
	if a.r.Job.Device.Flatness > 0 {
		t = append(t, rich(" The scale follows the tolerance, not the data; a point beyond it is an arrow with its value.")...)
	}
	return t
}
