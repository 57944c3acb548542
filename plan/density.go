package plan

import (
	"fmt"
	"math"
	"slices"
)

// Density is a one-sided amplitude spectral density of noise, effective value in a unit per √Hz: a table, or White √(1 + Corner/f).
type Density struct {
	White  float64      // unit/√Hz
	Corner float64      // Hz
	Table  []DensityRow // ascending frequency; where it is not empty it holds alone
}

// DensityRow is one line of a table of density.
type DensityRow struct{ Frequency, Density float64 } // Hz, unit/√Hz

// Stated says whether there is any.
func (d Density) Stated() bool { return d.White > 0 || len(d.Table) > 0 }

// At is the density at f in Hz. Between the rows of a table it is straight in log-log; outside them it is not known, which is an error.
func (d Density) At(f float64) (float64, error) {
	if len(d.Table) == 0 {
		return d.White * math.Sqrt(1+d.Corner/f), nil
	}
	v, ok := logLog(len(d.Table), func(i int) (float64, float64) { return d.Table[i].Frequency, d.Table[i].Density }, f)
	if !ok {
		return 0, fmt.Errorf("stated from %g Hz to %g Hz, not at %g Hz", d.Table[0].Frequency, d.Table[len(d.Table)-1].Frequency, f)
	}
	return v, nil
}

// validate refuses a table that is not ascending or holds impossible values.
func (d Density) validate(name string) error {
	if !(d.White >= 0 && d.Corner >= 0) || math.IsInf(d.White+d.Corner, 0) {
		return fmt.Errorf("%s: density %g with its corner at %g Hz: allowed are values of zero or above", name, d.White, d.Corner)
	}
	for i, r := range d.Table {
		if !(r.Frequency > 0 && r.Density > 0) || math.IsInf(r.Frequency, 0) || math.IsInf(r.Density, 0) || i > 0 && r.Frequency <= d.Table[i-1].Frequency {
			return fmt.Errorf("%s, row %d: %g at %g Hz: allowed are ascending frequencies and densities above zero", name, i+1, r.Density, r.Frequency)
		}
	}
	return nil
}

const edge = 1e-3 // how far outside a table's first or last frequency still counts as inside, relative

// logLog interpolates n rows straight in the logarithms of both. ok is false outside the rows.
func logLog(n int, row func(int) (x, y float64), x float64) (y float64, ok bool) {
	first, y0 := row(0)
	last, yn := row(n - 1)
	switch {
	case x < first*(1-edge) || x > last*(1+edge):
		return 0, false
	case x <= first:
		return y0, true
	case x >= last:
		return yn, true
	}
	hi := 1
	for ; ; hi++ {
		if xr, _ := row(hi); xr >= x {
			break
		}
	}
	xa, ya := row(hi - 1)
	xb, yb := row(hi)
	w := math.Log(x/xa) / math.Log(xb/xa)
	return ya * math.Pow(yb/ya, w), true
}

// Share is one line of a table of relative size against frequency.
type Share struct{ Frequency, Value float64 } // Hz, relative

// shareAt interpolates a table straight over ln f and holds its ends; ok is false where the table is empty.
func shareAt(t []Share, f float64) (float64, bool) {
	if len(t) == 0 {
		return 0, false
	}
	hi, _ := slices.BinarySearchFunc(t, f, func(s Share, f float64) int {
		if s.Frequency < f {
			return -1
		}
		return 1
	})
	switch hi {
	case 0:
		return t[0].Value, true
	case len(t):
		return t[hi-1].Value, true
	}
	a, b := t[hi-1], t[hi]
	w := math.Log(f/a.Frequency) / math.Log(b.Frequency/a.Frequency)
	return (1-w)*a.Value + w*b.Value, true
}
