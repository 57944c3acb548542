package certificate

import (
	"fmt"
	"slices"
	"strings"

	"plumbline/calibration"
	"plumbline/quantity"
)

// evidence is the annex with what the values rest on: recordings with their digests, or readings.
func (a *author) evidence() Section {
	s := Section{Heading: "Evidence", Annex: true}
	if t := a.signals(); len(t.Rows) > 0 {
		s.Blocks = append(s.Blocks, t, a.recordings())
	}
	if t := a.readings(); len(t.Rows) > 0 {
		s.Blocks = append(s.Blocks, t)
	}
	if t := a.steadiness(); len(t.Rows) > 0 {
		s.Blocks = append(s.Blocks, t)
	}
	return s
}

// signals is what the signals were like.
func (a *author) signals() Table {
	amplitude, distortion, residual := plain("Amplitude at the recorder"), plain("Total harmonic distortion"), plain("Residual")
	t := Table{
		Caption: strong("Signals"),
		Columns: []Column{
			{Head: rich("*f*"), Unit: plain("Hz"), Kind: Number},
			{Head: plain("Duration"), Unit: plain("s"), Kind: Number},
			{Head: plain("Rate"), Unit: plain("1/s"), Kind: Number},
			{Head: plain("Periods"), Kind: Number},
			{Head: plain("Blocks"), Unit: plain("used"), Kind: Number},
			{Head: plain("Blocks"), Unit: plain("left out"), Kind: Number},
			{Group: amplitude, Head: plain("reference"), Unit: plain("V"), Kind: Number},
			{Group: amplitude, Head: plain("item"), Unit: plain("V"), Kind: Number},
			{Group: distortion, Head: plain("reference"), Unit: plain("%"), Kind: Number},
			{Group: distortion, Head: plain("item"), Unit: plain("%"), Kind: Number},
			{Group: residual, Head: plain("reference"), Unit: plain("mV"), Kind: Number},
			{Group: residual, Head: plain("item"), Unit: plain("mV"), Kind: Number},
		},
		Notes: []Note{{Text: plain("Amplitudes are peak values of the fundamental, the residual is the standard deviation of what the sine approximation leaves.")}},
	}
	for _, i := range a.valued() {
		p := a.r.Points[i]
		if p.Plan.Recording == nil {
			continue
		}
		e := p.Evidence
		var row Row
		for _, c := range []string{measuredHertz(p.Frequency), significant(e.Duration, 3), short(e.Rate), fixed(e.Periods, 1), fmt.Sprint(e.Blocks), fmt.Sprint(e.Rejected),
			significant(e.AmplitudeReference, 3), significant(e.AmplitudeDevice, 3), significant(100*e.DistortionReference, 2), significant(100*e.DistortionDevice, 2),
			significant(1000*e.ResidualReference, 2), significant(1000*e.ResidualDevice, 2)} {
			row.Cells = append(row.Cells, plain(c))
		}
		t.Rows = append(t.Rows, row)
	}
	return t
}

// recordings is the files with their digests in full, those without a value too.
func (a *author) recordings() Table {
	t := Table{
		Caption: strong("Recordings"),
		Columns: []Column{
			{Head: rich("*f*"), Unit: plain("Hz"), Kind: Number},
			{Head: plain("File"), Kind: Words, Share: 1},
			{Head: plain("SHA-256 of the file"), Kind: Digest},
			{Head: plain("Notes"), Kind: Marks},
		},
	}
	var n notes
	common := a.importedAlike()
	for i, p := range a.measured() {
		again := ""
		if i >= len(a.r.Points) {
			again = " (repeated)"
		}
		add := func(f, name, suffix, digest string) {
			var marks []string
			for _, text := range imported(p, name) {
				if !slices.Contains(common, text) {
					marks = append(marks, n.of(text))
				}
			}
			t.Rows = append(t.Rows, Row{Cells: []Text{plain(f), plain(name + suffix), plain(digest), plain(strings.Join(marks, ", "))}})
		}
		f := measuredHertz(p.Frequency)
		if p.Refused != "" {
			f = hertz(p.Frequency) // nothing was measured
		}
		if r := p.Plan.Recording; r != nil {
			add(f, r.Name, again, r.ID)
		}
		if r := p.Plan.Exchanged; r != nil {
			add("", r.Name, " (exchanged)"+again, r.ID)
		}
	}
	for _, text := range common {
		n.all(rich("All recordings evaluated: {}", sentence(text)))
	}
	t.Notes = n.list
	t.dropUnused()
	return t
}

