package quantity

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// printable are units of every kind in which Format and Parse are each other's inverse.
var printable = []struct {
	unit string
	kind Kind
}{
	{"V/g", Sensitivity}, {"mV/(m/s²)", Sensitivity}, {"pC/g", Sensitivity}, {"mV/(mm/s)", Sensitivity}, {"g", Mass}, {"%", Relative}, {"ppm", Relative},
	{"kHz", Frequency}, {"°", Angle}, {"mrad", Angle}, {"µs", Time}, {"K", TemperatureDifference}, {"°C", Temperature}, {"N·m", Torque}, {"mV/pC", Gain},
	{"dB", Gain}, {"µm/m", Strain}, {"µε", Strain}, {"%/K", RelativePerKelvin}, {"hPa", Pressure}, {"g/µε", AccelerationPerStrain}, {"(m/s²)/T", AccelerationPerField},
}

// TestFormatParse checks that a printed value is read back: same unit, and the same number to the digits printed.
func TestFormatParse(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := rapid.SampledFrom(printable).Draw(t, "unit")
		decimals := rapid.IntRange(0, 9).Draw(t, "decimals")
		x := rapid.Float64Range(1, 1e6).Draw(t, "x")
		if c.unit == "dB" {
			x = math.Mod(x, 200)
		}
		first, err := Parse("1 "+c.unit, c.kind)
		if err != nil {
			t.Fatal(err)
		}
		text := Format(first.Unit.ToSI(x), first.Unit, decimals)
		v, err := Parse(text, c.kind)
		if err != nil {
			t.Fatalf("%q: %v", text, err)
		}
		half := 0.5*math.Pow10(-decimals) + 1e-9*x
		if v.Unit != first.Unit || math.Abs(v.Number-x) > half {
			t.Fatalf("%q read as %v, want %v %s within %g", text, v, x, c.unit, half)
		}
		if again := Format(v.SI, v.Unit, decimals); again != text && decimals < 6 {
			t.Fatalf("%q printed again as %q", text, again)
		}
	})
}

// TestUCUMRoundTrip checks that the machine spelling and the printed symbol of a unit are read back as the same unit.
func TestUCUMRoundTrip(t *testing.T) {
	symbols := rapid.SampledFrom([]string{"V", "mV", "pC", "m", "mm", "µm", "s", "kg", "g_n", "N", "K", "Hz", "rad", "T", "Pa", "F", "Ω", "A", "%"})
	rapid.Check(t, func(t *rapid.T) {
		a, b, c := symbols.Draw(t, "a"), symbols.Draw(t, "b"), symbols.Draw(t, "c")
		form := rapid.SampledFrom([]func() string{
			func() string { return a + "/" + b }, func() string { return a + "·" + b + "/" + c }, func() string { return a + "/(" + b + "·" + c + ")" },
			func() string { return "(" + a + "/" + b + ")/" + c }, func() string { return a + "/(" + b + "/" + c + "²)" }, func() string { return "1/" + a },
			func() string { return "(" + a + "·" + b + ")³" }, func() string { return a + "⁻²" }, func() string { return "(" + a + "/" + b + ")²·" + c },
		}).Draw(t, "form")()
		u, err := ParseUnit(form)
		if err != nil {
			t.Fatal(err)
		}
		machine, err := ParseUCUM(u.UCUM())
		if err != nil || machine != u {
			t.Fatalf("%s: UCUM %q read as %v (%v), want %v", form, u.UCUM(), machine, err, u)
		}
		printed, err := ParseUnit(u.Symbol)
		if err != nil || printed != u {
			t.Fatalf("%s: symbol %q read as %v (%v), want %v", form, u.Symbol, printed, err, u)
		}
	})
}

// TestGramRoundTrip checks that g is the gram again where it was one.
func TestGramRoundTrip(t *testing.T) {
	for _, text := range []string{"g", "kg", "mg"} {
		v, err := Parse("3 "+text, Mass)
		if err != nil {
			t.Fatal(err)
		}
		u, err := ParseUCUM(v.Unit.UCUM())
		if err != nil || u != v.Unit {
			t.Errorf("%s: UCUM %q read as %v (%v), want %v", text, v.Unit.UCUM(), u, err, v.Unit)
		}
	}
}

// FuzzParse checks that no text breaks the parser and that whatever is read is finite, has a unit and is read the same again.
func FuzzParse(f *testing.F) {
	for _, s := range []string{"10 V/g", "0.1 g peak", "±10 %", "98.1 mV/(m/s²)", "20 dB", "5 1e-6", "−5 °C", "1 ((m))²/s⁻²", "1 %/°C", "1e-320 V"} {
		for k := range numKinds {
			f.Add(s, uint8(k))
		}
	}
	f.Fuzz(func(t *testing.T, text string, kind uint8) {
		k := Kind(kind) % numKinds
		v, err := Parse(text, k)
		if err != nil {
			return
		}
		if math.IsNaN(v.SI) || math.IsInf(v.SI, 0) || v.Unit.Symbol == "" || !k.Fits(v.Unit) && k != TemperatureDifference {
			t.Fatalf("%q as %s: %+v", text, k, v)
		}
		if u, err := ParseUCUM(v.Unit.UCUM()); err != nil || u.Dim != v.Unit.Dim || !near(u.Factor, v.Unit.Factor) {
			t.Fatalf("%q: UCUM %q read as %+v, %v", text, v.Unit.UCUM(), u, err)
		}
	})
}

// A gain of 0 dB is one; a gain of 0 V/V is none.
func TestZeroGain(t *testing.T) {
	if v, err := Parse("0 dB", Gain); err != nil || v.SI != 1 {
		t.Errorf("0 dB: %v, %v, want a gain of 1", v.SI, err)
	}
	if _, err := Parse("0 V/V", Gain); err == nil {
		t.Error("0 V/V: accepted as a gain")
	}
}
