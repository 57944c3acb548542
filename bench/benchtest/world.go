package benchtest

import (
	"context"
	"io"
	"math"
	"math/rand/v2"
	"slices"
	"sync"

	"plumbline/bench"
	"plumbline/quantity"
	"plumbline/recording"
)

// World is a table of one degree of freedom with two transducers on it, just true enough to try a run: reading its digitizer lets its time pass. It is an Exciter and
// a Digitizer in one. Its fields are set before its first use, and the faults from any goroutine by Fault.
type World struct {
	Rate      float64        // frames per second of exciter and digitizer
	Ramp      float64        // s from one amplitude to the next
	Delay     int            // frames between the drive and what the digitizer shows of it
	Gain      float64        // m/s² per volt far above the resonance
	Resonance float64        // Hz
	Damping   float64        // of critical
	Cubic     float64        // stiffness that grows with the stroke, 1/(m²s²)
	Sensors   [2]float64     // V per m/s² of reference and device
	HighPass  float64        // Hz, corner of the device of first order; 0 none
	Noise     [2]float64     // V rms of one sample, white
	FullScale float64        // V
	Warming   float64        // relative change of the device's sensitivity that is left at the start
	WarmTime  float64        // s in which it falls to 1/e
	Seed      uint64         // of the noise
	Response  func() float64 // factor on the drive, asked at each Read; nil: one

	mu        sync.Mutex
	generator *bench.Generator
	rng       *rand.Rand
	lag       []float64 // drive on its way
	frame     int64
	x, v      float64 // m, m/s
	low       float64 // state of the high-pass
	out       []float64
	faults    Fault
	lost      int
	later     Fault // from frame due on
	due       int64 // 0: nothing is due
	halt      int64 // frame of the first halt; 0 none yet
}

// Fault is what can go wrong in a World.
type Fault struct {
	Pulled  [2]bool // cable of reference or device
	Stuck   [2]bool // channel stays at its last sample
	Clip    float64 // V at which the channels are cut off; 0 none
	Gone    bool    // the instruments do not answer
	Factor  float64 // on the sensitivity of the reference; 0 one
	stuckAt [2]float64
	isStuck [2]bool
}

// NewWorld is a healthy World: resonance at 4 Hz, 10 m/s² per volt, 10 and 100 mV per m/s².
func NewWorld(rate float64, seed uint64) *World {
	return &World{Rate: rate, Ramp: 0.1, Delay: 300, Gain: 10, Resonance: 4, Damping: 0.7, Sensors: [2]float64{0.01, 0.1}, Noise: [2]float64{2e-6, 2e-6}, FullScale: 10, Seed: seed}
}

func (w *World) begin() {
	if w.generator != nil {
		return
	}
	g, err := bench.NewGenerator(w.Rate, w.Ramp)
	if err != nil {
		panic(err)
	}
	w.generator, w.rng, w.lag = g, rand.New(rand.NewPCG(w.Seed, 1)), make([]float64, w.Delay)
}

// Fault sets what is wrong from now on.
func (w *World) Fault(f Fault) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.faults = f
}

// Later sets what is wrong from the given time of the world on, s.
func (w *World) Later(seconds float64, f Fault) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.later, w.due = f, int64(seconds*w.Rate)
}

// HaltedAt is the time of the first halt, s; 0 where there was none.
func (w *World) HaltedAt() float64 {
	w.mu.Lock()
	defer w.mu.Unlock()
	return float64(w.halt) / w.Rate
}

// Lose makes the next Read miss the given number of frames.
func (w *World) Lose(frames int) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.lost += frames
}

// Output is every sample the exciter was given so far, V.
func (w *World) Output() []float64 {
	w.mu.Lock()
	defer w.mu.Unlock()
	return slices.Clone(w.out)
}

// Seconds is the time of the world, s.
func (w *World) Seconds() float64 {
	w.mu.Lock()
	defer w.mu.Unlock()
	return float64(w.frame) / w.Rate
}

