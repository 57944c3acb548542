package history

import (
	"fmt"
	"math"
	"time"
)

// Method is a way to recommend the interval to the next calibration. Its numbers are settings, none has a default.
type Method interface {
	// Recommend is the interval counted from the last calibration. It is an error where a setting is unusable; a method that the history cannot feed
	// answers with the reason (Recommendation.Unknown).
	Recommend(e Examination) (Recommendation, error)
	// Name is the method in words, with its source.
	Name() string
}

// Recommendation is a recommended interval with what it rests on.
type Recommendation struct {
	Method  string    // in words, with its source
	Inputs  []Input   // every number that went in, in order
	Days    float64   // the interval, within Bounds; NaN where there is none
	Found   float64   // days before the bounds cut it, +Inf where nothing limits it; NaN where there is none
	Due     time.Time // Days after the last calibration; zero where there is none
	Bound   string    // which bound cut it: "shortest interval", "longest interval"; empty: none
	Reason  string    // the step from the inputs to the interval, in words
	Unknown string    // why there is no interval
}

// Input is one number a recommendation rests on.
type Input struct {
	Name  string
	Value float64
	Unit  string // "1" for a ratio
}

// Bounds are the shortest and the longest interval a laboratory allows, in days.
type Bounds struct{ Shortest, Longest float64 }

func (b Bounds) check() error {
	if !positive(b.Shortest) || !positive(b.Longest) || b.Shortest > b.Longest {
		return fmt.Errorf("shortest interval %g d and longest %g d, want positive numbers, the shortest first", b.Shortest, b.Longest)
	}
	return nil
}

// apply ends a recommendation: the interval found, cut by the bounds, and the day it leads to.
func (b Bounds) apply(r Recommendation, found float64, last time.Time) Recommendation {
	r.Inputs = append(r.Inputs, Input{"shortest interval", b.Shortest, "d"}, Input{"longest interval", b.Longest, "d"})
	r.Found, r.Days = found, math.Max(b.Shortest, math.Min(found, b.Longest))
	switch {
	case found < b.Shortest:
		r.Bound = "shortest interval"
	case found > b.Longest:
		r.Bound = "longest interval"
	}
	r.Due = after(last, r.Days)
	return r
}

func unknown(r Recommendation, format string, arguments ...any) Recommendation {
	r.Days, r.Found, r.Unknown = math.NaN(), math.NaN(), fmt.Sprintf(format, arguments...)
	return r
}

// Staircase is automatic adjustment: the interval grows where the sensor was found well within its tolerance, shrinks where it was found outside, and stays otherwise.
// It looks at the last result alone and needs no drift; it does not promise a fraction of sensors in tolerance at the due date. That the interval grows and shrinks
// so is the method's; the fraction, the factors and the guard are the laboratory's.
//
// Clause: ILAC-G24 6.2 staircase (title read, contents from memory)
type Staircase struct {
	Current  float64 // interval now in force, days
	Fraction float64 // of the tolerance's half width up to which the interval grows, above 0, at most 1; 0.8 is usual (from memory)
	Extend   float64 // factor by which it grows, at least 1
	Reduce   float64 // factor by which it shrinks, above 0, at most 1
	Guard    float64 // U of the result counted on top of its deviation, times this; 0: the deviation alone
	Bounds
}

// Name implements Method.
func (Staircase) Name() string {
	return "automatic adjustment, staircase (ILAC-G24/OIML D 10:2022, 6.2; contents from memory)"
}

func (m Staircase) check() error {
	switch {
	case !positive(m.Current):
		return fmt.Errorf("current interval %g d, want a positive number", m.Current)
	case !(m.Fraction > 0 && m.Fraction <= 1):
		return fmt.Errorf("fraction %g of the tolerance, allowed are numbers above 0 up to 1", m.Fraction)
	case !(m.Extend >= 1) || math.IsInf(m.Extend, 1):
		return fmt.Errorf("factor %g to extend by, allowed are numbers from 1", m.Extend)
	case !(m.Reduce > 0 && m.Reduce <= 1):
		return fmt.Errorf("factor %g to reduce by, allowed are numbers above 0 up to 1", m.Reduce)
	case !(m.Guard >= 0) || math.IsInf(m.Guard, 1):
		return fmt.Errorf("guard of %g U, allowed are numbers from 0", m.Guard)
	}
	return m.Bounds.check()
}

