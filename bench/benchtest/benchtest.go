// Package benchtest holds what every instrument of a bench, with the run on it, is tried with.
package benchtest

import (
	"context"
	"errors"
	"math"
	"sync"
	"testing"
	"time"

	"plumbline/bench"
	"plumbline/recording"
)

// Rig is an exciter with its digitizer, ready to be used for the first time, and what the suite may do to them. The exciter's output reaches the digitizer, or a
// bench stands between.
type Rig struct {
	Exciter   bench.Exciter
	Digitizer bench.Digitizer
	Frequency float64 // Hz of a tone that may be driven for some seconds
	Amplitude float64 // V peak it may have
	Tones     int     // most tones at once; 0: any number
	Slew      float64 // V/s, fastest growth of the amplitude the driver makes of a step of Amplitude; 0: not known

	// Output is what truly came out so far, V, from the first sample on, and its rate; nil: what is silent is judged by the digitizer's first channel.
	Output func() (samples []float64, rate float64)
	Floor  float64 // V, largest sample that counts as silence there
	Unplug func()  // takes the instruments away; nil: cannot be tried
	Lose   func()  // makes the digitizer miss frames; nil: cannot be tried
	Dry    bool    // an instrument taken away falls silent by itself within half a second
	Stall  func()  // the digitizer delivers nothing from now on, without a word; nil: cannot be tried
}

// Factory makes a new Rig for a test and cleans up with it.
type Factory func(t *testing.T) Rig

// Exciter tries the contract of bench.Exciter.
func Exciter(t *testing.T, factory Factory) {
	for _, c := range []struct {
		name string
		try  func(*trial)
	}{
		{"plays", (*trial).plays},
		{"halt makes silence", (*trial).halts},
		{"halt before the first drive", (*trial).haltsFirst},
		{"halt twice", (*trial).haltsTwice},
		{"halt from many goroutines", (*trial).haltsTogether},
		{"halt after loss", (*trial).haltsLost},
		{"halt on a cancelled run", (*trial).haltsCancelled},
		{"continuous", (*trial).continuous},
		{"empty signal is silence", (*trial).silence},
		{"refuses bad signals", (*trial).refuses},
		{"cancelled before the drive", (*trial).cancelled},
	} {
		t.Run(c.name, func(t *testing.T) { c.try(newTrial(t, factory)) })
	}
}

// Digitizer tries the contract of bench.Digitizer.
func Digitizer(t *testing.T, factory Factory) {
	for _, c := range []struct {
		name string
		try  func(*trial)
	}{
		{"says what it records", (*trial).says},
		{"at most half a second at a time", (*trial).portions},
		{"gapless", (*trial).gapless},
		{"close twice", (*trial).closesTwice},
		{"again after close", (*trial).again},
		{"context ends a read", (*trial).ends},
		{"unplugged is lost", (*trial).unplugged},
		{"stalled is lost", (*trial).stalled},
		{"missed frames are a gap", (*trial).gap},
	} {
		t.Run(c.name, func(t *testing.T) { c.try(newTrial(t, factory)) })
	}
}

// trial is one test on one rig.
type trial struct {
	*testing.T
	Rig
	ctx    context.Context
	reader recording.Reader
	buffer [][]float64
	shown  []float64 // of the digitizer's first channel
}

func newTrial(t *testing.T, factory Factory) *trial {
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	t.Cleanup(cancel)
	r := &trial{T: t, Rig: factory(t), ctx: ctx}
	t.Cleanup(func() {
		r.close()
		_ = r.Rig.Exciter.Halt() // after loss it says so
	})
	return r
}

func (r *trial) close() {
	if r.reader != nil {
		if err := r.reader.Close(); err != nil && !errors.Is(err, bench.ErrLost) {
			r.Errorf("close: %v", err)
		}
		r.reader = nil
	}
}

func (r *trial) acquire() {
	r.Helper()
	reader, err := r.Rig.Digitizer.Acquire(r.ctx)
	if err != nil {
		r.Fatal("acquire:", err)
	}
	r.reader = reader
	r.buffer = recording.Block(len(reader.Info().Channels), int(math.Ceil(reader.Info().Rate/10)))
}

// pass reads for the given time, s.
func (r *trial) pass(seconds float64) {
	r.Helper()
	if r.reader == nil {
		r.acquire()
	}
	for left := int(math.Ceil(seconds * r.reader.Info().Rate)); left > 0; {
		n, err := r.reader.Read(r.buffer)
		if err != nil {
			r.Fatal("read:", err)
		}
		r.shown = append(r.shown, r.buffer[0][:n]...)
		left -= n
	}
}

