package history

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"plumbline/uncertainty"
)

// Check is one intermediate check: what the reference found of the check standard.
type Check struct {
	ID    string // of its record: a reader finds the check by it
	Date  time.Time
	Value float64 // in one unit throughout, for example the sensitivity of the check standard in coherent SI
}

// ChartSettings are the numbers of the control charts. Nothing has a default; a chart whose number is 0 is not kept where it says so.
type ChartSettings struct {
	Least     int     // checks the limits need, at least 3; 20 and more are usual (from memory)
	Width     float64 // L of the individuals and moving ranges: distance of the limits in standard deviations, usually 3
	Run       int     // checks in a row on one side of the centre that are an alarm, at least 2; 0: no such rule
	Lambda    float64 // weight λ of the newest check in the EWMA, above 0, at most 1; 0: no EWMA
	WidthEWMA float64 // L of the EWMA
}

func (s ChartSettings) check() error {
	switch {
	case s.Least < 3:
		return fmt.Errorf("control chart: limits from %d checks, allowed are 3 or more", s.Least)
	case !positive(s.Width):
		return fmt.Errorf("control chart: limits at %g standard deviations, allowed are positive numbers", s.Width)
	case s.Run < 0 || s.Run == 1:
		return fmt.Errorf("control chart: a run of %d, allowed are 2 or more, or 0 for no such rule", s.Run)
	case !(s.Lambda >= 0 && s.Lambda <= 1):
		return fmt.Errorf("control chart: lambda %g of the EWMA, allowed are numbers above 0 up to 1, or 0 for no EWMA", s.Lambda)
	case s.Lambda > 0 && !positive(s.WidthEWMA):
		return fmt.Errorf("control chart: limits of the EWMA at %g standard deviations, allowed are positive numbers", s.WidthEWMA)
	}
	return nil
}

// Exclusion is a check left out of the limits, with the cause that was found: without one it stays in.
type Exclusion struct{ ID, Reason string }

// Limits are the frozen limits of phase I: what the process does while nothing is wrong.
type Limits struct {
	Checks       []Check     // they rest on, by date
	Excluded     []Exclusion // with their reasons
	Centre       float64     // mean of the checks
	Sigma        float64     // standard deviation from the mean moving range, MR̄/d₂: it does not take slow changes for scatter
	StdSigma     float64     // standard uncertainty of Sigma, relative: what so few checks know of it
	StdDev       float64     // experimental standard deviation: far above Sigma where the checks wander
	MeanRange    float64     // MR̄
	Lower, Upper float64     // Centre ∓ L·Sigma
	LargestRange float64     // MR̄(1 + L·d₃/d₂), 3.267 MR̄ for L = 3
	Remarks      []string

	set ChartSettings
}

// Factors of the range of two normal values (Shewhart; closed forms): its mean and its standard deviation over the standard deviation of the values.
var (
	d2 = 2 / math.Sqrt(math.Pi)   // 1.128
	d3 = math.Sqrt(2 - 4/math.Pi) // 0.853
)