// Recommend implements Method: with q = (|S - middle| + Guard·U)/half width of the tolerance, the current interval times Extend where q ≤ Fraction,
// times Reduce where q > 1, unchanged between.
func (m Staircase) Recommend(e Examination) (Recommendation, error) {
	if err := m.check(); err != nil {
		return Recommendation{}, fmt.Errorf("%s: staircase: %w", e.Series.name(), err)
	}
	r := Recommendation{Method: m.Name()}
	t := e.Series.Tolerance
	half := (t.Upper - t.Lower) / 2
	if math.IsInf(half, 1) {
		return unknown(r, "the tolerance has one limit or none: the method needs both"), nil
	}
	last := e.Line.Results[len(e.Line.Results)-1]
	u := last.K * last.Std * last.Modulus
	q := (math.Abs(last.Modulus-(t.Lower+half)) + m.Guard*u) / half
	r.Inputs = []Input{{"current interval", m.Current, "d"}, {"part of the tolerance used by certificate " + last.Certificate, q, "1"}, {"fraction to extend", m.Fraction, "1"},
		{"factor to extend by", m.Extend, "1"}, {"factor to reduce by", m.Reduce, "1"}, {"guard", m.Guard, "U"}}
	found := m.Current
	used := fmt.Sprintf("found at %.3g of the tolerance's half width", q)
	if m.Guard > 0 {
		used += fmt.Sprintf(", %g U counted on top", m.Guard)
	}
	switch {
	case q <= m.Fraction:
		found *= m.Extend
		r.Reason = fmt.Sprintf("%s, at most %g: the interval is extended by a factor of %g", used, m.Fraction, m.Extend)
	case q > 1:
		found *= m.Reduce
		r.Reason = fmt.Sprintf("%s, outside: the interval is reduced by a factor of %g", used, m.Reduce)
	default:
		r.Reason = fmt.Sprintf("%s, between %g and 1: the interval stays", used, m.Fraction)
	}
	return m.apply(r, found, last.Date), nil
}

// DriftChart is the control chart of the results against time: drift and dispersion are taken from it, and the interval is the time in which both together use up
// the tolerance. They add linearly, which is on the safe side. How the method makes an interval of drift and dispersion is our own.
//
// Clause: ILAC-G24 6.3 control chart (title read, contents from memory)
type DriftChart struct {
	Least int // calibrations the chart needs, at least 2
	Bounds
}

// Name implements Method.
func (DriftChart) Name() string {
	return "control chart of drift and dispersion (ILAC-G24/OIML D 10:2022, 6.3; contents from memory, formula own)"
}

// Recommend implements Method. With M the line's value at the last calibration, U its expanded uncertainty there, b the rate and U_b its own, at the probability
// of the examination: T = min((ln(T_U/M) - U)/(b + U_b), (ln(M/T_L) - U)/(-b + U_b)) over the sides that have a limit and a positive rate towards it.
func (m DriftChart) Recommend(e Examination) (Recommendation, error) {
	if m.Least < 2 {
		return Recommendation{}, fmt.Errorf("%s: control chart: %d calibrations as the fewest, allowed are 2 or more", e.Series.name(), m.Least)
	}
	if err := m.check(); err != nil {
		return Recommendation{}, fmt.Errorf("%s: control chart: %w", e.Series.name(), err)
	}
	r, l := Recommendation{Method: m.Name()}, e.Line
	at := l.Predict(l.Origin)
	r.Inputs = []Input{{"calibrations", float64(len(l.Results)), "1"}, {"fewest calibrations", float64(m.Least), "1"}}
	switch {
	case len(l.Results) < m.Least:
		return unknown(r, "%d calibrations, the chart needs %d", len(l.Results), m.Least), nil
	case l.Unknown != "":
		return unknown(r, "%s", l.Unknown), nil
	}
	r.Inputs = append(r.Inputs, Input{"value of the line at the last calibration", at.Modulus, "SI"}, Input{"its expanded uncertainty", 100 * at.U, "%"},
		Input{"drift a year", 100 * l.Rate, "%"}, Input{"its expanded uncertainty", 100 * l.U, "%"}, Input{"coverage probability", l.set.Probability, "1"})
	up, down := l.Rate+l.U, l.U-l.Rate
	room := func(rate, left float64) float64 {
		switch {
		case left <= 0:
			return 0
		case rate <= 0:
			return math.Inf(1)
		}
		return left / rate * year
	}
	t := e.Series.Tolerance
	above, below := room(up, math.Log(t.Upper/at.Modulus)-at.U), math.Inf(1)
	if t.Lower > 0 {
		below = room(down, math.Log(at.Modulus/t.Lower)-at.U)
	}
	found, side, rate := above, "upper", up
	if below < above {
		found, side, rate = below, "lower", -down
	}
	switch {
	case found == 0:
		r.Reason = fmt.Sprintf("at the last calibration the value with its expanded uncertainty reaches beyond the %s limit already", side)
	case math.IsInf(found, 1):
		r.Reason = "no drift that these calibrations leave possible leads out of the tolerance"
	default:
		r.Reason = fmt.Sprintf("with its expanded uncertainty and a drift of %+.2g %% a year, the farthest these calibrations leave possible, the value reaches the %s limit after %.0f days", 100*rate, side, found)
	}
	return m.apply(r, found, l.Origin), nil
}

