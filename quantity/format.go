package quantity

import (
	"math"
	"strconv"
	"strings"
)

// Format prints a coherent SI value in unit u with the given number of decimals: "10.00 V/g". The unit 1 is not printed,
// a degree follows its number without a blank, and a value that rounds to zero has no sign.
func Format(si float64, u Unit, decimals int) string {
	x := u.FromSI(si)
	number := strconv.FormatFloat(x, 'f', max(decimals, 0), 64)
	if strings.HasPrefix(number, "-") && strings.Trim(number, "-0.") == "" {
		number = number[1:]
	}
	switch u.Symbol {
	case "", "1":
		return number
	case "°":
		return number + u.Symbol
	}
	return number + " " + u.Symbol
}

// FormatAmplitude prints a coherent SI peak value in unit u, stated as a: "0.1000 g peak".
func FormatAmplitude(peak float64, u Unit, a Amplitude, decimals int) string {
	s := Format(a.FromPeak(peak), u, decimals)
	if a == NotStated {
		return s
	}
	return s + " " + a.String()
}

// Decimals is the number of decimals that shows x with the given number of significant digits, never negative.
func Decimals(x float64, significant int) int {
	if x == 0 || math.IsNaN(x) || math.IsInf(x, 0) {
		return max(significant-1, 0)
	}
	s := strconv.FormatFloat(math.Abs(x), 'e', max(significant-1, 0), 64)
	exponent, err := strconv.Atoi(s[strings.IndexByte(s, 'e')+1:])
	if err != nil {
		return 0
	}
	return max(significant-1-exponent, 0)
}
