package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math"
	"strings"

	"plumbline/bench"
	"plumbline/internal/lab"
	"plumbline/steady"
)

const readingHelp = `type what the display shows; Enter alone keeps a steady point, k REASON keeps it before that, u corrects the last reading, n TEXT note, s skip, q stop`

// read takes values that a person reads off a display, point by point.
func (s *session) read(ctx context.Context) error {
	s.console.say("%s", readingHelp)
	for i := range s.m.Steps {
		if _, done := s.folder.State().Last(i); done {
			continue
		}
		if err := s.readPoint(ctx, i); err != nil {
			return err
		}
	}
	return nil
}

// readPoint takes the readings of one step until it is kept or skipped.
func (s *session) readPoint(ctx context.Context, i int) error {
	step, b := s.m.Steps[i], s.m.Bench.Readings
	series, err := s.m.Series(step)
	if err != nil {
		return err
	}
	s.console.say("%d/%d %s: set the exciter; a reading each %.3g s, in %s, until it is steady to ±%.2g %%", i+1, len(s.m.Steps), step.Label, b.Interval,
		strings.TrimSuffix(b.Unit+" and "+b.Level, " and "), 100*step.Judge.Modulus)
	for {
		prompt := fmt.Sprintf("  reading %d", series.Count()+1)
		if due := series.Due(); !due.IsZero() {
			prompt += " at " + due.Local().Format("15:04:05")
		}
		line, err := s.console.ask(ctx, prompt+":")
		if err != nil {
			return err
		}
		done, err := s.typed(i, series, line)
		if done || err != nil {
			return err
		}
	}
}

// errStopped ends a run at the operator's wish.
var errStopped = errors.New("stopped by the operator")

// typed does what was typed at a point; done says that the point is over.
func (s *session) typed(i int, series *lab.Series, line string) (done bool, err error) {
	word, rest, _ := strings.Cut(line, " ")
	rest = strings.TrimSpace(rest)
	switch strings.ToLower(word) {
	case "":
		if series.Answer().State != steady.Steady {
			s.console.say("  not steady yet: %s", soFar(series, s.m.Steps[i]))
			return false, nil
		}
		return true, s.keepReadings(i, series, "")
	case "k", "keep":
		steadyNow := series.Answer().State == steady.Steady
		switch {
		case series.Count() < lab.LeastReadings:
			s.console.say("  %d readings: %d at least are needed to keep them", series.Count(), lab.LeastReadings)
		case rest == "" && !steadyNow:
			s.console.say("  it is not steady: without a reason it is not kept; k REASON")
		case steadyNow:
			return true, s.keepReadings(i, series, "")
		default:
			return true, s.keepReadings(i, series, rest)
		}
	case "u":
		if err := series.Undo(); err != nil {
			s.console.say("  %v", err)
			return false, nil
		}
		s.console.say("  taken back: type what the display showed then")
		return false, s.folder.Note(bench.Entry{Kind: "reading-taken-back", Step: i})
	case "n", "note":
		return false, s.folder.Note(bench.Entry{Kind: "note", Step: i, Text: rest, Data: map[string]string{"operator": s.flags.operator}})
	case "s", "skip":
		return true, s.folder.Note(bench.Entry{Kind: "skipped", Step: i, Text: rest, Data: map[string]string{"operator": s.flags.operator}})
	case "q", "stop":
		return true, errStopped
	case "?", "help":
		s.console.say("  %s", readingHelp)
	default:
		return false, s.reading(i, series, line)
	}
	return false, nil
}

// reading takes a value. What cannot be taken is said and not kept.
func (s *session) reading(i int, series *lab.Series, line string) error {
	e, begun, err := series.Add(s.now(), line)
	if err != nil {
		s.console.say("  not taken: %v", err)
		return nil
	}
	if begun {
		s.console.say("  that was late: a judge needs equal intervals, so the series begins again with it")
	}
	if err := s.folder.Note(bench.Entry{Kind: "reading", Step: i, Text: line, Data: map[string]any{"at": e.At.UTC(), "begins_again": begun}}); err != nil {
		return err
	}
	s.console.say("  %s", soFar(series, s.m.Steps[i]))
	return nil
}

// soFar says what a series shows: mean, interval, how long to wait.
func soFar(series *lab.Series, step bench.Step) string {
	if series.Count() == 0 {
		return "no readings"
	}
	a := series.Answer()
	text := fmt.Sprintf("%d readings, %.5g", series.Count(), series.Mean())
	if h := a.Modulus.HalfWidth; h > 0 && !math.IsInf(h, 1) {
		text += fmt.Sprintf(" ±%.2g %% (wanted ±%.2g %%)", 100*h, 100*step.Judge.Modulus)
	}
	switch left := a.Wait(step.Block); {
	case a.State == steady.Steady:
		text += ": steady, Enter keeps it"
	case left > 0:
		text += fmt.Sprintf(", about %.0f s more", left)
	}
	return text
}

// keepReadings keeps the series.
func (s *session) keepReadings(i int, series *lab.Series, reason string) error {
	var b bytes.Buffer
	if err := series.Write(&b); err != nil {
		return err
	}
	name, err := s.folder.Take(i, ".csv", &b, "", nil, series.Outcome(i, reason, s.flags.operator))
	if err != nil {
		return err
	}
	s.console.say("  kept: %s", name)
	return nil
}
