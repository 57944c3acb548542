package steady

import "math"

// Check compares two estimates of the same quantity.
type Check struct {
	Difference float64 // first less again; of phases brought into [-π, π]
	Allowed    float64 // sqrt(ha² + hb²), the half widths claimed
	Flagged    bool    // the difference is more than allowed: at least one of the two was not steady
}

// Repeat compares the answers of a point that was measured again, which is how a time constant that was told too small shows itself: the first point of a run
// and the slowest one are repeated at its end. A component that was not judged in both is not flagged.
func Repeat(first, again Answer) (modulus, phase Check) {
	modulus = compare(first.Modulus, again.Modulus, first.Modulus.Mean-again.Modulus.Mean)
	phase = compare(first.Phase, again.Phase, math.Remainder(first.Phase.Mean-again.Phase.Mean, 2*math.Pi))
	return modulus, phase
}

func compare(a, b Estimate, difference float64) Check {
	if !a.Judged || !b.Judged {
		return Check{}
	}
	allowed := math.Hypot(a.HalfWidth, b.HalfWidth)
	return Check{Difference: difference, Allowed: allowed, Flagged: math.Abs(difference) > allowed}
}
