package certificate

import (
	"plumbline/calibration"
	"plumbline/conformity"
	"plumbline/quantity"
)

// Origin is what the document was made with and from.
type Origin struct {
	Software string // name and version of the program
	Record   string // name of the result record
	Digest   string // SHA-256 of the result record, lower-case hex
}

// author writes the sections; it holds what they share.
type author struct {
	p          Particulars
	r          calibration.Result
	statements []conformity.Statement
	origin     Origin
	input      quantity.Unit // of the motion: below the stroke of the device's unit
	motion     quantity.Motion
	reference  int // index of the point at the reference frequency, -1 none
}

// New makes the document. What is mandatory and missing, and what contradicts itself, is refused by name, all at once (errors.Join).
//
// Clause: ISO/IEC 17025:2017 7.8.2.1
// Clause: ISO/IEC 17025:2017 7.8.4.1
// Clause: ISO/IEC 17025:2017 7.8.6.2
func New(p Particulars, r calibration.Result, statements []conformity.Statement, o Origin) (Document, error) {
	a := &author{p: p, r: r, statements: statements, origin: o}
	if err := a.check(); err != nil {
		return Document{}, err
	}
	_, a.input, _ = r.Job.Device.Unit.Per()
	a.motion, _ = quantity.MotionOf(a.input)
	a.reference = r.ReferencePoint()
	d := Document{
		Number: p.Number, Title: p.Title, Laboratory: p.Laboratory, Issued: p.Issued, Invented: p.Invented,
		Subject: r.Job.Device.Kind + ", " + r.Job.Device.Model + ", serial number " + r.Job.Device.Serial,
		End:     "End of certificate " + p.Number,
	}
	for _, section := range []func() Section{
		a.brief, a.item, a.customer, a.performance, a.authority,
		a.results, a.uncertainty, a.conformity, a.equipment, a.traceability, a.conditions, a.deviations, a.supplied, a.further, a.limits,
		a.budget, a.evaluation, a.evidence, a.record,
	} {
		if s := section(); len(s.Blocks) > 0 {
			d.Sections = append(d.Sections, s)
		}
	}
	return d, nil
}

// valued is the indices of the points with a value.
func (a *author) valued() []int {
	var with []int
	for i, p := range a.r.Points {
		if p.Refused == "" {
			with = append(with, i)
		}
	}
	return with
}

// anyPhase reports whether any point has a phase.
func (a *author) anyPhase() bool {
	for _, i := range a.valued() {
		if a.r.Points[i].HasPhase {
			return true
		}
	}
	return false
}

// readOff reports whether values were read off a display.
func (a *author) readOff() bool {
	for _, i := range a.valued() {
		if a.r.Points[i].Plan.Recording == nil {
			return true
		}
	}
	return false
}
