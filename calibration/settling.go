package calibration

import (
	"fmt"
	"math"
	"math/cmplx"

	"plumbline/steady"
)

// Settling is how a procedure has the steadiness of every point judged. The zero value says nothing.
type Settling struct {
	NotApplicable string                // reason why it is not judged; nothing else is stated then
	Rule          steady.Rule           // 0: not judged
	Modulus       float64               // half width wanted of the modulus at 95 %, relative
	Phase         float64               // and of the phase, rad; 0 where no phase is stated
	Level         bool                  // a time constant that shows in the level of the reference raises tau_max
	Slow          []steady.TimeConstant // what is slow besides the exciter's loop, the transducers and the channels
}

// Judgement is what a judge found of the steadiness of one point. The zero value: not judged.
type Judgement struct {
	Rule      steady.Rule
	Why       string          // why the point was not judged though the procedure asks for it; empty otherwise
	Block     float64         // s, length of a block, of readings their interval
	TauMax    float64         // blocks, as the judge was told
	From      string          // what is slowest, from which tau_max comes
	Slowest   float64         // s, its time constant
	Wanted    [2]float64      // half widths at 95 %, modulus (relative) and phase (rad); 0 not judged
	HalfWidth [2]float64      // found
	Answers   []steady.Answer // of the recording, and of the second one with the channels exchanged; empty: not judged
}

// Judged reports whether the value and its type A uncertainty are the judge's.
func (g Judgement) Judged() bool { return len(g.Answers) > 0 }

// Steady reports whether the half widths wanted were reached.
func (g Judgement) Steady() bool {
	return g.Judged() && g.HalfWidth[0] <= g.Wanted[0] && (g.Wanted[1] == 0 || g.HalfWidth[1] <= g.Wanted[1])
}

// Cause is in words what tau_max comes from.
func (g Judgement) Cause() string {
	if g.Slowest == 0 {
		return g.From
	}
	text := fmt.Sprintf("%s, %.3g s", g.From, g.Slowest)
	if g.TauMax*g.Block > (1+edge)*g.Slowest*g.Rule.Caution() {
		text += "; the least is four blocks"
	}
	return text
}

// State is in words what was found.
func (g Judgement) State() string {
	switch {
	case !g.Judged():
		return "not judged"
	case g.Steady():
		return steady.Steady.String()
	}
	return steady.NotReached.String()
}

// Discarded is the number of blocks at the start that were left out, the larger of modulus and phase, of all recordings together.
func (g Judgement) Discarded() (n int) {
	for _, a := range g.Answers {
		n += max(a.Modulus.Discarded, a.Phase.Discarded)
	}
	return n
}

// TauMaxUsed is the tau_max in s that the judge used: more than told where the level of the reference showed more.
func (g Judgement) TauMaxUsed() (s float64) {
	for _, a := range g.Answers {
		s = max(s, a.TauMax*g.Block)
	}
	return s
}

// run is what the points of a job have shown so far.
type run struct {
	slowest steady.TimeConstant // slower than was told where it was seen
}

// blockSeries is the blocks of one recording as a judge takes them.
type blockSeries struct {
	blocks []steady.Block
	length float64 // s, of a block
	offset float64 // taken off ln|r| of the blocks by the reference that is no channel: ln of the stated level
}

// judge replaces the value and the type A evidence of a point by those of the judge, as far as the procedure asks for it and the series allows.
func (j *Job) judge(p *Point, a *acquisition, so *run) {
	set := j.Procedure.Settling
	if p.Refused != "" || set.Rule == 0 {
		return
	}
	all, why := p.series(a)
	g := Judgement{Rule: set.Rule, Why: why, Wanted: [2]float64{set.Modulus, 0}}
	if p.HasPhase {
		g.Wanted[1] = set.Phase
	}
	defer func() { p.Evidence.Judgement = g }()
	if why != "" {
		return
	}
	settings, err := j.settings(&g, p, all, so)
	if err != nil {
		g.Why = err.Error()
		return
	}
	var answers []steady.Answer
	for _, s := range all {
		answer, err := steady.Evaluate(settings, s.blocks)
		if err != nil {
			g.Why = err.Error()
			return
		}
		if unusable(answer.Modulus) || unusable(answer.Phase) {
			g.Why = fmt.Sprintf("the series of %d blocks is too short for rule %v with tau_max %.3g s (%s), which needs %d",
				len(s.blocks)-answer.Dropped, set.Rule, answer.TauMax*g.Block, g.Cause(), set.Rule.Fewest(answer.TauMax))
			return
		}
		answers = append(answers, answer)
		so.see(j, p, settings, g.Block, s.blocks)
	}
	g.Answers = answers
	p.take(&g, all)
}

// unusable reports whether a judge could say nothing of a component it was asked about.
func unusable(e steady.Estimate) bool {
	return e.Judged && (e.HalfWidth == 0 || math.IsInf(e.Own, 0) || math.IsNaN(e.Own))
}

// noneSlow stands where nothing is known to be slow.
const noneSlow = "none is slower than a few blocks"

