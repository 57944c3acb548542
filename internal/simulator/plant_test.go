package simulator

import (
	"context"
	"errors"
	"math"
	"math/cmplx"
	"slices"
	"testing"

	"plumbline/bench"
	"plumbline/recording"
)

// seen is what one point shows of a set-up, as the studies look at it.
type seen struct {
	ratio     float64 // observed over expected
	phase     float64 // °
	even, odd float64 // harmonics of the device that the motion seen by the reference does not explain, relative: second and fourth, third and fifth
	x         [][]float64
	level     [channels]float64 // V
}

// look records a point with the faults planted from the beginning. The level is 0.2 g where the stroke admits it.
func look(t *testing.T, f float64, faults ...Fault) seen {
	t.Helper()
	s := scene(t)
	s.Faults = faults
	l, w := live(t, s, seed)
	play(t, l, f, min(0.7*s.Shaker.Stroke/2*square(2*math.Pi*f), 1.96))
	frames(t, l, int(2000*(2+6/f)), 1000)
	x := frames(t, l, int(2000*max(2, math.Round(6/f))), 1000)
	recorded := f / (1 + s.Recorder.Clock)
	amplitude := func(c, h int) complex128 { return approximateLine(x[c], recorded*float64(h)/2000) }
	r := amplitude(1, 1) / amplitude(0, 1) / w.Ratio(f)
	v := seen{ratio: cmplx.Abs(r), phase: cmplx.Phase(r) * 180 / math.Pi, x: x}
	for h := 2; h <= 5; h++ {
		if float64(h)*f > 800 {
			break
		}
		predicted := amplitude(0, h) / amplitude(0, 1) * w.Ratio(float64(h)*f) / w.Ratio(f)
		e := cmplx.Abs(amplitude(1, h)/amplitude(1, 1) - predicted)
		if h%2 == 0 {
			v.even = math.Hypot(v.even, e)
		} else {
			v.odd = math.Hypot(v.odd, e)
		}
	}
	for c := range v.level {
		v.level[c] = cmplx.Abs(amplitude(c, 1))
	}
	return v
}

// approximateLine is line with a Hann window, for what is not in whole cycles.
func approximateLine(x []float64, cycles float64) complex128 {
	var sum complex128
	for i, v := range x {
		w := 1 - math.Cos(2*math.Pi*(float64(i)+0.5)/float64(len(x)))
		_, turn := math.Modf(cycles * float64(i))
		sum += complex(w*v, 0) * cmplx.Rect(1, -2*math.Pi*turn)
	}
	return sum * complex(2/float64(len(x)), 0)
}

