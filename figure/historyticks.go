package figure

import (
	"math"
	"strconv"
	"time"

	"gonum.org/v1/plot"
)

// dateTicks labels years, or months where there are fewer than three years.
type dateTicks struct{}

// Ticks implements plot.Ticker. Values are days since 1970.
func (dateTicks) Ticks(low, high float64) []plot.Tick {
	start := time.Unix(int64(low*86400), 0).UTC()
	months, layout := 12, "2006"
	switch span := high - low; {
	case span < 200:
		months, layout = 1, "2006-01"
	case span < 600:
		months, layout = 3, "2006-01"
	case span < 1100:
		months, layout = 6, "2006-01"
	default:
		for span/365.25/float64(months/12) > 9 {
			months += 12
		}
	}
	var ticks []plot.Tick
	at := time.Date(start.Year(), 1, 1, 0, 0, 0, 0, time.UTC)
	if months > 12 {
		at = at.AddDate(-(at.Year() % (months / 12)), 0, 0)
	}
	for ; day(at) <= high; at = at.AddDate(0, months, 0) {
		if day(at) >= low {
			ticks = append(ticks, plot.Tick{Value: day(at), Label: at.Format(layout)})
		}
	}
	return ticks
}

// valueTicks labels multiples of 1, 2 or 5 times a power of ten with the decimals they need.
type valueTicks struct{}

// Ticks implements plot.Ticker.
func (valueTicks) Ticks(low, high float64) []plot.Tick {
	const most = 7
	e := math.Floor(math.Log10((high - low) / most))
	step := math.Pow(10, e)
	for _, m := range []float64{2, 5, 10} {
		if (high-low)/step > most {
			step = m * math.Pow(10, e)
		}
	}
	decimals := max(0, -int(math.Floor(math.Log10(step*(1+1e-9)))))
	var ticks []plot.Tick
	for i := math.Ceil(low/step - 1e-9); i*step <= high+1e-9*step; i++ {
		ticks = append(ticks, plot.Tick{Value: i * step, Label: strconv.FormatFloat(i*step, 'f', decimals, 64)})
	}
	return ticks
}
