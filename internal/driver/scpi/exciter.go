package scpi

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/cmplx"
	"slices"
	"strings"
	"sync"
	"time"

	"plumbline/bench"
)

// Exciter drives a table through a function generator. It is a bench.Exciter. A tone's phase is the instrument's own and stays as it is while the amplitude changes;
// another frequency, or another shape of a sum of tones, is reached through silence.
type Exciter struct {
	dialect Generator
	address string
	halting chan struct{} // closed by the first Halt
	once    sync.Once

	mu     sync.Mutex
	client *Client
	on     bool // the output may be on
	wave   wave
	level  float64 // V peak, the highest the amplitude may be at
}

var _ bench.Exciter = (*Exciter)(nil)

// wave is what the generator repeats: a frequency, and a shape where it is no sine.
type wave struct {
	frequency float64   // Hz
	shape     []float64 // one period between -1 and 1; nil: a sine
}

// OpenExciter connects with the generator at an address, host or host:port, and makes it silent.
func OpenExciter(ctx context.Context, address string, d Generator) (*Exciter, error) {
	d, err := d.complete()
	if err != nil {
		return nil, err
	}
	client, err := Dial(ctx, address, d.options())
	if err != nil {
		return nil, err
	}
	e := &Exciter{dialect: d, address: address, halting: make(chan struct{}), client: client, on: true}
	if err := e.prepare(ctx); err != nil {
		return nil, errors.Join(err, client.Close())
	}
	return e, nil
}

// prepare makes sure of the instrument, turns its output off and sets it up.
func (e *Exciter) prepare(ctx context.Context) error {
	if _, err := identify(ctx, e.client, e.dialect.Instrument); err != nil {
		return err
	}
	if err := e.off(ctx); err != nil {
		return err
	}
	for _, c := range append(append([]string{}, e.dialect.Setup...), e.dialect.Sine...) {
		if err := e.client.Command(ctx, c); err != nil {
			return err
		}
	}
	e.wave = wave{}
	if err := e.isSine(ctx); err != nil {
		return err
	}
	if err := e.setLevel(ctx, e.dialect.Least); err != nil {
		return err
	}
	return e.off(ctx) // whatever the setup has done
}

// isSine makes sure of the shape.
func (e *Exciter) isSine(ctx context.Context) error {
	if e.dialect.AskSine == "" {
		return nil
	}
	shape, err := e.client.Ask(ctx, e.dialect.AskSine)
	if want := e.dialect.SineIs; err == nil && (len(shape) < len(want) || !strings.EqualFold(shape[:len(want)], want)) {
		err = fmt.Errorf("%s: %q is answered %q, a sine is %q", e.client.Name(), e.dialect.AskSine, shape, want)
	}
	return err
}

// identify asks an instrument who it is.
func identify(ctx context.Context, c *Client, want string) (found string, err error) {
	found, err = c.Identify(ctx)
	if err == nil && !strings.Contains(found, want) {
		err = fmt.Errorf("%s: it is %q, expected was %q", c.Name(), found, want)
	}
	return found, err
}

// Close ends the connection. It does not halt.
func (e *Exciter) Close() error {
	e.mu.Lock()
	defer e.mu.Unlock()
	return e.client.Close()
}

// Drive asks for a signal. It comes back when the amplitude is reached, after at most a few tenths of a second, with what the instrument says it does compared with what it was
// told. After an error the output is off, as far as the instrument obeys; a signal that is refused beforehand leaves it as it is.
func (e *Exciter) Drive(ctx context.Context, s bench.Signal) error {
	w, level, err := e.dialect.wave(s)
	if err != nil {
		return err
	}
	e.mu.Lock()
	defer e.mu.Unlock()
	if e.halted() {
		return bench.ErrHalted
	}
	if ctx.Err() != nil {
		return fmt.Errorf("%s: %w", e.client.Name(), context.Cause(ctx))
	}
	silent := !e.on
	err = e.drive(ctx, w, level)
	if silent && errors.Is(err, bench.ErrLost) && !e.halted() && e.reconnect(ctx) == nil {
		err = e.drive(ctx, w, level)
	}
	if err != nil {
		if !e.halted() { // Halt waits and does it itself
			err = errors.Join(err, e.quiet())
		}
		return err
	}
	return nil
}