// measured is all points, after them the repeated ones.
func (a *author) measured() []calibration.Point {
	all := slices.Clone(a.r.Points)
	for _, r := range a.r.Repeats {
		all = append(all, r.Point)
	}
	return all
}

// imported is what was noticed when the recording of a point was read, without its name.
func imported(p calibration.Point, name string) (texts []string) {
	other := ""
	if x := p.Plan.Exchanged; x != nil && x.Name != name {
		other = x.Name
	} else if x != nil {
		other = p.Plan.Recording.Name
	}
	for _, r := range p.Remarks {
		text, own := strings.CutPrefix(r.Text, "recording "+name+": ")
		if foreign := other != "" && strings.HasPrefix(r.Text, "recording "+other+": "); r.Code == codeImport && (own || !foreign) {
			texts = append(texts, text)
		}
	}
	return texts
}

// importedAlike is what was noticed alike in the recordings of all points with a value, where there are several of them.
func (a *author) importedAlike() (alike []string) {
	var points []calibration.Point
	for _, i := range a.valued() {
		if a.r.Points[i].Plan.Recording != nil {
			points = append(points, a.r.Points[i])
		}
	}
	if len(points) < 2 {
		return nil
	}
	for _, text := range imported(points[0], points[0].Plan.Recording.Name) {
		if !slices.ContainsFunc(points, func(p calibration.Point) bool {
			return !slices.Contains(imported(p, p.Plan.Recording.Name), text) || p.Plan.Exchanged != nil && !slices.Contains(imported(p, p.Plan.Exchanged.Name), text)
		}) {
			alike = append(alike, text)
		}
	}
	return alike
}

// readingsPerRow keeps a row of a long series of readings from growing higher than a page.
const readingsPerRow = 60

// readings is every value read off a display, in the device's unit.
func (a *author) readings() Table {
	unit := a.r.Job.Device.Unit
	t := Table{
		Caption: strong("Readings"),
		Columns: []Column{
			{Head: rich("*f*"), Unit: plain("Hz"), Kind: Number},
			{Head: plain("Number"), Kind: Number},
			{Head: plain("Displayed sensitivity, in the order of reading"), Unit: plain(unit.Symbol), Kind: Words, Share: 1},
		},
	}
	for _, p := range a.measured() {
		if len(p.Plan.Readings) == 0 {
			continue
		}
		values := asDisplayed(p.Plan.Readings, unit, a.r.Job.Procedure.DisplayResolution[0])
		row := Row{Cells: []Text{plain(hertz(p.Frequency)), plain(fmt.Sprint(len(values)))}}
		for some := range slices.Chunk(values, readingsPerRow) {
			row.Cells = append(row.Cells, plain(strings.Join(some, ", ")))
			t.Rows = append(t.Rows, row)
			row = Row{Cells: []Text{nil, nil}}
		}
	}
	return t
}

// asDisplayed writes readings with as many decimals as the display's step has, or, where that is not known, as the longest of them has.
func asDisplayed(readings []calibration.Reading, unit quantity.Unit, step float64) []string {
	decimals := decimalsOf(unit.FromSI(step))
	if step == 0 {
		for _, r := range readings {
			decimals = max(decimals, decimalsOf(unit.FromSI(r.Sensitivity)))
		}
	}
	var values []string
	for _, r := range readings {
		values = append(values, minus(fixed(unit.FromSI(r.Sensitivity), decimals)))
	}
	return values
}

// decimalsOf is how many decimals a stated number has.
func decimalsOf(x float64) int {
	_, after, _ := strings.Cut(short(x), ".")
	return len(after)
}

// record is what the document was made from and with.
func (a *author) record() Section {
	var f Facts
	f.add("Software", a.origin.Software)
	f.add("Result record", a.origin.Record)
	f.add("SHA-256 of the record", a.origin.Digest)
	f.add("Job", a.r.Job.Number)
	of := "the digests of the recordings"
	if a.readOff() {
		of = "the readings"
	}
	return Section{Heading: "Record", Annex: true, Blocks: []Block{f,
		Paragraph{Text: plain("The record holds the unrounded results, the inputs they were computed from and " + of + ". With this record, the files it lists and this version of the program every number can be computed again.")}}}
}
