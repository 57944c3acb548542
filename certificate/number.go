package certificate

import (
	"math"
	"strconv"
	"strings"
	"time"

	"plumbline/quantity"
	"plumbline/uncertainty"
)

// thin is the space between a number and its unit.
const thin = "\u2009"

// dash stands where there is no value.
const dash = "–"

// digitsOfU is the number of significant digits of an expanded uncertainty.
const digitsOfU = 2

// rounded is a value and its expanded uncertainty, U with two significant digits and the value to the same decimal place.
// Clause: GUM 7.2.6
func rounded(value, u float64) (valueText, uText string) {
	v, w := uncertainty.Round(value, u, digitsOfU)
	return minus(v), minus(w)
}

// minus writes a number's sign as a real minus and its exponent as a power of ten; a zero has no sign.
func minus(s string) string {
	s, exponent, large := strings.Cut(s, "e")
	if large {
		exponent = " × 10" + superscript.Replace(exponent)
	}
	digits, negative := strings.CutPrefix(s, "-")
	if !negative || strings.Trim(digits, "0.") == "" {
		return digits + exponent
	}
	return "−" + digits + exponent
}

var superscript = strings.NewReplacer("+", "", "-", "⁻", "0", "⁰", "1", "¹", "2", "²", "3", "³", "4", "⁴", "5", "⁵", "6", "⁶", "7", "⁷", "8", "⁸", "9", "⁹")

// signed is minus with a plus before what is above zero.
func signed(s string) string {
	s = minus(s)
	if strings.HasPrefix(s, "−") || strings.Trim(s, "0.") == "" {
		return s
	}
	return "+" + s
}

// significant is x with so many significant digits, dash where there is none.
func significant(x float64, digits int) string {
	switch {
	case math.IsNaN(x):
		return dash
	case math.IsInf(x, 1):
		return "∞"
	case x == 0:
		return "0"
	}
	_, s := uncertainty.Round(0, math.Abs(x), digits)
	if x < 0 {
		s = "-" + s
	}
	return minus(s)
}

// beside is x with so many decimals, for a column of numbers to be compared; what would be all zeros is shown as smaller than the last digit.
func beside(x float64, decimals int) string {
	s := fixed(x, decimals)
	if x > 0 && strings.Trim(s, "0.") == "" {
		return "<" + thin + fixed(math.Pow10(-decimals), decimals)
	}
	return minus(s)
}

// short is x with at most six significant digits and no zeros at the end: for numbers that someone stated.
func short(x float64) string {
	if math.IsNaN(x) {
		return dash
	}
	s := uncertainty.RoundTo(x, quantity.Decimals(x, 6))
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	return minus(s)
}

// hertz is a frequency in hertz with five significant digits at most.
func hertz(f float64) string {
	x, err := strconv.ParseFloat(strconv.FormatFloat(f, 'g', 5, 64), 64)
	if err != nil {
		return dash
	}
	return short(x)
}

// measuredHertz is a measured frequency in hertz with five significant digits, zeros at the end kept.
func measuredHertz(f float64) string { return minus(fixed(f, quantity.Decimals(f, 5))) }

// percent is a relative number that someone stated, in percent, without the sign.
func percent(x float64) string { return short(100 * x) }

// probability is a probability in percent.
func probability(p float64) string {
	switch {
	case math.IsNaN(p):
		return dash
	case p < 0.0001:
		return "<" + thin + "0.01"
	case p > 0.9999:
		return ">" + thin + "99.99"
	case p > 0.9:
		return fixed(100*p, 2)
	}
	return significant(100*p, 2)
}

// manyFreedoms is from where degrees of freedom are printed as infinite.
const manyFreedoms = 1000

// freedom is degrees of freedom, truncated to a whole number; what a rounding error keeps from the next one is that number.
// Clause: GUM G.4.1
func freedom(nu float64) string {
	switch {
	case math.IsNaN(nu):
		return dash
	case nu > manyFreedoms:
		return "∞"
	case nu < 1:
		return significant(nu, digitsOfU)
	}
	return fixed(math.Floor(nu*(1+1e-9)), 0)
}

// coverage is a coverage factor.
func coverage(k float64) string {
	if math.IsNaN(k) || k == 0 {
		return dash
	}
	return fixed(k, 2)
}

// day is a date in words.
func day(t time.Time) string { return t.Format("2 January 2006") }

// days is a span of dates in words.
func days(from, until time.Time) string {
	if until.IsZero() || day(from) == day(until) {
		return day(from)
	}
	if from.Year() == until.Year() && from.Month() == until.Month() {
		return from.Format("2") + " to " + day(until)
	}
	return day(from) + " to " + day(until)
}

// date is a date for tables, dash where there is none.
func date(t time.Time) string {
	if t.IsZero() {
		return dash
	}
	return t.Format(time.DateOnly)
}

// count is a whole number in groups of three digits.
func count(n uint64) string {
	s := strconv.FormatUint(n, 10)
	for i := len(s) - 3; i > 0; i -= 3 {
		s = s[:i] + thin + s[i:]
	}
	return s
}

// fixed is x with so many decimals.
func fixed(x float64, decimals int) string { return uncertainty.RoundTo(x, decimals) }