// settings are what the judge is told. With the channels exchanged the mean of two values is wanted, so each may be √2 times as wide.
func (j *Job) settings(g *Judgement, p *Point, all []blockSeries, so *run) (steady.Settings, error) {
	set, widen := j.Procedure.Settling, math.Sqrt(float64(len(all)))
	g.Block = all[0].length
	slow := j.Slow(p.Frequency, g.Block)
	g.From = noneSlow
	if len(slow) == 0 {
		slow = []steady.TimeConstant{{Source: g.From}}
	}
	least := len(all[0].blocks)
	for _, s := range all[1:] {
		least = min(least, len(s.blocks))
	}
	told, err := steady.TauMax(set.Rule, g.Block, slow...)
	if err != nil {
		return steady.Settings{}, err
	}
	// what earlier points have shown counts as far as this one can still be judged
	if seen := so.slowest; seen.Seconds > 0 {
		most := set.Rule.Longest(least) * g.Block / set.Rule.Caution()
		if seen.Seconds = min(seen.Seconds, most); seen.Seconds > told*g.Block/set.Rule.Caution() {
			slow = append(slow, seen)
			if told, err = steady.TauMax(set.Rule, g.Block, slow...); err != nil {
				return steady.Settings{}, err
			}
		}
	}
	for _, t := range slow {
		if t.Seconds > g.Slowest {
			g.Slowest, g.From = t.Seconds, t.Source
		}
	}
	g.TauMax = told
	return steady.Settings{Rule: set.Rule, Modulus: g.Wanted[0] * widen, Phase: g.Wanted[1] * widen, TauMax: told,
		Level: set.Level && !p.Method.statedLevel && all[0].levels()}, nil
}

// levels reports whether every block with a value has a level.
func (s blockSeries) levels() bool {
	for _, b := range s.blocks {
		if !b.Dropped && (math.IsNaN(b.LnLevel) || math.IsInf(b.LnLevel, 0)) {
			return false
		}
	}
	return true
}

// see remembers a time constant that is slower than was told.
func (so *run) see(j *Job, p *Point, s steady.Settings, block float64, blocks []steady.Block) {
	tau, err := steady.Seen(s, blocks)
	if err != nil || tau*s.Rule.Caution() <= s.TauMax {
		return
	}
	if seconds := tau * block; seconds > so.slowest.Seconds {
		so.slowest = steady.TimeConstant{Source: fmt.Sprintf("seen at %.4g Hz", p.Plan.Frequency), Seconds: seconds}
	}
}

// take puts the judge's values in the place of the plain mean's. What a trend or the correlation of neighbours would add is in the judge's half width.
func (p *Point) take(g *Judgement, all []blockSeries) {
	e, n := &p.Evidence, float64(len(g.Answers))
	var mean, variance, fourth, half [2]float64
	for k, a := range g.Answers {
		for i, x := range []steady.Estimate{a.Modulus, a.Phase} {
			if g.Wanted[i] == 0 {
				continue
			}
			m := x.Mean
			if i == 0 {
				m -= all[k].offset
			} else if k > 0 { // the two phases differ by little: no turn between them
				m = mean[1]*n + math.Remainder(m-mean[1]*n, 2*math.Pi)
			}
			u := x.TypeA() / n
			mean[i], variance[i], half[i] = mean[i]+m/n, variance[i]+u*u, math.Hypot(half[i], x.Own/n)
			fourth[i] += u * u * u * u / x.Dof
		}
	}
	g.HalfWidth = half
	for i := range mean {
		if g.Wanted[i] == 0 {
			continue
		}
		e.StdLnRatio[i], e.DofLnRatio[i] = math.Sqrt(variance[i]), math.Inf(1)
		if fourth[i] > 0 {
			e.DofLnRatio[i] = variance[i] * variance[i] / fourth[i] // Welch-Satterthwaite; that of the one series where there is one
		}
	}
	e.TrendLeft, e.FromResidual, e.Correlation = [2]float64{}, false, 0
	phase := cmplx.Phase(e.Ratio)
	if g.Wanted[1] > 0 {
		phase = mean[1]
	}
	if p.Method.withoutPhase {
		e.Ratio = complex(math.Exp(mean[0]), 0)
	} else {
		e.Ratio = cmplx.Rect(math.Exp(mean[0]), phase)
	}
	if len(g.Answers) == 2 {
		e.exchange(g.Answers[1].LnRatio()-g.Answers[0].LnRatio(), g.Wanted[1] > 0)
	}
}

// exchange takes the ratio of the channels' gains from ln of the second ratio over the first, whose imaginary part is known where the phase was judged.
func (e *Evidence) exchange(step complex128, phase bool) {
	turn := -2 * cmplx.Phase(e.Exchange)
	if phase {
		turn = math.Remainder(imag(step), 2*math.Pi)
	}
	e.Exchange = cmplx.Exp(complex(-real(step)/2, -turn/2))
}

// validateSettling refuses what a judge cannot work with.
func (j *Job) validateSettling() (errs []error) {
	s := j.Procedure.Settling
	if s.Rule == 0 {
		return nil
	}
	refuse := func(wrong bool, format string, args ...any) {
		if wrong {
			errs = append(errs, fmt.Errorf("procedure %q, settling: "+format, append([]any{j.Procedure.Name}, args...)...))
		}
	}
	refuse(s.Rule.Caution() == 0, "rule is %v, allowed are skip, averaged and wary", s.Rule)
	refuse(!(s.Modulus > 0) || math.IsInf(s.Modulus, 1), "half width of the modulus is %g, allowed are positive values", s.Modulus)
	refuse(!(s.Phase >= 0) || math.IsInf(s.Phase, 1), "half width of the phase is %g rad, allowed are positive values, or 0 where no phase is stated", s.Phase)
	refuse(s.Phase == 0 && j.Reference.hasPhase() && !j.reads() && !j.Reference.StatesLevel, "the half width of the phase is missing: the reference's certificate gives the phase")
	for _, t := range s.Slow {
		refuse(!(t.Seconds > 0) || math.IsInf(t.Seconds, 1), "time constant of %s is %g s, allowed are positive values", t.Source, t.Seconds)
	}
	refuse(!j.knowsSlow(), "no time constant is known: describe the exciter with its level loop, the discharge of a transducer, a corner of a channel, or a time constant in the procedure")
	return errs
}