// Drive asks for a signal.
func (w *World) Drive(ctx context.Context, s bench.Signal) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	w.begin()
	if w.faults.Gone {
		return bench.ErrLost
	}
	return w.generator.Set(s)
}

// Halt ramps down and lets the time of the ramp pass.
func (w *World) Halt() error {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.begin()
	w.generator.Halt()
	if w.halt == 0 {
		w.halt = w.frame
	}
	if w.faults.Gone { // what runs dry is silent
		w.out = append(w.out, 0)
		return bench.ErrLost
	}
	for !w.generator.Silent() {
		w.step(recording.Block(2, 64), 64)
	}
	return nil
}

// Acquire begins an acquisition.
func (w *World) Acquire(ctx context.Context) (recording.Reader, error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.begin()
	if w.faults.Gone {
		return nil, bench.ErrLost
	}
	return &worldReader{world: w, ctx: ctx}, ctx.Err()
}

type worldReader struct {
	world  *World
	ctx    context.Context
	closed bool
}

func (r *worldReader) Info() recording.Info {
	volt, err := quantity.ParseUnit("V")
	if err != nil {
		panic(err)
	}
	ch := recording.Channel{Unit: volt, FullScale: r.world.FullScale}
	return recording.Info{Format: "world", Channels: []recording.Channel{ch, ch}, Rate: r.world.Rate, Frames: -1}
}

func (r *worldReader) Close() error {
	r.closed = true
	return nil
}

func (r *worldReader) Read(dst [][]float64) (int, error) {
	w := r.world
	w.mu.Lock()
	defer w.mu.Unlock()
	switch {
	case r.closed:
		return 0, io.EOF
	case r.ctx.Err() != nil:
		return 0, r.ctx.Err()
	case w.faults.Gone:
		return 0, bench.ErrLost
	case w.lost > 0:
		w.step(recording.Block(2, w.lost), w.lost)
		w.lost = 0
		return 0, bench.ErrGap
	}
	n := min(len(dst[0]), int(w.Rate/20))
	w.step(dst, n)
	return n, nil
}

// step lets n frames pass.
func (w *World) step(dst [][]float64, n int) {
	drive := make([]float64, n)
	w.generator.Fill(drive)
	w.out = append(w.out, drive...)
	factor := 1.0
	if w.Response != nil {
		factor = w.Response()
	}
	dt, w0 := 1/w.Rate, 2*math.Pi*w.Resonance
	for i, u := range drive {
		w.lag = append(w.lag, u)
		u, w.lag = w.lag[0], w.lag[1:]
		a := factor*w.Gain*u - 2*w.Damping*w0*w.v - w0*w0*w.x - w.Cubic*w.x*w.x*w.x
		w.v += a * dt
		w.x += w.v * dt
		if w.due > 0 && w.frame >= w.due {
			w.faults, w.due = w.later, 0
		}
		for c, s := range w.sense(a) {
			dst[c][i] = s
		}
		w.frame++
	}
}

// sense is what the channels show of an acceleration.
func (w *World) sense(a float64) [2]float64 {
	d := a
	if w.HighPass > 0 {
		w.low += 2 * math.Pi * w.HighPass / w.Rate * (a - w.low)
		d = a - w.low
	}
	f := &w.faults
	s := [2]float64{w.Sensors[0] * a, w.Sensors[1] * d}
	if w.WarmTime > 0 {
		s[1] *= 1 + w.Warming*math.Exp(-float64(w.frame)/w.Rate/w.WarmTime)
	}
	if f.Factor != 0 {
		s[0] *= f.Factor
	}
	for c := range s {
		if f.Pulled[c] {
			s[c] = 0
		}
		s[c] += w.Noise[c] * w.rng.NormFloat64()
		top := w.FullScale
		if f.Clip > 0 {
			top = f.Clip
		}
		s[c] = max(-top, min(top, s[c]))
		if f.Stuck[c] && !f.isStuck[c] {
			f.isStuck[c], f.stuckAt[c] = true, s[c]
		}
		if f.Stuck[c] {
			s[c] = f.stuckAt[c]
		}
	}
	return s
}
