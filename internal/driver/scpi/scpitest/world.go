package scpitest

import (
	"fmt"
	"math"
	"slices"
	"sync"
	"time"
)

// Plant is what lies between the generator's output and the inputs of the digitizer, one step a frame.
type Plant interface {
	// Next fills inputs[c] with the voltages at input c, in V, while the generator puts out drive, in V.
	Next(drive []float64, inputs [][]float64)
}

// Follower is a Plant that is told of every change of the generator's output besides, for a plant that makes its drive itself.
type Follower interface {
	Plant
	Follow(o Output)
}

// Output is the true state of the generator's output.
type Output struct {
	On        bool
	Frequency float64 // Hz
	Peak      float64 // V peak set; what is heard is this only while On
	Changes   int     // how often on, frequency or amplitude have changed
	Highest   float64 // V peak, the highest that was heard so far
	Step      float64 // V peak, the largest change of what was heard in one go
}

// Heard is the amplitude at the output's socket, V peak.
func (o Output) Heard() float64 {
	if o.On {
		return o.Peak
	}
	return 0
}

// World is what the instruments of one test share: the generator's output, the plant, the inputs and the time.
type World struct {
	mu     sync.Mutex
	build  func(rate float64) Plant
	plant  Plant
	inputs int
	rate   float64
	paced  bool
	began  time.Time
	now    int64 // frames
	out    Output
	phase  float64   // cycles
	shape  []float64 // one period of an arbitrary waveform in fractions of the amplitude; nil: a sine
	sinks  []*acquisition
	keep   bool
	sounds []float64
}

// NewWorld makes a world of so many inputs sampled at rate, in Hz. A paced world follows the clock of the machine; in the other one time passes by itself: every command takes
// its time.
func NewWorld(rate float64, inputs int, paced bool, build func(rate float64) Plant) *World {
	return &World{build: build, plant: build(rate), inputs: inputs, rate: rate, paced: paced, began: time.Now(), out: Output{Frequency: 1000}}
}

// Output tells the truth about the generator's output.
func (w *World) Output() Output {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.out
}

// Keep makes the world remember every sample at the generator's output from now on.
func (w *World) Keep() {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.keep = true
}

// Sounds is what came out since Keep, V.
func (w *World) Sounds() []float64 {
	w.mu.Lock()
	defer w.mu.Unlock()
	return slices.Clone(w.sounds)
}

// Frames is how many frames have passed.
func (w *World) Frames() int64 {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.now
}

// mostIdle is the longest time in s that is lived through in one go while nobody records.
const mostIdle = 2

// pass lets time pass: to the machine's clock, or by some seconds.
func (w *World) pass(seconds float64) {
	if !w.paced {
		w.run(int64(math.Ceil(seconds * w.rate)))
		return
	}
	due := int64(time.Since(w.began).Seconds()*w.rate) - w.now
	if most := int64(mostIdle * w.rate); due > most && !w.recording() {
		w.now += due - most
		due = most
	}
	w.run(due)
}

func (w *World) recording() bool {
	for _, a := range w.sinks {
		if a.running {
			return true
		}
	}
	return false
}

// run makes the next n frames.
func (w *World) run(n int64) {
	for n > 0 {
		k := int(min(n, 4096))
		drive := make([]float64, k)
		w.sound(drive)
		inputs := make([][]float64, w.inputs)
		for c := range inputs {
			inputs[c] = make([]float64, k)
		}
		w.plant.Next(drive, inputs)
		for _, a := range w.sinks {
			a.take(inputs)
		}
		w.now += int64(k)
		n -= int64(k)
	}
}

// sound makes the voltage at the output.
func (w *World) sound(drive []float64) {
	a, step := w.out.Heard(), w.out.Frequency/w.rate
	for i := range drive {
		if w.shape == nil {
			drive[i] = a * math.Sin(2*math.Pi*w.phase)
		} else {
			drive[i] = a * w.shape[int(w.phase*float64(len(w.shape)))%len(w.shape)]
		}
		_, w.phase = math.Modf(w.phase + step)
	}
	if w.keep {
		w.sounds = append(w.sounds, drive...)
	}
}

