package uff58

import (
	"fmt"
	"math"

	"plumbline/internal/format"
	"plumbline/quantity"
	"plumbline/recording"
)

// unitSystem is dataset 164: how many of the file's units are one SI unit.
type unitSystem struct{ length, force, temperature float64 }

// kinds are the specific data types that are quantities of their own: SI unit and exponents of length, force, temperature.
var kinds = map[int]struct {
	unit      string
	exponents [3]int
}{
	8:  {"m", [3]int{1, 0, 0}},
	11: {"m/s", [3]int{1, 0, 0}},
	12: {"m/s²", [3]int{1, 0, 0}},
	13: {"N", [3]int{0, 1, 0}},
	15: {"Pa", [3]int{-2, 1, 0}},
}

// divisor is what values of the file are divided by to be in SI units.
func (u unitSystem) divisor(exponents [3]int) float64 {
	return math.Pow(u.length, float64(exponents[0])) * math.Pow(u.force, float64(exponents[1])) * math.Pow(u.temperature, float64(exponents[2]))
}

// channel settles the unit of the samples and what they are divided by. The label of the unit decides; it must not
// contradict the units of dataset 164. With given, the unit is overruled and nothing is settled.
func (d *dataset) channel(given bool) (ch recording.Channel, remark string, err error) {
	d.divisor = 1
	ch.Name = d.response
	if ch.Name == "" && d.ids[0] != "NONE" {
		ch.Name = d.ids[0]
	}
	if given {
		return ch, "", nil
	}
	kind, physical := kinds[d.y.kind]
	labelled, labelErr := quantity.ParseUnit(d.y.unit)
	switch {
	case labelErr == nil && physical && d.units != nil:
		si, err := quantity.ParseUnit(kind.unit)
		if err != nil {
			return ch, "", err
		}
		want := 1 / d.units.divisor(kind.exponents)
		if labelled.Dim != si.Dim || math.Abs(labelled.Factor/want-1) > 1e-6 {
			return ch, "", fmt.Errorf("unit %q contradicts dataset 164, by which the samples are in %.8g %s: state the unit of the channel", d.y.unit, want, kind.unit)
		}
		ch.Unit = labelled
	case labelErr == nil:
		ch.Unit = labelled
	case d.y.unit == "FS":
		ch.Unit = format.FullScale()
	case physical:
		if d.units != nil {
			d.divisor = d.units.divisor(kind.exponents)
		}
		ch.Unit, err = quantity.ParseUnit(kind.unit)
		return ch, fmt.Sprintf("unit %s from the type of the ordinate (label %q)", kind.unit, d.y.unit), err
	case d.y.unit == "":
		return ch, "no unit", nil
	default:
		return ch, fmt.Sprintf("unit %q is not known", d.y.unit), nil
	}
	return ch, "", nil
}
