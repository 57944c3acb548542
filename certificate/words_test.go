package certificate_test

import (
	"math"
	"strings"
	"testing"
	"time"

	"plumbline/calibration"
	"plumbline/certificate"
	"plumbline/certificate/certificatetest"
)

// section is the text of a section of a document.
func section(t *testing.T, d certificate.Document, heading string) string {
	t.Helper()
	_, rest, ok := strings.Cut(d.String(), "\n== "+heading)
	if !ok {
		t.Fatalf("no section %q", heading)
	}
	text, _, _ := strings.Cut(rest, "\n== ")
	return text
}

// said compares sections with what they have to say and what they must not.
func said(t *testing.T, d certificate.Document, heading string, wanted, unwanted []string) {
	t.Helper()
	text := section(t, d, heading)
	for _, w := range wanted {
		if !strings.Contains(text, w) {
			t.Errorf("%q is not in section %q:\n%s", w, heading, text)
		}
	}
	for _, w := range unwanted {
		if strings.Contains(text, w) {
			t.Errorf("%q is in section %q", w, heading)
		}
	}
}

// TestValidity expects a word about use outside the reference's validity, three times over, where it was used so and nowhere else, without dates that nobody stated.
func TestValidity(t *testing.T) {
	const reason, flag = "for this reason: booked for December.", "outside the validity of its certificate"
	day := func(n int) time.Time { return time.Date(2026, time.November, n, 0, 0, 0, 0, time.UTC) }
	for name, c := range map[string]struct {
		dated, until time.Time
		want         string
	}{
		"before":       {day(25), time.Time{}, "performed before the date of certificate HL-2026-0088, 25 November 2026"},
		"after":        {day(1), day(20), "performed after the end of the validity of certificate HL-2026-0088, 20 November 2026"},
		"on last day":  {day(1), day(25), ""},
		"no last day":  {day(1), time.Time{}, ""},
		"on first day": {day(24), time.Time{}, ""},
	} {
		t.Run(name, func(t *testing.T) {
			k := certificatetest.Fenwick()
			j := &k.Result.Job
			j.Reference.Certificate.Date, j.Reference.Certificate.ValidUntil, j.ValidityOverride = c.dated, c.until, "booked for December"
			k.Result.Remarks = append(k.Result.Remarks, calibration.Remark{Code: "override-unused", Text: "a reason was entered"}, calibration.Remark{Code: "validity-override", Text: "performed outside"})
			d := document(t, k)
			if c.want == "" {
				said(t, d, "Equipment", nil, []string{"reason"})
				said(t, d, "Result in brief", nil, []string{flag})
				said(t, d, "Deviations from the method", nil, []string{"validity"})
			} else {
				said(t, d, "Equipment", []string{c.want + ", " + reason}, nil)
				said(t, d, "Result in brief", []string{flag}, nil)
				said(t, d, "Deviations from the method", []string{c.want}, nil)
			}
			said(t, d, "Results", nil, []string{"a reason was entered", "Performed outside"})
			if strings.Contains(d.String(), "January 0001") || strings.Contains(d.String(), "0001-01-01") {
				t.Error("a date that nobody stated is printed")
			}
		})
	}
}

// TestTemperature expects the temperature the sensitivity is stated for, with the coefficients that were used, or that nothing was corrected.
func TestTemperature(t *testing.T) {
	c := certificatetest.Fenwick()
	d := document(t, c)
	said(t, d, "Results", []string{"The sensitivity is stated for 23\u2009°C: it was corrected from the temperature of the calibration, 23.1\u2009°C"}, nil)
	said(t, d, "Conditions", []string{"item: −0.04\u2009%/K, standard uncertainty 0.01\u2009%/K, referred to 23\u2009°C", "reference: +0.02\u2009%/K"}, nil)
	c.Result.Job.Device.Temperature = calibration.Coefficient{}
	d = document(t, c)
	said(t, d, "Results", []string{"stated at the temperature of the calibration, 23.1\u2009°C."}, []string{"corrected from"})
	said(t, d, "Conditions", []string{"item: not stated, not corrected", "reference: +0.02\u2009%/K"}, nil)
	c = certificatetest.Fenwick()
	for i := range c.Result.Job.Procedure.Influences {
		if in := &c.Result.Job.Procedure.Influences[i]; in.Key == "temperature" {
			in.NotApplicable = "the room is kept at 23 °C within 0.05 K"
		}
	}
	d = document(t, c)
	said(t, d, "Results", []string{"stated at the temperature of the calibration"}, nil)
	said(t, d, "Conditions", nil, []string{"coefficient"})
}

