package quantity

import "strings"

// Kind is what a field wants: which units, and whether an amplitude must be stated.
type Kind uint8

// The kinds of quantity a file or a person may be asked for.
const (
	Frequency             Kind = iota // Hz
	Level                             // acceleration, velocity or displacement with peak, rms or peak-to-peak; SI is peak
	AccelerationLevel                 // the same, acceleration only
	Sensitivity                       // V, A or C per acceleration, velocity or displacement
	Mass                              // kg; g is the gram
	Voltage                           // V
	VoltageSpan                       // full scale: "10 V" and "±10 V" are ±10 V, "20 V peak-to-peak" too; SI is half the span
	VoltageAmplitude                  // V with peak, rms or peak-to-peak; SI is peak
	Current                           // A
	Charge                            // C
	Capacitance                       // F
	Resistance                        // Ω
	Time                              // s
	Temperature                       // °C; SI is in kelvin, Number in °C
	TemperatureDifference             // K
	Relative                          // %, ppm or 1
	RelativePerKelvin                 // %/K, ppm/K or 1/K
	Humidity                          // %
	Pressure                          // Pa
	Angle                             // °, rad
	Length                            // m
	Force                             // N
	Torque                            // N·m
	Gain                              // V/V, V/C, V/A and multiples, or dB of V/V
	Strain                            // µm/m
	MagneticField                     // T
	AccelerationPerStrain             // (m/s²)/(µm/m)
	AccelerationPerField              // (m/s²)/T
	numKinds
)

// sense says which numbers of a kind have a meaning.
type sense uint8

const (
	anyNumber sense = iota
	notNegative
	positive
	notZero
)

type kindSpec struct {
	name      string
	fits      func(e *expr) bool
	examples  string
	sense     sense
	plusMinus bool // "±" may stand before the number
	amplitude bool // peak, rms or peak-to-peak must be stated
}

var kinds = [numKinds]kindSpec{
	Frequency:             {name: "frequency", fits: hasClass(classFrequency, dimFrequency), examples: "10 Hz or 1.25 kHz", sense: notNegative},
	Level:                 {name: "level", fits: isMotion, examples: "0.1 g peak, 5 mm/s rms or 10 mm peak-to-peak", sense: notNegative, plusMinus: true, amplitude: true},
	AccelerationLevel:     {name: "acceleration level", fits: hasDim(dimAccel), examples: "0.1 g peak or 0.7 m/s² rms", sense: notNegative, plusMinus: true, amplitude: true},
	Sensitivity:           {name: "sensitivity", fits: isSensitivity, examples: "10 V/g, 1.02 V/(m/s²), 1.2 pC/g or 28 mV/(mm/s)", sense: positive},
	Mass:                  {name: "mass", fits: hasDim(dimMass), examples: "20 g or 0.8 kg", sense: notNegative},
	Voltage:               {name: "voltage", fits: hasDim(dimVoltage), examples: "5 V or 2 mV"},
	VoltageSpan:           {name: "full scale", fits: hasDim(dimVoltage), examples: "±10 V, 10 V (the same) or 20 V peak-to-peak", sense: positive, plusMinus: true},
	VoltageAmplitude:      {name: "amplitude of a voltage", fits: hasDim(dimVoltage), examples: "1 V rms, 1.4 V peak or 2 V peak-to-peak", sense: positive, amplitude: true},
	Current:               {name: "current", fits: hasDim(dimCurrent), examples: "4 mA"},
	Charge:                {name: "charge", fits: hasDim(dimCharge), examples: "100 pC"},
	Capacitance:           {name: "capacitance", fits: hasDim(dimCapacitance), examples: "1 nF", sense: notNegative},
	Resistance:            {name: "resistance", fits: hasDim(dimResistance), examples: "1 MΩ", sense: notNegative},
	Time:                  {name: "time", fits: hasDim(dimTime), examples: "20 s, 5 µs or 30 min"},
	Temperature:           {name: "temperature", fits: written("°C"), examples: "23 °C"},
	TemperatureDifference: {name: "temperature difference", fits: written("K", "mK", "°C"), examples: "2 K", plusMinus: true},
	Relative:              {name: "relative value", fits: written("%", "ppm", "1"), examples: "5 %, 200 ppm or 0.05 1", plusMinus: true},
	RelativePerKelvin:     {name: "relative value per kelvin", fits: isPerKelvin, examples: "0.02 %/K"},
	Humidity:              {name: "relative humidity", fits: written("%"), examples: "45 %", sense: notNegative},
	Pressure:              {name: "pressure", fits: hasDim(dimPressure), examples: "1013 hPa", sense: notNegative},
	Angle:                 {name: "angle", fits: written("°", "rad", "mrad", "µrad"), examples: "0.5° or 2 mrad", plusMinus: true},
	Length:                {name: "length", fits: hasDim(dimLength), examples: "25 mm", sense: notNegative},
	Force:                 {name: "force", fits: hasDim(dimForce), examples: "100 N", sense: notNegative},
	Torque:                {name: "torque", fits: hasDim(dimTorque), examples: "2 N·m", sense: notNegative},
	Gain:                  {name: "gain", fits: isGain, examples: "10 V/V, 1 mV/pC or 20 dB", sense: notZero},
	Strain:                {name: "strain", fits: written("µε", "µm/m"), examples: "1 µm/m", sense: notNegative},
	MagneticField:         {name: "magnetic flux density", fits: hasDim(dimField), examples: "1 mT", sense: notNegative},
	AccelerationPerStrain: {name: "acceleration per strain", fits: isPerStrain, examples: "0.01 (m/s²)/(µm/m) or 0.001 g/µε", sense: notNegative},
	AccelerationPerField:  {name: "acceleration per magnetic flux density", fits: hasDim(Dimension{Metre: 1, Kilogram: -1, Ampere: 1}), examples: "1 (m/s²)/T", sense: notNegative},
}

