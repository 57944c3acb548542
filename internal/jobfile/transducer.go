package jobfile

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"plumbline/calibration"
	"plumbline/quantity"
	"plumbline/steady"
)

func readIdentity(t *table) calibration.Identity {
	return calibration.Identity{Kind: t.text("kind"), Maker: t.optionalText("maker"), Model: t.text("model"), Serial: t.text("serial")}
}

// readTransducer reads what device and reference have in common.
func readTransducer(t *table) (r calibration.Transducer) {
	r.Identity = readIdentity(t)
	s := t.value("sensitivity", quantity.Sensitivity)
	r.Unit, r.Nominal = s.Unit, s.SI
	if v, ok := t.optional("range", quantity.Level); ok {
		r.Range = v.SI
		if !sameMotion(s.Unit, v.Unit) {
			t.wrong("range", "found %q, allowed is a level of the quantity the sensitivity is stated for", v.Text)
		}
	}
	r.Mass = t.si("mass", quantity.Mass, 0)
	r.TimeConstant = readTimeConstant(t)
	value, stated := t.optional("temperature_coefficient", quantity.RelativePerKelvin)
	if stated {
		r.Temperature = calibration.Coefficient{Value: value.SI, Std: t.notNegative("u_temperature_coefficient", quantity.RelativePerKelvin), Stated: true}
	} else if t.has("u_temperature_coefficient") {
		t.wrong("u_temperature_coefficient", "stated without temperature_coefficient")
	}
	r.ReferenceTemperature = t.value("reference_temperature", quantity.Temperature).Number
	r.Transverse = readTransverse(t)
	t.look("noise") // for planning, see readPlan
	return r
}

func readTransverse(t *table) float64 {
	v, ok := t.optional("transverse_sensitivity", quantity.Relative)
	if !ok {
		return math.NaN()
	}
	if v.SI < 0 {
		t.wrong("transverse_sensitivity", "found %q, allowed are values of zero or above", v.Text)
	}
	return v.SI
}

// readTimeConstant reads the discharge time constant, or the corner of the high-pass: of first order tau = 1/(2 pi f), of second order with its damping.
func readTimeConstant(t *table) float64 {
	tau, stated := t.optional("time_constant", quantity.Time)
	corner, other := t.optional("corner", quantity.Frequency)
	damping := t.optionalNumber("damping", 0.01, 100)
	if t.has("damping") && !other {
		t.wrong("damping", "belongs to the corner of a high-pass of second order, which is not stated")
	}
	switch {
	case stated && other:
		t.wrong("corner", "time_constant and corner are the same fact: allowed is one of them")
	case stated && !(tau.SI > 0):
		t.wrong("time_constant", "found %q, allowed are values above zero", tau.Text)
	case other && !(corner.SI > 0):
		t.wrong("corner", "found %q, allowed are values above zero", corner.Text)
	case other && damping > 0:
		tau, _ := steady.HighPass(corner.SI, damping)
		return tau
	case other:
		return 1 / (2 * math.Pi * corner.SI)
	}
	return tau.SI
}

// sameMotion reports whether a level is of the quantity below the stroke of a sensitivity's unit. It is true where either is not known.
func sameMotion(sensitivity, level quantity.Unit) bool {
	_, input, ok := sensitivity.Per()
	return !ok || level.Symbol == "" || input.Dim == level.Dim
}

// sameQuantities reports whether two units of sensitivity have the same output and input quantities. It is true where either is not known.
func sameQuantities(a, b quantity.Unit) bool {
	ao, ai, aok := a.Per()
	bo, bi, bok := b.Per()
	return !aok || !bok || ao.Dim == bo.Dim && ai.Dim == bi.Dim
}

func readDevice(t *table) (d calibration.Device, customer []string) {
	defer t.close()
	d.Transducer = readTransducer(t)
	d.ReferenceFrequency = t.positive("reference_frequency", quantity.Frequency)
	d.Tolerance = readLimit(t, "tolerance")
	d.Flatness = readLimit(t, "flatness")
	if band, ok := t.pair("flatness_band", quantity.Frequency); ok {
		d.FlatnessBand = band
		if d.Flatness == 0 {
			t.wrong("flatness_band", "stated without flatness")
		}
	}
	readLimits(t, &d)
	d.Condition = t.optionalText("condition")
	return d, readCustomerData(t)
}

// readCustomerData puts the values of the table that the customer supplied in words.
func readCustomerData(t *table) (lines []string) {
	for _, key := range t.lines("from_customer") {
		if t.n == nil || t.n.fields[key].value == nil || !slices.Contains(t.known, key) || key == "from_customer" {
			t.wrong("from_customer", "%q is not a key of this table", key)
			continue
		}
		n := t.n.fields[key].value
		text := n.text
		if n.kind == kindArray {
			var parts []string
			for _, item := range n.items {
				parts = append(parts, item.text)
			}
			text = strings.Join(parts, " to ")
			if len(n.items) > 0 && n.items[0].kind == kindTable {
				text = fmt.Sprintf("%d lines", len(n.items))
			}
		}
		lines = append(lines, fmt.Sprintf("%s of the device: %s", strings.ReplaceAll(key, "_", " "), text))
	}
	return lines
}

// readLimit reads an optional relative limit, 0 where there is none.
func readLimit(t *table, key string) float64 {
	v, ok := t.optional(key, quantity.Relative)
	if ok && !(v.SI > 0 && v.SI < 1) {
		t.wrong(key, "found %q, allowed are values above 0 %% and below 100 %%", v.Text)
	}
	return v.SI
}
