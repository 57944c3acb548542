package certificate

import (
	"fmt"
	"math"
	"math/cmplx"
	"strings"

	"plumbline/calibration"
)

// lines makes facts line by line, leaving out empty ones.
func (f *Facts) add(label string, lines ...string) {
	var kept []Text
	for _, l := range lines {
		if l != "" {
			kept = append(kept, plain(l))
		}
	}
	if len(kept) > 0 {
		*f = append(*f, Fact{Label: label, Lines: kept})
	}
}

// brief is the result that a reader looks for first.
func (a *author) brief() Section {
	var k Keynote
	f := hertz(a.r.Job.Device.ReferenceFrequency)
	if a.reference >= 0 {
		p := a.r.Points[a.reference]
		m, u := cmplx.Abs(p.Sensitivity), p.Reported.UModulus
		unit := a.r.Job.Device.Unit
		k = append(k, Fact{Label: "Sensitivity at " + f + thin + "Hz", Lines: []Text{
			strong(plusMinus(unit.FromSI(m), u*unit.FromSI(m), unit.Symbol)),
			append(factorOf(p.Reported, rich("*U* = {}"+thin+"%", significant(100*u, digitsOfU))), a.inSI(m, u)...),
		}})
	} else {
		k = append(k, Fact{Label: "Sensitivity at " + f + thin + "Hz", Lines: []Text{plain("no value at the reference frequency")}})
	}
	conform := Fact{Label: "Conformity"}
	for _, g := range a.groups() {
		conform.Lines = append(conform.Lines, rich("{}: #{}#", a.requirement(g), g.summary()))
	}
	if len(conform.Lines) == 0 {
		conform.Lines = []Text{plain("no statement of conformity is made")}
	}
	k = append(k, conform)
	if a.outsideValidity() != "" {
		k = append(k, Fact{Label: "Note", Lines: []Text{strong("The reference was used outside the validity of its certificate: see Equipment.")}})
	}
	return Section{Heading: "Result in brief", Blocks: []Block{k}}
}

// factorOf adds the coverage factor of the modulus, which a U raised to the laboratory's scope has none of.
func factorOf(r calibration.Reported, u Text) Text {
	if r.RaisedModulus {
		return append(u, rich(", the smallest uncertainty that the laboratory claims")...)
	}
	return append(u, rich(", *k* = {}", coverage(r.KModulus))...)
}

// inSI is the sensitivity per SI unit of the motion, where the device's unit is per another, such as g.
func (a *author) inSI(m, u float64) Text {
	if a.motionInSI() {
		return nil
	}
	output, _, _ := a.r.Job.Device.Unit.Per()
	motion := a.motion.Unit().Symbol
	if strings.Contains(motion, "/") {
		motion = "(" + motion + ")"
	}
	return rich("; in SI units {}", plusMinus(output.FromSI(m), output.FromSI(u*m), output.Symbol+"/"+motion))
}

// motionInSI reports whether the device's unit is per an SI unit: the coherent one or a power of ten of it.
func (a *author) motionInSI() bool {
	e := math.Log10(a.input.Factor)
	return math.Abs(e-math.Round(e)) < 1e-9
}

func plusMinus(value, u float64, unit string) string {
	v, w := rounded(value, u)
	return "(" + v + " ± " + w + ")" + thin + unit
}

// item describes what was calibrated.
func (a *author) item() Section {
	d := a.r.Job.Device
	var f Facts
	f.add("Kind", d.Kind)
	f.add("Maker", d.Maker)
	f.add("Model", d.Model)
	f = append(f, Fact{Label: labelSerial, Lines: []Text{strong(d.Serial)}})
	if d.Nominal > 0 {
		f.add(labelNominal, short(d.Unit.FromSI(d.Nominal))+thin+d.Unit.Symbol)
	}
	f.add("Reference frequency", short(d.ReferenceFrequency)+thin+"Hz")
	if d.Tolerance > 0 {
		f.add("Tolerance", fmt.Sprintf("±%s%s%% of the nominal sensitivity at %s%sHz", percent(d.Tolerance), thin, short(d.ReferenceFrequency), thin))
	}
	if d.Flatness > 0 {
		band := "at all points"
		if d.FlatnessBand[1] > 0 {
			band = "from " + short(d.FlatnessBand[0]) + thin + "Hz to " + short(d.FlatnessBand[1]) + thin + "Hz"
		}
		f.add("Flatness", fmt.Sprintf("±%s%s%% of the value at %s%sHz, %s", percent(d.Flatness), thin, short(d.ReferenceFrequency), thin, band))
	}
	if d.Range > 0 {
		f.add("Range", "up to "+short(a.input.FromSI(d.Range))+thin+a.input.Symbol+" peak")
	}
	f.add("Condition on receipt", d.Condition)
	if !a.p.Received.IsZero() {
		f.add("Received", day(a.p.Received))
	}
	s := Section{Heading: "Item calibrated", Blocks: []Block{f}}
	if a.markSupplied(f) {
		s.Blocks = append(s.Blocks, Paragraph{Small: true, Text: plain(markCustomer + " Stated by the customer and not verified: see " + headingSupplied + ".")})
	}
	return s
}

func (a *author) customer() Section {
	var f Facts
	f.add("Name and address", append([]string{a.p.Customer.Name}, a.p.Customer.Lines...)...)
	f.add("Contact", a.p.Customer.Contact)
	f.add("Order", a.p.OrderReference)
	return Section{Heading: "Customer", Blocks: []Block{f}}
}

func (a *author) performance() Section {
	pr := a.r.Job.Procedure
	var f Facts
	f.add("Method", pr.Method)
	name := pr.Name
	if pr.Revision != "" {
		name += ", revision " + pr.Revision
	}
	f.add("Procedure of the laboratory", name)
	f.add("Performed", days(a.p.Performed, a.p.Until))
	f.add("Place", a.p.Location)
	f.add("Performed by", a.p.PerformedBy)
	f.add("Job", a.r.Job.Number)
	return Section{Heading: "Calibration", Blocks: []Block{f}}
}

func (a *author) authority() Section {
	return Section{Heading: "Authorisation", Blocks: []Block{
		Signature{Name: a.p.AuthorisedBy, Role: a.p.AuthorisedRole, Date: day(a.p.Issued)},
		Paragraph{Small: true, Text: plain("The results relate only to the item calibrated, as received and as mounted here. " +
			"This certificate may be reproduced in full only; extracts need the written consent of " + a.p.Laboratory.Name + ".")},
	}}
}

// subject says whose sensitivity is reported.
func (a *author) subject() string {
	if a.r.Job.Subject == calibration.OfChain {
		return "The values are the sensitivity of the whole measuring chain: the item with the channel listed under Equipment, from the motion to the recorded output."
	}
	if len(a.r.Job.DeviceChain.Stages) == 0 {
		return "The values are the sensitivity of the transducer alone."
	}
	return "The values are the sensitivity of the transducer alone: the transfer of its measuring channel has been divided out."
}