// String is the kind in words.
func (k Kind) String() string { return k.spec().name }

// Examples is a few values of the kind as they may be written, for messages and documents.
func (k Kind) Examples() string { return k.spec().examples }

// article is the kind in words with its article.
func (s kindSpec) article() string {
	if strings.ContainsRune("aeiou", rune(s.name[0])) {
		return "an " + s.name
	}
	return "a " + s.name
}

func (k Kind) spec() kindSpec {
	if k >= numKinds {
		panic("quantity: unknown kind")
	}
	return kinds[k]
}

// Fits reports whether a unit is one the kind may be stated in.
func (k Kind) Fits(u Unit) bool {
	e, ok := u.expr()
	return ok && k.spec().fits(e)
}

func hasDim(d Dimension) func(*expr) bool {
	return func(e *expr) bool { return e.dim == d && e.class&^(classGravity|classGram) == 0 }
}

func hasClass(c class, d Dimension) func(*expr) bool {
	return func(e *expr) bool { return e.dim == d && e.class == c }
}

func written(symbols ...string) func(*expr) bool {
	return func(e *expr) bool {
		for _, s := range symbols {
			if e.printed == s {
				return true
			}
		}
		return false
	}
}

func isMotion(e *expr) bool {
	_, ok := MotionOf(e.unit())
	return ok && e.class&^classGravity == 0
}

func isOutput(e *expr) bool {
	return e.class == 0 && (e.dim == dimVoltage || e.dim == dimCurrent || e.dim == dimCharge)
}

func isSensitivity(e *expr) bool {
	return e.num != nil && isOutput(e.num) && isMotion(e.den)
}

func isGain(e *expr) bool {
	return e.class == classDecibel || e.num != nil && e.num.dim == dimVoltage && isOutput(e.den)
}

func isPerKelvin(e *expr) bool {
	return e.num != nil && e.dim == dimPerKelvin && e.num.class == classRatio && e.num.dim == dimOne
}

func isPerStrain(e *expr) bool {
	return e.num != nil && e.num.dim == dimAccel && e.den.dim == dimOne && (e.den.class == classStrain || strings.HasSuffix(e.den.printed, "m/m"))
}
