package quantity

import "strings"

// class marks what the dimension of a unit does not tell.
type class uint8

const (
	classAngle class = 1 << iota
	classRatio
	classStrain
	classFrequency
	classDecibel
	classGravity
	classGram
)

// symbol is one entry of the closed table of unit symbols.
type symbol struct {
	printed string
	ucum    string
	factor  float64
	offset  float64
	dim     Dimension
	class   class
}

// Dimensions of the quantities the table of symbols is made of.
var (
	dimOne         = Dimension{}
	dimLength      = Dimension{Metre: 1}
	dimMass        = Dimension{Kilogram: 1}
	dimTime        = Dimension{Second: 1}
	dimCurrent     = Dimension{Ampere: 1}
	dimKelvin      = Dimension{Kelvin: 1}
	dimFrequency   = Dimension{Second: -1}
	dimVelocity    = Dimension{Metre: 1, Second: -1}
	dimAccel       = Dimension{Metre: 1, Second: -2}
	dimForce       = Dimension{Metre: 1, Kilogram: 1, Second: -2}
	dimTorque      = Dimension{Metre: 2, Kilogram: 1, Second: -2}
	dimPressure    = Dimension{Metre: -1, Kilogram: 1, Second: -2}
	dimVoltage     = Dimension{Metre: 2, Kilogram: 1, Second: -3, Ampere: -1}
	dimCharge      = Dimension{Second: 1, Ampere: 1}
	dimCapacitance = Dimension{Metre: -2, Kilogram: -1, Second: 4, Ampere: 2}
	dimResistance  = Dimension{Metre: 2, Kilogram: 1, Second: -3, Ampere: -2}
	dimField       = Dimension{Kilogram: 1, Second: -2, Ampere: -1}
	dimPerKelvin   = Dimension{Kelvin: -1}
)

type prefix struct {
	printed, ucum string
	factor        float64
}

var (
	pico  = prefix{"p", "p", 1e-12}
	nano  = prefix{"n", "n", 1e-9}
	micro = prefix{"µ", "u", 1e-6}
	milli = prefix{"m", "m", 1e-3}
	none  = prefix{"", "", 1}
	hecto = prefix{"h", "h", 1e2}
	kilo  = prefix{"k", "k", 1e3}
	mega  = prefix{"M", "M", 1e6}
)

// prefixed lists the base symbols that take prefixes, with the prefixes each of them takes.
// Sources: SI brochure (9th edition) tables 3, 4 and 7; UCUM 2.1 tables for the machine strings.
var prefixed = []struct {
	symbol
	prefixes []prefix
}{
	{symbol{"V", "V", 1, 0, dimVoltage, 0}, []prefix{nano, micro, milli, none, kilo}},
	{symbol{"A", "A", 1, 0, dimCurrent, 0}, []prefix{nano, micro, milli, none}},
	{symbol{"C", "C", 1, 0, dimCharge, 0}, []prefix{pico, nano, micro, milli, none}},
	{symbol{"m", "m", 1, 0, dimLength, 0}, []prefix{nano, micro, milli, none, kilo}},
	{symbol{"s", "s", 1, 0, dimTime, 0}, []prefix{nano, micro, milli, none}},
	{symbol{"Hz", "Hz", 1, 0, dimFrequency, classFrequency}, []prefix{milli, none, kilo, mega}},
	{symbol{"N", "N", 1, 0, dimForce, 0}, []prefix{micro, milli, none, kilo}},
	{symbol{"rad", "rad", 1, 0, dimOne, classAngle}, []prefix{micro, milli, none}},
	{symbol{"K", "K", 1, 0, dimKelvin, 0}, []prefix{milli, none}},
	{symbol{"Pa", "Pa", 1, 0, dimPressure, 0}, []prefix{milli, none, hecto, kilo}},
	{symbol{"Ω", "Ohm", 1, 0, dimResistance, 0}, []prefix{milli, none, kilo, mega}},
	{symbol{"F", "F", 1, 0, dimCapacitance, 0}, []prefix{pico, nano, micro, milli, none}},
	{symbol{"T", "T", 1, 0, dimField, 0}, []prefix{nano, micro, milli, none}},
}

// single lists the symbols written one way only.
var single = []symbol{
	{"°C", "Cel", 1, 273.15, dimKelvin, 0},
	{"%", "%", 1e-2, 0, dimOne, classRatio},
	{"ppm", "[ppm]", 1e-6, 0, dimOne, classRatio},
	{"1", "1", 1, 0, dimOne, classRatio},
	{"µε", "10*-6", 1e-6, 0, dimOne, classStrain},
	{"°", "deg", degree, 0, dimOne, classAngle},
	{"dB", "dB", 0, 0, dimOne, classDecibel},
	{"min", "min", 60, 0, dimTime, 0},
	{"h", "h", 3600, 0, dimTime, 0},
}

const degree = 3.14159265358979323846264338327950288 / 180

// gravity and gram are the two readings of the letter g.
var (
	gravity = prefixAll(symbol{"g", "[g]", StandardGravity, 0, dimAccel, classGravity}, none, milli, micro)
	gram    = prefixAll(symbol{"g", "g", 1e-3, 0, dimMass, classGram}, none, milli, micro, kilo)
)

// aliases maps other spellings to printed symbols. Spellings of the micro sign and of the ohm sign are folded before.
var aliases = map[string]string{
	"g_n": "g", "gn": "g", "[g]": "g", "m[g]": "mg", "µ[g]": "µg", "mg_n": "mg", "mgn": "mg", "µg_n": "µg", "µgn": "µg",
	"deg": "°", "Cel": "°C", "[ppm]": "ppm", "µstrain": "µε", "10*-6": "µε", "1e-6": "µε", "10^-6": "µε",
	"Ohm": "Ω", "mOhm": "mΩ", "kOhm": "kΩ", "MOhm": "MΩ", "sec": "s", "%RH": "%",
}

// gravityOnly are the spellings of g that never mean gram.
var gravityOnly = map[string]bool{"g_n": true, "gn": true, "[g]": true, "m[g]": true, "µ[g]": true, "mg_n": true, "mgn": true, "µg_n": true, "µgn": true}

// table holds the symbols without g, by printed symbol.
var table = makeTable()

func makeTable() map[string]symbol {
	t := make(map[string]symbol)
	for _, p := range prefixed {
		for _, s := range prefixAll(p.symbol, p.prefixes...) {
			t[s.printed] = s
		}
	}
	for _, s := range single {
		t[s.printed] = s
	}
	return t
}

func prefixAll(base symbol, prefixes ...prefix) []symbol {
	out := make([]symbol, 0, len(prefixes))
	for _, p := range prefixes {
		s := base
		s.printed, s.ucum, s.factor = p.printed+base.printed, p.ucum+base.ucum, base.factor*p.factor
		if base.class == classGram && p == kilo {
			s.factor = 1 // the kilogram is the SI unit itself
		}
		out = append(out, s)
	}
	return out
}

// find returns the symbol for a spelling; grams says what the letter g means.
func find(spelling string, grams bool) (symbol, bool) {
	if after, found := strings.CutPrefix(spelling, "u"); found {
		spelling = "µ" + after
	}
	printed := spelling
	if a, ok := aliases[spelling]; ok {
		printed = a
	}
	if s, ok := table[printed]; ok {
		return s, true
	}
	among := gravity
	if grams && !gravityOnly[spelling] || printed == "kg" {
		among = gram
	}
	for _, s := range among {
		if s.printed == printed {
			return s, true
		}
	}
	return symbol{}, false
}
