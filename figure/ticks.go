package figure

import (
	"math"
	"strconv"

	"gonum.org/v1/plot"
)

// frequencyTicks labels 1, 2 and 5 in every decade, only the decades where there are more than four of them, and marks the other whole digits.
type frequencyTicks struct{}

// Ticks implements plot.Ticker.
func (frequencyTicks) Ticks(low, high float64) []plot.Tick {
	var ticks []plot.Tick
	few := math.Log10(high/low) > 4
	for e := math.Floor(math.Log10(low)); e <= math.Ceil(math.Log10(high)); e++ {
		for d := 1; d < 10; d++ {
			f := float64(d) * math.Pow(10, e)
			if f < low*(1-1e-9) || f > high*(1+1e-9) {
				continue
			}
			t := plot.Tick{Value: f}
			if d == 1 || !few && (d == 2 || d == 5) {
				t.Label = strconv.FormatFloat(f, 'g', 6, 64)
				if f >= 1000 {
					t.Label = strconv.FormatFloat(f/1000, 'g', 6, 64) + "\u2009k"
				}
			}
			ticks = append(ticks, t)
		}
	}
	return ticks
}

// evenTicks labels the multiples of step; values are multiplied by scale before they are printed.
type evenTicks struct{ step, scale float64 }

// Ticks implements plot.Ticker.
func (t evenTicks) Ticks(low, high float64) []plot.Tick {
	var ticks []plot.Tick
	for i := math.Ceil(low/t.step - 1e-9); i*t.step <= high+t.step*1e-9; i++ {
		ticks = append(ticks, plot.Tick{Value: i * t.step, Label: signed(i * t.step * t.scale)})
	}
	return ticks
}

// signed prints a scale's number with its sign: a real minus, and none for zero.
func signed(x float64) string {
	s := strconv.FormatFloat(math.Abs(x), 'g', 4, 64)
	switch {
	case math.Abs(x) < 1e-12:
		return "0"
	case x < 0:
		return "−" + s
	}
	return "+" + s
}

// stepFor is the largest step of 1, 2, 2.5 or 5 times a power of ten with at least three steps from zero to half.
func stepFor(half float64) float64 {
	e := math.Pow(10, math.Floor(math.Log10(half/3)))
	step := e
	for _, m := range []float64{2, 2.5, 5, 10} {
		if m*e*3 <= half*(1+1e-9) {
			step = m * e
		}
	}
	return step
}

// degreesFor is a scale of whole steps that holds the phases from low to high in degrees, and zero.
func degreesFor(low, high float64) (from, to, step float64) {
	low, high = math.Min(low, 0), math.Max(high, 0)
	for _, step = range []float64{0.5, 1, 2, 5, 10, 20, 45, 90} {
		from, to = step*math.Floor(low/step-0.1), step*math.Ceil(high/step+0.1)
		if to-from <= 5*step+1e-9 {
			return from, to, step
		}
	}
	return from, to, step
}
