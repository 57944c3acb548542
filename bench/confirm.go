package bench

import (
	"math"

	"plumbline/steady"
)

// lookGrowth is how much longer a recording has become from one look at the whole of it to the next, as with a judge that follows.
const lookGrowth = 1.2

// confirm looks at all blocks of every line together, as an evaluation of the recording will: with denser time constants than the judge that follows has. A recording
// that is kept as steady is then evaluated as steady. From the first look that says otherwise the judges' answers count no more.
func (a *attempt) confirm(given bool) {
	a.doubted, a.nextLook = true, len(a.series[0])
	a.lookAgain(given)
}

// lookAgain looks again once the recording has grown enough, or nothing will come any more.
func (a *attempt) lookAgain(given bool) {
	n := len(a.series[0])
	if !given && n < a.nextLook {
		return
	}
	for i := range a.lines {
		a.look(i)
		if !given && a.answers[i].State == steady.NotReached {
			a.answers[i].State = steady.Settling
		}
	}
	a.nextLook = int(math.Ceil(lookGrowth * float64(n)))
}

// allSteady says whether every line is.
func (a *attempt) allSteady() bool {
	for _, n := range a.answers {
		if n.State != steady.Steady {
			return false
		}
	}
	return true
}

// see remembers the slowest time constant that is slower than was told: what warms slowly goes on doing so at the steps that follow.
func (a *attempt) see() {
	for _, s := range a.series {
		tau, err := steady.Seen(a.step.Judge, s)
		if caution := a.step.Judge.Rule.Caution(); err == nil && tau*caution > a.step.Judge.TauMax {
			a.slowest = max(a.slowest, tau*a.step.Block)
		}
	}
}

// beware raises tau_max to what earlier steps have shown, as far as the longest time of the step leaves blocks enough.
func (a *attempt) beware() {
	j := &a.step.Judge
	most := j.Rule.Longest(int(a.longest[a.number] / a.step.Block / 2))
	j.TauMax = max(j.TauMax, min(most, j.Rule.Caution()*a.slowest/a.step.Block))
}
