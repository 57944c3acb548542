package scpi

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"sync"
	"time"

	"plumbline/bench"
	"plumbline/quantity"
	"plumbline/recording"
)

// Sampling is what a digitizer is asked for.
type Sampling struct {
	Rate  float64 // samples per second
	Burst float64 // s, length of one acquisition of a dialect of bursts
}

// Digitizer records through a digitizer, or through sampling voltmeters with a common trigger. It is a bench.Digitizer.
type Digitizer struct {
	dialect   Sampler
	addresses []string
	sampling  Sampling
	frames    int // of a burst

	mu      sync.Mutex
	clients []*Client
	names   []string // answers to *IDN?
	rate    float64  // as the instruments say, samples per second
	running bool
}

// OpenDigitizer connects with the instruments at addresses, host or host:port, whose channels follow one another in the frames, and sets them up.
func OpenDigitizer(ctx context.Context, addresses []string, d Sampler, s Sampling) (*Digitizer, error) {
	if err := d.check(); err != nil {
		return nil, err
	}
	g := &Digitizer{dialect: d, addresses: addresses, sampling: s, frames: int(math.Ceil(s.Burst * s.Rate))}
	switch {
	case !(s.Rate > 0 && s.Rate <= 1e8):
		return nil, fmt.Errorf("digitizer: %g samples per second, allowed are values above zero up to 1e8", s.Rate)
	case len(addresses) == 0:
		return nil, errors.New("digitizer: no address")
	case d.Kind == Stream && len(addresses) > 1 && !d.OneClock:
		return nil, fmt.Errorf("digitizer: a stream of %d instruments that do not sample by one clock: their samples would drift apart", len(addresses))
	case d.Kind == Burst && !(s.Burst > 0 && float64(g.frames)*float64(d.Channels) <= mostItems):
		return nil, fmt.Errorf("digitizer: burst of %g s at %g samples per second, allowed are values above zero up to %d samples", s.Burst, s.Rate, mostItems)
	}
	g.mu.Lock()
	defer g.mu.Unlock()
	if err := g.prepare(ctx); err != nil {
		return nil, errors.Join(err, g.disconnect())
	}
	return g, nil
}

// Close ends the connections.
func (g *Digitizer) Close() error {
	g.mu.Lock()
	defer g.mu.Unlock()
	return g.disconnect()
}

// disconnect is called under the lock.
func (g *Digitizer) disconnect() error {
	var errs []error
	for _, c := range g.clients {
		errs = append(errs, c.Close())
	}
	g.clients = nil
	return errors.Join(errs...)
}

// connect makes the connections anew where one of them is gone.
func (g *Digitizer) connect(ctx context.Context) error {
	healthy := g.clients != nil
	for _, c := range g.clients {
		healthy = healthy && c.Err() == nil
	}
	if healthy {
		return nil
	}
	_ = g.disconnect() // they are useless
	g.names = nil
	for i, address := range g.addresses {
		name := "digitizer"
		if len(g.addresses) > 1 {
			name = fmt.Sprintf("digitizer %d", i+1)
		}
		c, err := Dial(ctx, address, Options{Name: name, Limit: seconds(g.dialect.Limit), ErrorQuery: g.dialect.ErrorQuery})
		if err != nil {
			return err
		}
		g.clients = append(g.clients, c)
		who, err := identify(ctx, c, g.dialect.Instrument)
		if err != nil {
			return err
		}
		g.names = append(g.names, who)
	}
	return nil
}

// prepare sets every instrument up and asks for its sampling.
func (g *Digitizer) prepare(ctx context.Context) error {
	if err := g.connect(ctx); err != nil {
		return err
	}
	d := g.dialect
	for i, c := range g.clients {
		commands := append(append([]string{}, d.Stop...), d.Setup...)
		if i == 0 {
			commands = append(commands, d.First...)
		} else {
			commands = append(commands, d.Others...)
		}
		if err := g.send(ctx, c, commands); err != nil {
			return err
		}
		rate, err := g.askRate(ctx, c)
		if err != nil {
			return err
		}
		if i > 0 && rate != g.rate {
			return fmt.Errorf("%s: %.9g samples per second, the first instrument has %.9g", c.Name(), rate, g.rate)
		}
		g.rate = rate
	}
	return nil
}

// send sends commands with their values.
func (g *Digitizer) send(ctx context.Context, c *Client, commands []string) error {
	for _, command := range commands {
		command = fill(command, "{rate}", decimal(g.sampling.Rate), "{interval}", decimal(1/g.sampling.Rate), "{frames}", fmt.Sprint(g.frames),
			"{encoding}", string(g.dialect.Encoding), "{order}", g.dialect.Order)
		if err := c.Command(ctx, command); err != nil {
			return err
		}
	}
	return nil
}

// rounding is how far the sampling of an instrument may be from what was asked for. What the instrument says is what counts.
const rounding = 1e-3

// digits is the relative step of the numbers in commands.
const digits = 1e-8

