package uncertainty

import (
	"math"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"plumbline/quantity"
)

// Verifies: GUM 7.2.6
func TestRound(t *testing.T) {
	for _, c := range []struct {
		value, u     float64
		digits       int
		wantV, wantU string
		source       string
	}{
		{10.05762, 0.027, 2, "10.058", "0.027", "GUM 7.2.6"},
		{0, 28.05e3, 2, "0", "28000", "GUM 7.2.6: 28.05 kHz to 28 kHz"},
		{0, 28.05, 2, "0", "28", "GUM 7.2.6"},
		{0, 10.47, 2, "0", "10", "GUM 7.2.6 allows 11; to nearest it falls by less than 5 %"},
		{50000838, 31.664, 2, "50000838", "32", "GUM H.1"},
		{127.73217, 0.07107, 2, "127.732", "0.071", "GUM H.2"},
		{-0.14938, 0.0041386, 2, "-0.1494", "0.0041", "GUM H.3"},
		{1.23456, 0.0996, 2, "1.23", "0.10", "carry, constructed"},
		{1.23456, 0.00996, 1, "1.23", "0.01", "carry with one digit, constructed"},
		{9.996, 0.099951, 2, "10.00", "0.10", "both carry, constructed"},
		{50837.6, 1234, 2, "50800", "1200", "left of the point, constructed"},
		{49, 1234, 2, "0", "1200", "value far below its uncertainty, constructed"},
		{51, 1234, 2, "100", "1200", "constructed"},
		{-0.001, 0.1, 2, "0.00", "0.10", "no negative zero, constructed"},
		{1.005, 0.10, 2, "1.01", "0.10", "half away from zero in decimals, constructed"},
		{-2.675, 0.25, 2, "-2.68", "0.25", "half away from zero in decimals, constructed"},
		{0.125, 0.145, 2, "0.13", "0.15", "half away from zero, constructed"},
		{3, 0.14, 1, "3.0", "0.2", "one digit: nearest would take 29 % off, constructed"},
		{3, 0.26, 1, "3.0", "0.3", "one digit, constructed"},
		{3, 0.94, 1, "3.0", "0.9", "4.3 % off, constructed"},
		{1.5, 0, 2, "1.5", "0", "no uncertainty, constructed"},
		{0, 0, 2, "0", "0", "constructed"},
		{1200, 0, 2, "1200", "0", "constructed"},
		{1.23456e-9, 2e-12, 2, "1.2346e-9", "0.0020e-9", "beyond ordinary ranges, constructed"},
		{6.02214e23, 3.14e18, 2, "6.022140e23", "0.000031e23", "beyond ordinary ranges, constructed"},
		{1e-5, 2.04e-7, 2, "0.00001000", "0.00000020", "still ordinary, constructed"},
		{math.NaN(), 1, 2, "NaN", "1", "constructed"},
		{1, math.Inf(1), 2, "1", "+Inf", "constructed"},
	} {
		v, u := Round(c.value, c.u, c.digits)
		if v != c.wantV || u != c.wantU {
			t.Errorf("Round(%v, %v, %d) = %q, %q, want %q, %q (%s)", c.value, c.u, c.digits, v, u, c.wantV, c.wantU, c.source)
		}
	}
	if _, u := RoundUp(0, 10.47, 2); u != "11" {
		t.Errorf("RoundUp of 10.47 = %q, want 11 (GUM 7.2.6)", u)
	}
	if _, u := RoundUp(0, 0.0991, 2); u != "0.10" {
		t.Errorf("RoundUp of 0.0991 = %q, want 0.10", u)
	}
	if _, u := RoundUp(0, 11, 2); u != "11" {
		t.Errorf("RoundUp of 11 = %q, want 11", u)
	}
}

// A value that went through SI and back must round as the number people see: 10.05 V/g is not 10.049999999999999.
func TestRoundIn(t *testing.T) {
	perG := quantity.Unit{Symbol: "V/g", Factor: 1 / quantity.StandardGravity}
	if v, u := RoundIn(perG, 10.05/quantity.StandardGravity, 0.1/quantity.StandardGravity, 1); v != "10.1" || u != "0.1" {
		t.Errorf("10.05 V/g ± 0.1 V/g = %q, %q, want 10.1, 0.1", v, u)
	}
	celsius := quantity.Unit{Symbol: "°C", Factor: 1, Offset: 273.15}
	if v, u := RoundIn(celsius, 296.38, 0.5, 1); v != "23.2" || u != "0.5" {
		t.Errorf("296.38 K ± 0.5 K = %q, %q, want 23.2, 0.5", v, u)
	}
	for _, c := range []struct {
		v    float64
		n    int
		want string
	}{{-0.04, 1, "0.0"}, {0.05, 1, "0.1"}, {1234.5, 0, "1235"}, {1234.5, -2, "1200"}, {9.9996, 3, "10.000"}, {math.Inf(-1), 2, "-Inf"}} {
		if got := RoundTo(c.v, c.n); got != c.want {
			t.Errorf("RoundTo(%v, %d) = %q, want %q", c.v, c.n, got, c.want)
		}
	}
}

// What is printed must be readable again: the same texts come from the printed numbers, the value within half a step (and 15 digits), u within 5 % below and half a
// step, both with the same number of decimals.
func TestRoundTripsThroughText(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		value := rapid.Float64Range(-1, 1).Draw(t, "value") * math.Pow(10, float64(rapid.IntRange(-9, 9).Draw(t, "power of value")))
		u := rapid.Float64Range(0.1, 1).Draw(t, "u") * math.Pow(10, float64(rapid.IntRange(-8, 9).Draw(t, "power of u")))
		digits := rapid.IntRange(1, 3).Draw(t, "digits")
		vText, uText := Round(value, u, digits)
		v, errV := strconv.ParseFloat(vText, 64)
		w, errU := strconv.ParseFloat(uText, 64)
		if errV != nil || errU != nil {
			t.Fatalf("%q, %q: not numbers", vText, uText)
		}
		_, decimalsV, _ := strings.Cut(vText, ".")
		_, decimalsU, _ := strings.Cut(uText, ".")
		if len(decimalsV) != len(decimalsU) {
			t.Fatalf("%q and %q end at different places", vText, uText)
		}
		step := math.Pow(10, math.Floor(math.Log10(w))-float64(digits)+1)
		if math.Abs(v-value) > 0.5000001*step+5e-15*math.Abs(value) || w < 0.95*u*(1-1e-12) || w-u > step*(1+1e-9) {
			t.Fatalf("Round(%v, %v, %d) = %q, %q: step %g", value, u, digits, vText, uText, step)
		}
		if v2, u2 := Round(v, w, digits); v2 != vText || u2 != uText {
			t.Fatalf("Round(%v, %v, %d) = %q, %q, rounded again %q, %q", value, u, digits, vText, uText, v2, u2)
		}
	})
}
