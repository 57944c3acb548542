package simulator

import (
	"fmt"
	"math"
	"math/cmplx"
	"testing"

	"plumbline/bench"
)

// still is the scene without noise, hum, ground, drift and quantisation: motion and transducers only.
func still(t testing.TB) Setup {
	s := scene(t)
	s.Ground, s.Hum, s.Shaker.Noise = Ground{}, Hum{}, Noise{}
	for _, q := range []*Sensor{&s.Reference, &s.Device} {
		q.Noise, q.Bias = Noise{}, 0
	}
	s.Recorder.Noise, s.Recorder.Bits, s.Recorder.Clock = Noise{}, 0, 0
	return s
}

// TestFiltersAreTheirEquations compares what comes out of the filters step by step with the continuous equations, far from and near their own frequencies.
func TestFiltersAreTheirEquations(t *testing.T) {
	const h = 1.0 / 8000
	settled := func(step func(float64) float64, f float64) complex128 {
		n := int(math.Round(8000 / f))
		skip := (int(12/f*8000)/n + 40) * n
		x := make([]float64, n)
		for i := range skip + n {
			y := step(math.Cos(2 * math.Pi * float64(i%n) / float64(n)))
			if i >= skip {
				x[i-skip] = y
			}
		}
		return line(x, 1/float64(n))
	}
	for _, c := range []struct{ resonance, quality, f, allowed float64 }{
		{1000, 20, 10, 1e-5}, {1000, 20, 160, 2e-5}, {1000, 20, 320, 1e-4}, {8000, 25, 160, 1e-4}, {8000, 25, 320, 1e-4}, {30000, 30, 320, 1e-4}, {650, 5.6, 320, 1e-4},
	} {
		m := newMounting(Transducer{Resonance: c.resonance, Quality: c.quality}, h)
		got := settled(m.step, c.f) * cmplx.Rect(1, 2*math.Pi*c.f*h) // the sample it is late
		x := c.f / c.resonance
		if d := relative(got, 1/complex(1-x*x, x/c.quality)); d > c.allowed {
			t.Errorf("resonance %g Hz at %g Hz: off by %.2g", c.resonance, c.f, d)
		}
		if d := relative(got, m.at(c.f, h)); d > 1e-9 {
			t.Errorf("resonance %g Hz at %g Hz: off what it says of itself by %.2g", c.resonance, c.f, d)
		}
	}
	for _, c := range []struct{ corner, damping, f float64 }{{0.5, 0.7071, 0.5}, {0.5, 1, 1}, {0.5, 0.5, 2}, {0.5, 0.7071, 160}} {
		q := newHighPass(c.corner, c.damping, h)
		s := complex(0, c.f/c.corner)
		if d := relative(settled(q.step, c.f), s*s/(s*s+complex(2*c.damping, 0)*s+1)); d > 2e-5 {
			t.Errorf("high-pass %g Hz at %g Hz: off by %.2g", c.corner, c.f, d)
		}
		k := newCoupling(c.corner, h)
		if d := relative(settled(k.step, c.f), s/(1+s)); d > 2e-5 {
			t.Errorf("coupling %g Hz at %g Hz: off by %.2g", c.corner, c.f, d)
		}
	}
}

// TestRecorderPassesAndStops: the kernel passes 0.4 of the frame rate, stops what would fold below that by 80 dB, and is later by the delay asked for.
func TestRecorderPassesAndStops(t *testing.T) {
	const h = 1.0 / 8000
	k, late := newKernel(4, 0, 3), newKernel(4, 2.3, 3)
	for _, f := range []float64{0, 10, 300, 800} {
		if d := relative(k.at(f, h), 1); d > 2e-4 {
			t.Errorf("%g Hz passes with %.2g", f, d)
		}
		if d := relative(late.at(f, h), k.at(f, h)*cmplx.Rect(1, -2*math.Pi*f*2.3*h)); d > 3e-4 {
			t.Errorf("%g Hz: the delay is off by %.2g", f, d)
		}
	}
	for _, f := range []float64{1200, 2000, 3700} {
		if a := cmplx.Abs(k.at(f, h)); a > 3e-4 {
			t.Errorf("%g Hz comes through with %.2g", f, a)
		}
	}
}

