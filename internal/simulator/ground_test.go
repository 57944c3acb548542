package simulator

import (
	"math"
	"math/cmplx"
	"testing"
)

// within compares powers with densities in bands. A mean over n bins and m half-overlapping Hann segments has a relative standard deviation near √(1.06/(n m)) times √2 for neighbouring bins
// (Welch 1967, from memory); 5 of them, plus what is given for slopes within a bin and for what the filters leave.
func within(t *testing.T, name string, s spectra, power []float64, lo, hi, more float64, density func(f float64) float64) {
	t.Helper()
	first, last := s.bins(lo, hi)
	var got, want float64
	for k := first; k <= last; k++ {
		got += power[k]
		want += square(density(float64(k) * s.resolution))
	}
	allowed := 5*math.Sqrt(2*1.06/float64((last-first+1)*s.segments)) + more
	if d := got/want - 1; math.Abs(d) > allowed {
		t.Errorf("%s, %g to %g Hz: power off by %.1f %%, allowed %.1f %% (seed %d)", name, lo, hi, 100*d, 100*allowed, seed)
	}
}

// TestStreamsHaveTheirDensities: noise made sample by sample has the densities that noise of whole recordings has.
func TestStreamsHaveTheirDensities(t *testing.T) {
	bands := [][2]float64{{0.5, 1}, {2, 5}, {10, 15}, {40, 80}, {300, 700}}
	for _, c := range []struct {
		name    string
		set     func(*Setup)
		density func(b Setup, w *Witness, channel int, f float64) float64 // V/√Hz
		more    func(f float64) float64
	}{
		{"recorder", func(s *Setup) { s.Recorder.Noise = Noise{White: 1e-7, Corner: 10} },
			func(_ Setup, _ *Witness, _ int, f float64) float64 { return 1e-7 * math.Sqrt(1+10/f) },
			func(float64) float64 { return 0.01 }},
		{"self-noise", func(s *Setup) { s.Reference.Noise, s.Device.Noise = WorkingReference().Noise, Seismic().Noise },
			func(s Setup, w *Witness, channel int, f float64) float64 {
				n := [channels]Sensor{s.Reference, s.Device}[channel].Noise
				return cmplx.Abs(sensitivity(w, channel, f)) * n.White * math.Sqrt(1+n.Corner/f)
			},
			func(float64) float64 { return 0.01 }},
		{"ground", func(s *Setup) { s.Ground = Ground{Density: 4.6e-5, Modes: QuietFloor().Modes, NotCommon: 0.03} },
			func(s Setup, w *Witness, channel int, f float64) float64 {
				return cmplx.Abs(sensitivity(w, channel, f)) * s.Ground.At(f) * math.Hypot(1, 0.03)
			},
			// Modes multiply instead of adding; between frames the ground goes along straight lines.
			func(f float64) float64 { return 0.05 + 1 - math.Pow(sinc(f/2000), 4) }},
		{"amplifier", func(s *Setup) { s.Shaker.Noise = Noise{White: 1e-3, Corner: 20} },
			func(s Setup, w *Witness, channel int, f float64) float64 {
				return cmplx.Abs(sensitivity(w, channel, f)*s.Shaker.Response(f)) / s.Shaker.Gain * 1e-3 * math.Sqrt(1+20/f)
			},
			func(f float64) float64 { return 0.02 + 1 - math.Pow(sinc(f/8000), 4) }},
	} {
		s := still(t)
		c.set(&s)
		l, w := live(t, s, seed)
		frames(t, l, 20000, 1000)
		x := frames(t, l, 2000*120, 1000)
		e := estimate(x[0], x[1], 2000, 1<<13)
		for channel, power := range [][]float64{e.xx, e.yy} {
			for _, b := range bands {
				if c.name == "ground" && b[0] > 100 {
					continue // nothing is claimed there
				}
				within(t, c.name, e, power, b[0], b[1], c.more(b[1]), func(f float64) float64 { return c.density(s, w, channel, f) })
			}
		}
	}
}

// sensitivity is of transducer and channel, index 0 the reference.
func sensitivity(w *Witness, channel int, f float64) complex128 {
	return [channels]func(float64) complex128{w.Reference, w.Device}[channel](f) * w.Chain(channel+1, f)
}

