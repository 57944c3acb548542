package simulator

import (
	"testing"

	"plumbline/bench/benchtest"
)

func live(t testing.TB, s Setup, seed uint64) (*Live, *Witness) {
	t.Helper()
	l, w, err := New(s, seed)
	if err != nil {
		t.Fatal(err)
	}
	return l, w
}

func plant(t testing.TB, l *Live, f Fault) {
	t.Helper()
	if err := l.Plant(f); err != nil {
		t.Fatal(err)
	}
}

// rig is the live bench as the suite takes it. A pulled out bench loses its converter's queue at once in wall time, so what it put out is what came before.
func rig(t *testing.T) benchtest.Rig {
	s := scene(t)
	s.Shaker.Tones = 4
	l, w := live(t, s, 1)
	var out []float64
	rate := w.Tap(func(v float64) { out = append(out, v) })
	const amplitude = 0.05
	return benchtest.Rig{
		Exciter: l, Digitizer: l, Frequency: 10, Amplitude: amplitude, Tones: s.Shaker.Tones, Slew: amplitude / s.Shaker.Ramp, Dry: true,
		Output: func() ([]float64, float64) { return out, rate },
		Unplug: func() { plant(t, l, Fault{Kind: Unplugged}) },
		Lose:   func() { plant(t, l, Fault{Kind: Gap, Frames: 100}) },
		Stall:  func() { plant(t, l, Fault{Kind: Stalled}) },
	}
}

func TestLiveIsAnExciter(t *testing.T)  { benchtest.Exciter(t, rig) }
func TestLiveIsADigitizer(t *testing.T) { benchtest.Digitizer(t, rig) }

// scene is the usual bench of these tests: X-03, 100 mV/g reference, warm.
func scene(t testing.TB) Setup {
	t.Helper()
	s, err := Scene{Exciter: "X-03", Reference: "100 mV/g", Site: 1, Warm: true}.Setup()
	if err != nil {
		t.Fatal(err)
	}
	return s
}
