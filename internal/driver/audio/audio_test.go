package audio_test

import (
	"context"
	"testing"

	"plumbline/bench/benchtest"
	"plumbline/internal/driver/audio"
	"plumbline/internal/driver/audio/audiotest"
)

// fullScale is the voltage of the output's full scale, V peak.
const fullScale = 4.0

func config(s *audiotest.Server) audio.Config {
	return audio.Config{
		Server: s.Address, Sink: audiotest.Sink, Source: audiotest.Source, Rate: audiotest.Rate, Output: audiotest.DriveOutput, FullScale: fullScale,
		Latency: mostLatency, Limit: patience, Counter: audio.Counter{Output: audiotest.CounterOutput, Input: audiotest.CounterInput},
	}
}

// The longest latency and a long limit: the tests are about frames, not about how busy the machine is.
const (
	mostLatency = 400e6 // 0.4 s
	patience    = 2e9   // 2 s
)

func open(t *testing.T, cfg audio.Config) *audio.Interface {
	t.Helper()
	a, err := audio.Open(context.Background(), cfg)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = a.Close() }) // what halts wrongly was said by the test
	return a
}

// looped is the driver with exciter and transducers behind it, as the contract suite wants it.
func looped(t *testing.T) benchtest.Rig {
	t.Parallel()
	s := audiotest.Start(t)
	l := audiotest.Connect(t, s)
	return rig(s, l, open(t, config(s)))
}

// cabled is the driver with a cable from its output to its input.
func cabled(t *testing.T) benchtest.Rig {
	t.Parallel()
	s := audiotest.Start(t)
	l := audiotest.Listen(t, s)
	cfg := config(s)
	cfg.Source, cfg.Counter.Input = audiotest.Cable, audiotest.CounterOutput
	r := rig(s, l, open(t, cfg))
	r.Lose = nil
	return r
}

func rig(s *audiotest.Server, l *audiotest.Loop, a *audio.Interface) benchtest.Rig {
	const amplitude = 1.0
	return benchtest.Rig{
		Exciter: a, Digitizer: a, Frequency: 40, Amplitude: amplitude, Slew: amplitude / 0.1, Floor: fullScale * 0x1p-30,
		Output: func() ([]float64, float64) {
			x := l.Driven()
			for i := range x {
				x[i] *= fullScale
			}
			return x, audiotest.Rate
		},
		Unplug: s.Kill, Stall: s.Freeze, Lose: func() { l.Lose(1) },
	}
}

func TestInterfaceIsAnExciter(t *testing.T)  { benchtest.Exciter(t, cabled) }
func TestInterfaceIsADigitizer(t *testing.T) { benchtest.Digitizer(t, looped) }