// TestTableIsAnOscillator: for small strokes each volt gives what the equation of motion says, for both drives.
func TestTableIsAnOscillator(t *testing.T) {
	for _, current := range []bool{false, true} {
		for _, f := range []float64{0.5, 2, 10, 100, 320} {
			s := still(t)
			s.Shaker.Current = current
			s.Shaker.Ramp, s.Shaker.Guidance, s.Shaker.Rocking = 0, [2]Guidance{}, Guidance{}
			l, w := live(t, s, 1)
			if err := l.Drive(t.Context(), bench.Signal{{Frequency: f, Amplitude: 1e-4}}); err != nil {
				t.Fatal(err)
			}
			frames(t, l, 30000, 1000)
			n := int(math.Round(2000/f) * math.Ceil(f/10) * 10)
			x := frames(t, l, n, 1000)
			got := cmplx.Abs(line(x[0], f/2000) / (w.Reference(f) * w.Chain(1, f)))
			// Between samples the drive goes along straight lines: (f h)² 3.3 is lost of it.
			allowed := 1e-4 + 4*square(f/8000)
			if want := 1e-4 * cmplx.Abs(s.Shaker.Response(f)); math.Abs(got/want-1) > allowed {
				t.Errorf("current %v, %g Hz: %.6g m/s², want %.6g m/s²", current, f, got, want)
			}
		}
	}
}

// fullStroke drives the noiseless table at f to just half its stroke and returns the harmonics of the true acceleration, index 0 the fundamental.
func fullStroke(s Shaker, f float64) [5]float64 {
	run := func(volts float64) (peak float64, harmonics [5]float64) {
		const n = 8000
		table, z := newTable(s), [5]complex128{}
		for k := range 12 * n {
			u := volts * min(1, float64(k)/(4*n)) * math.Cos(2*math.Pi*float64(k)/n)
			a := table.step(s.Gain*u, 1/(f*n))
			if k < 11*n {
				continue
			}
			peak = max(peak, math.Abs(table.x))
			for i := range z {
				z[i] += complex(a, 0) * cmplx.Rect(2.0/n, -2*math.Pi*float64((i+1)*k)/n)
			}
		}
		for i := range z {
			harmonics[i] = cmplx.Abs(z[i])
		}
		return peak, harmonics
	}
	var harmonics [5]float64
	low, high := 0.0, 4.0
	for range 20 {
		var peak float64
		if peak, harmonics = run((low + high) / 2); peak < s.Stroke/2 {
			low = (low + high) / 2
		} else {
			high = (low + high) / 2
		}
	}
	return harmonics
}

// TestDistortionAtFullStroke: method of the studies (assumed values, own): 26 % third and 6 % second harmonic of the acceleration at 1 Hz and full stroke, within a fifth; far less at 10 Hz.
func TestDistortionAtFullStroke(t *testing.T) {
	for name, s := range map[string]Shaker{"X-03": X03(), "X-12": X12()} {
		h := fullStroke(s, 1)
		second, third := h[1]/h[0], h[2]/h[0]
		if math.Abs(second/0.06-1) > 0.2 || math.Abs(third/0.26-1) > 0.2 {
			t.Errorf("%s: %.1f %% second and %.1f %% third harmonic, want 6 %% and 26 %%", name, 100*second, 100*third)
		}
		if reach := s.Stroke / 2 * square(2*math.Pi); h[0] < 0.9*reach || h[0] > reach {
			t.Errorf("%s: %.3g m/s² at full stroke, a sine would make %.3g", name, h[0], reach)
		}
	}
}

// TestStop: whatever is driven, the table does not go further than the stops give way, and comes off them again.
func TestStop(t *testing.T) {
	for _, f := range []float64{0.7, 2, 5, 20} {
		s := still(t)
		l, w := live(t, s, 1)
		play(t, l, f, 10*s.Shaker.Stroke/2*square(2*math.Pi*f))
		x := frames(t, l, 12000, 1000)
		plant(t, l, Fault{Kind: Runaway, Size: 5})
		frames(t, l, 6000, 1000)
		// What the amplifier can give, 53 N on 1.2 kg, makes at most 1 m/s between the stops; a stop of 400 Hz stops that within v/ω = 0.4 mm.
		const stop = 5.6e-3 // 1.12 of half the stroke
		if peak := w.Now().Peak; peak < stop || peak > stop+0.4e-3 {
			t.Errorf("%g Hz: the table goes to %.2f mm, the stops are at %.2f mm", f, 1e3*peak, 1e3*stop)
		}
		if f > 5 {
			continue
		}
		// A table that hits its stops is heard: without them this acceleration would not be passed.
		var top float64
		for _, v := range x[0] {
			top = max(top, math.Abs(v)/cmplx.Abs(s.Reference.Sensitivity(10)))
		}
		if top < 30 {
			t.Errorf("%g Hz: %.3g m/s² at most, a stop makes more", f, top)
		}
		if err := l.Halt(); err != nil || math.Abs(w.Now().Displacement) > 1e-5 {
			t.Errorf("%g Hz: halt %v at %.3g m", f, err, w.Now().Displacement)
		}
	}
}

