package simulator

import (
	"context"
	"fmt"
	"io"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"slices"
	"sync"

	"plumbline/bench"
	"plumbline/quantity"
	"plumbline/recording"
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
	ground    floor
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

// New makes a live bench at rest, and its witness.
func New(s Setup, seed uint64) (*Live, *Witness, error) {
	if err := s.check(); err != nil {
		return nil, nil, err
	}
	l := &Live{setup: s, h: s.step(), every: s.oversampling(), gain: s.Shaker.Gain, table: newTable(s.Shaker)}
	rate := 1 / (l.h * (1 + s.Shaker.DriveSkew))
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
	l.ground = newFloor(s.Ground, 1, frame, random())
	for i, g := range append(slices.Clone(s.Shaker.Guidance[:]), s.Shaker.Rocking) {
		l.guidance[i] = section{b0: g.Share}
		if g.Resonance > 0 {
			l.guidance[i] = newResonance(g.Resonance, g.Quality, l.h)
			l.guidance[i].b0, l.guidance[i].b1, l.guidance[i].b2 = g.Share*l.guidance[i].b0, g.Share*l.guidance[i].b1, g.Share*l.guidance[i].b2
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
	if l.control != nil && len(s) > 1 {
		return fmt.Errorf("simulated exciter, %d tones: its level control holds one: %w", len(s), bench.ErrTones)
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
	const still = 1e-3 // of the stroke
	longest := int64(2 * l.setup.Recorder.Rate)
	calm := int64(l.setup.Recorder.Rate / 20)
	for n, rest := int64(0), int64(0); n < longest && rest < calm; n++ {
		if !l.generator.Silent() || !l.line.empty() || math.Abs(l.table.x) > still*l.setup.Shaker.Stroke {
			rest = -1
		}
		if rest++; n == 0 && rest == 1 && l.table.v == 0 {
			break // nothing had been driven
		}
		l.strike()
		l.advance()
	}
	if l.gone {
		return fmt.Errorf("simulated exciter: %w", bench.ErrLost)
	}
	return nil
}

// Plant puts a fault into the running bench. It may be called from any goroutine.
func (l *Live) Plant(f Fault) error {
	if err := f.check(); err != nil {
		return err
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	l.await(f)
	l.strike()
	return nil
}

func (l *Live) await(f Fault) {
	l.pending = append(l.pending, f)
	slices.SortStableFunc(l.pending, func(a, b Fault) int {
		switch {
		case a.At < b.At:
			return -1
		case a.At > b.At:
			return 1
		}
		return 0
	})
}

// seconds is the time of the digitizer's clock.
func (l *Live) seconds() float64 { return float64(l.frame) / l.setup.Recorder.Rate }

// strike lets the faults begin whose time has come.
func (l *Live) strike() {
	for len(l.pending) > 0 && l.pending[0].At <= l.seconds() {
		f := l.pending[0]
		l.pending = slices.Delete(l.pending, 0, 1)
		l.begin(f)
		if f.Every > 0 {
			f.At += f.Every
			l.await(f)
		}
	}
}

func (l *Live) begin(f Fault) {
	switch f.Kind {
	case Swapped:
		l.swapped = true
	case Unplugged:
		l.gone = true
		l.generator.Halt() // the converter runs dry
	case Stalled:
		l.stalled = true
	case Gap:
		l.missing += f.Frames
	case Stuck:
		l.table.stuck = true
	case Runaway:
		l.gain *= f.Size
	default:
		frame := l.h * float64(l.every)
		for c := range l.lanes {
			if f.Channel != 0 && f.Channel != c+1 {
				continue
			}
			switch f.Kind {
			case Alias:
				l.foreign = append(l.foreign, foreign{newWheel(f.Frequency, frame, 0), f.Size, c})
			case HumLoop:
				l.foreign = append(l.foreign, foreign{newWheel(l.mains(), frame, 0.1), f.Size, c})
			default:
				l.lanes[c].fault.plant(f, l.h)
			}
		}
	}
}

func (l *Live) mains() float64 {
	if f := l.setup.Hum.Frequency; f > 0 {
		return f
	}
	return 50
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

// Acquire begins an acquisition. One runs at a time.
func (l *Live) Acquire(ctx context.Context) (recording.Reader, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.gone {
		return nil, fmt.Errorf("simulated digitizer: %w", bench.ErrLost)
	}
	if l.reader != nil {
		return nil, fmt.Errorf("simulated digitizer: an acquisition is running")
	}
	for c := range l.lanes {
		l.lanes[c].queue = l.lanes[c].queue[:0]
	}
	l.reader = &liveReader{live: l, ctx: ctx}
	return l.reader, nil
}

// liveReader is an acquisition.
type liveReader struct {
	live *Live
	ctx  context.Context
}

// Info says what is recorded.
func (r *liveReader) Info() recording.Info {
	s := r.live.setup.Recorder
	ch := recording.Channel{Unit: volt, Bits: s.Bits}
	if s.Bits > 0 {
		ch.FullScale = s.FullScale
	}
	return recording.Info{Format: "simulated", Channels: []recording.Channel{ch, ch}, Rate: s.Rate, Frames: -1}
}

var volt = quantity.Unit{Symbol: "V", Factor: 1, Dim: quantity.Dimension{Metre: 2, Kilogram: 1, Second: -3, Ampere: -1}}

// Close ends the acquisition.
func (r *liveReader) Close() error {
	r.live.mu.Lock()
	defer r.live.mu.Unlock()
	if r.live.reader == r {
		r.live.reader = nil
	}
	return nil
}

// Read lets time pass. It delivers at most half a second at a time.
func (r *liveReader) Read(dst [][]float64) (int, error) {
	n, seconds, err := r.take(dst)
	if err == nil && r.live.setup.Pace != nil {
		if err = r.live.setup.Pace(r.ctx, seconds); err != nil {
			return 0, err
		}
	}
	return n, err
}

func (r *liveReader) take(dst [][]float64) (n int, seconds float64, err error) {
	l := r.live
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.reader != r {
		return 0, 0, io.EOF
	}
	if err := r.ctx.Err(); err != nil {
		return 0, 0, err
	}
	most := min(len(dst[0]), l.longest())
	waiting := func() int { return min(len(l.lanes[0].queue), len(l.lanes[1].queue)) }
	for waiting() < most {
		l.strike()
		if l.gone || l.stalled || l.missing > 0 {
			break
		}
		l.advance()
	}
	n = min(most, waiting())
	switch {
	case l.gone:
		return 0, 0, fmt.Errorf("simulated digitizer: %w", bench.ErrLost)
	case n == 0 && l.stalled:
		return 0, 0, fmt.Errorf("simulated digitizer: no frame in its time limit: %w", bench.ErrLost)
	case n == 0 && l.missing > 0:
		return 0, 0, l.lose()
	}
	for c := range l.lanes {
		q := l.lanes[c].queue
		copy(dst[c], q[:n])
		l.lanes[c].queue = q[:copy(q, q[n:])]
	}
	return n, float64(l.frame-int64(waiting())) / l.setup.Recorder.Rate, nil
}

// longest is the most frames of one Read: half a second as fast as the machine allows, a twentieth where time is paced.
func (l *Live) longest() int {
	if l.setup.Pace != nil {
		return max(1, int(l.setup.Recorder.Rate/20))
	}
	return max(1, int(l.setup.Recorder.Rate/2))
}

// lose lets the missed frames pass unseen.
func (l *Live) lose() error {
	n := l.missing
	at := l.seconds()
	for range n {
		l.advance()
	}
	for c := range l.lanes {
		l.lanes[c].queue = l.lanes[c].queue[:0]
	}
	l.missing = 0
	return fmt.Errorf("simulated digitizer: %d frames from %.3f s: %w", n, at, bench.ErrGap)
}