// TestSignatures plants what people do wrong and finds what the studies found (own study of faults, 24 set-ups, points 1 to 300 Hz; medians; 11 Hz for 10 Hz, whose fifth harmonic is the mains; the sizes of the faults are chosen to match).
func TestSignatures(t *testing.T) {
	type want struct{ f, ratio, tol, phase, dphase float64 }
	for _, c := range []struct {
		name      string
		fault     Fault
		want      []want
		even, odd [2]float64 // from, to at the last point
	}{
		{"none", Fault{Kind: Gain, Size: 1, Channel: 2}, []want{{1, 1, 2e-3, 0, 0.1}, {300, 1, 2e-4, 0, 0.02}, {11, 1, 2e-4, 0, 0.02}}, [2]float64{0, 2e-4}, [2]float64{0, 2e-4}},
		{"rms for peak", Fault{Kind: Gain, Size: math.Sqrt2 / 2, Channel: 2}, []want{{10, 0.7071, 2e-4, 0, 0.02}, {300, 0.7071, 2e-4, 0, 0.02}}, [2]float64{0, 2e-4}, [2]float64{0, 2e-4}},
		{"gain of ten", Fault{Kind: Gain, Size: 0.1, Channel: 2}, []want{{10, 0.1, 2e-4, 0, 0.02}, {97, 0.1, 2e-4, 0, 0.02}}, [2]float64{0, 2e-4}, [2]float64{0, 2e-4}},
		{"sensitivity changed", Fault{Kind: Gain, Size: 1.083, Channel: 2}, []want{{10, 1.083, 2e-4, 0, 0.02}, {97, 1.083, 2e-4, 0, 0.02}}, [2]float64{0, 2e-4}, [2]float64{0, 2e-4}},
		{"polarity", Fault{Kind: Polarity, Channel: 2}, []want{{10, 1, 2e-4, 180, 0.02}, {97, 1, 2e-4, 180, 0.02}}, [2]float64{0, 2e-4}, [2]float64{0, 2e-4}},
		{"AC coupling", Fault{Kind: ACCoupling, Frequency: 0.567, Channel: 2}, []want{{1, 0.87, 0.01, 29.6, 0.5}, {11, 0.9987, 1e-3, 2.95, 0.1}}, [2]float64{0, 2e-4}, [2]float64{0, 2e-4}},
		{"loose mounting", Fault{Kind: Loose, Frequency: 650, Size: 0.028, Channel: 2}, []want{{97, 1.023, 0.01, -1.5, 0.3}, {300, 1.28, 0.02, -6, 1}}, [2]float64{8e-3, 0.04}, [2]float64{0, 0.02}},
		{"local resonance", Fault{Kind: Local, Frequency: 30, Size: 0.1, Channel: 2}, []want{{30, 1.1, 1e-3, 0, 0.2}, {30.5, 1.07, 0.03, -2.5, 0.7}, {10, 1, 3e-3, 0.1, 0.1}, {97, 1, 3e-3, 0, 0.2}}, [2]float64{0, 2e-3}, [2]float64{0, 2e-3}},
		{"wrong bias", Fault{Kind: Saturated, Size: 1.6, Channel: 2}, []want{{10, 0.95, 0.01, 0, 0.3}, {97, 0.95, 0.01, 0, 0.3}}, [2]float64{0.03, 0.07}, [2]float64{0.02, 0.06}},
		{"recorder clipped", Fault{Kind: Clipped, Size: 1.62, Channel: 2}, []want{{10, 0.9, 0.03, 0, 0.3}, {97, 0.9, 0.03, 0, 0.3}}, [2]float64{0, 0.02}, [2]float64{0.06, 0.12}},
		{"foreign line", Fault{Kind: Alias, Frequency: 2113, Size: 0.05, Channel: 2}, []want{{10, 1, 1e-3, 0, 0.05}, {97, 1, 1e-3, 0, 0.1}}, [2]float64{0, 1e-3}, [2]float64{0, 1e-3}},
		{"hum loop", Fault{Kind: HumLoop, Size: 0.35, Channel: 2}, []want{{10, 1, 1e-3, 0, 0.05}, {97, 1, 1e-3, 0, 0.1}}, [2]float64{0, 1e-3}, [2]float64{0, 1e-3}},
	} {
		for i, p := range c.want {
			v := look(t, p.f, c.fault)
			if d := math.Abs(math.Remainder(v.phase-p.phase, 360)); math.Abs(v.ratio-p.ratio) > p.tol || d > p.dphase {
				t.Errorf("%s, %g Hz: ratio %.5f, phase %.3f°, want %.5f and %.3f°", c.name, p.f, v.ratio, v.phase, p.ratio, p.phase)
			}
			if i == len(c.want)-1 && (v.even < c.even[0] || v.even > c.even[1] || v.odd < c.odd[0] || v.odd > c.odd[1]) {
				t.Errorf("%s, %g Hz: excess of even harmonics %.5f, of odd %.5f, want %v and %v", c.name, p.f, v.even, v.odd, c.even, c.odd)
			}
		}
	}
}

// TestSwappedCables: ratio and phase are those of the inverse: (R/D)² of the expected, here 1e-4, the phase reversed (same study).
func TestSwappedCables(t *testing.T) {
	v := look(t, 1, Fault{Kind: Swapped})
	right := look(t, 1)
	if math.Abs(math.Log(v.ratio/1e-4)) > 0.05 || math.Abs(v.phase) < 1 {
		t.Errorf("ratio %.4g of the expected, phase %.2f°; want 1e-4 and twice the device's own with the other sign", v.ratio, v.phase)
	}
	if !slices.Equal(v.x[0], right.x[1]) || !slices.Equal(v.x[1], right.x[0]) {
		t.Error("swapped channels are not the right ones exchanged")
	}
}

