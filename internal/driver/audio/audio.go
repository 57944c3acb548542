// Package audio drives an exciter and records the transducers through an audio interface that a PulseAudio or PipeWire server owns.
package audio

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"github.com/jfreymuth/pulse/proto"

	"plumbline/bench"
)

// Config says which interface, and how it is used.
type Config struct {
	Server    string        // "unix:/run/user/1000/pulse/native", "tcp:localhost:4713"; empty: what the environment names
	Sink      string        // name of the output at the server; empty: nothing is driven, Output, FullScale and Counter mean nothing
	Source    string        // name of the input at the server
	Rate      int           // samples per second at which output and input already run; nothing is resampled
	Output    int           // channel of the sink that carries the drive, from 1
	FullScale float64       // V peak at that output for a sample of full scale
	Latency   time.Duration // sound on its way to the output, 0.2 s to 0.4 s; 0: 0.35 s
	Ramp      time.Duration // from one drive to the next; 0: 0.1 s. Latency and ramp together are at most 0.5 s
	Limit     time.Duration // longest silence of the server before it is lost; 0: 0.5 s
	Counter   Counter
}

// Counter is the proof that no frame was lost: a second output puts out the number of each frame, a digital cable or a monitor leads it to an input, and the reader refuses
// frames that do not follow each other.
type Counter struct {
	Output, Input int // channels of sink and source, from 1; 0: none
}

// Limits of Config, and its values where it says nothing.
const (
	leastLatency, usualLatency, mostLatency = 200 * time.Millisecond, 350 * time.Millisecond, 400 * time.Millisecond
	usualRamp                               = 100 * time.Millisecond
	mostToSilence                           = 500 * time.Millisecond // latency and ramp
	usualLimit                              = 500 * time.Millisecond
	silenceFirst                            = 500 * time.Millisecond // before anything else is played
	answerLimit                             = 2 * time.Second        // of the server, to a request
	wakeLimit                               = 10 * time.Second       // of an input that slept, to its first frames: nothing is driven before they came
)

func (c Config) complete() (Config, error) {
	if c.Latency == 0 {
		c.Latency = usualLatency
	}
	if c.Ramp == 0 {
		c.Ramp = usualRamp
	}
	if c.Limit == 0 {
		c.Limit = usualLimit
	}
	switch {
	case c.Source == "":
		return c, fmt.Errorf("audio: input %q: the name of a source at the server is needed", c.Source)
	case c.Rate <= 0:
		return c, fmt.Errorf("audio: %d samples per second, allowed are values above zero", c.Rate)
	case c.Limit < 0:
		return c, fmt.Errorf("audio: limit %v without a frame, allowed are values above zero", c.Limit)
	case c.Sink == "":
		c.Counter = Counter{}
		return c, nil
	case !(c.FullScale > 0):
		return c, fmt.Errorf("audio: output full scale %g V peak, allowed are values above zero", c.FullScale)
	case c.Latency < leastLatency || c.Latency > mostLatency:
		return c, fmt.Errorf("audio: latency %v, allowed are %v to %v", c.Latency, leastLatency, mostLatency)
	case c.Ramp < 0 || c.Latency+c.Ramp > mostToSilence:
		return c, fmt.Errorf("audio: latency %v and ramp %v, allowed are %v together: silence is to be reached by then", c.Latency, c.Ramp, mostToSilence)
	case (c.Counter.Output == 0) != (c.Counter.Input == 0):
		return c, fmt.Errorf("audio: frame counter from output %d to input %d, both or neither are needed", c.Counter.Output, c.Counter.Input)
	case c.Counter.Output == c.Output:
		return c, fmt.Errorf("audio: output %d is to carry the drive and the frame counter", c.Output)
	}
	return c, nil
}

// Interface is an opened audio interface: exciter and digitizer in one. Its methods may be called from any goroutine.
type Interface struct {
	cfg    Config
	server *server
	sink   proto.GetSinkInfoReply
	source proto.GetSourceInfoReply
	notes  []string
	gen    *bench.Generator
	player *player
	stir   chan struct{} // something changed at the server
	done   chan struct{} // closed by Close
	once   sync.Once
	wg     sync.WaitGroup

	mu       sync.Mutex
	readers  map[uint32]*reader
	standing error // what now speaks against driving and recording; nil nothing
	lost     error // what ended it for good; nil nothing
}

var (
	_ bench.Exciter   = (*Interface)(nil)
	_ bench.Digitizer = (*Interface)(nil)
)

