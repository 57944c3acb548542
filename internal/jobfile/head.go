package jobfile

import (
	"math"
	"strings"

	"plumbline/calibration"
	"plumbline/certificate"
	"plumbline/quantity"
)

func readHead(t *table, j *Job) {
	defer t.close()
	c, p := &j.Calibration, &j.Particulars
	c.Number = t.text("number")
	p.Number = t.text("certificate")
	p.Title = t.text("title")
	p.Received = t.optionalDate("received")
	p.Performed = t.date("performed")
	p.Until = t.optionalDate("until")
	p.Issued = t.date("issued")
	if p.Until.IsZero() {
		p.Until = p.Performed
	}
	c.Performed, c.Until = p.Performed, p.Until
	p.Location = t.text("location")
	p.PerformedBy = t.text("performed_by")
	p.AuthorisedBy = t.text("authorised_by")
	p.AuthorisedRole = t.text("authorised_role")
	p.OrderReference = t.optionalText("order")
	p.Statements = t.lines("statements")
	p.Deviations = t.lines("deviations")
	p.Invented = t.flag("invented")
	switch t.choice("sensitivity_of", "transducer", "chain") {
	case "transducer":
		c.Subject = calibration.OfTransducer
	case "chain":
		c.Subject = calibration.OfChain
	}
	c.Seed = uint64(t.whole("monte_carlo_seed", 0, math.MaxInt64))
	checkDates(t, p)
}

// checkDates refuses days in an order that cannot be.
func checkDates(t *table, p *certificate.Particulars) {
	const day = "2006-01-02"
	if p.Performed.IsZero() {
		return
	}
	if p.Until.Before(p.Performed) {
		t.wrong("until", "%s is before the first day of the measurements, %s", p.Until.Format(day), p.Performed.Format(day))
	}
	if !p.Received.IsZero() && p.Received.After(p.Performed) {
		t.wrong("received", "%s is after the first day of the measurements, %s", p.Received.Format(day), p.Performed.Format(day))
	}
	if !p.Issued.IsZero() && p.Issued.Before(p.Until) {
		t.wrong("issued", "%s is before the last day of the measurements, %s", p.Issued.Format(day), p.Until.Format(day))
	}
}

func addressOf(t *table) certificate.Address {
	return certificate.Address{Name: t.text("name"), Lines: t.mustLines("address"), Contact: t.optionalText("contact")}
}

func readAddress(t *table) certificate.Address {
	defer t.close()
	return addressOf(t)
}

func readLaboratory(t *table, j *Job) {
	defer t.close()
	j.Particulars.Laboratory = addressOf(t)
	j.Particulars.Traceability = t.text("traceability")
	j.Calibration.Scope = collect(t, "scope", false, func(t *table) calibration.Scope {
		defer t.close()
		s := calibration.Scope{From: t.positive("from", quantity.Frequency), To: t.positive("to", quantity.Frequency)}
		if s.To < s.From && s.To > 0 {
			t.wrong("to", "lies below from")
		}
		s.Modulus = t.positive("U_modulus", quantity.Relative)
		s.Phase = t.si("U_phase", quantity.Angle, math.NaN())
		return s
	})
}

func readConditions(t *table) (c calibration.Conditions) {
	defer t.close()
	c.Temperature = t.value("temperature", quantity.Temperature).Number
	c.TemperatureHalfWidth = t.notNegative("temperature_half_width", quantity.TemperatureDifference)
	c.Humidity = t.si("humidity", quantity.Humidity, math.NaN())
	if c.Humidity > 1 {
		t.wrong("humidity", "above 100 %%")
	}
	c.Pressure = t.si("pressure", quantity.Pressure, math.NaN())
	return c
}

// readMounting joins the items of the mounting into the certificate's words.
func readMounting(t *table) string {
	defer t.close()
	parts := []string{t.text("kind")}
	if v, ok := t.optional("torque", quantity.Torque); ok {
		parts = append(parts, "torque "+v.Text)
	}
	for _, item := range []struct{ key, words string }{{"coupling", "coupling "}, {"cable", "cable "}, {"orientation", "orientation "}, {"remarks", ""}} {
		if s := t.optionalText(item.key); s != "" {
			parts = append(parts, item.words+s)
		}
	}
	return strings.Join(parts, "; ")
}