// extremes are the shares of samples at the largest and at the smallest value.
func extremes(x []float64) (top, bottom float64) {
	high, low := slices.Max(x), slices.Min(x)
	for _, v := range x {
		if v == high {
			top++
		}
		if v == low {
			bottom++
		}
	}
	return top / float64(len(x)), bottom / float64(len(x))
}

func TestCodesOfClippedAndSaturated(t *testing.T) {
	if top, bottom := extremes(look(t, 10, Fault{Kind: Clipped, Size: 1.62, Channel: 2}).x[1]); top < 0.15 || bottom < 0.15 {
		t.Errorf("clipped: %.3f and %.3f of the samples at the end codes, want a fifth each", top, bottom)
	}
	if top, bottom := extremes(look(t, 10, Fault{Kind: Saturated, Size: 1.6, Channel: 2}).x[1]); top > 2e-3 || bottom > 2e-3 {
		t.Errorf("saturated: %.4f and %.4f of the samples at the end codes, want none to speak of", top, bottom)
	}
}

// TestForeignLineMoves: a line beyond half the rate folds, and folds elsewhere at another rate; hum of a loop is a sixth of the line.
func TestForeignLineMoves(t *testing.T) {
	for rate, folded := range map[float64]float64{2000: 113, 1800: 313} { // 2113 Hz less one rate
		s := still(t)
		s.Recorder.Rate = rate
		s.Faults = []Fault{{Kind: Alias, Frequency: 2113, Size: 0.05, Channel: 1}}
		l, _ := live(t, s, 1)
		x := frames(t, l, int(rate), 500)
		if a := cmplx.Abs(line(x[0], folded/rate)); math.Abs(a-0.05) > 1e-6 {
			t.Errorf("%g frames a second: %.4g V at %g Hz, want 0.05 V", rate, a, folded)
		}
	}
	v := look(t, 10, Fault{Kind: HumLoop, Size: 0.35, Channel: 2})
	if share := cmplx.Abs(approximateLine(v.x[1], 50.01/2000)) / v.level[1]; share < 0.15 || share > 0.2 {
		t.Errorf("hum over line %.3f, want 0.15 to 0.20", share)
	}
}

// TestLostFramesStepThePhase: a loss in both channels steps both phases, a loss in one its own.
func TestLostFramesStepThePhase(t *testing.T) {
	const lost = 30
	for channel, want := range map[int][channels]float64{0: {lost, lost}, 1: {lost, 0}, 2: {0, lost}} {
		s := still(t)
		l, _ := live(t, s, 1)
		play(t, l, 10, 1)
		frames(t, l, 6000, 1000)
		plant(t, l, Fault{Kind: Dropped, Frames: lost, Channel: channel, At: 4})
		x := frames(t, l, 8000, 333)
		for c := range x {
			before, after := line(x[c][:2000], 0.005), line(x[c][2000:4000], 0.005)
			if step := cmplx.Phase(after/before) / (2 * math.Pi * 0.005); math.Abs(step-want[c]) > 1e-3 {
				t.Errorf("loss in channel %d: channel %d steps by %.3f frames, want %g", channel, c+1, step, want[c])
			}
		}
	}
}

// TestClicks: three samples each, again and again.
func TestClicks(t *testing.T) {
	s := still(t)
	s.Faults = []Fault{{Kind: Click, At: 0.5, Every: 0.25, Size: 1, Channel: 2}}
	l, _ := live(t, s, 1)
	x := frames(t, l, 2000, 77)
	for i, v := range x[1] {
		want := 0.0
		if i >= 1000 && (i-1000)%500 < 3 {
			want = 1
		}
		if v != want || x[0][i] != 0 {
			t.Fatalf("frame %d: %g V and %g V, want 0 V and %g V", i, x[0][i], v, want)
		}
	}
}

