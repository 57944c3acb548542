package bench

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
)

// ErrStopped is wrapped when the operator ended the run before its last step.
var ErrStopped = errors.New("stopped by the operator")

// run is a run on its way.
type run struct {
	Set
	ctx       context.Context
	limiter   *limiter
	report    Report
	queue     []int // steps to come
	tried     []int
	lower     []float64           // factor on the levels of each step
	longest   []float64           // s
	known     map[float64]float64 // m/s² per V at f, of the low-level checks
	before    float64             // s of the acquisitions that ended
	quiet     [2][]float64        // samples of the channels with the exciter silent, V
	quietRate float64             // of them
	driving   []float64           // Hz, lines of the latest attempt
	single    bool                // the exciter refused more tones than one
	pausing   bool
	slowest   float64 // s, slowest time constant seen that was slower than told
}

// Run measures the steps of a set, one after the other. Whatever happens, the exciter is halted when it returns. The report holds what was kept until then. An error
// wraps ErrUnsafe where the watch stopped the run, ErrStopped where the operator did, ErrLost where an instrument is gone, and that of ctx or of the archive.
func Run(ctx context.Context, s Set) (report Report, err error) {
	if err := s.check(); err != nil {
		return Report{}, err
	}
	s.Steps = slices.Clone(s.Steps)
	r := &run{Set: s, ctx: ctx, tried: make([]int, len(s.Steps)), known: map[float64]float64{}}
	defer func() { report = r.report }()
	defer func() {
		if e := s.Exciter.Halt(); e != nil {
			err = errors.Join(err, fmt.Errorf("halt: %w", e))
		}
		r.tell(Event{Kind: "halted", Step: -1, Text: "the exciter is off"})
	}()
	copy(r.tried, s.Tried)
	r.limiter = &limiter{exciter: s.Exciter, limits: s.Limits, response: func(f float64) (float64, bool) { h, ok := r.known[f]; return h, ok }}
	for i, step := range s.Steps {
		r.lower, r.longest = append(r.lower, 1), append(r.longest, step.Longest)
		if !slices.Contains(s.Done, i) {
			r.queue = append(r.queue, i)
		}
	}
	if err := r.listen(); err != nil {
		return r.report, err
	}
	if s.Quiet > 0 {
		if err := r.quietCheck(); err != nil {
			return r.report, err
		}
	}
	return r.report, r.steps()
}

// steps works off the queue.
func (r *run) steps() error {
	for len(r.queue) > 0 {
		i := r.queue[0]
		r.queue = r.queue[1:]
		if err := r.step(i); err != nil {
			return err
		}
	}
	r.tell(Event{Kind: "finished", Step: -1, Text: fmt.Sprintf("%d kept, %d skipped", len(r.report.Kept), len(r.report.Skipped))})
	return nil
}

// step measures step i until it is kept or given up.
func (r *run) step(i int) error {
	for {
		if err := r.waitWhilePaused(i); errors.Is(err, errSkipped) {
			r.skip(i, "")
			return nil
		} else if err != nil {
			return err
		}
		r.tried[i]++
		a := &attempt{run: r, number: i, step: r.Steps[i], try: r.tried[i]}
		end, err := a.measure()
		r.before += a.seconds()
		r.report.Seconds = r.before
		if err != nil {
			return err
		}
		again, err := a.settle(end)
		if err != nil || !again {
			return err
		}
	}
}

// skip gives a step up.
func (r *run) skip(i int, who string) {
	r.report.Skipped = append(r.report.Skipped, i)
	r.tell(Event{Kind: "skipped", Step: i, Attempt: r.tried[i], Text: who})
}

// tell passes an event on.
func (r *run) tell(e Event) {
	if e.Seconds == 0 {
		e.Seconds = r.before
	}
	if r.Watch != nil {
		r.Watch(e)
	}
}

// note keeps an entry in the archive.
func (r *run) note(e Entry) error {
	if err := r.Archive.Note(e); err != nil {
		return fmt.Errorf("archive: %w", err)
	}
	return nil
}

// check refuses a set that cannot be run, before anything moves.
func (s Set) check() error {
	switch {
	case s.Exciter == nil || s.Digitizer == nil || s.Archive == nil || s.Operator == nil:
		return errors.New("bench: exciter, digitizer, archive and operator are needed")
	case len(s.Steps) == 0:
		return errors.New("bench: no step to measure")
	case s.Tried != nil && len(s.Tried) != len(s.Steps):
		return fmt.Errorf("bench: attempts of %d steps, there are %d", len(s.Tried), len(s.Steps))
	case s.Harmonics < 1:
		return fmt.Errorf("bench: %d harmonics, allowed are 1 and more", s.Harmonics)
	case !(s.Quiet >= 0) || math.IsInf(s.Quiet, 1):
		return fmt.Errorf("bench: quiet check of %g s", s.Quiet)
	}
	if err := s.Limits.check(); err != nil {
		return err
	}
	for c, in := range [2]Input{s.Reference, s.Device} {
		if in.Column < 1 || !(math.Abs(in.Scale) > 0) || math.IsInf(in.Scale, 0) || in.Sensitivity == nil {
			return fmt.Errorf("%s: column %d, scale %g: a column from 1, a scale and a sensitivity are needed", channelNames[c], in.Column, in.Scale)
		}
	}
	if s.Reference.Column == s.Device.Column {
		return fmt.Errorf("reference and device are both in column %d", s.Device.Column)
	}
	for i, step := range s.Steps {
		if err := s.checkStep(step); err != nil {
			return fmt.Errorf("step %d (%s): %w", i+1, step.Label, err)
		}
	}
	return nil
}

// checkStep refuses a step whose level is above its limit, whose blocks hold no whole cycles, or that never ends.
func (s Set) checkStep(step Step) error {
	if len(step.Lines) == 0 || len(step.Points) != len(step.Lines) {
		return fmt.Errorf("%d lines for %d points: one for each is needed", len(step.Lines), len(step.Points))
	}
	if !(step.Longest > 0) || math.IsInf(step.Longest, 1) {
		return fmt.Errorf("at most %g s: allowed are values above zero", step.Longest)
	}
	if !(step.Block > 0) || step.Longest < step.Block {
		return fmt.Errorf("blocks of %g s within %g s: allowed are values above zero, at most the longest time", step.Block, step.Longest)
	}
	share := 0.0
	for _, l := range step.Lines {
		limit := s.Limits.Level(l.Frequency)
		if !(l.Frequency > 0) || !(l.Level > 0) || !(limit > 0) {
			return fmt.Errorf("%g m/s² at %g Hz, the limit is %g m/s²: values above zero are needed", l.Level, l.Frequency, limit)
		}
		share += l.Level / limit
		cycles, whole := step.Block*l.Frequency, 1.0
		if len(step.Lines) > 1 {
			whole = 2 // blocks in which sums and differences of the lines are whole cycles may end in the half of each
		}
		if cycles < 1.99 || math.Abs(whole*cycles-math.Round(whole*cycles)) > 0.02*whole {
			return fmt.Errorf("blocks of %g s hold %.4g cycles of %g Hz: whole cycles are needed, two at least", step.Block, cycles, l.Frequency)
		}
	}
	if share > 1+1e-9 {
		return fmt.Errorf("the level is %.4g times what stroke, velocity, force or payload admit", share)
	}
	if _, err := newJudges(step); err != nil {
		return err
	}
	return nil
}