func (r *trial) drive(s bench.Signal) {
	r.Helper()
	if err := r.Rig.Exciter.Drive(r.ctx, s); err != nil {
		r.Fatal("drive:", err)
	}
}

func (r *trial) tone(part float64) bench.Signal {
	return bench.Signal{{Frequency: r.Frequency, Amplitude: complex(part*r.Amplitude, 0)}}
}

// output is what came out so far.
func (r *trial) output() (samples []float64, rate float64) {
	if r.Output != nil {
		return r.Output()
	}
	return r.shown, r.reader.Info().Rate
}

// peak is the largest sample of the last seconds of the output.
func (r *trial) peak(seconds float64) float64 {
	x, rate := r.output()
	var peak float64
	for _, v := range x[max(0, len(x)-int(math.Ceil(seconds*rate))):] {
		peak = max(peak, math.Abs(v))
	}
	return peak
}

// start plays the tone until it is heard.
func (r *trial) start() {
	r.Helper()
	r.pass(0.1)
	r.drive(r.tone(1))
	r.pass(1 + 2/r.Frequency)
	if r.peak(1/r.Frequency) <= max(r.Floor, 0) {
		r.Fatal("nothing came out")
	}
}

// quiet says that silence was reached within half a second, as far as the samples tell: the digitizer is read on for that time.
func (r *trial) quiet() {
	r.Helper()
	r.pass(0.6)
	if p := r.peak(0.1); p > r.Floor {
		r.Errorf("%.4g V half a second after the halt, silence is at most %.4g V", p, r.Floor)
	}
	if err := r.Rig.Exciter.Drive(r.ctx, r.tone(1)); !errors.Is(err, bench.ErrHalted) {
		r.Errorf("drive after the halt: %v, want ErrHalted", err)
	}
	r.pass(0.3)
	if p := r.peak(0.2); p > r.Floor {
		r.Errorf("%.4g V after a drive that was refused", p)
	}
}

func (r *trial) halt() {
	r.Helper()
	if err := r.Rig.Exciter.Halt(); err != nil {
		r.Error("halt:", err)
	}
}

// plays compares the steady output with the tone asked for: its amplitude by two sums over whole cycles.
func (r *trial) plays() {
	r.start()
	if r.Output == nil {
		return
	}
	x, rate := r.output()
	cycles := math.Max(1, math.Floor(r.Frequency/2))
	n := int(math.Round(cycles * rate / r.Frequency))
	if n > len(x) {
		n = int(math.Round(rate / r.Frequency))
	}
	x = x[len(x)-n:]
	var s, c float64
	for i, v := range x {
		sin, cos := math.Sincos(2 * math.Pi * r.Frequency * float64(i) / rate)
		s, c = s+v*sin, c+v*cos
	}
	if got := 2 * math.Hypot(s, c) / float64(n); math.Abs(got/r.Amplitude-1) > 0.02 { // half a sample of a cycle and the rounding of the converter
		r.Errorf("amplitude %.5g V, asked for %.5g V", got, r.Amplitude)
	}
}

func (r *trial) halts() {
	r.start()
	r.halt()
	r.quiet()
}

func (r *trial) haltsFirst() {
	r.pass(0.1)
	r.halt()
	r.quiet()
}

func (r *trial) haltsTwice() {
	r.start()
	r.halt()
	r.halt()
	r.quiet()
	r.halt()
}

func (r *trial) haltsTogether() {
	r.start()
	var group sync.WaitGroup
	for range 8 {
		group.Go(func() {
			_ = r.Rig.Exciter.Drive(r.ctx, r.tone(0.5)) // accepted or refused, the halt wins
			if err := r.Rig.Exciter.Halt(); err != nil {
				r.Error("halt:", err)
			}
		})
	}
	group.Wait()
	r.quiet()
}

// haltsLost halts after the instruments are gone: Halt comes back and may say so, Drive is refused.
func (r *trial) haltsLost() {
	if r.Unplug == nil {
		r.Log("the instruments cannot be taken away here")
		return
	}
	r.start()
	r.Unplug()
	for range 2 {
		if err := r.Rig.Exciter.Halt(); err != nil && !errors.Is(err, bench.ErrLost) {
			r.Errorf("halt after loss: %v, want nothing or ErrLost", err)
		}
	}
	if err := r.Rig.Exciter.Drive(r.ctx, r.tone(1)); !errors.Is(err, bench.ErrHalted) && !errors.Is(err, bench.ErrLost) {
		r.Errorf("drive after loss and halt: %v, want ErrHalted or ErrLost", err)
	}
	if r.Output != nil && r.Dry {
		if p := r.peak(0.001); p > r.Floor {
			r.Errorf("%.4g V after the halt of a lost instrument", p)
		}
	}
}

