// Package steady decides from a series of block values of a ratio whether a point has settled.
package steady

import (
	"fmt"
	"math"
)

// State is what a judge says of a point.
type State uint8

// The states. Settling is the zero value.
const (
	Settling   State = iota // wait: Answer.Needed blocks are predicted
	Steady                  // the value and its half width stand
	NotReached              // the blocks ended before the half width was reached
)

func (s State) String() string {
	switch s {
	case Settling:
		return "settling"
	case Steady:
		return "steady"
	case NotReached:
		return "not reached"
	}
	return fmt.Sprintf("State(%d)", uint8(s))
}

// Rule is how a judge decides. The zero value is no rule and is refused.
type Rule uint8

// The rules, from the simplest to the most careful. How often each is wrong and how long it waits is what package study measures.
const (
	// Skip leaves out five tau_max and takes the larger half width of 8 and of 16 batch means: the simple fall-back. It knows nothing of transients slower than
	// told and is too sure of itself where blocks are correlated.
	Skip Rule = 1 + iota
	// Averaged fits a constant with pairs of exponentials up to 1.5 tau_max and correlated noise, and averages over all of them by their weight. Tell it twice the
	// time constant that is believed: it takes nothing slower into account.
	Averaged
	// Wary does the same with pairs up to five times tau_max, slower ones with less weight, amplitudes bounded by a prior, and correlated noise expected rather
	// than excluded. Tell it the time constant that is believed: it waits about as long as Averaged told twice that, and is wrong less often where the belief was
	// too small.
	Wary
)

func (r Rule) String() string {
	switch r {
	case Skip:
		return "skip"
	case Averaged:
		return "averaged"
	case Wary:
		return "wary"
	}
	return fmt.Sprintf("Rule(%d)", uint8(r))
}

// Caution is the factor from the time constant that is believed to the tau_max the rule is to be told; 0 where r is no rule.
func (r Rule) Caution() float64 {
	switch r {
	case Skip, Averaged:
		return 2
	case Wary:
		return 1
	}
	return 0
}

// Settings are what a judge is told before the first block.
type Settings struct {
	Rule    Rule
	Modulus float64 // half width to be reached for ln|r|, which is the relative one of the modulus, at 95 % coverage; 0: the modulus is not judged
	Phase   float64 // and for arg r, rad; 0: the phase is not judged
	TauMax  float64 // tau_max, blocks: what function TauMax makes of the slowest time constant believed
	Limit   int     // blocks after which the judge gives up; 0: never
	Level   bool    // the blocks carry the level of the reference, and a time constant seen there raises tau_max
}

func (s Settings) check() error {
	positive := func(name string, x float64) error {
		if !(x >= 0) || math.IsInf(x, 1) {
			return fmt.Errorf("settling: %s is %g: 0 or a positive number is allowed", name, x)
		}
		return nil
	}
	if s.Rule.Caution() == 0 {
		return fmt.Errorf("settling: rule is %v: skip, averaged and wary are allowed", s.Rule)
	}
	if err := positive("half width of the modulus", s.Modulus); err != nil {
		return err
	}
	if err := positive("half width of the phase", s.Phase); err != nil {
		return err
	}
	if s.Modulus == 0 && s.Phase == 0 {
		return fmt.Errorf("settling: neither modulus nor phase has a half width to be reached: at least one is needed")
	}
	if !(s.TauMax > 0) || s.TauMax > slowest {
		return fmt.Errorf("settling: tau_max is %g blocks: more than 0 and at most %d are allowed", s.TauMax, slowest)
	}
	if s.Limit < 0 {
		return fmt.Errorf("settling: limit is %d blocks: 0 or more are allowed", s.Limit)
	}
	return nil
}

// slowest is the largest tau_max in blocks: with longer ones blocks are to be made longer.
const slowest = 400

// Block is the value of one block of the recording.
type Block struct {
	LnRatio complex128 // ln r: real part ln|r|, imaginary part arg r in rad, any multiple of 2π away
	LnLevel float64    // ln of the reference's amplitude; not looked at unless Settings.Level
	Dropped bool       // the block has no value; one that is not finite counts as dropped
}

// Estimate is what is known of one component of ln r.
type Estimate struct {
	Judged    bool    // a half width was asked for
	Mean      float64 // of ln|r|, or of arg r in rad
	HalfWidth float64 // claimed for Mean at 95 % coverage: max(kappa·h, target/3); 0 before the first look with enough blocks
	Own       float64 // kappa·h, what the blocks alone claim: HalfWidth without the floor of target/3
	Dof       float64 // degrees of freedom behind it
	Discarded int     // blocks at the start that were left out
	Replaced  int     // blocks that were no members of the series and were replaced
	Tau       float64 // time constant of the slowest part of the transient, blocks; means little where Left is far below HalfWidth
	Left      float64 // what is left of the transient at the last block, already taken off Mean; 0 from rule Skip
	Phi       float64 // autocorrelation of neighbouring blocks; 0 from rule Skip
	Reached   bool    // HalfWidth is not more than the target
}

// Std is the standard uncertainty with the half width claimed: HalfWidth/t(0.975, Dof).
func (e Estimate) Std() float64 {
	if e.HalfWidth == 0 || math.IsInf(e.HalfWidth, 1) {
		return e.HalfWidth
	}
	return e.HalfWidth / student(e.Dof)
}

// TypeA is the standard uncertainty of Mean that the blocks alone claim: Own/t(0.975, Dof). The floor of HalfWidth belongs to the decision to stop; in simulated
// runs that were stopped by a judge, Own at the last look missed the truth no more often than HalfWidth did (400 runs each of nine scenarios, 0 % to 3 %).
func (e Estimate) TypeA() float64 {
	if !(e.Own > 0) || math.IsInf(e.Own, 1) {
		return e.Own
	}
	return e.Own / student(e.Dof)
}

// Answer is what a judge says.
type Answer struct {
	State   State
	Blocks  int     // blocks taken, dropped ones too
	Dropped int     // of them without a value
	Looked  int     // blocks at the last look; 0 before the first
	Needed  int     // blocks at which the half widths will be reached, as far as can be seen; Looked once they are, 0 where it cannot be said
	TauMax  float64 // tau_max in use, blocks; more than told only where the level showed more
	Modulus Estimate
	Phase   Estimate
}

// LnRatio is the value: real part ln|r|, imaginary part arg r in rad, each 0 where not judged.
func (a Answer) LnRatio() complex128 { return complex(a.Modulus.Mean, a.Phase.Mean) }

// Wait is the time until Needed blocks of the given length in s are there, in s.
func (a Answer) Wait(blockTime float64) float64 {
	return float64(max(0, a.Needed-a.Blocks)) * blockTime
}
