package history

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"
)

// FleetSettings are the numbers of a view of many sensors.
type FleetSettings struct {
	Settings
	FalseDrifts float64 // share of the sensors named as drifting that may be so by chance (false discovery rate), for example 0.05
	Siblings    int     // fewest others of the model a sensor is compared with, at least 3
	Disagree    float64 // |z| from the siblings on which a sensor disagrees with them, for example 3
}

func (s FleetSettings) check() error {
	errs := []error{s.Settings.check()}
	if !(s.FalseDrifts > 0 && s.FalseDrifts < 1) {
		errs = append(errs, fmt.Errorf("fleet: share %g of false drifts, allowed are numbers between 0 and 1", s.FalseDrifts))
	}
	if s.Siblings < 3 {
		errs = append(errs, fmt.Errorf("fleet: comparison with %d siblings, allowed are 3 or more", s.Siblings))
	}
	if !positive(s.Disagree) {
		errs = append(errs, fmt.Errorf("fleet: disagreement from |z| = %g on, want a positive number", s.Disagree))
	}
	return errors.Join(errs...)
}

// Row is one sensor at one frequency among the others.
type Row struct {
	Serial, Model string
	Due           time.Time
	DaysToDue     float64 // negative: overdue; NaN: no due date
	Examination
	PAdjusted float64 // P of the drift for a fleet of this size (Benjamini and Hochberg 1995); NaN where P is
	Drifts    bool    // PAdjusted is at most FalseDrifts
	Level     Sibling // last result among the siblings'
	Change    Sibling // change between the last two calibrations
	Rate      Sibling // drift a year
}

// Sibling is one number of a sensor against the same number of the others of its model: ln of the modulus, or a relative change.
type Sibling struct {
	Own       float64
	Median    float64 // of the others
	Spread    float64 // of the others: 1.4826 times the median absolute deviation, which for normal values is the standard deviation
	Z         float64 // (Own - Median) over the larger of Spread and the standard uncertainty of Own; NaN where there are too few
	N         int     // others
	Disagrees bool
}

// Disagrees says whether any of the three numbers is far from the siblings'.
func (r Row) Disagrees() bool { return r.Level.Disagrees || r.Change.Disagrees || r.Rate.Disagrees }

// strange is the largest |z|.
func (r Row) strange() float64 {
	var z float64
	for _, s := range []Sibling{r.Level, r.Change, r.Rate} {
		if !math.IsNaN(s.Z) {
			z = max(z, math.Abs(s.Z))
		}
	}
	return z
}

// Fleet examines many sensors and compares each with its siblings, sensors of its model at its frequency. The rows come by the probability of being within tolerance at the due
// date, lowest first, unknown ones last, then by due date, serial and frequency. A series that cannot be evaluated has no row; the errors name all of them and
// the rows of the others are returned beside them.
func Fleet(sensors []Sensor, set FleetSettings, today time.Time) ([]Row, error) {
	if err := set.check(); err != nil {
		return nil, err
	}
	var rows []Row
	var errs []error
	for _, s := range sensors {
		all, err := Examine(s, set.Settings, today)
		errs = append(errs, err)
		for _, e := range all {
			r := Row{Serial: s.Serial, Model: s.Model, Due: s.Due, DaysToDue: math.NaN(), Examination: e, PAdjusted: math.NaN()}
			if !s.Due.IsZero() {
				r.DaysToDue = days(today, s.Due)
			}
			rows = append(rows, r)
		}
	}
	adjust(rows, set.FalseDrifts)
	compareSiblings(rows, set)
	slices.SortStableFunc(rows, func(a, b Row) int {
		return cmp.Or(ascending(a.WithinAtDue, b.WithinAtDue), ascending(a.DaysToDue, b.DaysToDue), byName(a, b))
	})
	return rows, errors.Join(errs...)
}