// Establish is phase I: limits from checks made while nothing was known to be wrong. Checks outside their own limits come back as alarms and stay in until a cause is found and
// they are excluded with it; then phase I is made again. It is an error if fewer than Least checks remain, an exclusion has no reason or names no
// check, or all values are equal.
func Establish(checks []Check, excluded []Exclusion, set ChartSettings) (Limits, []Alarm, error) {
	if err := errors.Join(set.check(), checkAll(checks)); err != nil {
		return Limits{}, nil, err
	}
	for _, x := range excluded {
		if x.Reason == "" || !slices.ContainsFunc(checks, func(c Check) bool { return c.ID == x.ID }) {
			return Limits{}, nil, fmt.Errorf("control chart: exclusion of check %q for the reason %q: want a check of the chart and a reason", x.ID, x.Reason)
		}
	}
	kept := slices.DeleteFunc(byDate(checks), func(c Check) bool {
		return slices.ContainsFunc(excluded, func(x Exclusion) bool { return x.ID == c.ID })
	})
	if len(kept) < set.Least {
		return Limits{}, nil, fmt.Errorf("control chart: %d checks, its limits need %d", len(kept), set.Least)
	}
	l := Limits{Checks: kept, Excluded: slices.Clone(excluded), set: set}
	values := make([]float64, len(kept))
	for i, c := range kept {
		values[i] = c.Value
		if i > 0 {
			l.MeanRange += math.Abs(c.Value-kept[i-1].Value) / float64(len(kept)-1)
		}
	}
	if l.MeanRange == 0 {
		return Limits{}, nil, fmt.Errorf("control chart: all %d checks are %g: too coarse a resolution for limits", len(kept), values[0])
	}
	l.Centre, l.StdDev, l.Sigma = uncertainty.Mean(values), uncertainty.StdDev(values), l.MeanRange/d2
	l.Lower, l.Upper = l.Centre-set.Width*l.Sigma, l.Centre+set.Width*l.Sigma
	l.LargestRange = l.MeanRange * (1 + set.Width*d3/d2)
	l.StdSigma = stdOfMeanRange(len(kept) - 1)
	l.wander()
	_, alarms := l.judge(kept, nil)
	return l, alarms, nil
}

// stdOfMeanRange is the relative standard deviation of the mean of m moving ranges of independent normal values. Neighbouring ranges share a value: their differences have the
// correlation ρ = -1/2, so that E|Δ₁Δ₂| = (4/π)(√(1-ρ²) + ρ asin ρ) in σ². For many it is 0.909/√m.
func stdOfMeanRange(m int) float64 {
	const rho = -0.5
	shared := 4/math.Pi*(math.Sqrt(1-rho*rho)+rho*math.Asin(rho)) - d2*d2
	n := float64(m)
	return math.Sqrt(n*d3*d3+2*(n-1)*shared) / n / d2
}

// wander remarks on checks that follow one another too smoothly for independent ones, by von Neumann's ratio of the mean squared difference of neighbours over
// the variance: 2 for independent values, with standard deviation 2√((n-2)/(n²-1)) (von Neumann 1941, from memory).
func (l *Limits) wander() {
	n := float64(len(l.Checks))
	var squares float64
	for i := 1; i < len(l.Checks); i++ {
		d := l.Checks[i].Value - l.Checks[i-1].Value
		squares += d * d
	}
	ratio := squares / (n - 1) / (l.StdDev * l.StdDev)
	if z := (ratio - 2) / (2 * math.Sqrt((n-2)/(n*n-1))); z < -wandering {
		l.Remarks = append(l.Remarks, fmt.Sprintf("the checks behind the limits wander: their standard deviation of %.3g is more than the %.3g from one check to the next; a trend or steps are among them, and limits for single checks are too narrow for what the process does",
			l.StdDev, l.Sigma))
	}
}

// wandering is how many standard deviations von Neumann's ratio may fall below 2: one sound chart in a hundred gets the remark.
const wandering = 2.33

func byDate(checks []Check) []Check {
	c := slices.Clone(checks)
	slices.SortStableFunc(c, func(a, b Check) int { return a.Date.Compare(b.Date) })
	return c
}

func checkAll(checks []Check) error {
	seen := map[string]bool{}
	for i, c := range checks {
		switch {
		case c.ID == "" || seen[c.ID]:
			return fmt.Errorf("control chart, check %d: its number %q is missing or stands there twice", i+1, c.ID)
		case c.Date.IsZero():
			return fmt.Errorf("control chart, check %s: no date", c.ID)
		case math.IsNaN(c.Value) || math.IsInf(c.Value, 0):
			return fmt.Errorf("control chart, check %s: value %g, want a finite number", c.ID, c.Value)
		}
		seen[c.ID] = true
	}
	return nil
}
