package jobfile

import (
	"math"
	"time"

	"plumbline/calibration"
	"plumbline/quantity"
)

// standard says what the reference is, which decides what the points of the job hold.
type standard uint8

const (
	transducer  standard = iota // recorded beside the device
	readDisplay                 // an instrument whose display of the sensitivity is read
	statedLevel                 // an exciter that states its level: the device alone is recorded
)

// standardOf tells the sorts of reference apart by the table that describes the steps of a display.
func standardOf(t *table) standard {
	display, level := t.has("display"), t.has("stated_level")
	switch {
	case display && level:
		t.wrong("stated_level", "stands beside display: either the display's sensitivity is read, or the device is recorded against the stated level")
		return statedLevel
	case display:
		return readDisplay
	case level:
		return statedLevel
	}
	return transducer
}

// readReference reads the measurement standard and the steps of its display: of the sensitivity and of the level, coherent SI (peak).
func readReference(t *table, by standard, device quantity.Unit) (r calibration.Reference, steps [2]float64) {
	defer t.close()
	display, level := readDisplaySteps(t.optionalTable("display"), device), readStatedStep(t.optionalTable("stated_level"), device)
	certificate := t.mustTable("certificate")
	m := modulus{kind: quantity.Relative, unit: one, scalar: true}
	switch by {
	case transducer:
		r.Transducer = readTransducer(t)
		r.ReferenceFrequency = t.si("reference_frequency", quantity.Frequency, 0)
		m = modulus{kind: quantity.Sensitivity, unit: r.Unit}
	case readDisplay:
		r.Transducer, steps = readInstrument(t, "an instrument whose display is read (table display)"), display
		m.factor = "the factor true to displayed"
	case statedLevel:
		r.Transducer, steps = readInstrument(t, "an exciter that states its level (table stated_level)"), level
		r.StatesLevel, m.factor = true, "the factor true to stated"
	}
	r.Certificate, r.Table, r.Correlation = readReferenceCertificate(certificate, m)
	r.History = readHistory(t, m, r.Certificate.Date)
	return r, steps
}

// readInstrument reads an instrument whose certificate holds what is not said here. what is the instrument in words.
func readInstrument(t *table, what string) calibration.Transducer {
	for _, key := range []string{"sensitivity", "range", "time_constant", "corner", "temperature_coefficient", "u_temperature_coefficient", "reference_temperature", "reference_frequency"} {
		if t.has(key) {
			t.wrong(key, "is not said of %s: its certificate holds what it needs", what)
		}
	}
	return calibration.Transducer{
		Identity: readIdentity(t), Unit: one, Nominal: 1, Transverse: readTransverse(t), Mass: t.si("mass", quantity.Mass, 0), ReferenceTemperature: math.NaN(),
	}
}

// readDisplaySteps reads the steps of a display; that of the level is NaN where no level is shown.
func readDisplaySteps(t *table, device quantity.Unit) [2]float64 {
	defer t.close()
	s, ok := t.mustValue("sensitivity_step", quantity.Sensitivity)
	if ok && !sameQuantities(device, s.Unit) {
		t.wrong("sensitivity_step", "found %q, allowed is a step of the device's sensitivity, in units such as %s", s.Text, device.Symbol)
	}
	return [2]float64{s.SI, t.si("level_step", quantity.Level, math.NaN())}
}

// readStatedStep reads the step of a stated level.
func readStatedStep(t *table, device quantity.Unit) [2]float64 {
	defer t.close()
	return [2]float64{0, readOwnLevel(t, "level_step", device)}
}

// readOwnLevel reads a mandatory level above zero of the quantity the device senses. The level of another one would bring the frequency into the
// value, which an exciter has on a clock of its own.
func readOwnLevel(t *table, key string, device quantity.Unit) float64 {
	v, ok := t.mustValue(key, quantity.Level)
	switch {
	case ok && !sameMotion(device, v.Unit):
		t.wrong(key, "found %q, allowed with an exciter that states its level is a level of the quantity the device senses, which is in %s", v.Text, inputSymbol(device))
	case ok && !(v.SI > 0):
		t.wrong(key, "found %q, allowed are values above zero", v.Text)
	}
	return v.SI
}

// inputSymbol is the unit below the stroke of a sensitivity's unit.
func inputSymbol(sensitivity quantity.Unit) string {
	_, input, _ := sensitivity.Per()
	return input.Symbol
}

// datedRow is one value of an earlier calibration and its place.
type datedRow struct {
	calibration.HistoryPoint
	at position
}

// readHistory reads the earlier calibrations of a reference. present is the date of the certificate in use.
func readHistory(t *table, m modulus, present time.Time) (points []calibration.HistoryPoint) {
	rows := collect(t, "history", false, func(t *table) (r datedRow) {
		defer t.close()
		r.at = t.place()
		r.Date, r.Frequency = t.date("date"), t.positive("frequency", quantity.Frequency)
		r.Modulus, r.StdModulus, _ = readModulus(t, m)
		if !r.Date.IsZero() && !present.IsZero() && !r.Date.Before(present) {
			t.wrong("date", "%s is not before the certificate in use, %s: a history holds the earlier calibrations", r.Date.Format(time.DateOnly), present.Format(time.DateOnly))
		}
		return r
	})
	type key struct {
		date time.Time
		f    float64
	}
	seen := map[key]int{}
	for i, r := range rows {
		k := key{r.Date, r.Frequency}
		if first, again := seen[k]; again && r.Frequency > 0 {
			t.d.wrong(r.at, t.key("history"), "%s at %g Hz stands in entry %d already", r.Date.Format(time.DateOnly), r.Frequency, first)
		} else {
			seen[k] = i + 1
		}
		points = append(points, r.HistoryPoint)
	}
	return points
}
