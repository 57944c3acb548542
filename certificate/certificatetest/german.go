package certificatetest

import (
	"fmt"

	"plumbline/calibration"
	"plumbline/certificate"
	"plumbline/conformity"
)

// Overlong is Fenwick with everything that makes setting hard: long German names, a reference past its validity, a point without a value,
// verdicts of every kind, a customer's address of many lines.
func Overlong() Case {
	c := unjudged()
	p, j := &c.Particulars, &c.Result.Job
	p.Title = "Kalibrierschein / Calibration certificate"
	p.Number = "FL-2026-0407-Ä"
	p.Laboratory = certificate.Address{Name: "Schwingungsmesstechnisches Prüflaboratorium Fenwick Lane, Außenstelle Brückenüberwachung",
		Lines: []string{"Fußgängerbrückenüberführungsstraße 12", "Gebäude Süd, Untergeschoß, Raum für Körperschallmessungen", "Aldermere AL4 7QX"}}
	p.Customer = certificate.Address{Name: "Städtische Brückenbetriebsgesellschaft Aldermere mit beschränkter Haftung", Lines: []string{
		"Abteilung Bauwerksüberwachung und Schwingungsüberwachungsanlagenbetrieb", "Große Uferstraße 3", "Gebäude B", "Aldermere AL1 2BD"}, Contact: "the monitoring engineer"}
	p.AuthorisedBy, p.AuthorisedRole = "Die Leiterin der Kalibrierung für Schwingungsgrößen", "Zeichnungsberechtigte für Schwingungsmessgrößen und Übertragungsmaße"
	p.Deviations = []string{"der Aufnehmer wurde über eine Zwischenplatte aus Stahl (Masse 62 g) angekoppelt, weil die Gewinde nicht zueinander passen"}
	j.Device.Kind = "seismischer Beschleunigungsaufnehmer, piezoelektrisch, mit eingebauter Impedanzwandlerelektronik"
	j.Device.Model = "Tiefstfrequenzbeschleunigungsaufnehmer S-10/Ü"
	j.Device.Condition = "Gehäuse sauber, Stecker unbeschädigt, Kabelzugentlastung fehlt"
	j.Reference.Certificate.ValidUntil = on(1)
	j.ValidityOverride = "the head of calibration: recalibration is booked for December and the drift of R-201 over five calibrations is below 0.1 %"
	for i := range j.ReferenceChain.Stages {
		j.ReferenceChain.Stages[i].Kind = "Ladungsverstärker mit Spannungsausgang"
		j.ReferenceChain.Stages[i].Settings = "Tiefpass 1 kHz, Hochpass aus, Eingangswiderstand 10 MΩ, Übertragungsfaktor gemäß Prüfprotokoll"
	}
	c.Result.Points[4] = calibration.Point{Plan: c.Result.Points[4].Plan, Frequency: 10,
		Refused: "recording A-0407_005_10Hz.wav: 31 of 245760 samples at full scale: clipped"}
	c.Result.Points[3].Reported.UPhase, c.Result.Points[3].Reported.RaisedPhase = 0.0090, true
	for _, i := range []int{8, 9} {
		r := &c.Result.Points[i].Remarks
		*r = append(*r, calibration.Remark{Code: "phase-outside-scope", Text: fmt.Sprintf("the phase at %.5g Hz is outside the laboratory's scope", c.Result.Points[i].Frequency)},
			calibration.Remark{Code: "import", Text: "recording " + c.Result.Points[i].Plan.Recording.Name + ": the header gives no length: it was taken from the size of the file"})
	}
	for i := range c.Statements {
		s := &c.Statements[i]
		switch i % 4 {
		case 1:
			s.Verdict, s.Risk = conformity.DoesNotConform, 0.9731
		case 2:
			s.Verdict, s.Risk, s.Remarks = conformity.NotDecided, 0.118, []string{"the value lies within the guard band, where the rule takes no decision"}
		}
	}
	return c
}
