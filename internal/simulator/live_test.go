package simulator

import (
	"context"
	"fmt"
	"io"
	"math"
	"math/cmplx"
	"slices"
	"testing"
	"time"

	"plumbline/bench"
	"plumbline/recording"
	"plumbline/sine"
)

// frames reads n frames in one acquisition, in reads of the given size.
func frames(t testing.TB, l *Live, n, size int) [][]float64 {
	t.Helper()
	r, err := l.Acquire(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	x := recording.Block(channels, n)
	for at := 0; at < n; {
		end := min(n, at+size)
		k, err := r.Read([][]float64{x[0][at:end], x[1][at:end]})
		if err != nil {
			t.Fatalf("frame %d: %v", at, err)
		}
		at += k
	}
	return x
}

// play asks for a tone of which the table makes level in m/s² at small strokes, at f in Hz of nature's clock.
func play(t testing.TB, l *Live, f, level float64) {
	t.Helper()
	s := l.setup.Shaker
	tone := bench.Tone{Frequency: f / (1 + s.Skew), Amplitude: complex(level/cmplx.Abs(s.Response(f)), 0)}
	if err := l.Drive(t.Context(), bench.Signal{tone}); err != nil {
		t.Fatal(err)
	}
}

func source(x [][]float64) sine.Source {
	return func() (func(dst [][]float64) (int, error), error) {
		at := 0
		return func(dst [][]float64) (int, error) {
			n := min(len(dst[0]), len(x[0])-at)
			if n == 0 {
				return 0, io.EOF
			}
			for c := range x {
				copy(dst[c], x[c][at:at+n])
			}
			at += n
			return n, nil
		}, nil
	}
}

func approximate(t testing.TB, x [][]float64, f float64) sine.Fit {
	t.Helper()
	fit, err := sine.Approximate(source(x), channels, sine.Settings{Rate: 2000, Frequency: f, Harmonics: 5, Drift: 1, Mains: 50})
	if err != nil {
		t.Fatalf("%g Hz: %v", f, err)
	}
	return fit
}

// spreadOf is the mean of the block ratios and the standard deviation of their mean, relative.
func spreadOf(fit sine.Fit) (mean complex128, std float64) {
	var ratios []complex128
	for _, b := range fit.Blocks {
		if !b.Rejected {
			ratios = append(ratios, b.Z[1]/b.Z[0])
		}
	}
	n := float64(len(ratios))
	for _, r := range ratios {
		mean += r / complex(n, 0)
	}
	for _, r := range ratios {
		std += square(cmplx.Abs(r/mean - 1))
	}
	return mean, math.Sqrt(std / (n - 1) / n)
}

// TestRatioIsTheTruth: with everything switched on and warm, the evaluation finds the ratio the witness knows, within its own noise. The witness's sensitivities are those of the equations.
func TestRatioIsTheTruth(t *testing.T) {
	for _, exciter := range []string{"X-03", "X-12"} {
		for _, f := range []float64{0.7, 1, 10, 97, 300} {
			s, err := Scene{Exciter: exciter, Reference: "1 V/g", Site: 1, Warm: true}.Setup()
			if err != nil {
				t.Fatal(err)
			}
			l, w := live(t, s, seed)
			level := min(0.8*s.Shaker.Stroke/2*square(2*math.Pi*f), 2)
			play(t, l, f, level)
			frames(t, l, int(2000*(5+8/f)), 500)
			x := frames(t, l, int(2000*max(6, 20/f)), 500)
			fit := approximate(t, x, f)
			mean, std := spreadOf(fit)
			// Both quadratures of the mean: 4.5 of its standard deviations, and 1e-6 for noise too small to be seen in few blocks.
			if d := relative(mean, w.Ratio(f)); d > 4.5*std+1e-6 {
				t.Errorf("%s, %g Hz: ratio off by %.2g, its noise is %.2g (seed %d)", exciter, f, d, std, seed)
			}
			if std > 1e-3 {
				t.Errorf("%s, %g Hz: noise of the ratio %.2g", exciter, f, std)
			}
			if d := relative(w.Device(f), s.Device.Sensitivity(f)); d > 1e-4 {
				t.Errorf("%g Hz: device off its equation by %.2g", f, d)
			}
			if d := relative(w.Reference(f), s.Reference.Sensitivity(f)); d > 1e-4 {
				t.Errorf("%g Hz: reference off its equation by %.2g", f, d)
			}
			if want := f / (1 + s.Recorder.Clock); math.Abs(fit.Frequency/want-1) > max(3e-7, 5*fit.FrequencyStd/f) {
				t.Errorf("%g Hz: recorded as %.9g Hz, want %.9g Hz", f, fit.Frequency, want)
			}
		}
	}
}

// TestScatterIsWhatTheDensitiesSay: u(ln|r|) = e/√T with e² the sum of the densities not common to both channels over the squares of the levels (bound of the studies; blocks of two cycles with
// a drift term reach it within 13 %).
func TestScatterIsWhatTheDensitiesSay(t *testing.T) {
	for _, c := range []struct{ f, level float64 }{{1, 0.15}, {10, 0.5}} {
		s := scene(t)
		s.Hum = Hum{}
		l, _ := live(t, s, seed)
		play(t, l, c.f, c.level)
		frames(t, l, int(2000*(10+5/c.f)), 500)
		length := 120 / math.Sqrt(c.f)
		fit := approximate(t, frames(t, l, int(2000*length), 500), c.f)
		_, std := spreadOf(fit)
		var e float64 // (m/s²)²/Hz
		for _, q := range []Sensor{s.Reference, s.Device} {
			recorder := s.Recorder.Noise.density(c.f) / cmplx.Abs(q.Sensitivity(c.f))
			e += square(q.Noise.density(c.f)) + square(s.Ground.NotCommon*s.Ground.At(c.f)) + square(recorder)
		}
		level := cmplx.Abs(fit.Channels[0].Amplitude / s.Reference.Sensitivity(c.f))
		want := math.Sqrt(2*e/length) / level // both quadratures
		// n blocks give a standard deviation to 1/√(4n) of it: 5 of these, and what blocks of two cycles lose.
		allowed := 2.5/math.Sqrt(float64(len(fit.Blocks))) + 0.1
		if math.Abs(std/want-1.06) > allowed {
			t.Errorf("%g Hz: scatter of the mean %.3g, want %.3g within %.0f %% (%d blocks, seed %d)", c.f, std, want, 100*allowed, len(fit.Blocks), seed)
		}
	}
}

// TestSizesOfReads: the same requests at the same frames give the same bits, whatever the sizes of the reads.
func TestSizesOfReads(t *testing.T) {
	record := func(size int) [][]float64 {
		s := scene(t)
		s.Faults = []Fault{{Kind: Dropped, At: 1.3, Every: 0.9, Channel: 2, Frames: 7}, {Kind: Click, At: 0.5, Every: 0.37, Size: 0.1}, {Kind: Swapped, At: 2.2}}
		l, _ := live(t, s, 5)
		all := make([][]float64, channels)
		for i, f := range []float64{10, 10, 3} {
			if err := l.Drive(t.Context(), bench.Signal{{Frequency: f, Amplitude: complex(0.02, 0.01*float64(i))}, {Frequency: 3 * f, Amplitude: 1e-3i}}); err != nil {
				t.Fatal(err)
			}
			for c, x := range frames(t, l, 2001, size) {
				all[c] = append(all[c], x...)
			}
		}
		if err := l.Halt(); err != nil {
			t.Fatal(err)
		}
		return all
	}
	want := record(1)
	for _, size := range []int{7, 256, 5000} {
		got := record(size)
		for c := range want {
			if !slices.Equal(got[c], want[c]) {
				t.Errorf("reads of %d frames: channel %d differs from reads of one", size, c+1)
			}
		}
	}
	l, _ := live(t, scene(t), 6)
	if other := frames(t, l, 100, 100); slices.Equal(other[0], want[0][:100]) {
		t.Error("another seed gives the same samples")
	}
}

// TestHaltKeepsFrames: the frames of the ramp wait for the reader, and the table is at rest when Halt returns.
func TestHaltKeepsFrames(t *testing.T) {
	l, w := live(t, scene(t), 7)
	r, err := l.Acquire(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if _, err := l.Acquire(t.Context()); err == nil {
		t.Error("two acquisitions at once")
	}
	play(t, l, 2, 0.5)
	dst := recording.Block(channels, 1000)
	for range 8 {
		if _, err := r.Read(dst); err != nil {
			t.Fatal(err)
		}
	}
	before := w.Now()
	if err := l.Halt(); err != nil {
		t.Fatal(err)
	}
	after := w.Now()
	if took := after.Seconds - before.Seconds; !after.Off || math.Abs(after.Displacement) > 1e-5 || took > 1.5 || before.Off {
		t.Errorf("off %v before, %v after %.2f s, at %.3g m", before.Off, after.Off, took, after.Displacement)
	}
	frame := int(math.Round((after.Seconds - before.Seconds) * 2000))
	n, err := r.Read(recording.Block(channels, frame+500)) // half a second at most
	if err != nil || n > 1000 {
		t.Fatalf("%d frames: %v", n, err)
	}
	if s := w.Now().Seconds; n == 1000 && frame >= 1000 && s != after.Seconds {
		t.Errorf("time went on to %.3f s though frames were waiting", s)
	}
	if err := l.Halt(); err != nil || w.Now().Seconds > after.Seconds+1 {
		t.Errorf("second halt: %v", err)
	}
}

// TestPaced: the bench waits for its clock, and does not hurry after a pause.
func TestPaced(t *testing.T) {
	now := time.Unix(1000, 0)
	var waited time.Duration
	wait := func(ctx context.Context, span time.Duration) error {
		now, waited = now.Add(span), waited+span
		return ctx.Err()
	}
	s := scene(t)
	s.Pace = Paced(func() time.Time { return now }, wait)
	l, _ := live(t, s, 8)
	frames(t, l, 4000, 4000)
	if want := 1950 * time.Millisecond; waited < want-time.Millisecond || waited > want+time.Millisecond { // two seconds less the first read, a twentieth of one
		t.Errorf("waited %v for two seconds of frames, want %v", waited, want)
	}
	now, waited = now.Add(time.Hour), 0
	frames(t, l, 2000, 4000)
	if want := 950 * time.Millisecond; waited < want-time.Millisecond || waited > want+time.Millisecond {
		t.Errorf("waited %v for a second after a pause, want %v", waited, want)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if err := Wait(ctx, time.Hour); err == nil {
		t.Error("a wait goes on after the end of its context")
	}
	if err := Wait(t.Context(), time.Nanosecond); err != nil {
		t.Error(err)
	}
}

func TestSetupIsChecked(t *testing.T) {
	for name, change := range map[string]func(*Setup){
		"no rate":         func(s *Setup) { s.Recorder.Rate = 0 },
		"no mass":         func(s *Setup) { s.Shaker.Armature, s.Shaker.Payload = 0, 0 },
		"no coil":         func(s *Setup) { s.Shaker.Resistance = 0 },
		"endless stroke":  func(s *Setup) { s.Shaker.Stroke = math.Inf(1) },
		"lazy guidance":   func(s *Setup) { s.Shaker.Guidance[0].Quality = 0 },
		"slow converter":  func(s *Setup) { s.Shaker.Latency = 60 },
		"wild clock":      func(s *Setup) { s.Recorder.Clock = -1 },
		"endless ringing": func(s *Setup) { s.Device.Damping = 0 },
		"stops inside":    func(s *Setup) { s.Shaker.Stop = 0.9 },
		"lazy resonance":  func(s *Setup) { s.Device.Quality = 0.5 },
		"timeless creep":  func(s *Setup) { s.Device.Creeps = []Creep{{Size: 1}} },
		"slow ramp":       func(s *Setup) { s.Shaker.Ramp = 3 },
		"unknown fault":   func(s *Setup) { s.Faults = []Fault{{Kind: "gremlin"}} },
		"channel 3":       func(s *Setup) { s.Faults = []Fault{{Kind: Flat, Channel: 3}} },
		"gain of nothing": func(s *Setup) { s.Faults = []Fault{{Kind: Gain}} },
		"fault no number": func(s *Setup) { s.Faults = []Fault{{Kind: Gain, Size: math.NaN()}} },
		"fast coupling":   func(s *Setup) { s.Faults = []Fault{{Kind: ACCoupling, Frequency: 5e3}} },
		"no frames":       func(s *Setup) { s.Faults = []Fault{{Kind: Gap}} },
		"backwards":       func(s *Setup) { s.Faults = []Fault{{Kind: Click, Size: 1, Every: -1}} },
		"clipped below":   func(s *Setup) { s.Faults = []Fault{{Kind: Clipped, Size: -1}} },
	} {
		s := scene(t)
		change(&s)
		if _, _, err := New(s, 1); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
	for _, c := range []Scene{{"X-1", "1 V/g", 1, true}, {"X-12", "2 V/g", 1, true}, {"X-12", "1 V/g", -1, true}} {
		if _, err := c.Setup(); err == nil {
			t.Errorf("%+v: no error", c)
		}
	}
	l, _ := live(t, scene(t), 1)
	if err := l.Plant(Fault{Kind: Runaway}); err == nil {
		t.Error("a runaway of no size: no error")
	}
}

// BenchmarkLive says how many times faster than real time the bench runs with everything switched on, 2000 frames a second.
func BenchmarkLive(b *testing.B) {
	l, _ := live(b, scene(b), 1)
	play(b, l, 10, 1)
	r, err := l.Acquire(b.Context())
	if err != nil {
		b.Fatal(err)
	}
	dst := recording.Block(channels, 200)
	for b.Loop() {
		if _, err := r.Read(dst); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.N)*200/2000/b.Elapsed().Seconds(), "x_real_time")
}

// ExampleScene is a live bench from its name to its first frames.
func ExampleScene() {
	setup, err := Scene{Exciter: "X-12", Reference: "1 V/g", Site: 0.2}.Setup()
	if err != nil {
		fmt.Println(err)
		return
	}
	live, witness, err := New(setup, 1)
	if err != nil {
		fmt.Println(err)
		return
	}
	ctx := context.Background()
	if err := live.Drive(ctx, bench.Signal{{Frequency: 10, Amplitude: 0.1}}); err != nil {
		fmt.Println(err)
	}
	reader, err := live.Acquire(ctx)
	if err != nil {
		fmt.Println(err)
		return
	}
	n, err := reader.Read(recording.Block(2, 500))
	fmt.Println(n, err, witness.Now().Off)
	fmt.Println(live.Halt(), witness.Now().Off)
	// Output:
	// 500 <nil> false
	// <nil> true
}