// reconnect makes the connection anew where it was lost in silence: instruments close connections that are not used for long. The output is made sure of first.
func (e *Exciter) reconnect(ctx context.Context) error {
	client, err := Dial(ctx, e.address, e.dialect.options())
	if err != nil {
		return err
	}
	e.client, e.on = client, true
	return e.prepare(context.WithoutCancel(ctx))
}

func (e *Exciter) halted() bool {
	select {
	case <-e.halting:
		return true
	default:
		return false
	}
}

func (e *Exciter) drive(ctx context.Context, w wave, level float64) error {
	steady := context.WithoutCancel(ctx) // an exchange broken off would cost the connection that Halt needs
	if level == 0 || !w.same(e.wave) {
		if e.on {
			if err := e.ramp(ctx, e.dialect.Least); err != nil {
				return err
			}
			if err := e.off(steady); err != nil {
				return err
			}
		}
		if level == 0 {
			return nil
		}
		if err := e.setWave(steady, w); err != nil {
			return err
		}
	}
	if !e.on {
		if err := e.setLevel(steady, e.dialect.Least); err != nil {
			return err
		}
		e.on = true
		if err := e.client.Command(steady, e.dialect.On); err != nil {
			return err
		}
		if on, err := e.client.Flag(steady, e.dialect.AskOutput); err != nil || !on {
			return errors.Join(err, fmt.Errorf("%s: the output is still off after %q", e.client.Name(), e.dialect.On))
		}
	}
	if err := e.ramp(ctx, level); err != nil {
		return err
	}
	return e.confirm(steady)
}

// ramp leads the amplitude to another in steps no larger and no faster than the dialect allows.
func (e *Exciter) ramp(ctx context.Context, to float64) error {
	from := e.level
	n := int(math.Ceil(math.Abs(to-from)/e.dialect.Step - 1e-9))
	for i := 1; i <= n; i++ {
		if i > 1 {
			if err := e.pause(ctx, seconds(e.dialect.StepTime)); err != nil {
				return err
			}
		}
		next := from + (to-from)*float64(i)/float64(n)
		if i == n {
			next = to // not beyond it by rounding: an instrument takes no amplitude below zero
		}
		if err := e.setLevel(context.WithoutCancel(ctx), next); err != nil {
			return err
		}
	}
	return nil
}

// pause waits, unless the exciter is halted or the context ends.
func (e *Exciter) pause(ctx context.Context, d time.Duration) error {
	wait := time.NewTimer(d)
	defer wait.Stop()
	select {
	case <-e.halting:
		return bench.ErrHalted
	case <-ctx.Done():
		return fmt.Errorf("%s: %w", e.client.Name(), context.Cause(ctx))
	case <-wait.C:
	}
	if e.halted() {
		return bench.ErrHalted
	}
	return nil
}

// setLevel sets the amplitude, V peak. Where it fails, the higher of the two may be there.
func (e *Exciter) setLevel(ctx context.Context, peak float64) error {
	e.level = max(e.level, peak)
	if err := e.client.Command(ctx, fill(e.dialect.Amplitude, "{amplitude}", decimal(peak*e.dialect.perPeak()))); err != nil {
		return err
	}
	e.level = peak
	return nil
}

// setWave sets frequency and shape while the output is off.
func (e *Exciter) setWave(ctx context.Context, w wave) error {
	commands := e.dialect.Sine
	if w.shape != nil {
		commands = append([]string{fill(e.dialect.Arbitrary, "{block}", blockOf(w.shape))}, e.dialect.ArbitrarySelect...)
	}
	if e.wave.shape == nil && w.shape == nil {
		commands = nil // it was selected before
	}
	e.wave = wave{} // unknown until all is set
	for _, c := range append(append([]string{}, commands...), fill(e.dialect.Frequency, "{frequency}", decimal(w.frequency))) {
		if err := e.client.Command(ctx, c); err != nil {
			return err
		}
	}
	e.wave = w
	return nil
}