// TestRaised expects a U raised to the scope to be marked where it stands, modulus and phase apart, without a k that is not its own.
func TestRaised(t *testing.T) {
	c := certificatetest.Overlong()
	c.Result.Points[7].Reported.UModulus, c.Result.Points[7].Reported.RaisedModulus = 0.012, true
	d := document(t, c)
	said(t, d, "Results", []string{"| 1.2\u2009‡ | – |", "| 0.52\u2009§ | – |", "‡ U of the modulus was raised", "§ U of the phase was raised", "not subject to the laboratory's scope"}, []string{"| ‡ |", "| § |"})
	said(t, d, "Evaluations", []string{"| 1.2 | – | scope | 2 |", "| 0.52 | – | scope | 2 |", "2 Raised to the smallest claimable uncertainty."}, nil)
	said(t, d, "Result in brief", []string{"U = 1.2\u2009%, the smallest uncertainty that the laboratory claims"}, []string{"k ="})
	said(t, d, "Uncertainty budget", []string{"Stated U, of the modulus raised to the laboratory's scope"}, nil)
	said(t, document(t, certificatetest.ReadOff()), "Results", nil, []string{"‡", "§"})
}

// TestDeviationFactor expects a coverage factor beside every deviation's U.
func TestDeviationFactor(t *testing.T) {
	said(t, document(t, certificatetest.Fenwick()), "Results", []string{"Deviation from 100\u2009Hz k |", "| +0.62 | 0.66 | 1.97 |", "| 0 | – | – |"}, nil)
}

// TestRecordWords expects the annex to promise no more than what can be done with the files.
func TestRecordWords(t *testing.T) {
	said(t, document(t, certificatetest.Fenwick()), "Record (annex)", []string{"digests of the recordings. With this record, the files it lists and this version of the program"}, nil)
	said(t, document(t, certificatetest.ReadOff()), "Record (annex)", []string{"the readings. With this record, the files it lists and this version"}, []string{"recording"})
}

// TestSupplied expects the customer's values by their names in words, and marked where they stand on the first page.
//
// Verifies: ISO/IEC 17025:2017 7.8.2.2
func TestSupplied(t *testing.T) {
	c := certificatetest.Fenwick()
	d := document(t, c)
	said(t, d, "Supplied by the customer", []string{"- Nominal sensitivity of the device: 10 V/g.", "- Serial number of the device: A-0407.", "- The item will be used"}, []string{"- Sensitivity of"})
	said(t, d, "Item calibrated", []string{"Serial number: A-0407\u2009*", "Nominal sensitivity: 10\u2009V/g\u2009*", "* Stated by the customer and not verified"}, []string{"S-10\u2009*"})
	c.Particulars.CustomerData = c.Particulars.CustomerData[3:]
	said(t, document(t, c), "Item calibrated", nil, []string{"*"})
}

// TestImport expects what was taken from a file's form beside the recordings, not among the notes of the results, and one mark for a phase outside the scope.
func TestImport(t *testing.T) {
	d := document(t, certificatetest.Overlong())
	said(t, d, "Evidence", []string{"All recordings evaluated: The file names no unit: V taken.", "1 The header gives no length"}, nil)
	said(t, d, "Results", []string{"| ¶, 2 |", "| ¶ |", "¶ The phase is outside the laboratory's scope."}, []string{"names no unit", "header", "the phase at"})
}

