package quantity

import (
	"math"
	"strconv"
)

// ThirdOctave is the exact base-ten one-third-octave frequency number n in Hz: 10^(n/10), number 0 at 1 Hz and 20 at 100 Hz.
//
// Clause: IEC 61260-1:2014 exact mid-band frequencies, base ten
func ThirdOctave(n int) float64 {
	whole := int(math.Floor(float64(n) / 10))
	return math.Pow(10, float64(whole)) * math.Pow(10, float64(n-10*whole)/10)
}

// nominal are the nominal frequencies of one decade of third octaves.
var nominal = [10]float64{1, 1.25, 1.6, 2, 2.5, 3.15, 4, 5, 6.3, 8}

// NominalThirdOctave is the nominal frequency of third octave number n in Hz: 160 for 158.489...
//
// Clause: IEC 61260-1:2014 nominal mid-band frequencies of one-third octaves
func NominalThirdOctave(n int) float64 {
	whole := int(math.Floor(float64(n) / 10))
	x, err := strconv.ParseFloat(strconv.FormatFloat(nominal[n-10*whole], 'f', -1, 64)+"e"+strconv.Itoa(whole), 64)
	if err != nil {
		return math.NaN() // beyond the range of numbers
	}
	return x
}

// NearestThirdOctave is the number of the third octave nearest to f > 0 in Hz on a logarithmic scale.
func NearestThirdOctave(f float64) int { return int(math.Round(10 * math.Log10(f))) }

// RoundNominal rounds an exact fractional-octave frequency in Hz to a nominal one: three significant digits where the first
// is 1 to 4, two where it is 5 to 9. It gives zero for frequencies that are not positive.
//
// Clause: IEC 61260-1:2014 E.3.4 rounding to nominal frequencies
func RoundNominal(f float64) float64 {
	if !(f > 0) || math.IsInf(f, 0) {
		return 0
	}
	digits := 2
	if s := strconv.FormatFloat(f, 'e', -1, 64); s[0] < '5' {
		digits = 3
	}
	x, _ := strconv.ParseFloat(strconv.FormatFloat(f, 'e', digits-1, 64), 64)
	return x
}
