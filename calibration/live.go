package calibration

import (
	"fmt"
	"math"

	"plumbline/steady"
)

// LiveJudge is what the judge of a point at f in Hz with blocks of the given length in s is told while it is measured; an evaluation of its recording tells its judge
// the same. It is an error where the procedure says nothing of how steadiness is judged, or where something is too slow for such blocks.
func (j Job) LiveJudge(f, block float64) (steady.Settings, error) {
	s := j.Procedure.Settling
	if s.Rule == 0 {
		return steady.Settings{}, fmt.Errorf("procedure %q says nothing of how steadiness is judged: state [procedure.settling], without it nobody knows when a point can be kept", j.Procedure.Name)
	}
	slow := j.Slow(f, block)
	if len(slow) == 0 {
		slow = []steady.TimeConstant{{Source: noneSlow}}
	}
	tau, err := steady.TauMax(s.Rule, block, slow...)
	if err != nil {
		return steady.Settings{}, fmt.Errorf("%g Hz: %w", f, err)
	}
	out := steady.Settings{Rule: s.Rule, Modulus: s.Modulus, TauMax: tau, Level: s.Level}
	if j.Reference.hasPhase() {
		out.Phase = s.Phase
	}
	return out, nil
}

// heldBlocks is the least number of blocks at the level held, for a type A uncertainty of what rests on them alone.
const heldBlocks = 5

// LeastHeld is how long, in s, the level of a point at f in Hz with blocks of the given length is held at least: blocks enough, and the periods the procedure asks for.
func (p Procedure) LeastHeld(f, block float64) float64 {
	return block * max(heldBlocks, math.Ceil(p.LeastPeriods/f/block-1e-9))
}
