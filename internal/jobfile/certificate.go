package jobfile

import (
	"math"

	"plumbline/calibration"
	"plumbline/quantity"
)

// readDocument reads the certificate of a reference or, where optional, of a stage.
func readDocument(t *table) calibration.Document {
	d := calibration.Document{Number: t.text("number"), Laboratory: t.text("laboratory"), Date: t.date("date"), ValidUntil: t.optionalDate("valid_until")}
	if !d.ValidUntil.IsZero() && d.ValidUntil.Before(d.Date) {
		t.wrong("valid_until", "lies before the date of the certificate")
	}
	return d
}

// modulus is what the moduli of a table are.
type modulus struct {
	kind   quantity.Kind
	unit   quantity.Unit // a sensitivity of the same quantities; one for a factor
	factor string        // what a factor is, in words
	scalar bool          // a phase has no meaning
}

// one is the unit of a factor.
var one = quantity.Unit{Symbol: "1", Factor: 1}

// readReferenceCertificate reads the certificate with its table.
func readReferenceCertificate(t *table, m modulus) (calibration.Document, []calibration.CalibratedPoint, float64) {
	defer t.close()
	document := readDocument(t)
	correlation := t.number("correlation", 0, 1)
	return document, readCalibrated(t, m), correlation
}

// calibratedRow is one line of a table of modulus and phase over frequency, before it is checked against its neighbours.
type calibratedRow struct {
	calibration.CalibratedPoint
	at position
}

// readCalibrated reads the rows of a certificate: from the list "point" or from the CSV file that "table" names. Expanded
// uncertainties are divided by their coverage factors.
func readCalibrated(t *table, m modulus) []calibration.CalibratedPoint {
	rows := collect(t, "point", false, func(t *table) calibratedRow { return readCalibratedPoint(t, m) })
	n, fromFile := t.one("table", kindText, "the name of a CSV file")
	switch {
	case fromFile && len(rows) > 0:
		t.wrong("table", "table and point are the same fact: allowed is one of them")
	case fromFile:
		if s := t.sheetOf("table", n, sheetOptions{}); s != nil {
			rows = readCalibratedSheet(t, s, m)
		}
	case !t.has("table") && !t.has("point"):
		t.wrong("table", "missing: a CSV file in table, or a list of point, is mandatory")
	}
	points := make([]calibration.CalibratedPoint, len(rows))
	for i, r := range rows {
		points[i] = r.CalibratedPoint
		if i > 0 && r.Frequency > 0 && r.Frequency <= rows[i-1].Frequency {
			t.d.wrong(r.at, t.key("point"), "%g Hz follows %g Hz: frequencies ascend and none stands twice", r.Frequency, rows[i-1].Frequency)
		}
	}
	return points
}

func readCalibratedPoint(t *table, m modulus) (r calibratedRow) {
	defer t.close()
	r.Frequency = t.positive("frequency", quantity.Frequency)
	var k float64
	r.Modulus, r.StdModulus, k = readModulus(t, m)
	for _, key := range []string{"phase", "U_phase"} {
		if t.has(key) && m.scalar {
			t.wrong(key, "%s has no phase: leave phase and U_phase out", m.factor)
		}
	}
	phase, hasPhase := t.optional("phase", quantity.Angle)
	u, hasU := t.optional("U_phase", quantity.Angle)
	if hasPhase != hasU && (!t.has("phase") || !t.has("U_phase")) {
		t.wrong("phase", "phase and U_phase go together")
	}
	r.Phase, r.StdPhase = math.NaN(), math.NaN()
	if hasPhase && hasU {
		r.Phase, r.StdPhase = phase.SI, u.SI/k
		if u.SI < 0 {
			t.wrong("U_phase", "found %q, allowed are values of zero or above", u.Text)
		}
	}
	r.at = t.place()
	return r
}

// readModulus reads a modulus with its expanded uncertainty, which is divided by the coverage factor.
func readModulus(t *table, m modulus) (value, std, k float64) {
	v, ok := t.mustValue("modulus", m.kind)
	if reason := m.wrong(v); ok && reason != "" {
		t.wrong("modulus", "%s", reason)
	}
	k = t.number("k", 1, 10)
	return v.SI, t.notNegative("U_modulus", quantity.Relative) / k, k
}

// wrong says what is wrong with a modulus, "" for nothing.
func (m modulus) wrong(v quantity.Value) string {
	switch {
	case !(v.SI > 0):
		return "found \"" + v.Text + "\", allowed are values above zero"
	case m.unit == one && v.Unit != one:
		return "found \"" + v.Text + "\", allowed is " + m.factor + ", in the unit 1"
	case m.unit != one && !sameQuantities(v.Unit, m.unit):
		return "found \"" + v.Text + "\", allowed is a sensitivity of the same quantities as " + m.unit.Symbol
	}
	return ""
}

func readCalibratedSheet(t *table, s *sheet, m modulus) (rows []calibratedRow) {
	allowed := []column{{"frequency", quantity.Frequency, false, true}, {"modulus", m.kind, false, true}, {"phase", quantity.Angle, false, false},
		{"U_modulus", quantity.Relative, false, true}, {"U_phase", quantity.Angle, false, false}, {"k", 0, true, true}}
	check := func(name string, v quantity.Value) string { return m.wrongCell(name, v) }
	places := s.columns(t, allowed, check)
	if p, there := places["phase"]; there && m.scalar {
		t.d.wrong(s.header[p.index].at, "phase", "%s has no phase: leave phase and U_phase out", m.factor)
	}
	for _, row := range s.rows {
		got, good := s.values(t, row, allowed, places, check)
		if !good {
			continue
		}
		r := calibratedRow{at: row[0].at}
		k := got["k"].SI
		r.Frequency, r.Modulus, r.StdModulus = got["frequency"].SI, got["modulus"].SI, got["U_modulus"].SI/k
		r.Phase, r.StdPhase = math.NaN(), math.NaN()
		phase, hasPhase := got["phase"]
		u, hasU := got["U_phase"]
		if hasPhase != hasU {
			t.d.wrong(r.at, "phase", "phase and U_phase go together")
		} else if hasPhase {
			r.Phase, r.StdPhase = phase.SI, u.SI/k
		}
		rows = append(rows, r)
	}
	return rows
}

// wrongCell says what is wrong with a readable cell, "" for nothing.
func (m modulus) wrongCell(name string, v quantity.Value) string {
	switch name {
	case "frequency":
		if !(v.SI > 0) {
			return "found \"" + v.Text + "\", allowed are frequencies above zero"
		}
	case "modulus":
		return m.wrong(v)
	case "U_modulus", "U_phase":
		if v.SI < 0 {
			return "found \"" + v.Text + "\", allowed are values of zero or above"
		}
	case "k":
		if !(v.SI >= 1 && v.SI <= 10) {
			return "allowed are coverage factors from 1 to 10"
		}
	}
	return ""
}
