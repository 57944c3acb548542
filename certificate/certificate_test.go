package certificate_test

import (
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"plumbline/calibration"
	"plumbline/certificate"
	"plumbline/certificate/certificatetest"
)

func document(t *testing.T, c certificatetest.Case) certificate.Document {
	t.Helper()
	d, err := c.New()
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// TestDocument compares whole documents with the texts that were read through by a person when they were stored; UPDATE=1 stores them anew.
func TestDocument(t *testing.T) {
	for name, c := range map[string]certificatetest.Case{"fenwick": certificatetest.Fenwick(), "readoff": certificatetest.ReadOff(), "overlong": certificatetest.Overlong()} {
		t.Run(name, func(t *testing.T) {
			got := document(t, c).String()
			file := filepath.Join("testdata", name+".txt")
			if os.Getenv("UPDATE") != "" {
				if err := os.WriteFile(file, []byte(got), 0o644); err != nil {
					t.Fatal(err)
				}
			}
			want, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			g, w := strings.Split(got, "\n"), strings.Split(string(want), "\n")
			for i := range max(len(g), len(w)) {
				if i >= len(g) || i >= len(w) || g[i] != w[i] {
					t.Fatalf("%s, line %d:\n got %q\nwant %q", file, i+1, at(g, i), at(w, i))
				}
			}
		})
	}
}

func at(lines []string, i int) string {
	if i < len(lines) {
		return lines[i]
	}
	return "(no such line)"
}

// TestReportItems looks for every item that a certificate has to have, by the clause that asks for it.
//
// Verifies: ISO/IEC 17025:2017 7.8.2.1
// Verifies: ISO/IEC 17025:2017 7.8.4.1
// Verifies: ISO/IEC 17025:2017 7.8.6.2
// Verifies: ISO/IEC 17025:2017 7.8.2.2
func TestReportItems(t *testing.T) {
	d := document(t, certificatetest.Overlong())
	text := d.String()
	for clause, items := range map[string][]string{
		"7.8.2.1 a":    {"Kalibrierschein / Calibration certificate"},
		"7.8.2.1 b":    {"Prüflaboratorium Fenwick Lane", "Fußgängerbrückenüberführungsstraße 12"},
		"7.8.2.1 c":    {"Place: Fenwick Lane Vibration Laboratory, room 3"},
		"7.8.2.1 d":    {"FL-2026-0407-Ä", "End of certificate FL-2026-0407-Ä"},
		"7.8.2.1 e":    {"Städtische Brückenbetriebsgesellschaft", "Große Uferstraße 3", "Contact: the monitoring engineer"},
		"7.8.2.1 f":    {"Method: ISO 16063-21:2003"},
		"7.8.2.1 g":    {"seismischer Beschleunigungsaufnehmer", "S-10/Ü", "Serial number: A-0407", "Gehäuse sauber"},
		"7.8.2.1 h":    {"Received: 20 November 2026"},
		"7.8.2.1 i":    {"Performed: 24 to 25 November 2026"},
		"7.8.2.1 j":    {"signed: Die Leiterin der Kalibrierung", "26 November 2026"},
		"7.8.2.1 l":    {"relate only to the item calibrated"},
		"7.8.2.1 note": {"reproduced in full only"},
		"7.8.2.1 m":    {"Sensitivity |S| V/g"},
		"7.8.2.1 n":    {"Der Aufnehmer wurde über eine Zwischenplatte", "the stroke of the exciter X-12"},
		"7.8.2.1 o":    {"Die Leiterin der Kalibrierung für Schwingungsgrößen"},
		"7.8.2.2":      {"stated by the customer and has not been verified", "used between 1 Hz and 20 Hz"},
		"7.8.4.1 a":    {"expanded measurement uncertainty", "Sensitivity U %", "Sensitivity k"},
		"7.8.4.1 b":    {"Temperature: 23.1\u2009°C", "Relative humidity: 46\u2009%", "Air pressure: 1011\u2009hPa", "torque 2 N·m"},
		"7.8.4.1 c":    {"states traceability of its results to the SI", "HL-2026-0088, Higher Laboratory Westmere", "2026-11-01"},
		"7.8.6.2 a":    {"Deviation at 2 Hz"},
		"7.8.6.2 b":    {"does not conform", "not decided", "conforms"},
		"7.8.6.2 c":    {"Decision rule: Guard band"},
		"override":     {"recalibration is booked for December"},
		"safety":       {"says nothing about the safety of a structure"},
		"no value":     {"No value: recording A-0407_005_10Hz.wav: 31 of 245760 samples at full scale: clipped."},
	} {
		for _, item := range items {
			if !strings.Contains(text, item) {
				t.Errorf("ISO/IEC 17025 %s: %q is not in the document", clause, item)
			}
		}
	}
}

// TestRefusals takes one mandatory item away at a time, then all at once.
func TestRefusals(t *testing.T) {
	type edit = func(*certificatetest.Case)
	for name, c := range map[string]struct {
		edit edit
		want string
	}{
		"title":     {func(c *certificatetest.Case) { c.Particulars.Title = "" }, "title is missing"},
		"name":      {func(c *certificatetest.Case) { c.Particulars.Laboratory.Name = "" }, "name of the laboratory"},
		"address":   {func(c *certificatetest.Case) { c.Particulars.Laboratory.Lines = nil }, "address of the laboratory"},
		"place":     {func(c *certificatetest.Case) { c.Particulars.Location = "" }, "location where"},
		"number":    {func(c *certificatetest.Case) { c.Particulars.Number = "" }, "number of the certificate"},
		"customer":  {func(c *certificatetest.Case) { c.Particulars.Customer.Name = "" }, "name of the customer"},
		"contact":   {func(c *certificatetest.Case) { c.Particulars.Customer.Lines, c.Particulars.Customer.Contact = nil, "" }, "contact information"},
		"method":    {func(c *certificatetest.Case) { c.Result.Job.Procedure.Method = "" }, "method is missing"},
		"kind":      {func(c *certificatetest.Case) { c.Result.Job.Device.Kind = "" }, "kind of the item"},
		"model":     {func(c *certificatetest.Case) { c.Result.Job.Device.Model = "" }, "model of the item"},
		"serial":    {func(c *certificatetest.Case) { c.Result.Job.Device.Serial = "" }, "serial number of the item"},
		"performed": {func(c *certificatetest.Case) { c.Particulars.Performed = c.Particulars.Performed.AddDate(-3000, 0, 0) }, "but the job says"},
		"backwards": {func(c *certificatetest.Case) { c.Particulars.Until = c.Particulars.Performed.AddDate(0, 0, -1) }, "before it begins"},
		"issued":    {func(c *certificatetest.Case) { c.Particulars.Issued = c.Particulars.Performed }, "before the last day of performance"},
		"person":    {func(c *certificatetest.Case) { c.Particulars.AuthorisedBy = "" }, "authorising person"},
		"subject":   {func(c *certificatetest.Case) { c.Result.Job.Subject = calibration.NoSubject }, "the transducer or the whole chain"},
		"unit":      {func(c *certificatetest.Case) { c.Result.Job.Device.Unit.Symbol = "V" }, `unit "V"`},
		"results": {func(c *certificatetest.Case) {
			for i := range c.Result.Points {
				c.Result.Points[i].Refused = "taken away"
			}
		}, "any result"},
		"no uncertainty": {func(c *certificatetest.Case) { c.Result.Points[3].Reported.UModulus = math.NaN() }, "point 4, 5 Hz: expanded uncertainty"},
		"no phase U":     {func(c *certificatetest.Case) { c.Result.Points[3].Reported.UPhase = 0 }, "coverage factor of the phase"},
		"no rule":        {func(c *certificatetest.Case) { c.Statements[0].Rule = "" }, "decision rule is missing"},
		"expired": {func(c *certificatetest.Case) {
			c.Result.Job.Reference.Certificate.ValidUntil = c.Particulars.Performed
		}, "after the end of the validity of certificate HL-2026-0088, 24 November 2026, and nobody has said why"},
		"traceability": {func(c *certificatetest.Case) { c.Particulars.Traceability = " " }, "metrological traceability (laboratory.traceability"},
		"digest":       {func(c *certificatetest.Case) { c.Origin.Digest = "" }, "digest of the result record"},
	} {
		t.Run(name, func(t *testing.T) {
			k := certificatetest.Fenwick()
			c.edit(&k)
			_, err := k.New()
			if err == nil || !strings.Contains(err.Error(), c.want) {
				t.Fatalf("got %v, want an error with %q", err, c.want)
			}
			if n := strings.Count(err.Error(), "\n") + 1; n != 1 {
				t.Errorf("%d complaints for one fault:\n%v", n, err)
			}
		})
	}
	_, err := certificate.New(certificate.Particulars{}, calibration.Result{}, nil, certificate.Origin{})
	if err == nil {
		t.Fatal("an empty certificate was made")
	}
	for _, letter := range []string{"a", "b", "c", "d", "e", "f", "g", "i", "j", "m", "o"} {
		if !strings.Contains(err.Error(), "7.8.2.1 "+letter+")") {
			t.Errorf("an empty certificate is refused without naming 7.8.2.1 %s:\n%v", letter, err)
		}
	}
}

// TestReadOff expects no phase anywhere and the plain word that values were read off.
func TestReadOff(t *testing.T) {
	d := document(t, certificatetest.ReadOff())
	text := d.String()
	for _, s := range []string{"φ", "Phase", "SHA-256 of the file"} {
		if strings.Contains(text, s) {
			t.Errorf("%q stands in a certificate of readings", s)
		}
	}
	for _, s := range []string{"Read off a display. The values were read off the display of portable exciter with built-in reference, X-03", "No signal was recorded"} {
		if !strings.Contains(text, s) {
			t.Errorf("%q is missing", s)
		}
	}
}

// TestChain expects the other word about whose sensitivity it is, and the frequency that was really there: 158.489 Hz, not its nominal 160 Hz,
// which would be 0.95 % off (IEC 61260-1, exact against nominal mid-band frequencies).
func TestChain(t *testing.T) {
	c := certificatetest.Fenwick()
	c.Result.Job.Subject = calibration.OfChain
	text := document(t, c).String()
	if !strings.Contains(text, "sensitivity of the whole measuring chain") || strings.Contains(text, "of the transducer alone") {
		t.Error("a certificate of a chain does not say so")
	}
	if !strings.Contains(text, "| 158.49 |") || strings.Contains(text, "| 160 |") {
		t.Error("the frequency in the table is not the measured one")
	}
}

// TestInputsKept makes the document twice and compares what it was made from.
func TestInputsKept(t *testing.T) {
	c := certificatetest.Fenwick()
	before := slices.Clone(c.Result.Points[0].Remarks)
	a, b := document(t, c).String(), document(t, c).String()
	if a != b || !slices.Equal(before, c.Result.Points[0].Remarks) {
		t.Error("making the document twice gives two documents, or changes its inputs")
	}
}
