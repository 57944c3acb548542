package certificate

import (
	"math"
	"testing"
)

// TestRounded: U with two digits, the value to the same place.
//
// Verifies: GUM 7.2.6
func TestRounded(t *testing.T) {
	for _, c := range []struct {
		value, u     float64
		v, w, source string
	}{
		{10.05762, 0.027, "10.058", "0.027", "GUM 7.2.6, resistance"},
		{10.0421, 0.0996, "10.04", "0.10", "closed form: a carry keeps two digits"},
		{-2.2834, 1.0977, "−2.3", "1.1", "closed form: a real minus"},
		{-0.001, 0.63, "0.00", "0.63", "closed form: no sign before zero"},
		{1023.4, 127.1, "1020", "130", "closed form: places above the point"},
	} {
		if v, w := rounded(c.value, c.u); v != c.v || w != c.w {
			t.Errorf("rounded(%g, %g) = %q, %q, want %q, %q (%s)", c.value, c.u, v, w, c.v, c.w, c.source)
		}
	}
}

// TestFreedom: GUM H.1 truncates 16.7 to 16.
//
// Verifies: GUM G.4.1
func TestFreedom(t *testing.T) {
	for nu, want := range map[float64]string{16.752: "16", 11.999999999999996: "12", 11.9999: "11", 9: "9", 2000: "∞", math.Inf(1): "∞", 0.5: "0.50"} {
		if got := freedom(nu); got != want {
			t.Errorf("freedom(%g) = %q, want %q", nu, got, want)
		}
	}
}

// TestNumbers: closed forms.
func TestNumbers(t *testing.T) {
	for _, c := range []struct{ name, got, want string }{
		{"hertz", hertz(158.48932), "158.49"},
		{"hertz whole", hertz(100.0004), "100"},
		{"hertz low", hertz(0.39810717), "0.39811"},
		{"short", short(10.0000000001), "10"},
		{"short negative", short(-0.05), "−0.05"},
		{"percent", percent(0.05), "5"},
		{"probability small", probability(1e-9), "<\u20090.01"},
		{"probability", probability(0.0249979), "2.5"},
		{"probability large", probability(0.9545), "95.45"},
		{"probability none", probability(math.NaN()), "–"},
		{"signed", signed("0.31"), "+0.31"},
		{"signed zero", signed("0.00"), "0.00"},
		{"minus with exponent", minus("-1.2e-9"), "−1.2 × 10⁻⁹"},
		{"beside", beside(0.00029, 3), "<\u20090.001"},
		{"beside zero", beside(0, 3), "0.000"},
		{"count", count(200000), "200\u2009000"},
		{"sentence", sentence("the level was -2.5 dB"), "The level was −2.5 dB."},
		{"sentence of a symbol", sentence("k is large"), "k is large."},
		{"seeds", listSeeds([]uint64{7, 8, 9, 11, 20, 21}), "7 to 9, 11, 20 to 21"},
		{"rich", rich("*U* is {} of {}", "*5*", "six").String(), "U is *5* of six"},
	} {
		if c.got != c.want {
			t.Errorf("%s: got %q, want %q", c.name, c.got, c.want)
		}
	}
}
