package main

import (
	"fmt"
	"math"
	"math/cmplx"
	"strings"

	"plumbline/bench"
	"plumbline/internal/lab"
	"plumbline/quantity"
	"plumbline/steady"
)

// plainEvery is the time of the bench in s between two lines of progress where they cannot be written over.
const plainEvery = 5.0

// progress prints what happens in a run.
type progress struct {
	console *console
	m       *lab.Measurement
	last    float64 // s, when a line of progress was last printed
	step    int
}

// watch prints an event.
func (p *progress) watch(e bench.Event) {
	switch e.Kind {
	case "block":
		if e.Block == nil {
			return
		}
		settled := len(e.Block.Answers) > 0 && e.Block.Answers[0].State == steady.Steady
		if !p.console.terminal && !settled && e.Step == p.step && e.Seconds-p.last < plainEvery {
			return
		}
		p.last, p.step = e.Seconds, e.Step
		p.console.show(p.block(e))
	case "approach":
		p.last, p.step = e.Seconds, e.Step
		p.console.say("%s", p.head(e)+p.m.Steps[e.Step].Label+again(e.Attempt))
	case "kept", "discarded", "steady", "level", "asked", "skipped", "refused", "noted", "check", "paused", "resumed":
		p.console.say("%s", strings.TrimRight(p.head(e)+words(e.Kind)+colon(e.Text), " "))
	default:
		p.console.say("%s", strings.TrimRight(fmt.Sprintf("%9s  ", clockText(e.Seconds))+words(e.Kind)+colon(e.Text), " "))
	}
}

func again(attempt int) string {
	if attempt < 2 {
		return ""
	}
	return fmt.Sprintf(", attempt %d", attempt)
}

func colon(text string) string {
	if text == "" {
		return ""
	}
	return ": " + text
}

func words(kind string) string {
	return map[string]string{"quiet": "quiet check", "check": "low-level check", "asked": "cannot be kept", "halted": "halted"}[kind] +
		map[bool]string{true: kind}[kind != "quiet" && kind != "check" && kind != "asked" && kind != "halted"]
}

// head is the time of the bench and the number of the step.
func (p *progress) head(e bench.Event) string {
	if e.Step < 0 {
		return fmt.Sprintf("%9s  ", clockText(e.Seconds))
	}
	return fmt.Sprintf("%9s  %d/%d ", clockText(e.Seconds), e.Step+1, len(p.m.Steps))
}

// clockText is a time as m:ss.s.
func clockText(s float64) string {
	minutes := int(s / 60)
	return fmt.Sprintf("%d:%04.1f", minutes, s-60*float64(minutes))
}

// block is one line of progress: level reached, ratio with its interval against the half width wanted, time left.
func (p *progress) block(e bench.Event) string {
	b, step := e.Block, p.m.Steps[e.Step]
	worst := worstLine(b.Answers)
	text := p.head(e)
	if len(step.Lines) > 1 {
		text += fmt.Sprintf("%.4g Hz ", step.Lines[worst].Frequency)
	}
	text += "level " + levelText(p.m, b.Level[worst], step.Lines[worst].Frequency)
	a := b.Answers[worst]
	switch half := a.Modulus.HalfWidth; {
	case half > 0 && !math.IsInf(half, 1):
		text += fmt.Sprintf("  ratio %.6g ±%.2g %% (wanted ±%.2g %%)", math.Exp(a.Modulus.Mean), 100*half, 100*step.Judge.Modulus)
	default:
		text += fmt.Sprintf("  ratio %.6g, interval not known yet (wanted ±%.2g %%)", cmplx.Abs(cmplx.Exp(b.LnRatio[worst])), 100*step.Judge.Modulus)
	}
	if half := a.Phase.HalfWidth; a.Phase.Judged && half > 0 && !math.IsInf(half, 1) {
		text += fmt.Sprintf("  phase %.3f° ±%.2g° (±%.2g°)", a.Phase.Mean*180/math.Pi, half*180/math.Pi, step.Judge.Phase*180/math.Pi)
	}
	switch {
	case a.State == steady.Steady:
		text += "  steady"
	case math.IsNaN(b.Left) || b.Left <= 0:
	default:
		text += fmt.Sprintf("  about %.0f s left", math.Ceil(b.Left))
	}
	return text
}

// worstLine is the line that is furthest from its half width.
func worstLine(answers []steady.Answer) (worst int) {
	far := func(a steady.Answer) float64 {
		if a.State == steady.Steady {
			return 0
		}
		if a.Modulus.HalfWidth == 0 {
			return math.Inf(1)
		}
		return a.Modulus.HalfWidth
	}
	for i, a := range answers {
		if far(a) > far(answers[worst]) {
			worst = i
		}
	}
	return worst
}

// levelText is a level in m/s² peak at f in the unit of the plan, or as an acceleration.
func levelText(m *lab.Measurement, level, f float64) string {
	if m.Plan != nil {
		return m.Plan.Request.LevelText(level, f)
	}
	return fmt.Sprintf("%.3g %s peak", level, quantity.Acceleration.Unit().Symbol)
}
