package certificate

import (
	"strings"

	"plumbline/calibration"
)

// equipment is the reference and every stage of both channels, with the certificates the laboratory has entered.
func (a *author) equipment() Section {
	j := a.r.Job
	t := Table{Columns: []Column{
		{Head: plain("Use"), Kind: Words, Share: 0.8},
		{Head: plain("Equipment"), Kind: Words, Share: 1.3},
		{Head: plain("Serial no."), Kind: Fixed},
		{Head: plain("Channel, settings"), Kind: Words, Share: 1.2},
		{Head: plain("Certificate, laboratory"), Kind: Words, Share: 1.3},
		{Head: plain("Dated"), Kind: Fixed},
		{Head: plain("Valid until"), Kind: Fixed},
	}}
	use := "Reference"
	switch {
	case j.Reference.StatesLevel:
		use = "Reference, level as stated"
	case len(j.ReferenceChain.Stages) == 0:
		use = "Reference, display read"
	}
	t.Rows = append(t.Rows, equipmentRow(use, j.Reference.Identity, "", j.Reference.Certificate))
	for _, s := range j.ReferenceChain.Stages {
		t.Rows = append(t.Rows, equipmentRow("Reference channel", s.Identity, stageWords(s), s.Certificate))
	}
	for _, s := range j.DeviceChain.Stages {
		t.Rows = append(t.Rows, equipmentRow("Item's channel", s.Identity, stageWords(s), s.Certificate))
	}
	s := Section{Heading: "Equipment", Blocks: []Block{t}}
	if outside := a.outsideValidity(); outside != "" {
		s.Blocks = append(s.Blocks, Paragraph{Text: rich("#Reference used outside the validity of its certificate.# {}", sentence(outside+", for this reason: "+j.ValidityOverride))})
	}
	return s
}

// outsideValidity says how the measurements lay outside the validity of the reference's certificate, nothing where they lay within it.
func (a *author) outsideValidity() string {
	j, c := a.r.Job, a.r.Job.Reference.Certificate
	if j.Performed.IsZero() {
		j.Performed, j.Until = a.p.Performed, a.p.Until
	}
	before, after := j.OutsideValidity()
	var how []string
	if before && !c.Date.IsZero() {
		how = append(how, "before the date of certificate "+c.Number+", "+day(c.Date))
	}
	if after {
		how = append(how, "after the end of the validity of certificate "+c.Number+", "+day(c.ValidUntil))
	}
	if len(how) == 0 {
		return ""
	}
	return "the measurements were performed " + strings.Join(how, ", and ")
}

func equipmentRow(use string, id calibration.Identity, settings string, c calibration.Document) Row {
	name := capital(words(", ", id.Kind, words(" ", id.Maker, id.Model)))
	return Row{Cells: []Text{plain(use), plain(name), plain(orDash(id.Serial)), plain(orDash(settings)),
		plain(orDash(words(", ", c.Number, c.Laboratory))), plain(date(c.Date)), plain(date(c.ValidUntil))}}
}

// stageWords is a stage's channel, gain, range and settings.
func stageWords(s calibration.Stage) string {
	channel, gain, scale := "", "", ""
	if s.Channel != "" {
		channel = "channel " + s.Channel
	}
	if s.Gain > 0 && s.GainUnit.Factor > 0 && (s.Gain != 1 || s.GainUnit.Factor != 1) {
		gain = "gain " + short(s.GainUnit.FromSI(s.Gain)) + thin + s.GainUnit.Symbol
	}
	if s.FullScale > 0 {
		scale = "±" + short(s.FullScale) + thin + "V peak"
	}
	return words("; ", channel, gain, scale, s.Settings)
}

// words joins what is not empty.
func words(between string, parts ...string) string {
	var kept []string
	for _, p := range parts {
		if p != "" {
			kept = append(kept, p)
		}
	}
	return strings.Join(kept, between)
}

func orDash(s string) string {
	if s == "" {
		return dash
	}
	return s
}
