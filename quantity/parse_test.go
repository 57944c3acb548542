package quantity

import (
	"math"
	"strings"
	"testing"
)

// near reports whether a and b agree to a few units in the last place.
func near(a, b float64) bool {
	return a == b || math.Abs(a-b) <= 4e-16*math.Max(math.Abs(a), math.Abs(b))
}

// TestParse checks values by hand from the definitions of the units (SI brochure, 9th edition) and g_n = 9.80665 m/s²
// (3rd CGPM 1901); where another source is used it is named.
func TestParse(t *testing.T) {
	for _, c := range []struct {
		text   string
		kind   Kind
		si     float64
		symbol string
		ucum   string
	}{
		{"10 V/g", Sensitivity, 10 / 9.80665, "V/g", "V/[g]"}, // 1.019716 V/(m/s²): read, checks of sine kinematics, Evans et al. 2014
		{"1.02 V/(m/s²)", Sensitivity, 1.02, "V/(m/s²)", "V/(m/s2)"},
		{"1000 mV/g_n", Sensitivity, 1 / 9.80665, "mV/g", "mV/[g]"}, // 101.97162 mV/(m/s²): read, agreed by two unit programs
		{"98.1 mV/(m/s^2)", Sensitivity, 0.0981, "mV/(m/s²)", "mV/(m/s2)"},
		{"98.1 mV/(m/s2)", Sensitivity, 0.0981, "mV/(m/s²)", "mV/(m/s2)"},
		{"98.1 mV / ( m · s⁻² )", Sensitivity, 0.0981, "mV/(m·s⁻²)", "mV/(m.s-2)"},
		{"1.2 pC/g", Sensitivity, 1.2e-12 / 9.80665, "pC/g", "pC/[g]"},
		{"28 mV/(mm/s)", Sensitivity, 28, "mV/(mm/s)", "mV/(mm/s)"},
		{"8 mV/µm", Sensitivity, 8000, "mV/µm", "mV/um"},
		{"8 mV/um", Sensitivity, 8000, "mV/µm", "mV/um"},
		{"20 g", Mass, 0.02, "g", "g"},
		{"0.8 kg", Mass, 0.8, "kg", "kg"},
		{"±10 %", Relative, 0.1, "%", "%"},
		{"± 10 %", Relative, 0.1, "%", "%"},
		{"+/-10%", Relative, 0.1, "%", "%"},
		{"0.05 1", Relative, 0.05, "1", "1"},
		{"200 ppm", Relative, 2e-4, "ppm", "[ppm]"},
		{"-0.02 %/K", RelativePerKelvin, -2e-4, "%/K", "%/K"},
		{"0.02 %/°C", RelativePerKelvin, 2e-4, "%/K", "%/K"},
		{"2e-4 1/K", RelativePerKelvin, 2e-4, "1/K", "1/K"},
		{"23 °C", Temperature, 296.15, "°C", "Cel"},
		{"−5 °C", Temperature, 268.15, "°C", "Cel"},
		{"2 °C", TemperatureDifference, 2, "K", "K"},
		{"10 V", VoltageSpan, 10, "V", "V"},
		{"±10 V", VoltageSpan, 10, "V", "V"},
		{"20 V peak-to-peak", VoltageSpan, 10, "V", "V"},
		{"1 V rms", VoltageAmplitude, math.Sqrt2, "V", "V"},
		{"20 mV peak-to-peak", VoltageAmplitude, 0.01, "mV", "mV"},
		{"1.25 kHz", Frequency, 1250, "kHz", "kHz"},
		{"180°", Angle, math.Pi, "°", "deg"},
		{"180 deg", Angle, math.Pi, "°", "deg"},
		{"2 mrad", Angle, 2e-3, "mrad", "mrad"},
		{"20 dB", Gain, 10, "dB", "dB"},
		{"-6 dB", Gain, 0.5011872336272722, "dB", "dB"}, // 10^(-6/20), closed form
		{"1 mV/pC", Gain, 1e9, "mV/pC", "mV/pC"},
		{"-1 V/V", Gain, -1, "V/V", "V/V"},
		{"2 N m", Torque, 2, "N·m", "N.m"},
		{"5 μs", Time, 5e-6, "µs", "us"}, // Greek mu
		{"30 min", Time, 1800, "min", "min"},
		{"1013 hPa", Pressure, 101300, "hPa", "hPa"},
		{"1 MOhm", Resistance, 1e6, "MΩ", "MOhm"},
		{"1 M\u2126", Resistance, 1e6, "MΩ", "MOhm"}, // ohm sign
		{"45 %", Humidity, 0.45, "%", "%"},
		{"5 1e-6", Strain, 5e-6, "µε", "10*-6"},
		{"5 µm/m", Strain, 5e-6, "µm/m", "um/m"},
		{"0.001 g/µε", AccelerationPerStrain, 9806.65, "g/µε", "[g]/10*-6"},
		{"0.01 (m/s²)/(µm/m)", AccelerationPerStrain, 1e4, "(m/s²)/(µm/m)", "(m/s2)/(um/m)"},
		{"1 (m/s²)/T", AccelerationPerField, 1, "(m/s²)/T", "(m/s2)/T"},
		{"100 pF", Capacitance, 1e-10, "pF", "pF"},
		{"4 mA", Current, 4e-3, "mA", "mA"},
		{"1.5 nC", Charge, 1.5e-9, "nC", "nC"},
		{".5 mm", Length, 5e-4, "mm", "mm"},
		{"100 N", Force, 100, "N", "N"},
		{"1 mT", MagneticField, 1e-3, "mT", "mT"},
		{"-2 mV", Voltage, -2e-3, "mV", "mV"},
	} {
		v, err := Parse(c.text, c.kind)
		if err != nil {
			t.Errorf("Parse(%q, %s): %v", c.text, c.kind, err)
			continue
		}
		if !near(v.SI, c.si) || v.Unit.Symbol != c.symbol || v.Unit.UCUM() != c.ucum || v.Text != c.text {
			t.Errorf("Parse(%q, %s) = %.17g in %q (UCUM %q), text %q; want %.17g in %q (UCUM %q)", c.text, c.kind, v.SI, v.Unit.Symbol, v.Unit.UCUM(), v.Text, c.si, c.symbol, c.ucum)
		}
	}
}

