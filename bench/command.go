package bench

import (
	"errors"
	"fmt"
)

// What a command does to the running attempt.
var (
	errPaused  = errors.New("paused")
	errSkipped = errors.New("skipped")
	errKeep    = errors.New("kept by the operator")
)

// listen takes the commands that wait and does those that do not concern a running attempt.
func (r *run) listen() error {
	for {
		select {
		case <-r.ctx.Done():
			return r.ctx.Err()
		case c, ok := <-r.Commands:
			if !ok {
				r.Commands = nil
				return nil
			}
			if err := r.obey(c, -1); err != nil && !errors.Is(err, errPaused) && !errors.Is(err, errSkipped) && !errors.Is(err, errKeep) {
				return err
			}
		default:
			return nil
		}
	}
}

// obey does what does not concern the running attempt; for what does it returns an error of the kind.
func (r *run) obey(c Command, step int) error {
	switch c.Kind {
	case "note":
		r.tell(Event{Kind: "noted", Step: step, Text: c.Text})
		return r.note(Entry{Kind: "note", Step: step, Text: c.Text, Data: map[string]string{"operator": c.Name}})
	case "repeat":
		if c.Step < 0 || c.Step >= len(r.Steps) {
			return r.deaf(c, step, fmt.Sprintf("step %d is none of the %d", c.Step+1, len(r.Steps)))
		}
		r.queue = append([]int{c.Step}, r.queue...)
	case "pause":
		r.pausing = true
		return errPaused
	case "resume":
		r.pausing = false
	case "skip":
		return errSkipped
	case "longer":
		if step >= 0 {
			r.longest[step] *= 2
		}
	case "keep":
		if c.Text == "" || c.Name == "" {
			return r.deaf(c, step, "a reason and a name are needed to keep what is not steady")
		}
		return errKeep
	case "stop":
		return ErrStopped
	default:
		return r.deaf(c, step, "not known")
	}
	return nil
}

// deaf tells why a command is not obeyed.
func (r *run) deaf(c Command, step int, why string) error {
	r.tell(Event{Kind: "refused", Step: step, Text: fmt.Sprintf("%s: %s", c.Kind, why)})
	return nil
}

// waitWhilePaused waits for the operator, the exciter being silent.
func (r *run) waitWhilePaused(step int) error {
	if !r.pausing {
		if err := r.listen(); err != nil || !r.pausing {
			return err
		}
	}
	r.tell(Event{Kind: "paused", Step: step})
	for r.pausing {
		if r.Commands == nil {
			return fmt.Errorf("%w: nobody is there to resume", ErrStopped)
		}
		select {
		case <-r.ctx.Done():
			return r.ctx.Err()
		case c, ok := <-r.Commands:
			if !ok {
				r.Commands = nil
				continue
			}
			if err := r.obey(c, step); err != nil && !errors.Is(err, errPaused) && !errors.Is(err, errKeep) {
				return err
			}
		}
	}
	r.tell(Event{Kind: "resumed", Step: step})
	return nil
}
