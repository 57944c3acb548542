// Package quantity holds physical quantities as types: coherent SI values, peak amplitudes, parsed from and printed with units.
package quantity

// StandardGravity is the conventional value g_n in m/s² used to convert the unit g (ISO 80000-3; 3rd CGPM 1901).
const StandardGravity = 9.80665

// Dimension is the exponents of the SI base units metre, kilogram, second, ampere and kelvin.
// Plane angle, strain and ratios have the zero Dimension.
type Dimension struct{ Metre, Kilogram, Second, Ampere, Kelvin int8 }

// Unit is a unit of measurement with its conversion to the coherent SI unit: si = Factor*x + Offset.
type Unit struct {
	Symbol string    // as printed, for example "mV/(m/s²)"
	Factor float64   // SI units in one of this unit
	Offset float64   // not zero for degrees Celsius only
	Dim    Dimension // dimension of the unit
}

// Amplitude says how the size of an oscillation was stated.
type Amplitude uint8

// The ways to state an amplitude. NotStated is the zero value.
const (
	NotStated Amplitude = iota
	Peak
	RMS
	PeakToPeak
)

// Value is a quantity as someone wrote it: the number in coherent SI units (amplitudes as peak), the unit and wording it was written in.
type Value struct {
	SI        float64   // coherent SI; peak where Amplitude is stated
	Number    float64   // the number as written, in Unit
	Unit      Unit      // the unit as written
	Amplitude Amplitude // as written; SI is already peak
	Text      string    // the text as written
}
