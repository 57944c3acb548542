package history

import (
	"errors"
	"fmt"
	"math"
	"time"
)

// ChartPoint is one check on the charts.
type ChartPoint struct {
	Check
	Range     float64 // distance from the check before; NaN for the first of phase I
	EWMA      float64 // z = λx + (1-λ)z of the check before, from the centre; NaN without one
	LowerEWMA float64 // its limits
	UpperEWMA float64
	Run       int // checks on this side of the centre up to this one; 0 for one on the centre
}

// Rule is a rule of the charts.
type Rule string

// The rules.
const (
	BeyondLimits Rule = "beyond limits" // Shewhart: a single check far off
	LargeRange   Rule = "large range"   // of two neighbours: a jump
	LongRun      Rule = "long run"      // on one side of the centre
	BeyondEWMA   Rule = "EWMA"          // a small change that lasts
)

// Alarm is one rule broken by one check.
type Alarm struct {
	Rule  Rule
	Point ChartPoint
	Words string // which check, what was found, what is allowed, what it may mean
}

// Judge is phase II: new checks against the frozen limits, in order of their dates; the EWMA starts at the centre, runs and moving ranges go on from the last check of
// phase I. It is an error if a check is unusable, has a number of phase I or is older than its last one.
func (l Limits) Judge(checks []Check) ([]ChartPoint, []Alarm, error) {
	if len(l.Checks) == 0 {
		return nil, nil, errors.New("control chart: no limits have been established")
	}
	if err := checkAll(append(l.Checks[:len(l.Checks):len(l.Checks)], checks...)); err != nil {
		return nil, nil, err
	}
	last := l.Checks[len(l.Checks)-1]
	ordered := byDate(checks)
	if len(ordered) > 0 && ordered[0].Date.Before(last.Date) {
		return nil, nil, fmt.Errorf("control chart, check %s of %s: it is older than the last one behind the limits, of %s", ordered[0].ID, ordered[0].Date.Format(time.DateOnly), last.Date.Format(time.DateOnly))
	}
	points, alarms := l.judge(ordered, l.Checks)
	return points, alarms, nil
}

// judge judges checks that follow those before.
func (l Limits) judge(checks, before []Check) (points []ChartPoint, alarms []Alarm) {
	previous, side, run := math.NaN(), 0.0, 0
	follow := func(value float64) {
		s := 0.0
		if value != l.Centre {
			s = math.Copysign(1, value-l.Centre)
		}
		switch {
		case s == 0:
			run = 0
		case s == side:
			run++
		default:
			run = 1
		}
		side = s
	}
	for _, c := range before {
		follow(c.Value)
		previous = c.Value
	}
	z := l.Centre
	for i, c := range checks {
		follow(c.Value)
		p := ChartPoint{Check: c, Range: math.Abs(c.Value - previous), Run: run, EWMA: math.NaN(), LowerEWMA: math.NaN(), UpperEWMA: math.NaN()}
		if λ := l.set.Lambda; λ > 0 {
			z = λ*c.Value + (1-λ)*z
			half := l.set.WidthEWMA * l.Sigma * math.Sqrt(λ/(2-λ)*(1-math.Pow(1-λ, 2*float64(i+1))))
			p.EWMA, p.LowerEWMA, p.UpperEWMA = z, l.Centre-half, l.Centre+half
		}
		previous = c.Value
		points = append(points, p)
		alarms = append(alarms, l.alarms(p)...)
	}
	return points, alarms
}

// alarms are the rules that a check breaks.
func (l Limits) alarms(p ChartPoint) (all []Alarm) {
	add := func(rule Rule, format string, arguments ...any) {
		words := fmt.Sprintf("check %s of %s: ", p.ID, p.Date.Format(time.DateOnly)) + fmt.Sprintf(format, arguments...)
		all = append(all, Alarm{Rule: rule, Point: p, Words: words})
	}
	if p.Value < l.Lower || p.Value > l.Upper {
		side, limit := sideOf(p.Value, l.Lower, l.Upper)
		add(BeyondLimits, "%.6g is %s the limit of %.6g, %g standard deviations from the centre of %.6g: a single check that does not belong to the others. Repeat it; if it stays, reference or check standard has changed", p.Value, side, limit, l.set.Width, l.Centre)
	}
	if p.Range > l.LargestRange {
		add(LargeRange, "%.6g is %.3g away from the check before, at most %.3g is allowed: a jump from one check to the next", p.Value, p.Range, l.LargestRange)
	}
	if l.set.Run > 0 && p.Run >= l.set.Run {
		add(LongRun, "it is the %s in a row on one side of the centre of %.6g, %d are an alarm: the level has moved", ordinal(p.Run), l.Centre, l.set.Run)
	}
	if p.EWMA < p.LowerEWMA || p.EWMA > p.UpperEWMA {
		side, limit := sideOf(p.EWMA, p.LowerEWMA, p.UpperEWMA)
		add(BeyondEWMA, "the weighted mean of this and the earlier checks (EWMA, λ = %g, L = %g) is %.6g, %s its limit of %.6g: a small change that lasts. Reference or check standard drifts", l.set.Lambda, l.set.WidthEWMA, p.EWMA, side, limit)
	}
	return all
}

func sideOf(value, lower, upper float64) (string, float64) {
	if value < lower {
		return "below", lower
	}
	return "above", upper
}

func ordinal(n int) string {
	suffix := "th"
	if n%100 < 11 || n%100 > 13 {
		switch n % 10 {
		case 1:
			suffix = "st"
		case 2:
			suffix = "nd"
		case 3:
			suffix = "rd"
		}
	}
	return fmt.Sprintf("%d%s", n, suffix)
}
