package quantity

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"unicode/utf8"
)

const longestValue = 128 // bytes

// Parse reads a value with its unit, as a person writes it, for a field that wants kind k. Amplitudes come back as peak.
// The error says what was found and what is allowed; a number without a unit is refused.
func Parse(text string, k Kind) (Value, error) {
	spec := k.spec()
	t := strings.TrimSpace(text)
	if t == "" || len(t) > longestValue || !utf8.ValidString(t) {
		return Value{}, fmt.Errorf("%.40q is not %s: write for example %s", text, spec.article(), spec.examples)
	}
	wrong := func(format string, a ...any) (Value, error) {
		return Value{}, fmt.Errorf("%q: %s", t, fmt.Sprintf(format, a...))
	}
	number, rest, err := splitNumber(t, spec)
	if err != nil {
		return wrong("%v", err)
	}
	unitText, amplitude := splitAmplitude(rest)
	if unitText == "" {
		return wrong("a unit is needed for %s, for example %s", spec.article(), spec.examples)
	}
	e, err := unitFor(unitText, spec)
	if err != nil {
		return wrong("%v", err)
	}
	if err := checkAmplitude(k, spec, amplitude); err != nil {
		return wrong("%v", err)
	}
	v := Value{Number: number, Unit: e.unit(), Amplitude: amplitude, Text: t}
	if k == TemperatureDifference {
		v.Unit = e.kelvin().unit()
	}
	v.SI = amplitude.Peak(v.Unit.ToSI(number))
	if math.IsInf(v.SI, 0) || math.IsNaN(v.SI) || number != 0 && v.SI == 0 && v.Unit.Offset == 0 {
		return wrong("out of the range of numbers")
	}
	if k == Temperature && v.SI < 0 {
		return wrong("below absolute zero")
	}
	return v, nil
}

// unitFor reads the unit, with the meaning of g that fits the kind.
func unitFor(text string, spec kindSpec) (*expr, error) {
	var found *expr
	for _, grams := range []bool{false, true} {
		e, err := parseExpr(text, grams)
		if err != nil {
			return nil, err
		}
		if spec.fits(e) {
			return e, nil
		}
		if found == nil {
			found = e
		}
	}
	return nil, fmt.Errorf("%s is not a unit of %s: write for example %s", found.printed, spec.article(), spec.examples)
}

func checkAmplitude(k Kind, spec kindSpec, a Amplitude) error {
	switch {
	case spec.amplitude && a == NotStated:
		return fmt.Errorf("%s must say peak, rms or peak-to-peak, for example %s", spec.article(), spec.examples)
	case k == VoltageSpan && a == RMS:
		return fmt.Errorf("%s is not stated as rms: write for example %s", spec.article(), spec.examples)
	case !spec.amplitude && k != VoltageSpan && a != NotStated:
		return fmt.Errorf("%s is not said of %s: write for example %s", a, spec.article(), spec.examples)
	}
	return nil
}

// splitAmplitude cuts the wording of the amplitude off the end of the text behind the number.
func splitAmplitude(rest string) (string, Amplitude) {
	rest = strings.TrimSpace(rest)
	if a, err := ParseAmplitude(rest); err == nil {
		return "", a
	}
	if i := strings.LastIndexAny(rest, " \u00a0"); i >= 0 {
		if a, err := ParseAmplitude(strings.Trim(rest[i:], " \u00a0")); err == nil {
			return strings.Trim(rest[:i], " \u00a0"), a
		}
	}
	return rest, NotStated
}

// splitNumber takes the number from the front of the text.
func splitNumber(t string, spec kindSpec) (number float64, rest string, err error) {
	body, signed := t, false
	for _, s := range []string{"±", "+/-", "+-"} {
		if strings.HasPrefix(body, s) {
			body, signed = strings.TrimLeft(body[len(s):], " \u00a0"), true
		}
	}
	if signed && !spec.plusMinus {
		return 0, "", fmt.Errorf("± has no meaning for %s: write for example %s", spec.article(), spec.examples)
	}
	if after, found := strings.CutPrefix(body, "−"); found {
		body = "-" + after
	}
	n := numberLength(body)
	if n == 0 {
		return 0, "", fmt.Errorf("starts with no number: write for example %s", spec.examples)
	}
	number, err = strconv.ParseFloat(body[:n], 64)
	if err != nil || number == 0 && strings.Trim(mantissa(body[:n]), "+-0.") != "" {
		return 0, "", fmt.Errorf("number %.30s is out of range", body[:n])
	}
	rest = body[n:]
	if err := afterNumber(body[:n], rest); err != nil {
		return 0, "", err
	}
	return number, rest, checkSense(number, signed, strings.TrimSpace(rest) == "dB", spec)
}

func checkSense(x float64, signed, logarithmic bool, spec kindSpec) error {
	switch {
	case signed && x < 0:
		return fmt.Errorf("a sign behind ±")
	case spec.sense == notNegative && x < 0:
		return fmt.Errorf("%s is not negative", spec.article())
	case spec.sense == positive && x <= 0:
		return fmt.Errorf("%s is above zero", spec.article())
	case spec.sense == notZero && x == 0 && !logarithmic: // 0 dB is a gain of one
		return fmt.Errorf("%s is not zero", spec.article())
	}
	return nil
}

// afterNumber refuses what looks like more digits: decimal commas and grouped digits.
func afterNumber(number, rest string) error {
	r := strings.TrimLeft(rest, " \u00a0\u202f")
	if r == "" {
		return nil
	}
	if r[0] == ',' {
		return fmt.Errorf("comma after %s: the decimal mark is a point and digits are not grouped, as in 1.5 or 10000", number)
	}
	digits := strings.IndexFunc(r, func(c rune) bool { return c < '0' || c > '9' })
	if digits < 0 {
		digits = len(r)
	}
	one := r[:digits] == "1" && digits < len(rest) && len(r) < len(rest) // the unit 1, or 1e-6 and 1/K, behind a blank
	if digits > 0 && !one || r[0] == '.' || r[0] == '_' || r[0] == '\'' {
		return fmt.Errorf("unexpected %q after %s: the decimal mark is a point and digits are not grouped, as in 1.5 or 10000", r, number)
	}
	return nil
}

func mantissa(s string) string {
	if i := strings.IndexAny(s, "eE"); i >= 0 {
		return s[:i]
	}
	return s
}

// numberLength is the length of the decimal number at the front of s, 0 where there is none.
func numberLength(s string) int {
	i := 0
	if i < len(s) && (s[i] == '+' || s[i] == '-') {
		i++
	}
	start := i
	i += digitsAt(s, i)
	whole := i - start
	if i < len(s) && s[i] == '.' {
		if d := digitsAt(s, i+1); d > 0 {
			i += 1 + d
			whole += d
		}
	}
	if whole == 0 {
		return 0
	}
	if i < len(s) && (s[i] == 'e' || s[i] == 'E') {
		j := i + 1
		if j < len(s) && (s[j] == '+' || s[j] == '-') {
			j++
		}
		if d := digitsAt(s, j); d > 0 {
			i = j + d
		}
	}
	return i
}

func digitsAt(s string, i int) int {
	n := 0
	for i+n < len(s) && s[i+n] >= '0' && s[i+n] <= '9' {
		n++
	}
	return n
}
