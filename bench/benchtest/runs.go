package benchtest

import (
	"context"
	"errors"
	"math/rand/v2"
	"sync/atomic"
	"testing"

	"plumbline/bench"
	"plumbline/recording"
)

// Bench is a Rig on which runs can be made.
type Bench struct {
	Rig
	Set     bench.Set // without archive, operator and watch; its steps are reached and become steady
	Latency float64   // s, between what happens at the table and what the digitizer shows of it
	Pull    func()    // takes the reference's cable away; nil: cannot be tried
}

// BenchFactory makes a new Bench for a test and cleans up with it.
type BenchFactory func(t *testing.T) Bench

// Runs tries whole runs: what is kept, and that the exciter is off after whatever happens.
func Runs(t *testing.T, factory BenchFactory) {
	for _, c := range []struct {
		name string
		try  func(*ride)
	}{
		{"keeps every step", (*ride).whole},
		{"pulled reference cable at full level", (*ride).pulled},
		{"cancelled at random moments", (*ride).cancelled},
		{"full disk while writing", (*ride).fullDisk},
		{"full disk while keeping", (*ride).lameDisk},
		{"unplugged", (*ride).unplugged},
		{"lost frames", (*ride).gap},
		{"operator panics", (*ride).panics},
	} {
		t.Run(c.name, func(t *testing.T) { c.try(&ride{T: t, factory: factory}) })
	}
}

// ride is a test with its benches.
type ride struct {
	*testing.T
	factory BenchFactory
	bench   Bench
	counter *counter
	memory  *Memory
	script  *Script
}

// counter counts the frames that are read, and notes when the exciter was halted first.
type counter struct {
	bench.Exciter
	bench.Digitizer
	rate   float64
	frames atomic.Int64
	halted atomic.Int64 // frames read then; -1 not yet
	each   func(frames int64)
}

func (c *counter) Halt() error {
	c.halted.CompareAndSwap(-1, c.frames.Load())
	return c.Exciter.Halt()
}

func (c *counter) Acquire(ctx context.Context) (recording.Reader, error) {
	r, err := c.Digitizer.Acquire(ctx)
	if err != nil {
		return nil, err
	}
	c.rate = r.Info().Rate
	return countedReader{r, c}, nil
}

type countedReader struct {
	recording.Reader
	counter *counter
}

func (r countedReader) Read(dst [][]float64) (int, error) {
	n, err := r.Reader.Read(dst)
	total := r.counter.frames.Add(int64(n))
	if r.counter.each != nil {
		r.counter.each(total)
	}
	return n, err
}

// begin makes a new bench.
func (r *ride) begin() {
	r.Helper()
	r.bench = r.factory(r.T)
	r.counter = &counter{Exciter: r.bench.Rig.Exciter, Digitizer: r.bench.Rig.Digitizer}
	r.counter.halted.Store(-1)
	r.memory, r.script = &Memory{}, &Script{}
	s := &r.bench.Set
	s.Exciter, s.Digitizer, s.Archive, s.Operator = r.counter, r.counter, r.memory, r.script
}

// atLevel calls f once, in the middle of the first step while its blocks are judged.
func (r *ride) atLevel(f func()) {
	level, done := false, false
	r.bench.Set.Watch = func(e bench.Event) {
		level = level || e.Kind == "level"
		if level && !done && e.Kind == "block" {
			done = true
			f()
		}
	}
}

// off says that the exciter was halted and is silent, where that can be seen.
func (r *ride) off() {
	r.Helper()
	if r.counter.halted.Load() < 0 {
		r.Error("the exciter was not halted")
	}
	t := &trial{T: r.T, Rig: r.bench.Rig, ctx: context.Background()}
	defer t.close()
	t.quiet()
}

func (r *ride) whole() {
	r.begin()
	report, err := bench.Run(context.Background(), r.bench.Set)
	if err != nil {
		r.Fatalf("%v; questions %v", err, r.script.Asked)
	}
	if len(report.Kept) != len(r.bench.Set.Steps) || len(r.memory.Kept()) < len(report.Kept) {
		r.Errorf("%d steps kept, %d recordings, want %d", len(report.Kept), len(r.memory.Kept()), len(r.bench.Set.Steps))
	}
	for _, k := range report.Kept {
		for i, l := range r.bench.Set.Steps[k.Step].Lines {
			if d := k.Level[i]/l.Level - 1; d > 0.02 || d < -0.02 {
				r.Errorf("%g Hz: level %.4g m/s², wanted %.4g m/s²", l.Frequency, k.Level[i], l.Level)
			}
		}
	}
	r.off()
}