// Falling recommends the day on which the probability of conformity, as the drift line predicts it, falls below a stated one.
type Falling struct {
	Conformity float64 // least probability that the sensor is within its tolerance, for example 0.95
	Bounds
}

// Name implements Method.
func (Falling) Name() string {
	return "drift line: the day on which the probability of conformity falls below the one stated (own; line as GUM H.3, probability as JCGM 106 clause 7 from memory)"
}

// scanned is in how many steps the time up to the longest interval is looked through before the day is found by halving.
const scanned = 64

// Recommend implements Method.
func (m Falling) Recommend(e Examination) (Recommendation, error) {
	if !(m.Conformity > 0 && m.Conformity < 1) {
		return Recommendation{}, fmt.Errorf("%s: interval from the drift line: probability of conformity %g, allowed are numbers between 0 and 1", e.Series.name(), m.Conformity)
	}
	if err := m.check(); err != nil {
		return Recommendation{}, fmt.Errorf("%s: interval from the drift line: %w", e.Series.name(), err)
	}
	r, l := Recommendation{Method: m.Name()}, e.Line
	r.Inputs = []Input{{"least probability of conformity", m.Conformity, "1"}, {"calibrations", float64(len(l.Results)), "1"}}
	if l.Unknown != "" {
		return unknown(r, "%s", l.Unknown), nil
	}
	holds := func(days float64) bool {
		return l.on(after(l.Origin, days)).Within(e.Series.Tolerance) >= m.Conformity
	}
	first := l.on(l.Origin).Within(e.Series.Tolerance)
	if !math.IsNaN(l.Rate) {
		r.Inputs = append(r.Inputs, Input{"drift a year", 100 * l.Rate, "%"}, Input{"its standard uncertainty", 100 * l.Std, "%"})
	}
	r.Inputs = append(r.Inputs, Input{"probability of conformity at the last calibration", first, "1"})
	if first < m.Conformity {
		r.Reason = fmt.Sprintf("the probability of conformity is %.3g at the last calibration already", first)
		return m.apply(r, 0, l.Origin), nil
	}
	low := 0.0
	for i := 1; i <= scanned; i++ {
		high := m.Longest * float64(i) / scanned
		if holds(high) {
			low = high
			continue
		}
		for high-low > 0.5 {
			if middle := (low + high) / 2; holds(middle) {
				low = middle
			} else {
				high = middle
			}
		}
		r.Reason = fmt.Sprintf("the probability of conformity falls below %g after %.0f days", m.Conformity, low)
		return m.apply(r, low, l.Origin), nil
	}
	r.Reason = fmt.Sprintf("the probability of conformity is at least %g up to the longest interval", m.Conformity)
	return m.apply(r, math.Inf(1), l.Origin), nil
}

// Shortest is the recommendation that comes first among those of one method at several frequencies; one without an interval counts for nothing, and ok is
// false where none has one.
func Shortest(all []Recommendation) (first Recommendation, ok bool) {
	for _, r := range all {
		if r.Unknown == "" && (!ok || r.Due.Before(first.Due)) {
			first, ok = r, true
		}
	}
	return first, ok
}