// TestAmplifier: its output stays within clip and current limit, and neither makes more motion than that.
func TestAmplifier(t *testing.T) {
	s := still(t)
	s.Shaker.Clip, s.Shaker.Limit = 5, 0.8
	l, w := live(t, s, 1)
	play(t, l, 100, 100)
	var worst, out float64
	for range 400 {
		frames(t, l, 7, 7)
		now := w.Now()
		worst, out = max(worst, math.Abs(now.Acceleration)), max(out, math.Abs(now.Output))
	}
	if limit := 0.8 * s.Shaker.Force / 1.2 * 1.02; worst > limit || worst < 0.8*limit {
		t.Errorf("%.3g m/s² at most, 0.8 A make %.3g", worst, limit)
	}
	if out != 5 {
		t.Errorf("the amplifier puts out %g V, it clips at 5 V", out)
	}
}

// TestMotionAcross: the transverse motion of the guidance and its rocking act on what sits across it and beside its centre, with a phase of their own.
func TestMotionAcross(t *testing.T) {
	s := still(t)
	s.Shaker.Guidance = [2]Guidance{{0.1, 340, 12}, {0.05, 0, 0}}
	s.Device.Transverse, s.Device.Arm = [2]float64{0.05, 0.04}, 2e-3
	s.Reference.Transverse, s.Reference.Arm = [2]float64{}, 0
	l, w := live(t, s, 1)
	const f = 320
	play(t, l, f, 1)
	frames(t, l, 4000, 1000)
	x := frames(t, l, 2000, 1000)
	got := line(x[1], f/2000.0) / line(x[0], f/2000.0)
	a, b := f/340.0, f/420.0
	want := s.Device.Sensitivity(f) / s.Reference.Sensitivity(f) * (1 + 0.05*0.1/complex(1-a*a, a/12) + 0.04*0.05 + 2e-3*0.3/complex(1-b*b, b/12))
	if d := relative(got, want); d > 2e-4 {
		t.Errorf("ratio with motion across off by %.2g", d)
	}
	if d := relative(got, w.Ratio(f)); d > 1e-7 {
		t.Errorf("ratio off what the witness says by %.2g", d)
	}
}

// TestRecorderChannels: gain, coupling and delay of the channels are in the ratio the witness tells.
func TestRecorderChannels(t *testing.T) {
	s := still(t)
	s.Recorder.Gain, s.Recorder.Coupling, s.Recorder.Delay = [2]float64{1.002, 0.997}, [2]float64{0.05, 0.1}, [2]float64{0, 30e-6}
	l, w := live(t, s, 1)
	const f = 20
	play(t, l, f, 1)
	frames(t, l, 60000, 1000)
	x := frames(t, l, 2000, 1000)
	got := line(x[1], f/2000.0) / line(x[0], f/2000.0)
	if d := relative(got, w.Ratio(f)); d > 1e-7 {
		t.Errorf("ratio off what the witness says by %.2g", d)
	}
	want := s.Recorder.transfer(1, f) / s.Recorder.transfer(0, f)
	if d := relative(w.Chain(2, f)/w.Chain(1, f), want); d > 1e-5 {
		t.Errorf("channels off their equations by %.2g", d)
	}
}

// TestLevelControl: an exciter with its own level control starts off its level, comes to it within some time constants with a small overshoot, and needs 4 to 15 cycles for one.
func TestLevelControl(t *testing.T) {
	for _, cycles := range []float64{4, 15} {
		s := still(t)
		s.Shaker.Control = &Control{Level: 10, Cycles: cycles, Damping: 0.6, Start: 0.3}
		l, w := live(t, s, 1)
		const f = 10.0
		if err := l.Drive(t.Context(), bench.Signal{{Frequency: f, Amplitude: 0.1}}); err != nil {
			t.Fatal(err)
		}
		frames(t, l, 500, 500) // ramp and latency
		var levels []float64
		for range int(10 * cycles) {
			x := frames(t, l, 200, 200)
			levels = append(levels, cmplx.Abs(line(x[0], f/2000)/(w.Reference(f)*w.Chain(1, f))))
		}
		at := func(tau float64) float64 { return levels[int(tau*cycles)] - 1 }
		top := 0.0
		for _, v := range levels {
			top = max(top, v-1)
		}
		name := fmt.Sprintf("%g cycles: %.3f", cycles, levels[:int(4*cycles)])
		if levels[0] > 0.93 || levels[0] < 0.6 || math.Abs(at(9)) > 2e-3 || math.Abs(at(2)) > 0.12 || top < 0.005 || top > 0.15 {
			t.Errorf("start %.3f, after two and nine time constants off by %.4f and %.4f, overshoot %.3f; %s", levels[0], at(2), at(9), top, name)
		}
	}
	s := still(t)
	s.Shaker.Control = &Control{Level: 10, Cycles: 4, Damping: 0.6}
	l, _ := live(t, s, 1)
	if err := l.Drive(t.Context(), bench.Signal{{Frequency: 1, Amplitude: 0.1}, {Frequency: 3, Amplitude: 0.1}}); err == nil {
		t.Error("a level control of one tone takes two")
	}
}