// haltsCancelled halts when the context of the drives has ended.
func (r *trial) haltsCancelled() {
	r.pass(0.1)
	ctx, cancel := context.WithCancel(r.ctx)
	if err := r.Rig.Exciter.Drive(ctx, r.tone(1)); err != nil {
		r.Fatal("drive:", err)
	}
	r.pass(0.5)
	cancel()
	r.halt()
	r.quiet()
}

// continuous changes amplitude and phase while playing: no two samples of the output may differ by more than the slopes of the tones and of the ramps allow.
func (r *trial) continuous() {
	if r.Output == nil || r.Slew <= 0 {
		r.Log("output or slew not known here")
		return
	}
	r.start()
	for _, part := range []complex128{0.3, 1, 0.5i, -1, 0.2} {
		r.drive(bench.Signal{{Frequency: r.Frequency, Amplitude: part * complex(r.Amplitude, 0)}})
		r.pass(0.37)
	}
	r.drive(nil)
	r.pass(0.5)
	x, rate := r.output()
	limit := 1.02*(2*math.Pi*r.Frequency*r.Amplitude+3*r.Slew)/rate + r.Floor // a change of sign passes two amplitudes
	for i := 1; i < len(x); i++ {
		if d := math.Abs(x[i] - x[i-1]); d > limit {
			r.Fatalf("sample %d: the output jumps by %.4g V, %.4g V allowed", i, d, limit)
		}
	}
}

func (r *trial) silence() {
	r.start()
	r.drive(nil)
	r.pass(0.6)
	if p := r.peak(0.1); p > r.Floor {
		r.Errorf("%.4g V after the empty signal", p)
	}
	r.drive(r.tone(1)) // and goes on after it
	r.pass(1 + 1/r.Frequency)
	if r.peak(1/r.Frequency) <= r.Floor {
		r.Error("nothing came out after silence")
	}
}

func (r *trial) refuses() {
	r.pass(0.1)
	a := complex(r.Amplitude/4, 0)
	many := make(bench.Signal, r.Tones+1)
	for i := range many {
		many[i] = bench.Tone{Frequency: r.Frequency * float64(i+1), Amplitude: a / complex(float64(len(many)), 0)}
	}
	for _, c := range []struct {
		name string
		s    bench.Signal
		want error
	}{
		{"frequency zero", bench.Signal{{Frequency: 0, Amplitude: a}}, nil},
		{"frequency below zero", bench.Signal{{Frequency: -1, Amplitude: a}}, nil},
		{"frequency no number", bench.Signal{{Frequency: math.NaN(), Amplitude: a}}, nil},
		{"frequency infinite", bench.Signal{{Frequency: math.Inf(1), Amplitude: a}}, nil},
		{"frequency beyond everything", bench.Signal{{Frequency: 1e15, Amplitude: a}}, nil},
		{"amplitude no number", bench.Signal{{Frequency: r.Frequency, Amplitude: complex(math.NaN(), 0)}}, nil},
		{"amplitude infinite", bench.Signal{{Frequency: r.Frequency, Amplitude: complex(0, math.Inf(1))}}, nil},
		{"frequency twice", bench.Signal{{Frequency: r.Frequency, Amplitude: a}, {Frequency: r.Frequency, Amplitude: a}}, nil},
		{"too many tones", many, bench.ErrTones},
	} {
		if c.want != nil && r.Tones == 0 {
			continue
		}
		if err := r.Rig.Exciter.Drive(r.ctx, c.s); err == nil || c.want != nil && !errors.Is(err, c.want) {
			r.Errorf("%s: %v, want a refusal", c.name, err)
		}
	}
	r.pass(0.3)
	if p := r.peak(0.2); p > r.Floor {
		r.Errorf("refused signals come out: %.4g V", p)
	}
}

func (r *trial) cancelled() {
	r.pass(0.1)
	ctx, cancel := context.WithCancel(r.ctx)
	cancel()
	if err := r.Rig.Exciter.Drive(ctx, r.tone(1)); err == nil {
		r.Error("a drive whose context has ended is accepted")
	}
	r.pass(0.4)
	if p := r.peak(0.2); p > r.Floor {
		r.Errorf("%.4g V of a drive whose context had ended", p)
	}
}