// TestGroundIsSharedLive: the ground is common to both but for its share, and the machine's line is the same in both but for it.
func TestGroundIsSharedLive(t *testing.T) {
	s := still(t)
	s.Ground = Ground{Density: 4.6e-5, NotCommon: 0.1}
	l, w := live(t, s, seed)
	x := frames(t, l, 2000*300, 1000)
	e := estimate(x[0], x[1], 2000, 1<<13)
	first, last := e.bins(20, 60)
	var coherence float64
	for k := first; k <= last; k++ {
		f := float64(k) * e.resolution
		coherence += real(e.xy[k]*cmplx.Conj(e.xy[k])) / (e.xx[k] * e.yy[k]) / float64(last-first+1)
		if d := relative(e.xy[k]/complex(e.xx[k], 0)*1.01, sensitivity(w, 1, f)/sensitivity(w, 0, f)); d > 0.07 {
			t.Errorf("%.2f Hz: transfer between the channels off by %.1f %% (seed %d)", f, 100*d, seed)
		}
	}
	if want := 1 / (1.01 * 1.01); math.Abs(coherence-want) > 0.002 { // both hold 0.1² more of their own
		t.Errorf("coherence %.4f, want %.4f (seed %d)", coherence, want, seed)
	}

	s.Ground = Ground{NotCommon: 0.03, Machines: []Machine{{Frequency: 25, Level: 1e-3}}}
	l, w = live(t, s, seed)
	frames(t, l, 4000, 1000)
	x = frames(t, l, 4000, 1000)
	got := [channels]complex128{}
	for c := range got {
		got[c] = line(x[c], 25.0/2000) / sensitivity(w, c, 25)
		if a := cmplx.Abs(got[c]); math.Abs(a/1e-3-1) > 0.031 {
			t.Errorf("channel %d: the machine's line is %.4g m/s², want 1e-3 within 3 %%", c+1, a)
		}
	}
	if d := relative(got[1], got[0]); d < 1e-3 || d > 0.062 {
		t.Errorf("the machine's line differs by %.2g between the channels, want at most twice 3 %%", d)
	}
}

// TestSlowNoiseGoesOn: the ladder follows 1/f over five decades within 1 %, whatever the rate.
func TestSlowNoiseGoesOn(t *testing.T) {
	for _, h := range []float64{1.0 / 8000, 1.0 / 51200} {
		for _, floor := range []float64{0, 1} {
			l, gain := newLadder(floor, 30, h)
			for f := 4e-3; f < 0.02/h; f *= 1.7 {
				got := square(gain * cmplx.Abs(l.at(f, h)))
				if want := floor + 30/f; math.Abs(got/want-1) > 0.02+square(f*h)*5+0.16*math.Exp(-f/8e-3) {
					t.Errorf("h %.3g s, floor %g, %.3g Hz: power %.4g, want %.4g", h, floor, f, got, want)
				}
			}
		}
	}
}

// TestTransients: what a cold bench does after switch-on: its bias creeps, its sensitivity comes to its value, both as exponentials.
func TestTransients(t *testing.T) {
	s := still(t)
	s.Device.HighPass = 0
	s.Device.Creep, s.Device.CreepTime, s.Device.Creeps, s.Device.Drift = 10e-3, 5, []Creep{{4e-3, 20}}, 1e-4
	l, w := live(t, s, 1)
	for range 4 {
		x := frames(t, l, 4000, 1000)
		at := w.Now().Seconds - 13.0/2000 // the kernel looks at what came thirteen frames before
		if want := 10e-3*math.Exp(-at/5) + 4e-3*math.Exp(-at/20) + 1e-4*at; math.Abs(x[1][3999]-want) > 1e-6 {
			t.Errorf("%.3f s: %.6g V, want %.6g V", at, x[1][3999], want)
		}
	}
	s = still(t)
	s.Device.Warming, s.Device.WarmTime = 0.005, 8
	l, w = live(t, s, 1)
	play(t, l, 20, 1)
	frames(t, l, 4000, 1000)
	for range 6 {
		at := w.Now()
		x := frames(t, l, 400, 100)
		got := cmplx.Abs(line(x[1], 0.01)/line(x[0], 0.01)/w.Ratio(20)) - 1
		if want := 0.005 * math.Exp(-(at.Seconds+0.1)/8); math.Abs(got-want) > 2e-5 || math.Abs(at.Warming[1]/want-1) > 0.02 {
			t.Errorf("%.2f s: sensitivity %.5f too high, want %.5f; the witness says %.5f", at.Seconds, got, want, at.Warming[1])
		}
		frames(t, l, 4000, 1000)
	}
}

// TestRange: a sensor that is driven beyond its range shows it, bias included; the recorder has its codes and no others.
func TestRange(t *testing.T) {
	s := still(t)
	s.Device.Range, s.Device.Bias = 2, 0.5
	s.Recorder.Bits, s.Recorder.FullScale = 16, 10
	l, _ := live(t, s, 1)
	play(t, l, 10, 3) // 3 V at 10 V/g
	x := frames(t, l, 6000, 1000)
	var top, bottom float64
	for _, v := range x[1] {
		top, bottom = max(top, v), min(bottom, v)
		if code := v / s.Recorder.Step(); code != math.Round(code) {
			t.Fatalf("%.9g V is no code of 16 bits", v)
		}
	}
	// The recorder's low-pass rings at the corners (Gibbs, a tenth).
	if top < 2 || top > 2.2 || bottom > -2 || bottom < -2.2 {
		t.Errorf("%.3f V to %.3f V, the sensor's range is 2 V", bottom, top)
	}
}
