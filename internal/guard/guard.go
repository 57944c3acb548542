// Package guard is a process of its own that turns an exciter off when the program that drives it ends or hangs.
package guard

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"time"
)

// Order is the first line a guard is told: which exciter, and how it is turned off.
type Order struct {
	Driver  string          `json:"driver"`
	Data    json.RawMessage `json:"data,omitempty"`     // what the driver's own function needs, for example an address
	Silence float64         `json:"silence_s"`          // time without a beat after which the program counts as hung
	Log     string          `json:"log_file,omitempty"` // what the guard did is appended to it
}

// Switch turns the output of one kind of exciter off, over a connection of its own.
type Switch struct {
	Reach func(ctx context.Context, data json.RawMessage) error // can it be turned off, as far as can be told without doing so; nil: always
	Off   func(ctx context.Context, data json.RawMessage) error // returns nil when the output is off
}

// What goes over the pipes: the program sends the order, a beat at least each second and at the end the last word; the guard answers each of these lines once.
const (
	beat     = "."
	lastWord = "done"
	ready    = "ready"
	off      = "off"
)

const (
	every     = 500 * time.Millisecond // beats of the program
	reachIn   = 5 * time.Second        // time limit of Reach
	oneTry    = 3 * time.Second        // time limit of one attempt to turn the output off
	betweenIn = 200 * time.Millisecond // wait before the next one
	tries     = 100
)

// SilenceUsual is the time without a beat after which a program counts as hung.
const SilenceUsual = 5.0

// Serve is the life of a guard. It turns the output off when in ends, when no beat comes, when stop is closed, or when it is told that the run is over, and returns
// when the output is off or cannot be turned off.
func Serve(in io.Reader, out io.Writer, switches map[string]Switch, stop <-chan os.Signal) error {
	r := bufio.NewReader(in)
	line, err := r.ReadBytes('\n')
	if err != nil {
		return fmt.Errorf("guard: no order came: %w", err)
	}
	var o Order
	if err := json.Unmarshal(line, &o); err != nil {
		return fmt.Errorf("guard: order: %w", err)
	}
	s, known := switches[o.Driver]
	if !known {
		return fmt.Errorf("guard: driver %q is not known", o.Driver)
	}
	if !(o.Silence > 0) {
		return fmt.Errorf("guard: time without a beat %g s, allowed are values above zero", o.Silence)
	}
	if s.Reach != nil {
		ctx, cancel := context.WithTimeout(context.Background(), reachIn)
		err := s.Reach(ctx, o.Data)
		cancel()
		if err != nil {
			return fmt.Errorf("guard: %s: %w", o.Driver, err)
		}
	}
	if _, err := fmt.Fprintln(out, ready); err != nil {
		return fmt.Errorf("guard: %w", err)
	}
	why, told := watch(r, time.Duration(o.Silence*float64(time.Second)), stop)
	err = o.turnOff(s, why)
	if told && err == nil {
		_, err = fmt.Fprintln(out, off)
	}
	return err
}

// watch waits until there is a reason to turn the output off; told says that it is the program's last word.
func watch(r *bufio.Reader, silence time.Duration, stop <-chan os.Signal) (why string, told bool) {
	words := make(chan string)
	go func() {
		defer close(words)
		for {
			word, err := r.ReadString('\n')
			if err != nil {
				return
			}
			words <- strings.TrimSpace(word)
		}
	}()
	limit := time.NewTimer(silence)
	for {
		select {
		case word, open := <-words:
			switch {
			case !open:
				return "the program's pipe was closed", false
			case word == lastWord:
				return "the run is over", true
			}
			limit.Reset(silence)
		case <-limit.C:
			return fmt.Sprintf("no beat of the program for %v", silence), false
		case s := <-stop:
			return fmt.Sprintf("the guard was told to end (%v)", s), false
		}
	}
}

// turnOff turns the output off and says so in the log.
func (o Order) turnOff(s Switch, why string) error {
	var err error
	for try := range tries {
		if try > 0 {
			time.Sleep(betweenIn)
		}
		ctx, cancel := context.WithTimeout(context.Background(), oneTry)
		err = s.Off(ctx, o.Data)
		cancel()
		if err == nil {
			return o.log("output off: " + why)
		}
		if try == 0 {
			_ = o.log(fmt.Sprintf("output not yet off (%s): %v", why, err)) // the output matters more than the log
		}
	}
	err = fmt.Errorf("guard: %s: the output could not be turned off: %w", o.Driver, err)
	return errors.Join(err, o.log(err.Error()))
}

func (o Order) log(text string) (err error) {
	if o.Log == "" {
		return nil
	}
	f, err := os.OpenFile(o.Log, os.O_CREATE|os.O_WRONLY|os.O_APPEND, 0o644)
	if err != nil {
		return fmt.Errorf("guard: %w", err)
	}
	_, err = fmt.Fprintf(f, "%s %s\n", time.Now().UTC().Format(time.RFC3339Nano), text)
	if err = errors.Join(err, f.Sync(), f.Close()); err != nil {
		return fmt.Errorf("guard: %w", err)
	}
	return nil
}
