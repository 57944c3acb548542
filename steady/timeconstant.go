package steady

import (
	"fmt"
	"math"
)

// TimeConstant is something slow that is known of the set-up.
type TimeConstant struct {
	Source  string  // what is slow, as it is to be printed
	Seconds float64 // time in which it falls to 1/e
}

// fastest is the least tau_max in blocks.
const fastest = 4

// TauMax is the tau_max in blocks a judge with this rule is to be told: the largest of the time constants, over the length of a block in s, times the caution of
// the rule, at least four. The level control, the high-passes (HighPass) of the transducers and of AC coupling, and known warming belong among them.
func TauMax(r Rule, blockTime float64, slow ...TimeConstant) (float64, error) {
	if r.Caution() == 0 {
		return 0, fmt.Errorf("tau_max: rule is %v: skip, averaged and wary are allowed", r)
	}
	if !(blockTime > 0) || math.IsInf(blockTime, 1) {
		return 0, fmt.Errorf("tau_max: a block of %g s: a positive length is needed", blockTime)
	}
	if len(slow) == 0 {
		return 0, fmt.Errorf("tau_max: no time constant is known: that of the level control, of a high-pass or of warming is needed")
	}
	var longest TimeConstant
	for _, t := range slow {
		if !(t.Seconds >= 0) || math.IsInf(t.Seconds, 1) {
			return 0, fmt.Errorf("tau_max: time constant of %s is %g s: 0 or a positive number is allowed", t.Source, t.Seconds)
		}
		if t.Seconds > longest.Seconds {
			longest = t
		}
	}
	tau := max(fastest, r.Caution()*longest.Seconds/blockTime)
	if tau > slowest {
		return 0, fmt.Errorf("tau_max: %s of %g s makes %.0f blocks of %g s: at most %d are allowed, with longer blocks",
			longest.Source, longest.Seconds, tau, blockTime, slowest)
	}
	return tau, nil
}

// HighPass is the time constant in s with which the transient of a second-order high-pass of the given corner in Hz and damping zeta falls: 1/(2π·zeta·f), and for
// zeta above 1 that of its slower pole, 1/(2π·f·(zeta - sqrt(zeta²-1))). With zeta = 1 it is that of a first-order high-pass, 1/(2π·f).
func HighPass(corner, zeta float64) (float64, error) {
	if !(corner > 0) || math.IsInf(corner, 1) {
		return 0, fmt.Errorf("high-pass: corner is %g Hz: a positive number is needed", corner)
	}
	if !(zeta > 0) || math.IsInf(zeta, 1) {
		return 0, fmt.Errorf("high-pass: damping is %g: a positive number is needed", zeta)
	}
	rate := zeta
	if zeta > 1 {
		rate = 1 / (zeta + math.Sqrt(zeta*zeta-1)) // zeta - sqrt(zeta²-1) without cancellation
	}
	return 1 / (2 * math.Pi * corner * rate), nil
}