// askRate reads the sampling back, samples per second. What lies within the digits of a command of the rate asked for is that rate.
func (g *Digitizer) askRate(ctx context.Context, c *Client) (float64, error) {
	rate, err := c.Number(ctx, g.dialect.AskRate)
	if err != nil {
		return 0, err
	}
	if g.dialect.RateIs == "interval" {
		rate = 1 / rate
	}
	off := math.Abs(rate/g.sampling.Rate - 1)
	if !(off <= rounding) {
		return 0, fmt.Errorf("%s: %.9g samples per second, it was told %.9g; allowed is a difference of %g", c.Name(), rate, g.sampling.Rate, rounding)
	}
	if off <= digits {
		rate = g.sampling.Rate
	}
	return rate, nil
}

// Acquire starts an acquisition. A connection that is gone is made anew.
func (g *Digitizer) Acquire(ctx context.Context) (recording.Reader, error) {
	g.mu.Lock()
	defer g.mu.Unlock()
	if g.running {
		return nil, errors.New("digitizer: the acquisition before has not been closed")
	}
	if err := g.prepare(ctx); err != nil {
		return nil, err
	}
	for _, c := range g.clients {
		if err := g.send(ctx, c, g.dialect.Start); err != nil {
			return nil, err
		}
	}
	if g.dialect.Trigger != "" {
		if err := g.send(ctx, g.clients[0], []string{g.dialect.Trigger}); err != nil {
			return nil, err
		}
	}
	g.running = true
	a := &acquisition{Digitizer: g, ctx: ctx, info: g.info(), clients: g.clients}
	if g.dialect.Kind == Stream {
		s := &stream{acquisition: a}
		for _, c := range g.clients {
			s.parts = append(s.parts, &part{acquisition: a, client: c})
		}
		return s, nil
	}
	return &burst{acquisition: a, began: time.Now()}, nil
}

// info is what a recording of an acquisition says of itself.
func (g *Digitizer) info() recording.Info {
	volt, err := quantity.ParseUnit("V")
	if err != nil {
		panic("no unit V")
	}
	in := recording.Info{Format: fmt.Sprintf("SCPI %s of %s", g.dialect.Kind, g.dialect.Encoding), Rate: g.rate, Frames: -1}
	for range len(g.clients) * g.dialect.Channels {
		in.Channels = append(in.Channels, recording.Channel{Unit: volt, FullScale: g.dialect.FullScale})
	}
	for i, name := range g.names {
		in.Notes = append(in.Notes, fmt.Sprintf("instrument %d: %s", i+1, name))
	}
	if g.rate != g.sampling.Rate {
		in.Notes = append(in.Notes, fmt.Sprintf("asked for %.9g samples per second, the instrument says %.9g", g.sampling.Rate, g.rate))
	}
	if len(g.clients) > 1 && !g.dialect.OneClock {
		in.Notes = append(in.Notes, "the instruments sample by clocks of their own: the phase between their channels drifts as these do")
	}
	if g.dialect.Kind == Burst {
		in.Notes = append(in.Notes, fmt.Sprintf("one burst of %d frames; between it and any other burst lies a gap of unknown length", g.frames))
	}
	return in
}

// acquisition is what the readers have in common.
type acquisition struct {
	*Digitizer
	clients []*Client
	ctx     context.Context
	info    recording.Info

	reading sync.Mutex
	closed  bool
}

// Info says what comes.
func (a *acquisition) Info() recording.Info { return a.info }

// Close ends the acquisition.
func (a *acquisition) Close() error {
	a.reading.Lock()
	defer a.reading.Unlock()
	if a.closed {
		return nil
	}
	a.closed = true
	g := a.Digitizer
	g.mu.Lock()
	defer g.mu.Unlock()
	g.running = false
	var errs []error
	for _, c := range a.clients {
		if c.Err() == nil {
			errs = append(errs, g.send(context.WithoutCancel(a.ctx), c, g.dialect.Stop))
		}
	}
	return errors.Join(errs...)
}

// ready refuses to read what has ended.
func (a *acquisition) ready() error {
	if a.closed {
		return io.EOF
	}
	if a.ctx.Err() != nil {
		return fmt.Errorf("digitizer: %w", ended(a.ctx))
	}
	return nil
}

// portion is the most frames a Read hands out: half a second of them.
func (a *acquisition) portion() int { return max(1, int(a.info.Rate/2)) }

// pause waits before the next question, unless the context ends.
func (a *acquisition) pause() error {
	wait := time.NewTimer(seconds(a.dialect.Poll))
	defer wait.Stop()
	select {
	case <-a.ctx.Done():
		return fmt.Errorf("digitizer: %w", ended(a.ctx))
	case <-wait.C:
		return nil
	}
}

// deal spreads n frames, channel beside channel, over columns from column first on.
func deal(dst [][]float64, first int, frames []float64, n, channels int) {
	for c := range channels {
		for i := range n {
			dst[first+c][i] = frames[i*channels+c]
		}
	}
}

var _ bench.Digitizer = (*Digitizer)(nil)
