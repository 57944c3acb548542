package calibration

import (
	"fmt"
	"math"

	"plumbline/steady"
	"plumbline/uncertainty"
)

// leastForAverage is the least number of readings from which their correlation is estimated.
const leastForAverage = 8

// readingEvidence takes the evidence from a series of displayed values. A display averages, so its readings hang together: the type A uncertainty is
// that of the mean of correlated readings, the correlation estimated from the series; with fewer than eight it is the standard deviation of a
// single reading. Either has n-1 degrees of freedom.
func readingEvidence(plan PointPlan) (e Evidence, level float64, refused string) {
	n := len(plan.Readings)
	if n < leastBlocks {
		return e, math.NaN(), fmt.Sprintf("%s: %d readings, at least %d are needed for a type A uncertainty", plan.Label, n, leastBlocks)
	}
	mean, levels, sumLevel := 0.0, 0, 0.0
	for i, r := range plan.Readings {
		if !(r.Sensitivity > 0) || math.IsInf(r.Sensitivity, 0) {
			return e, math.NaN(), fmt.Sprintf("%s, reading %d: sensitivity %g, allowed are positive numbers", plan.Label, i+1, r.Sensitivity)
		}
		mean += r.Sensitivity / float64(n)
		if !math.IsNaN(r.Level) {
			sumLevel += r.Level
			levels++
		}
	}
	sum := 0.0
	for _, r := range plan.Readings {
		l := math.Log(r.Sensitivity / mean)
		e.LnRatio = append(e.LnRatio, complex(l, 0))
		e.BlockTime = append(e.BlockTime, r.Time)
		sum += (r.Sensitivity/mean - 1) * (r.Sensitivity/mean - 1)
	}
	e.Ratio = complex(mean, 0)
	single := math.Sqrt(sum / float64(n-1))
	e.StdLnRatio = [2]float64{single, math.NaN()}
	if n >= leastForAverage {
		series := make([]float64, n)
		for i, l := range e.LnRatio {
			series[i] = real(l)
		}
		a, err := steady.Readings(series)
		if err != nil {
			return e, math.NaN(), fmt.Sprintf("%s: %v", plan.Label, err)
		}
		e.StdLnRatio[0] = min(single, a.Std)
		e.Correlation = a.Phi
	}
	e.TrendLeft[0] = readingsTrend(e)
	e.Blocks, e.DofLnRatio = n, [2]float64{float64(n - 1), math.NaN()}
	e.Duration = plan.Readings[n-1].Time - plan.Readings[0].Time
	level = plan.Level
	if levels > 0 {
		level = sumLevel / float64(levels)
	}
	return e, level, ""
}

// readingsTrend is half the change of the readings along a significant straight line over time; 0 where there is none or no times were noted.
func readingsTrend(e Evidence) float64 {
	first, last := e.BlockTime[0], e.BlockTime[len(e.BlockTime)-1]
	if !(last > first) {
		return 0
	}
	y := make([]float64, len(e.LnRatio))
	for i, l := range e.LnRatio {
		y[i] = real(l)
	}
	line, err := uncertainty.FitLine(e.BlockTime, y, first)
	if err != nil || !(line.UB > 0) {
		return 0
	}
	return trendLeft(line.B, line.B/line.UB, last-first)
}