// confirm compares what the instrument says it does with what it was told.
func (e *Exciter) confirm(ctx context.Context) error {
	d := e.dialect
	f, err := e.client.Number(ctx, d.AskFrequency)
	if err != nil {
		return err
	}
	if !(math.Abs(f-e.wave.frequency) <= d.Agreement*e.wave.frequency) {
		return fmt.Errorf("%s: frequency is %g Hz, it was told %g Hz; allowed is a difference of %g", e.client.Name(), f, e.wave.frequency, d.Agreement)
	}
	a, err := e.client.Number(ctx, d.AskAmplitude)
	if err != nil {
		return err
	}
	if a /= d.perPeak(); !(math.Abs(a-e.level) <= d.Agreement*e.level+d.Resolution) {
		return fmt.Errorf("%s: amplitude is %g V peak, it was told %g V peak; allowed is a difference of %g and %g V", e.client.Name(), a, e.level, d.Agreement, d.Resolution)
	}
	on, err := e.client.Flag(ctx, d.AskOutput)
	if err == nil && !on {
		err = fmt.Errorf("%s: the output has gone off by itself", e.client.Name())
	}
	return err
}

// off turns the output off and makes sure of it.
func (e *Exciter) off(ctx context.Context) error {
	if err := turnOff(ctx, e.client, e.dialect); err != nil {
		return err
	}
	e.on = false
	return nil
}

// Halt leads the amplitude down within a quarter of a second, turns the output off and makes sure of it; where the connection is gone it tries another. An error says that the
// output may still be on.
func (e *Exciter) Halt() error {
	e.once.Do(func() { close(e.halting) })
	e.mu.Lock()
	defer e.mu.Unlock()
	return e.quiet()
}

// longestRescue is how long Halt tries to reach an instrument whose connection is gone.
const longestRescue = time.Second

// quiet makes silence with whatever still works.
func (e *Exciter) quiet() error {
	if !e.on {
		return nil
	}
	if e.client.Err() == nil {
		e.fall()
		if e.off(context.Background()) == nil {
			return nil
		}
	}
	ctx, cancel := context.WithTimeout(context.Background(), longestRescue)
	defer cancel()
	if err := TurnOff(ctx, e.address, e.dialect); err != nil {
		return err
	}
	e.on = false
	return nil
}

// fall leads the amplitude down, in larger steps where time runs out. What fails is left to turning off.
func (e *Exciter) fall() {
	began, from := time.Now(), e.level
	n := math.Ceil((from - e.dialect.Least) / e.dialect.Step)
	for i := 1.0; i <= n; i++ {
		part := max(i/n, time.Since(began).Seconds()/longestFall)
		if part >= 1 || e.setLevel(context.Background(), max(from*(1-part), e.dialect.Least)) != nil {
			break
		}
		time.Sleep(min(seconds(e.dialect.StepTime), seconds(longestFall/n))) // at rest when Halt returns: nobody waits for anything else
	}
	_ = e.setLevel(context.Background(), e.dialect.Least) // the output goes off in any case
}

// wave turns a signal into what the instrument can repeat and its amplitude, V peak. Less than the instrument can put out is silence.
func (d Generator) wave(s bench.Signal) (wave, float64, error) {
	for i, t := range s {
		if !(t.Frequency > 0) || math.IsInf(t.Frequency, 1) || cmplx.IsNaN(t.Amplitude) || cmplx.IsInf(t.Amplitude) {
			return wave{}, 0, fmt.Errorf("drive, tone %d: %g Hz with %v V, allowed are finite numbers and frequencies above zero", i+1, t.Frequency, t.Amplitude)
		}
		for _, q := range s[:i] {
			if q.Frequency == t.Frequency {
				return wave{}, 0, fmt.Errorf("drive, tone %d: %g Hz stands twice", i+1, t.Frequency)
			}
		}
	}
	s = slices.DeleteFunc(slices.Clone(s), func(t bench.Tone) bool { return t.Amplitude == 0 })
	var w wave
	level := s.Peak()
	switch {
	case level == 0:
		return w, 0, nil
	case len(s) == 1:
		w.frequency = s[0].Frequency
	default:
		var err error
		if w, level, err = d.sum(s); err != nil {
			return wave{}, 0, err
		}
	}
	if level > d.Largest {
		return wave{}, 0, fmt.Errorf("drive of %g V peak, the dialect of the generator allows %g V", level, d.Largest)
	}
	if level < d.Least {
		return wave{}, 0, nil
	}
	return w, level, nil
}

// same tells whether the instrument goes on from one wave to the other without a break.
func (w wave) same(v wave) bool {
	if w.frequency != v.frequency || len(w.shape) != len(v.shape) {
		return false
	}
	const rounding = 1e-6
	for i := range w.shape {
		if math.Abs(w.shape[i]-v.shape[i]) > rounding {
			return false
		}
	}
	return true
}