// TestParseLevel checks that amplitudes come back as peak: rms times sqrt 2, peak-to-peak by 2 (closed form of a sine).
func TestParseLevel(t *testing.T) {
	const g = StandardGravity
	for _, c := range []struct {
		text string
		si   float64
		a    Amplitude
	}{
		{"0.1 g peak", 0.1 * g, Peak}, {"0.07 g rms", 0.07 * g * math.Sqrt2, RMS}, {"0.07 g RMS", 0.07 * g * math.Sqrt2, RMS},
		{"0.2 g p-p", 0.1 * g, PeakToPeak}, {"0.2 g pk-pk", 0.1 * g, PeakToPeak}, {"0.1 g pk", 0.1 * g, Peak}, {"0.1 g p", 0.1 * g, Peak},
		{"0.1 g 0-p", 0.1 * g, Peak}, {"9 mm peak-to-peak", 4.5e-3, PeakToPeak}, {"5 mm/s peak", 5e-3, Peak}, {"18 mg peak", 0.018 * g, Peak},
	} {
		v, err := Parse(c.text, Level)
		if err != nil || !near(v.SI, c.si) || v.Amplitude != c.a {
			t.Errorf("Parse(%q) = %g %v, %v; want %g %v", c.text, v.SI, v.Amplitude, err, c.si, c.a)
		}
	}
}