func (r *ride) pulled() {
	r.begin()
	if r.bench.Pull == nil {
		r.Log("the cable cannot be pulled here")
		return
	}
	var at int64
	r.atLevel(func() {
		at = r.counter.frames.Load()
		r.bench.Pull()
	})
	if _, err := bench.Run(context.Background(), r.bench.Set); !errors.Is(err, bench.ErrUnsafe) {
		r.Errorf("%v, want a stop by the watch; questions %v", err, r.script.Asked)
	}
	if s := float64(r.counter.halted.Load()-at) / r.counter.rate; s > 0.5+r.bench.Latency {
		r.Errorf("halt %.3f s of the stream after the cable was pulled, half a second is allowed and %.3f s of latency", s, r.bench.Latency)
	}
	r.off()
}

// cancelled ends the context at random moments of a run, the first in its first portions.
func (r *ride) cancelled() {
	const seed, times = 30, 5
	rng := rand.New(rand.NewPCG(seed, 0))
	r.Logf("seed %d", seed)
	for k := range times {
		r.begin()
		ctx, cancel := context.WithCancel(context.Background())
		after := int64(rng.Float64() * float64(k) * 2 * 1000) // frames
		r.counter.each = func(frames int64) {
			if frames >= after {
				cancel()
			}
		}
		if _, err := bench.Run(ctx, r.bench.Set); !errors.Is(err, context.Canceled) {
			r.Errorf("cancelled after %d frames: %v, want %v", after, err, context.Canceled)
		}
		cancel()
		r.closed()
		r.off()
	}
}

// closed says that no recording was left as if it could still count.
func (r *ride) closed() {
	r.Helper()
	r.memory.mu.Lock()
	defer r.memory.mu.Unlock()
	for _, t := range r.memory.Takes {
		if t.State == "open" {
			r.Errorf("the recording of %s, attempt %d, is neither kept nor discarded", t.Step.Label, t.Attempt)
		}
	}
}

func (r *ride) fullDisk() {
	r.begin()
	r.atLevel(func() {
		r.memory.mu.Lock()
		defer r.memory.mu.Unlock()
		r.memory.Full = max(1, r.memory.written)
	})
	if report, err := bench.Run(context.Background(), r.bench.Set); !errors.Is(err, ErrFull) || len(report.Kept) > 0 {
		r.Errorf("%d kept, %v, want %v", len(report.Kept), err, ErrFull)
	}
	r.closed()
	r.off()
}

func (r *ride) lameDisk() {
	r.begin()
	r.atLevel(func() {
		r.memory.mu.Lock()
		defer r.memory.mu.Unlock()
		r.memory.Lame = true
	})
	if report, err := bench.Run(context.Background(), r.bench.Set); !errors.Is(err, ErrFull) || len(report.Kept) > 0 {
		r.Errorf("%d kept, %v, want %v", len(report.Kept), err, ErrFull)
	}
	r.off()
}

func (r *ride) unplugged() {
	r.begin()
	if r.bench.Unplug == nil {
		r.Log("the instruments cannot be taken away here")
		return
	}
	r.atLevel(r.bench.Unplug)
	if _, err := bench.Run(context.Background(), r.bench.Set); !errors.Is(err, bench.ErrLost) {
		r.Errorf("%v, want %v", err, bench.ErrLost)
	}
	r.closed()
	if r.counter.halted.Load() < 0 {
		r.Error("the exciter was not halted")
	}
}

// gap loses frames: the attempt does not count, the operator is asked, and a repeat is kept.
func (r *ride) gap() {
	r.begin()
	if r.bench.Lose == nil {
		r.Log("frames cannot be lost here")
		return
	}
	r.atLevel(r.bench.Lose)
	r.script.Answers = []bench.Decision{{Choice: bench.Again}}
	report, err := bench.Run(context.Background(), r.bench.Set)
	if err != nil || len(r.script.Asked) != 1 {
		r.Errorf("%v; questions %v, want one", err, r.script.Asked)
	}
	if len(report.Kept) != len(r.bench.Set.Steps) {
		r.Errorf("%d steps kept, want %d", len(report.Kept), len(r.bench.Set.Steps))
	}
	r.closed()
	r.off()
}

// panicky is an operator who cannot take it.
type panicky struct{}

func (panicky) Decide(context.Context, bench.Question) (bench.Decision, error) {
	panic("the operator has had enough")
}

// panics asks a question by a step that has no time, of an operator who panics: the panic gets through, the exciter is off.
func (r *ride) panics() {
	r.begin()
	r.bench.Set.Operator = panicky{}
	r.bench.Set.Steps[0].Longest = r.bench.Set.Steps[0].Block
	func() {
		defer func() {
			if recover() == nil {
				r.Error("the panic did not get through")
			}
		}()
		_, err := bench.Run(context.Background(), r.bench.Set)
		r.Errorf("the run returned: %v", err)
	}()
	r.off()
}
