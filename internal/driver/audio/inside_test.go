package audio

import (
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"plumbline/bench"
)

// TestConfigRefuses names what is wrong with a configuration.
func TestConfigRefuses(t *testing.T) {
	good := Config{Sink: "out", Source: "in", Rate: 48000, Output: 1, FullScale: 4}
	for _, c := range []struct {
		want   string
		change func(*Config)
	}{
		{"", func(*Config) {}},
		{"", func(c *Config) { *c = Config{Source: "in", Rate: 48000} }},
		{"name of a source", func(c *Config) { c.Source = "" }},
		{"samples per second", func(c *Config) { c.Rate = 0 }},
		{"full scale", func(c *Config) { c.FullScale = math.NaN() }},
		{"latency 100ms", func(c *Config) { c.Latency = 100 * time.Millisecond }},
		{"latency 500ms", func(c *Config) { c.Latency = 500 * time.Millisecond }},
		{"together", func(c *Config) { c.Latency, c.Ramp = 400*time.Millisecond, 200*time.Millisecond }},
		{"limit", func(c *Config) { c.Limit = -1 }},
		{"both or neither", func(c *Config) { c.Counter.Output = 2 }},
		{"the drive and the frame counter", func(c *Config) { c.Counter = Counter{1, 3} }},
	} {
		cfg := good
		c.change(&cfg)
		_, err := cfg.complete()
		if (err == nil) != (c.want == "") || err != nil && !strings.Contains(err.Error(), c.want) {
			t.Errorf("%v, want %q", err, c.want)
		}
	}
	for _, address := range []string{"nonsense", "http:localhost"} {
		cfg := good
		cfg.Server = address
		if _, err := Open(t.Context(), cfg); err == nil || !strings.Contains(err.Error(), "unix:PATH") {
			t.Errorf("server %q: %v", address, err)
		}
	}
}

// TestSamplesSurvive passes every kind of sample through: counts of 24 bit in floating point of 32, all of 32 bit in integers.
func TestSamplesSurvive(t *testing.T) {
	b := make([]byte, 4)
	for _, float := range []bool{false, true} {
		step := 0x1p-31
		if float {
			step = 0x1p-23
		}
		for _, n := range []float64{0, 1, -1, 1234567, -1234567, 1/step - 1, -1 / step} {
			put(b, n*step, float)
			if got := take(b, float); got != n*step {
				t.Errorf("float %v: %g comes back as %g", float, n*step, got)
			}
		}
		put(b, 3, float) // beyond full scale stays there
		if got := take(b, float); got < 1-0x1p-30 || got > 1 {
			t.Errorf("float %v: 3 of full scale comes back as %g", float, got)
		}
	}
}

func TestCounting(t *testing.T) {
	number := func(n int) float64 { return float64(n)/(counts/2) - 1 }
	series := func(from, n int) []float64 {
		x := make([]float64, n)
		for i := range x {
			x[i] = number((from + i) % counts)
		}
		return x
	}
	const rate = 1000
	for _, c := range []struct {
		name, want string
		x          [][]float64
	}{
		{"in order", "", [][]float64{series(5, 100), series(105, 50)}},
		{"from the largest to the smallest", "", [][]float64{series(counts-50, 100)}},
		{"silence first", "", [][]float64{make([]float64, 200), series(7, 100)}},
		{"one lost", "number 106 of the output's, the one before was 104", [][]float64{series(5, 100), series(106, 50)}},
		{"one twice", "frames were lost", [][]float64{series(5, 100), series(104, 50)}},
		{"silence after", "frames were lost", [][]float64{series(5, 100), make([]float64, 10)}},
		{"never seen", "does not carry", [][]float64{make([]float64, 2999), make([]float64, 2)}},
	} {
		k := counting{column: 3}
		var err error
		for _, x := range c.x {
			if err == nil {
				err = k.check(x, rate, "in")
			}
		}
		if (err == nil) != (c.want == "") || err != nil && (!strings.Contains(err.Error(), c.want) || !errors.Is(err, bench.ErrGap)) {
			t.Errorf("%s: %v, want %q", c.name, err, c.want)
		}
	}
}

// burst holds the pieces 500 to 549 back until the next.
func burst(n int) time.Duration {
	if n < 500 || n >= 550 {
		return 0
	}
	return time.Duration(550-n) * 20 * time.Millisecond
}

// TestClock lets pieces of 20 ms arrive late, early and after a loss, on clocks that differ by 200 ppm.
func TestClock(t *testing.T) {
	for _, c := range []struct {
		name string
		lost int                           // frames, after 10 s
		late func(piece int) time.Duration // of the arrival
		want bool
	}{
		{"in time", 0, func(int) time.Duration { return 0 }, false},
		{"one piece in ten late by 0.3 s", 0, func(n int) time.Duration { return time.Duration(n%10/9) * 300 * time.Millisecond }, false},
		{"nothing for a second, then all at once", 0, burst, false},
		{"10 000 frames lost", 10000, func(n int) time.Duration { return time.Duration(n%10/9) * 300 * time.Millisecond }, true},
	} {
		var k clock
		k.start(48000)
		found := false
		for n := 1; n <= 3000; n++ {
			at := time.Duration(float64(n) * 20e6 * (1 + 200e-6))
			if n > 500 {
				at += time.Duration(float64(c.lost) / 48000 * 1e9)
			}
			found = found || k.late(k.began.Add(at+c.late(n)), 960) > 0
		}
		if found != c.want {
			t.Errorf("%s: found %v, want %v", c.name, found, c.want)
		}
	}
}
