package history

import (
	"cmp"
	"math"
	"slices"
	"strings"
	"time"
)

// Drifting is the rows that drift, the surest first.
func Drifting(rows []Row) []Row {
	return view(rows, func(r Row) bool { return r.Drifts }, func(a, b Row) int {
		return cmp.Or(cmp.Compare(a.PAdjusted, b.PAdjusted), -cmp.Compare(math.Abs(a.Line.Rate), math.Abs(b.Line.Rate)))
	})
}

// DueBy is the rows due on a day or earlier, the most overdue first; those without a due date are not among them.
func DueBy(rows []Row, day time.Time) []Row {
	return view(rows, func(r Row) bool { return !r.Due.IsZero() && !r.Due.After(day) }, func(a, b Row) int { return a.Due.Compare(b.Due) })
}

// Disagreeing is the rows that disagree with their siblings, the strangest first.
func Disagreeing(rows []Row) []Row {
	return view(rows, Row.Disagrees, func(a, b Row) int { return cmp.Compare(b.strange(), a.strange()) })
}

func view(rows []Row, keep func(Row) bool, order func(a, b Row) int) []Row {
	kept := slices.DeleteFunc(slices.Clone(rows), func(r Row) bool { return !keep(r) })
	slices.SortStableFunc(kept, func(a, b Row) int { return cmp.Or(order(a, b), byName(a, b)) })
	return kept
}

// CommonDrift is what all sensors of a model do together at one frequency: where it is far from zero the reference or the method has changed rather than all of them.
type CommonDrift struct {
	Model     string
	Frequency float64 // Hz
	N         int     // sensors with a drift line
	Median    float64 // of their rates, relative a year
	Std       float64 // standard uncertainty of the median, √(π/2)·spread/√n, as for normal values
	Z         float64 // Median over Std; NaN without spread
}

// CommonDrifts is the common drift of every model and frequency of which at least so many sensors have a drift line, the farthest from zero first.
func CommonDrifts(rows []Row, least int) []CommonDrift {
	rates := map[kind][]float64{}
	var order []kind
	for _, r := range rows {
		if math.IsNaN(r.Line.Rate) {
			continue
		}
		if rates[r.kind()] == nil {
			order = append(order, r.kind())
		}
		rates[r.kind()] = append(rates[r.kind()], r.Line.Rate)
	}
	var all []CommonDrift
	for _, k := range order {
		x := rates[k]
		if len(x) < max(least, 2) {
			continue
		}
		c := CommonDrift{Model: k.model, Frequency: k.frequency, N: len(x), Z: math.NaN()}
		var spread float64
		c.Median, spread = robust(x)
		c.Std = math.Sqrt(math.Pi/2) * spread / math.Sqrt(float64(len(x)))
		if c.Std > 0 {
			c.Z = c.Median / c.Std
		}
		all = append(all, c)
	}
	slices.SortStableFunc(all, func(a, b CommonDrift) int {
		return cmp.Or(ascending(-math.Abs(a.Z), -math.Abs(b.Z)), strings.Compare(a.Model, b.Model), cmp.Compare(a.Frequency, b.Frequency))
	})
	return all
}