// TestTraceability expects the statement, as entered, and its absence in so many words.
//
// Verifies: ISO/IEC 17025:2017 7.8.4.1
func TestTraceability(t *testing.T) {
	for _, none := range []string{"none", "None."} {
		c := certificatetest.Fenwick()
		c.Particulars.Traceability = none
		said(t, document(t, c), "Traceability", []string{"The laboratory makes no claim of metrological traceability."}, []string{"None."})
	}
}

// TestMeasuredFrequencies expects every measured frequency with the same number of digits.
func TestMeasuredFrequencies(t *testing.T) {
	said(t, document(t, certificatetest.Fenwick()), "Evidence", []string{"| 1.0000 |", "| 20.000 |", "| 158.49 |", "| 200.00 |"}, []string{"\n| 1 |", "\n| 200 |"})
}

// TestInfluenceNames expects the procedure's influences under the names of the budget, and one distribution.
func TestInfluenceNames(t *testing.T) {
	c := certificatetest.Fenwick()
	c.Result.Job.Procedure.Influences[0].Distribution = "normal"
	said(t, document(t, c), "Uncertainty budget", []string{"| Reference drift | rectangular | history of R-201", "| Transverse motion | arcsine | transverse motion of X-12", "- Magnetic field: "},
		[]string{"| Drift |", "| Reference drift | normal", "- Magnetic:"})
}

// TestPlot expects a caption that is true for both panels, and the band of the tolerance about the nominal sensitivity where there is no flatness:
// 9 V/g and 11 V/g over 10.042 V/g are -10.4 % and +9.5 % (closed form).
func TestPlot(t *testing.T) {
	plotOf := func(c certificatetest.Case) certificate.Plot {
		for _, s := range document(t, c).Sections {
			for _, b := range s.Blocks {
				if p, ok := b.(certificate.Plot); ok {
					return p
				}
			}
		}
		t.Fatal("no figure")
		return certificate.Plot{}
	}
	c := certificatetest.Fenwick()
	if p := plotOf(c); !strings.Contains(p.Caption.String(), "scale of the deviation follows the tolerance") || !strings.HasSuffix(p.Caption.String(), "The scale of the phase follows the data.") || p.Figure.Tolerance != [2]float64{} {
		t.Errorf("caption %q, tolerance %v", p.Caption, p.Figure.Tolerance)
	}
	if p := plotOf(certificatetest.ReadOff()); strings.Contains(p.Caption.String(), "phase") {
		t.Errorf("a figure without phase has the caption %q", p.Caption)
	}
	c.Result.Job.Device.Flatness = 0
	if f := plotOf(c).Figure; math.Abs(f.Tolerance[0]+0.1037) > 1e-3 || math.Abs(f.Tolerance[1]-0.0954) > 1e-3 || f.Limits != "tolerance ±10\u2009% of 10\u2009V/g" {
		t.Errorf("tolerance %v, %q", f.Tolerance, f.Limits)
	}
}

// TestRepeatedPoint expects one line under the results for every repeated point, whatever came of it, and a steadiness table only where steadiness was judged.
func TestRepeatedPoint(t *testing.T) {
	c := certificatetest.Fenwick()
	said(t, document(t, c), "Results", []string{"Repeated at the end: 100\u2009Hz: difference 0.012\u2009% (at most 0.035\u2009% is explained), in phase 0.0057°", "rule wary"}, nil)
	c.Result.Repeats[0].Refused = "recording too short"
	said(t, document(t, c), "Results", []string{"Repeated at the end: 100\u2009Hz: not compared: recording too short."}, []string{"is explained"})
	c.Result.Job.Procedure.Settling = calibration.Settling{}
	said(t, document(t, c), "Evidence", nil, []string{"Steadiness"})
	said(t, document(t, c), "Results", nil, []string{"rule wary"})
}