// ascending compares numbers, those that are none last.
func ascending(a, b float64) int {
	switch {
	case math.IsNaN(a) && math.IsNaN(b):
		return 0
	case math.IsNaN(a):
		return 1
	case math.IsNaN(b):
		return -1
	}
	return cmp.Compare(a, b)
}

func byName(a, b Row) int {
	return cmp.Or(strings.Compare(a.Serial, b.Serial), cmp.Compare(a.Series.Frequency, b.Series.Frequency))
}

// adjust adjusts the probabilities of drift to their number: with p in ascending order, p'_k = min over j ≥ k of m p_j/j, which bounds the share of false ones among
// those named where the tests are independent or positively dependent, as through a shared reference (Benjamini and Hochberg 1995, from memory).
func adjust(rows []Row, rate float64) {
	var order []int
	for i := range rows {
		if !math.IsNaN(rows[i].Line.P) {
			order = append(order, i)
		}
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(rows[a].Line.P, rows[b].Line.P) })
	least := 1.0
	for k := len(order) - 1; k >= 0; k-- {
		r := &rows[order[k]]
		least = math.Min(least, r.Line.P*float64(len(order))/float64(k+1))
		r.PAdjusted, r.Drifts = least, least <= rate
	}
}

// kind is what siblings have in common.
type kind struct {
	model     string
	frequency float64
}

func (r Row) kind() kind { return kind{r.Model, r.Series.Frequency} }

// compareSiblings fills in how each row stands among the others of its kind.
func compareSiblings(rows []Row, set FleetSettings) {
	groups := map[kind][]int{}
	for i, r := range rows {
		groups[r.kind()] = append(groups[r.kind()], i)
	}
	for i := range rows {
		r := &rows[i]
		others := slices.DeleteFunc(slices.Clone(groups[r.kind()]), func(k int) bool { return rows[k].Serial == r.Serial || r.Model == "" })
		against := func(number func(Row) (own, std float64)) Sibling {
			var x []float64
			for _, k := range others {
				if v, _ := number(rows[k]); !math.IsNaN(v) {
					x = append(x, v)
				}
			}
			own, std := number(*r)
			return sibling(own, std, x, set)
		}
		r.Level, r.Change, r.Rate = against(level), against(change), against(rate)
	}
}

func level(r Row) (own, std float64) {
	last := r.Line.Results[len(r.Line.Results)-1]
	return math.Log(last.Modulus), last.Std
}

func change(r Row) (own, std float64) {
	if len(r.Successive) == 0 {
		return math.NaN(), math.NaN()
	}
	c := r.Successive[len(r.Successive)-1]
	u, v := c.Before.Std, c.After.Std
	return math.Log1p(c.Change), math.Sqrt(u*u + v*v - 2*c.Correlation*u*v)
}

func rate(r Row) (own, std float64) { return r.Line.Rate, r.Line.Std }

func sibling(own, std float64, others []float64, set FleetSettings) Sibling {
	s := Sibling{Own: own, N: len(others), Median: math.NaN(), Spread: math.NaN(), Z: math.NaN()}
	if len(others) < set.Siblings || math.IsNaN(own) {
		return s
	}
	s.Median, s.Spread = robust(others)
	least := s.Spread
	if !math.IsNaN(std) {
		least = math.Max(s.Spread, std)
	}
	if least > 0 {
		s.Z = (own - s.Median) / least
		s.Disagrees = math.Abs(s.Z) > set.Disagree
	}
	return s
}

// consistent makes the median absolute deviation of normal values their standard deviation: 1/Φ⁻¹(3/4).
const consistent = 1.482602218505602

// robust is the median and the scaled median absolute deviation.
func robust(x []float64) (middle, spread float64) {
	middle = median(x)
	away := make([]float64, len(x))
	for i, v := range x {
		away[i] = math.Abs(v - middle)
	}
	return middle, consistent * median(away)
}

func median(x []float64) float64 {
	s := slices.Clone(x)
	slices.Sort(s)
	n := len(s)
	return s[(n-1)/2]/2 + s[n/2]/2
}