// TestLiveFaults: what happens in the middle of a run.
func TestLiveFaults(t *testing.T) {
	rms := func(x []float64) float64 {
		var sum, mean float64
		for _, v := range x {
			mean += v / float64(len(x))
		}
		for _, v := range x {
			sum += square(v-mean) / float64(len(x))
		}
		return math.Sqrt(sum)
	}
	for _, c := range []struct {
		name  string
		fault Fault
		check func(x [][]float64, w *Witness) bool // of the second after the fault
	}{
		{"reference pulled", Fault{Kind: Pulled, Channel: 1}, func(x [][]float64, _ *Witness) bool {
			return rms(x[0]) < 2e-3 && rms(x[0]) > 1e-3 && rms(x[1]) > 1 // mains of ten times 0.2 mV
		}},
		{"device pulled", Fault{Kind: Pulled, Channel: 2}, func(x [][]float64, _ *Witness) bool { return rms(x[0]) > 0.01 && rms(x[1]) < 0.01 }},
		{"flat", Fault{Kind: Flat, Channel: 1}, func(x [][]float64, _ *Witness) bool { return rms(x[0]) < 1e-12 && rms(x[1]) > 1 }},
		{"stuck", Fault{Kind: Stuck}, func(x [][]float64, w *Witness) bool {
			return rms(x[0]) < 1e-3 && w.Now().Velocity == 0 && w.Now().Acceleration == 0
		}},
		{"runaway", Fault{Kind: Runaway, Size: 3}, func(x [][]float64, _ *Witness) bool {
			return math.Abs(rms(x[0])/0.0141/3-1) < 0.05 // 0.2 g at 100 mV/g
		}},
	} {
		s := scene(t)
		c.fault.At = 3
		s.Faults = []Fault{c.fault}
		l, w := live(t, s, 3)
		play(t, l, 10, 1.96)
		before := frames(t, l, 5900, 1000)
		if r := rms(before[0][4000:]); math.Abs(r/0.0141-1) > 0.02 {
			t.Errorf("%s: %.4g V before the fault", c.name, r)
		}
		frames(t, l, 600, 100)
		if x := frames(t, l, 2000, 1000); !c.check(x, w) {
			t.Errorf("%s: %.4g V and %.4g V, moving at %g m/s", c.name, rms(x[0]), rms(x[1]), w.Now().Velocity)
		}
	}
}

// TestInstrumentsGo: what is unplugged, stalls or loses frames says so, after the frames that came before.
func TestInstrumentsGo(t *testing.T) {
	for _, c := range []struct {
		fault Fault
		want  error
		after bool // frames come again
	}{
		{Fault{Kind: Unplugged, At: 1}, bench.ErrLost, false},
		{Fault{Kind: Stalled, At: 1}, bench.ErrLost, false},
		{Fault{Kind: Gap, At: 1, Frames: 300}, bench.ErrGap, true},
	} {
		s := scene(t)
		s.Faults = []Fault{c.fault}
		l, w := live(t, s, 3)
		play(t, l, 10, 1)
		r, err := l.Acquire(context.Background())
		if err != nil {
			t.Fatal(err)
		}
		n, dst := 0, recording.Block(channels, 700)
		for err == nil {
			var k int
			k, err = r.Read(dst)
			n += k
		}
		if !errors.Is(err, c.want) || n != 2000 {
			t.Errorf("%s: %d frames, %v; want 2000 frames, %v", c.fault.Kind, n, err, c.want)
		}
		if k, err := r.Read(dst); c.after != (k == 700 && err == nil) {
			t.Errorf("%s: then %d frames, %v", c.fault.Kind, k, err)
		}
		if c.fault.Kind != Unplugged {
			continue
		}
		if _, err := l.Acquire(t.Context()); !errors.Is(err, bench.ErrLost) {
			t.Errorf("acquire of what is gone: %v", err)
		}
		w.Advance(0.5) // nobody halts: the converter runs dry
		if now := w.Now(); !now.Off || now.Seconds < 1.5 {
			t.Errorf("half a second after it was unplugged the output is on: %+v", now)
		}
	}
}
