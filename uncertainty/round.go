package uncertainty

import (
	"math"
	"strconv"
	"strings"

	"plumbline/quantity"
)

const (
	smallestPlace = -12 // power of ten of the last digit below which numbers are written with an exponent
	largestPower  = 15  // power of ten of the first digit above which they are
)

// Round writes u with so many significant digits (1 or 2) and value to the same decimal place, with a decimal point: 10.05762 and 0.027 become
// "10.058" and "0.027". A carry keeps the number of digits: 0.0996 becomes "0.10". Both are rounded to nearest, halves away from zero (the way a
// reader checks them by hand), on the first 15 significant digits, so that a unit conversion cannot tip a half; only where rounding would make u
// smaller by more than 5 %, which needs one digit, it is rounded up. Where u is zero there is no place to round to and value keeps its digits.
// Numbers beyond ordinary ranges share one exponent: "1.2300e-9", "0.0020e-9". What is not finite is written as such, for the caller to refuse.
//
// Clause: GUM 7.2.6
func Round(value, u float64, digits int) (valueText, uText string) {
	return write(value, u, digits, false)
}

// RoundUp is Round with u rounded up to the next digit instead of to nearest.
//
// Clause: GUM 7.2.6
func RoundUp(value, u float64, digits int) (valueText, uText string) {
	return write(value, u, digits, true)
}

// RoundIn is Round for a value and its uncertainty in coherent SI, written in a unit. The unit's symbol is not part of the texts.
//
// Clause: GUM 7.2.6
func RoundIn(unit quantity.Unit, si, u float64, digits int) (valueText, uText string) {
	return Round((si-unit.Offset)/unit.Factor, u/math.Abs(unit.Factor), digits)
}

// RoundTo writes value with a fixed number of decimals, halves away from zero, and never "-0".
func RoundTo(value float64, decimals int) string {
	if !finite(value) {
		return strconv.FormatFloat(value, 'g', -1, 64)
	}
	return decimalOf(value).rounded(-decimals).text(-decimals)
}

func write(value, u float64, digits int, up bool) (valueText, uText string) {
	if digits < 1 {
		panic("uncertainty: rounding to less than one digit")
	}
	if !finite(value) || !finite(u) || u < 0 {
		return strconv.FormatFloat(value, 'g', -1, 64), strconv.FormatFloat(u, 'g', -1, 64)
	}
	v := decimalOf(value)
	if u == 0 {
		return v.text(v.power - len(v.digits)), "0"
	}
	w, place := decimalOf(u).significant(digits, up)
	v = v.rounded(place)
	top := max(v.power, w.power)
	if place >= smallestPlace && top <= largestPower {
		return v.text(place), w.text(place)
	}
	shift := top - 1
	v.power -= shift
	w.power -= shift
	exponent := "e" + strconv.Itoa(shift)
	return v.text(place-shift) + exponent, w.text(place-shift) + exponent
}

// decimal is a number 0.DIGITS times ten to a power. Digits do not end in zeros; they are empty for zero.
type decimal struct {
	negative bool
	digits   string
	power    int
}

// decimalOf takes the first 15 significant digits, which a float64 holds for certain.
func decimalOf(x float64) decimal {
	mantissa, exponent, _ := strings.Cut(strconv.FormatFloat(math.Abs(x), 'e', 14, 64), "e")
	digits := strings.TrimRight(strings.Replace(mantissa, ".", "", 1), "0")
	if digits == "" {
		return decimal{}
	}
	power, _ := strconv.Atoi(exponent)
	return decimal{negative: x < 0, digits: digits, power: power + 1}
}

// significant rounds to so many significant digits and returns the power of ten of the last one, after a carry.
func (d decimal) significant(n int, up bool) (decimal, int) {
	place := d.power - n
	r := d.rounded(place)
	if r.less(d) && (up || d.value()-r.value() > 0.05*d.value()) {
		r = d.increased(place)
	}
	if r.power > d.power {
		place++
	}
	return r, place
}

// rounded is the number to the nearest multiple of ten to the power place, halves away from zero.
func (d decimal) rounded(place int) decimal {
	keep := d.power - place
	switch {
	case keep >= len(d.digits):
		return d
	case keep < 0:
		return decimal{}
	case d.digits[keep] >= '5':
		return d.increased(place)
	}
	return d.cut(keep)
}

// cut keeps the first digits.
func (d decimal) cut(keep int) decimal {
	d.digits = strings.TrimRight(d.digits[:keep], "0")
	if d.digits == "" {
		return decimal{}
	}
	return d
}

// increased is the next multiple of ten to the power place above the number's size.
func (d decimal) increased(place int) decimal {
	digits := []byte("0" + d.digits[:d.power-place])
	i := len(digits) - 1
	for digits[i] == '9' {
		digits[i] = '0'
		i--
	}
	digits[i]++
	d.power++
	if digits[0] == '0' {
		digits = digits[1:]
		d.power--
	}
	d.digits = strings.TrimRight(string(digits), "0")
	return d
}

func (d decimal) value() float64 {
	x, _ := strconv.ParseFloat("0."+d.digits+"e"+strconv.Itoa(d.power), 64)
	return x
}

func (d decimal) less(e decimal) bool { return d.value() < e.value() }

// text writes the number down to the power of ten place, without exponent.
func (d decimal) text(place int) string {
	whole, fraction := "0", ""
	if d.power > 0 {
		n := min(d.power, len(d.digits))
		whole = d.digits[:n] + strings.Repeat("0", d.power-n)
		fraction = d.digits[n:]
	} else if d.digits != "" {
		fraction = strings.Repeat("0", -d.power) + d.digits
	}
	if place < 0 {
		whole += "." + fraction + strings.Repeat("0", max(0, -place-len(fraction)))
	}
	if d.negative {
		return "-" + whole
	}
	return whole
}
