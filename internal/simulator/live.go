package simulator

import (
	"context"
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"slices"
	"sync"

	"plumbline/bench"
)

// Setup is a bench without hardware whose motion is integrated in time.
type Setup struct {
	Shaker    Shaker
	Ground    Ground // as it arrives at the table
	Reference Sensor
	Device    Sensor
	Hum       Hum
	Recorder  Recorder // both channels; Coupling stands for the conditioner's
	Faults    []Fault  // planted from the beginning, each with its time

	// Pace waits until the digitizer's clock, from the beginning, may show the given time in s, or ctx ends. Nil: as fast as the machine allows.
	Pace func(ctx context.Context, seconds float64) error
}

// integration is the least number of steps per second.
const integration = 8000

// oversampling is the number of steps for each frame.
func (s Setup) oversampling() int { return max(1, int(math.Ceil(integration/s.Recorder.Rate))) }

// step is the time of one step in s, by the clock of nature.
func (s Setup) step() float64 {
	return 1 / (s.Recorder.Rate * (1 + s.Recorder.Clock) * float64(s.oversampling()))
}

// Live is a bench without hardware: an exciter and a digitizer in one. Its time passes while its digitizer is read and while Halt ramps down. Reference and device
// are its channels 1 and 2, in V. The same setup, seed and requests at the same frames give the same bits, whatever the sizes of the reads.
type Live struct {
	mu        sync.Mutex
	setup     Setup
	h         float64
	every     int
	generator *bench.Generator
	drive     []float64
	line      delay // latency of the converter
	control   *loop
	hiss      hiss // of the amplifier
	gain      float64
	table     table
	guidance  [3]section // two across, rocking
	ground    tremor
	level     [channels + 1]float64 // ground of the last frame: common, reference, device
	machines  []wheel
	hum       []wheel
	foreign   []foreign
	lanes     [channels]lane
	frame     int64

	pending []Fault // in order of time
	swapped bool
	gone    bool
	stalled bool
	missing int // frames to lose aloud
	reader  *liveReader
	output  func(volts float64)
}

// foreign is a line of the recorder's channels that no filter held back.
type foreign struct {
	wheel   wheel
	size    float64
	channel int
}

// New makes a live bench at rest, and its witness. Everything is switched on at time zero; noise slower than the time since is still growing.
func New(s Setup, seed uint64) (*Live, *Witness, error) {
	if err := s.check(); err != nil {
		return nil, nil, err
	}
	l := &Live{setup: s, h: s.step(), every: s.oversampling(), gain: s.Shaker.Gain, table: newTable(s.Shaker)}
	rate := 1 / (l.h * (1 + s.Shaker.Skew))
	g, err := bench.NewGenerator(rate, s.Shaker.Ramp)
	if err != nil {
		return nil, nil, fmt.Errorf("simulated bench: %w", err)
	}
	var stream uint64
	random := func() *rand.Rand {
		stream++
		return rand.New(rand.NewPCG(seed, stream))
	}
	frame := l.h * float64(l.every)
	phases := random()
	l.generator, l.drive = g, make([]float64, l.every)
	l.line.line = make([]float64, int(math.Round(s.Shaker.Latency/l.h)))
	l.hiss = newHiss(s.Shaker.Noise, l.h, random())
	l.ground = newTremor(s.Ground, 1, frame, random())
	for i, g := range append(slices.Clone(s.Shaker.Guidance[:]), s.Shaker.Rocking) {
		l.guidance[i] = section{b0: g.Share}
		if g.Resonance > 0 {
			q, _ := newResonance(g.Resonance, g.Quality, l.h)
			q.b0, q.b1, q.b2 = g.Share*q.b0, g.Share*q.b1, g.Share*q.b2
			l.guidance[i] = q
		}
	}
	for c := range l.lanes {
		l.lanes[c] = newLane(s, c, l.h, random)
	}
	l.addLines(frame, phases)
	if c := s.Shaker.Control; c != nil {
		l.control = newLoop(*c, s.Shaker, l.h)
	}
	for _, f := range s.Faults {
		l.await(f)
	}
	l.strike()
	return l, &Witness{l}, nil
}

// addLines sets up the machines of the ground and the mains.
func (l *Live) addLines(frame float64, phases *rand.Rand) {
	s := l.setup
	for _, m := range s.Ground.Machines {
		l.machines = append(l.machines, newWheel(m.Frequency, l.h, phases.Float64()))
		for c := range l.lanes {
			own := cmplx.Rect(s.Ground.NotCommon, 2*math.Pi*phases.Float64())
			l.lanes[c].machine = append(l.lanes[c].machine, complex(m.Level, 0)*(1+own))
		}
	}
	if s.Hum.Frequency <= 0 {
		return
	}
	for i, relative := range append([]float64{1}, s.Hum.Harmonics...) {
		if f := s.Hum.Frequency * float64(i+1); f < 0.5/frame {
			l.hum = append(l.hum, newWheel(f, frame, phases.Float64()))
			for c := range l.lanes {
				l.lanes[c].hum = append(l.lanes[c].hum, cmplx.Rect(relative, float64(c))) // the channels pick it up at different places
			}
		}
	}
}