// Open connects, sets volumes to 100 %, checks the formats, refuses an output that someone else plays to, and plays silence for half a second.
func Open(ctx context.Context, cfg Config) (*Interface, error) {
	cfg, err := cfg.complete()
	if err != nil {
		return nil, err
	}
	gen, err := bench.NewGenerator(float64(cfg.Rate), cfg.Ramp.Seconds())
	if err != nil {
		return nil, fmt.Errorf("audio: %w", err)
	}
	a := &Interface{cfg: cfg, gen: gen, stir: make(chan struct{}, 1), done: make(chan struct{}), readers: map[uint32]*reader{}}
	a.player = newPlayer(a)
	if a.server, err = connect(cfg.Server, a.hear); err != nil {
		return nil, err
	}
	if err := a.start(ctx); err != nil {
		return nil, errors.Join(err, a.Close())
	}
	return a, nil
}

func (a *Interface) start(ctx context.Context) error {
	if err := a.prepare(); err != nil {
		close(a.player.ended)
		return err
	}
	a.wg.Go(a.watch)
	if a.cfg.Sink == "" {
		close(a.player.ended)
		return a.trouble()
	}
	a.wg.Go(a.player.run)
	select {
	case <-a.player.silence:
		return a.trouble()
	case <-a.player.ended:
		return a.trouble()
	case <-ctx.Done():
		return ctx.Err()
	}
}

// Notes says what is worth knowing of the server, in plain words.
func (a *Interface) Notes() []string { return a.notes }

// Drive asks for a signal. A signal beyond the full scale of the output is refused, and any signal while someone else plays to the output.
func (a *Interface) Drive(ctx context.Context, s bench.Signal) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	if a.player.halted() {
		return bench.ErrHalted
	}
	if a.cfg.Sink == "" {
		return errors.New("drive: no output was named, the interface only records")
	}
	if err := a.trouble(); err != nil {
		return err
	}
	if peak := s.Peak(); peak > a.cfg.FullScale {
		return fmt.Errorf("drive: %g V peak asked of output %s channel %d, allowed are %g V", peak, a.cfg.Sink, a.cfg.Output, a.cfg.FullScale)
	}
	return a.gen.Set(s)
}

// Halt ramps down, waits until the last sample has left the server and gives the output back. Where the server does not confirm that within a second, the connection is cut:
// what it still holds is played in half a second.
func (a *Interface) Halt() error {
	a.gen.Halt()
	a.player.stop()
	late := time.NewTimer(2 * mostToSilence)
	defer late.Stop()
	select {
	case <-a.player.ended:
	case <-late.C:
		a.fail(lost("output %s: the server did not confirm silence in %v; the connection was cut", a.cfg.Sink, 2*mostToSilence))
		a.server.cut()
		<-a.player.ended
	}
	err := a.player.outcome()
	a.mu.Lock()
	defer a.mu.Unlock()
	if err != nil && a.lost != nil {
		return a.lost // what was first
	}
	return err
}

// Close halts, ends every acquisition and disconnects. It may be called twice.
func (a *Interface) Close() error {
	err := a.Halt()
	a.once.Do(func() {
		close(a.done)
		for _, r := range a.open() {
			_ = r.Close() // the server may be gone
		}
		a.server.cut()
		a.wg.Wait()
	})
	return err
}

// trouble is what now speaks against driving.
func (a *Interface) trouble() error {
	a.mu.Lock()
	defer a.mu.Unlock()
	if a.lost != nil {
		return a.lost
	}
	return a.standing
}

// fail ends the acquisitions that are under way; err stays where the instrument is lost.
func (a *Interface) fail(err error) {
	a.mu.Lock()
	if a.lost == nil && errors.Is(err, bench.ErrLost) {
		a.lost = err
	}
	a.mu.Unlock()
	for _, r := range a.open() {
		r.fail(err)
	}
}

func (a *Interface) open() []*reader {
	a.mu.Lock()
	defer a.mu.Unlock()
	all := make([]*reader, 0, len(a.readers))
	for _, r := range a.readers {
		all = append(all, r)
	}
	return all
}

// disturbed is a fault that spoils the frames of an acquisition without the loss of the instrument. It is a bench.ErrGap.
type disturbed string

func (d disturbed) Error() string        { return string(d) }
func (d disturbed) Is(target error) bool { return target == bench.ErrGap }

func disturb(format string, a ...any) error { return disturbed("audio: " + fmt.Sprintf(format, a...)) }

func lost(format string, a ...any) error {
	return fmt.Errorf("audio: %s: %w", fmt.Sprintf(format, a...), bench.ErrLost)
}