// set changes the output.
func (w *World) set(change func(*Output)) {
	before := w.out
	change(&w.out)
	if w.out != before {
		w.out.Changes++
		w.out.Highest = max(w.out.Highest, w.out.Heard())
		w.out.Step = max(w.out.Step, math.Abs(w.out.Heard()-before.Heard()))
		if f, ok := w.plant.(Follower); ok {
			f.Follow(w.out)
		}
	}
}

// setRate changes the sampling, which starts the plant anew.
func (w *World) setRate(rate float64) error {
	if rate == w.rate {
		return nil
	}
	if w.recording() {
		return refuse(-221, "Settings conflict")
	}
	w.plant, w.rate, w.now, w.began = w.build(rate), rate, 0, time.Now()
	return nil
}

// trigger starts every acquisition that waits for the trigger line.
func (w *World) trigger() {
	for _, a := range w.sinks {
		if a.armed && a.source == "EXT" {
			a.begin()
		}
	}
}

// Wire is a plant in which every input is the drive times a gain, with a little noise from a fixed seed.
func Wire(noise float64, gains ...float64) func(float64) Plant {
	return func(float64) Plant { return &wire{gains: gains, noise: noise, state: 1} }
}

type wire struct {
	gains []float64
	noise float64 // V, half width of the noise of each input
	state uint64
}

func (p *wire) Next(drive []float64, inputs [][]float64) {
	for c := range inputs {
		for i, v := range drive {
			p.state = p.state*6364136223846793005 + 1442695040888963407 // a linear congruential generator, Knuth's constants
			inputs[c][i] = p.gains[c]*v + p.noise*(float64(p.state>>11)/(1<<52)-1)
		}
	}
}

// acquisition is one instrument's buffer of frames.
type acquisition struct {
	inputs   []int // columns of the world that it records
	source   string
	count    int64 // frames of a burst, 0 without end
	capacity int64
	armed    bool
	running  bool
	done     bool // a burst is complete
	frames   [][]float64
	removed  int64 // frames handed out or overwritten
	taken    int64
	lost     int64  // frames that were overwritten
	overflow func() // told once
	full     float64
}

// begin starts recording at the next frame.
func (a *acquisition) begin() { a.armed, a.running = false, true }

// arm makes ready for a new acquisition.
func (a *acquisition) arm() {
	a.frames, a.removed, a.taken, a.lost, a.done, a.running = nil, 0, 0, 0, false, false
	a.armed = true
	if a.source == "IMM" {
		a.begin()
	}
}

func (a *acquisition) stop() { a.armed, a.running = false, false }

// take records the next frames.
func (a *acquisition) take(inputs [][]float64) {
	if !a.running {
		return
	}
	for i := range inputs[0] {
		frame := make([]float64, len(a.inputs))
		for c, column := range a.inputs {
			frame[c] = max(-a.full, min(a.full, inputs[column][i]))
		}
		a.frames = append(a.frames, frame)
		a.taken++
		if int64(len(a.frames)) > a.capacity {
			a.drop(1)
		}
		if a.count > 0 && a.taken == a.count {
			a.running, a.done = false, true
			return
		}
	}
}

// drop overwrites the oldest frames.
func (a *acquisition) drop(n int64) {
	n = min(n, int64(len(a.frames)))
	a.frames = a.frames[n:]
	a.removed += n
	if a.lost += n; a.lost == n {
		a.overflow()
	}
}

// remove hands out the n oldest frames.
func (a *acquisition) remove(n int64) [][]float64 {
	n = min(n, int64(len(a.frames)))
	out := a.frames[:n]
	a.frames = a.frames[n:]
	a.removed += n
	return out
}

// fault is an entry of the error queue.
type fault struct {
	Code int
	Text string
}

func (f fault) Error() string { return fmt.Sprintf("%d,%q", f.Code, f.Text) }

func refuse(code int, text string) error { return fault{code, text} }