// Drive asks for a signal from the next frame on.
func (l *Live) Drive(ctx context.Context, s bench.Signal) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.gone {
		return fmt.Errorf("simulated exciter: %w", bench.ErrLost)
	}
	most := l.setup.Shaker.Tones
	if l.control != nil {
		most = 1 // it holds the level of one
	}
	if most > 0 && len(s) > most {
		return fmt.Errorf("simulated exciter: %d tones, allowed are at most %d: %w", len(s), most, bench.ErrTones)
	}
	if err := l.generator.Set(s); err != nil {
		return err
	}
	if l.control != nil && len(s) == 1 {
		l.control.tune(s[0].Frequency)
	}
	return nil
}

// Halt ramps down and lets the time pass until the table is at rest, at most two seconds. Frames recorded meanwhile wait for the reader.
func (l *Live) Halt() error {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.generator.Halt()
	for n := 0; float64(n) < 2*l.setup.Recorder.Rate && !l.calm(); n++ {
		l.strike()
		l.advance()
	}
	if l.gone {
		return fmt.Errorf("simulated exciter: %w", bench.ErrLost)
	}
	return nil
}

// off reports whether nothing is driven, and nothing waits to be.
func (l *Live) off() bool { return l.generator.Silent() && l.line.empty() }

// calm reports whether the drive is off and the table has swung out to a thousandth of its stroke.
func (l *Live) calm() bool {
	s := l.setup.Shaker
	swing := math.Hypot(l.table.x, l.table.v/(2*math.Pi*s.Resonance))
	return l.off() && swing < 1e-3*s.Stroke
}

// advance lets one frame pass and queues it.
func (l *Live) advance() {
	l.move()
	var pickup [channels]float64
	for i := range l.hum {
		z := l.hum[i].next()
		for c := range pickup {
			pickup[c] += real(z*l.lanes[c].hum[i]) * l.pick(c)
		}
	}
	for i := range l.foreign {
		f := &l.foreign[i]
		pickup[f.channel] += f.size * real(f.wheel.next())
	}
	for c := range l.lanes {
		to := c
		if l.swapped {
			to = channels - 1 - c
		}
		q := &l.lanes[to]
		v := l.lanes[c].frame(pickup[c])
		switch {
		case q.fault.skip > 0:
			q.fault.skip--
		case l.reader != nil:
			q.queue = append(q.queue, v)
		}
	}
	l.frame++
}

// pick is the mains picked up by a channel, V peak.
func (l *Live) pick(c int) float64 {
	size := [channels]float64{l.setup.Hum.Reference, l.setup.Hum.Device}[c]
	if l.lanes[c].fault.pulled {
		size *= pulledHum
	}
	return size
}

// move goes through the steps of one frame. The ground is made frame by frame and goes from one to the next along a straight line.
func (l *Live) move() {
	next := [channels + 1]float64{l.ground.next(), l.lanes[0].ground.next(), l.lanes[1].ground.next()}
	var slope [channels + 1]float64
	for i := range next {
		slope[i] = (next[i] - l.level[i]) / float64(l.every)
	}
	l.generator.Fill(l.drive)
	for _, u := range l.drive {
		for i := range slope {
			l.level[i] += slope[i]
		}
		a := l.push(u)
		m := motion{along: a + l.level[0]}
		for i := range m.across {
			m.across[i] = l.guidance[i].step(a)
		}
		m.rocking = l.guidance[2].step(a)
		ground := [channels]float64{l.level[1], l.level[2]}
		for i := range l.machines {
			z := l.machines[i].next()
			for c := range ground {
				ground[c] += real(z * l.lanes[c].machine[i])
			}
		}
		for c := range l.lanes {
			l.lanes[c].step(m, ground[c])
		}
	}
	l.level = next
}

// push is one step of the exciter: from the generator's sample to the acceleration of the table.
func (l *Live) push(u float64) float64 {
	u = l.line.step(u)
	if l.output != nil {
		l.output(u)
	}
	if l.control != nil {
		u = l.control.step(u, l.table.a)
	}
	out := l.gain*u + l.hiss.next()
	if clip := l.setup.Shaker.Clip; clip > 0 {
		out = max(-clip, min(clip, out))
	}
	return l.table.step(out, l.h)
}
