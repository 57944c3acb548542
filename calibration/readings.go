package calibration

import (
	"fmt"
	"math"
)

// readingEvidence takes the evidence from a series of displayed values. A display is averaged and its correlation is unknown here, so the type A
// uncertainty is the standard deviation of a single reading, with n-1 degrees of freedom.
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
	e.StdLnRatio = [2]float64{math.Sqrt(sum / float64(n-1)), math.NaN()}
	e.Blocks, e.DofLnRatio = n, [2]float64{float64(n - 1), math.NaN()}
	e.Duration = plan.Readings[n-1].Time - plan.Readings[0].Time
	level = plan.Level
	if levels > 0 {
		level = sumLevel / float64(levels)
	}
	return e, level, ""
}