// TestParseRefuses checks that what could be misread is refused, in words that say what is allowed.
func TestParseRefuses(t *testing.T) {
	for _, c := range []struct {
		text string
		kind Kind
		want string
	}{
		{"10", Sensitivity, "a unit is needed for a sensitivity, for example 10 V/g"},
		{"", Sensitivity, "is not a sensitivity"},
		{"V/g", Sensitivity, "starts with no number"},
		{"0.1 g", Level, "must say peak, rms or peak-to-peak"},
		{"0.1 peak", Level, "a unit is needed"},
		{"0.1 g max", Level, `unknown symbol "max"`},
		{"1,5 V", Voltage, "the decimal mark is a point"},
		{"1 , 5 V", Voltage, "the decimal mark is a point"},
		{"10 000 Hz", Frequency, "digits are not grouped"},
		{"10'000 Hz", Frequency, "digits are not grouped"},
		{"1.2.3 Hz", Frequency, "decimal mark"},
		{"5. V", Voltage, "decimal mark"},
		{"0x10 V", Voltage, "unknown symbol"},
		{"1_000 Hz", Frequency, "digits are not grouped"},
		{"1e400 V", Voltage, "out of range"},
		{"1e-400 V", Voltage, "out of range"},
		{"1e308 kV", Voltage, "out of the range"},
		{"1e-320 µV", Voltage, "out of the range"},
		{"inf V", Voltage, "starts with no number"},
		{"NaN V", Voltage, "starts with no number"},
		{"1000 dB", Relative, "dB is not a unit of a relative value"},
		{"20 dB", Sensitivity, "not a unit"},
		{"20 dB·V", Gain, "dB cannot be combined"},
		{"1 V/V", Relative, "not a unit"},
		{"1 °", Relative, "not a unit"},
		{"1 %", Angle, "not a unit"},
		{"1000 rad/s", Frequency, "not a unit of a frequency"},
		{"10 1/s", Frequency, "not a unit of a frequency"},
		{"1 V/m/s", Sensitivity, "more than one stroke"},
		{"1 V/m·s²", Sensitivity, "product below the stroke"},
		{"1 V·s²/m", Sensitivity, "not a unit"},
		{"10 mV/kg", Sensitivity, "not a unit"},
		{"10 g peak", Mass, "peak is not said of a mass"},
		{"-10 V/g", Sensitivity, "is above zero"},
		{"0 V/V", Gain, "is not zero"},
		{"-1 Hz", Frequency, "is not negative"},
		{"7 V rms", VoltageSpan, "is not stated as rms"},
		{"± -10 %", Relative, "a sign behind ±"},
		{"±10 V/g", Sensitivity, "± has no meaning"},
		{"-300 °C", Temperature, "below absolute zero"},
		{"296 K", Temperature, "not a unit of a temperature"},
		{"5 1 V", Voltage, "1 in a product"},
		{"5 (V", Voltage, "closing parenthesis"},
		{"5 V)", Voltage, "unexpected"},
		{"5 V^", Voltage, "exponent"},
		{"5 V^99999999999", Voltage, "exponent"},
		{"5 " + strings.Repeat("(", 30) + "V", Voltage, "nested"},
		{"5 \xff", Voltage, "is not a voltage"},
		{strings.Repeat("1", 200) + " V", Voltage, "is not a voltage"},
		{"0.002 m/s²", AccelerationPerStrain, "not a unit of an acceleration per strain"},
	} {
		v, err := Parse(c.text, c.kind)
		if err == nil {
			t.Errorf("Parse(%q, %s) = %g %s, want an error with %q", c.text, c.kind, v.SI, v.Unit.Symbol, c.want)
		} else if !strings.Contains(err.Error(), c.want) {
			t.Errorf("Parse(%q, %s): %v, want %q in it", c.text, c.kind, err, c.want)
		}
	}
}

// TestExamplesOfKinds checks that every example a message gives can be read.
func TestExamplesOfKinds(t *testing.T) {
	for k := range numKinds {
		examples := strings.NewReplacer(" (the same)", "", " or ", "|", ", ", "|").Replace(k.Examples())
		for _, e := range strings.Split(examples, "|") {
			v, err := Parse(e, k)
			if err != nil {
				t.Errorf("%s: %v", k, err)
			} else if !k.Fits(v.Unit) {
				t.Errorf("%s: unit %s of %q does not fit", k, v.Unit.Symbol, e)
			}
		}
	}
}

func TestPer(t *testing.T) {
	for _, c := range []struct {
		text, out, in string
		motion        Motion
	}{
		{"10 V/g", "V", "g", Acceleration}, {"1 pC/(m/s²)", "pC", "m/s²", Acceleration}, {"1 nC/(mm/s)", "nC", "mm/s", Velocity},
		{"1 nA/(m/s²)", "nA", "m/s²", Acceleration}, {"8 mV/µm", "mV", "µm", Displacement}, {"1 pC/mm", "pC", "mm", Displacement},
	} {
		v, err := Parse(c.text, Sensitivity)
		if err != nil {
			t.Fatal(err)
		}
		out, in, ok := v.Unit.Per()
		m, isMotion := MotionOf(in)
		if !ok || out.Symbol != c.out || in.Symbol != c.in || !isMotion || m != c.motion {
			t.Errorf("%q: output %q, input %q (%v); want %q, %q (%v)", c.text, out.Symbol, in.Symbol, m, c.out, c.in, c.motion)
		}
	}
	if _, _, ok := (Unit{Symbol: "V", Factor: 1, Dim: dimVoltage}).Per(); ok {
		t.Error("V is no quotient")
	}
	if s := (Unit{Symbol: "FS", Factor: 1}).UCUM(); s != "" {
		t.Errorf("UCUM of FS is %q, want none", s)
	}
}
