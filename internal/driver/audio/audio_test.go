//go:build linux

package audio_test

import (
	"context"
	"errors"
	"strings"
	"testing"

	"plumbline/bench"
	"plumbline/bench/benchtest"
	"plumbline/internal/driver/audio"
	"plumbline/internal/driver/audio/audiotest"
	"plumbline/recording"
)

// fullScale is the voltage of the output's full scale, V peak.
const fullScale = 4.0

func config(s *audiotest.Server) audio.Config {
	return audio.Config{
		Server: s.Address, Sink: audiotest.Sink, Source: audiotest.Source, Rate: audiotest.Rate, Output: audiotest.DriveOutput, FullScale: fullScale,
		Latency: mostLatency, Limit: patience, Counter: audio.Counter{Output: audiotest.CounterOutput, Input: audiotest.CounterInput},
	}
}

// cabled is the same with a cable from the output to the input.
func cabled(s *audiotest.Server) audio.Config {
	cfg := config(s)
	cfg.Source, cfg.Counter.Input = audiotest.Cable, audiotest.CounterOutput
	return cfg
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

// rig is the driver with a cable from its output to its input, as the contract suite wants it. The frame counter sees every frame go through.
func rig(t *testing.T) benchtest.Rig {
	t.Parallel()
	s := audiotest.Start(t)
	l := audiotest.Listen(t, s)
	a := open(t, cabled(s))
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
		Unplug: s.Kill, Stall: s.Freeze,
	}
}

func TestInterfaceIsAnExciter(t *testing.T)  { benchtest.Exciter(t, rig) }
func TestInterfaceIsADigitizer(t *testing.T) { benchtest.Digitizer(t, rig) }

// TestOneFrameLost loses a single frame between output and input: the frame counter tells.
func TestOneFrameLost(t *testing.T) {
	t.Parallel()
	s := audiotest.Start(t)
	l := audiotest.Connect(t, s)
	a := open(t, config(s))
	var r recording.Reader
	eventually(t, "a second without a loss", func() bool { // a busy machine may lose frames unasked
		if r != nil {
			_ = r.Close()
		}
		var err error
		if r, err = a.Acquire(context.Background()); err != nil {
			t.Fatal(err)
		}
		return until(r, audiotest.Rate) == nil
	})
	defer r.Close()
	l.Lose(1)
	if err := until(r, 10*audiotest.Rate); !errors.Is(err, bench.ErrGap) || !strings.Contains(err.Error(), "frames were lost") {
		t.Errorf("%v, want ErrGap", err)
	}
}
