//go:build linux

package audiotest

import (
	"bufio"
	"encoding/binary"
	"io"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"os/exec"
	"slices"
	"sync"
	"testing"
)

// Loop is what stands behind the server: an exciter on the first output, a reference and a device on it, and a cable for the frame counter. Its clients are parec and pacat,
// which share no line with the driver.
type Loop struct {
	Gain  float64 // V at the reference per V of drive, far above the exciter's resonance: fractions of full scale of both
	Noise float64 // standard deviation of the noise of each channel, fraction of full scale

	mu     sync.Mutex
	drop   int  // frames to lose
	pulled bool // the cable of the reference is pulled
	driven []float64
}

// What the loop is made of. All of it is linear and digital, so that the ratio is known exactly.
const (
	resonance = 6.0  // Hz, of the exciter
	damping   = 0.5  // of the exciter, relative to critical
	ratioGain = 0.83 // of device against reference at 0 Hz
	ratioPole = 0.97 // of the low-pass that makes the device lag
)

// Connect puts the loop behind the server. It ends with the test.
func Connect(t testing.TB, s *Server) *Loop {
	t.Helper()
	out := s.Command("pacat", "--raw", "--playback", "--device="+sensors, "--format=s32le", "--rate=48000", "--channels=3", "--latency-msec=350", "--no-remix", "--no-remap")
	to, err := out.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	return connect(t, s, out, to)
}

// Listen only keeps what the exciter is given: for a digitizer that records Cable.
func Listen(t testing.TB, s *Server) *Loop {
	t.Helper()
	return connect(t, s, nil, io.Discard)
}

func connect(t testing.TB, s *Server, out *exec.Cmd, to io.Writer) *Loop {
	t.Helper()
	l := &Loop{Gain: 0.5, Noise: 1e-6}
	in := s.Command("parec", "--raw", "--device="+Cable, "--format=s32le", "--rate=48000", "--channels=2", "--latency-msec=20", "--no-remix", "--no-remap")
	from, err := in.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	clients := slices.DeleteFunc([]*exec.Cmd{in, out}, func(c *exec.Cmd) bool { return c == nil })
	for _, c := range clients {
		if err := c.Start(); err != nil {
			t.Fatalf("the loop does not start, is the package pulseaudio-utils installed? %v", err)
		}
	}
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		l.run(from, to)
	}()
	t.Cleanup(func() {
		for _, c := range clients {
			_ = c.Process.Kill()
		}
		<-ended
		for _, c := range clients {
			_ = c.Wait()
		}
	})
	return l
}

// Ratio is the device's voltage over the reference's at f in Hz, to the last digit: g(1-p)/(1-p·exp(-jω/rate)) with the gain and the pole above.
func Ratio(f float64) complex128 {
	return ratioGain * (1 - ratioPole) / (1 - ratioPole*cmplx.Exp(complex(0, -2*math.Pi*f/Rate)))
}

// Pull pulls the cable of the reference, or puts it back.
func (l *Loop) Pull(out bool) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.pulled = out
}

// Lose loses the next n frames.
func (l *Loop) Lose(n int) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.drop += n
}

// Driven is what the exciter was given so far, from the connection on, fractions of full scale.
func (l *Loop) Driven() []float64 {
	l.mu.Lock()
	defer l.mu.Unlock()
	return slices.Clone(l.driven)
}

// run filters until a client ends.
func (l *Loop) run(from io.Reader, to io.Writer) {
	const seed = 20261125
	noise := rand.New(rand.NewPCG(seed, 1))
	table := newExciter()
	var lag float64
	in, out := bufio.NewReaderSize(from, 1<<12), make([]byte, 0, 1<<12)
	frame := make([]byte, 4*outputs)
	for {
		if _, err := io.ReadFull(in, frame); err != nil {
			return
		}
		drive := value(frame)
		l.mu.Lock()
		l.driven = append(l.driven, drive)
		gain, sigma, pulled, lost := l.Gain, l.Noise, l.pulled, l.drop > 0
		if lost {
			l.drop--
		}
		l.mu.Unlock()
		a := gain * table.next(drive)
		lag += (1 - ratioPole) * (a - lag)
		if lost {
			continue
		}
		reference := a
		if pulled {
			reference = 0
		}
		out = binary.LittleEndian.AppendUint32(out, whole(reference+sigma*noise.NormFloat64()))
		out = binary.LittleEndian.AppendUint32(out, whole(ratioGain*lag+sigma*noise.NormFloat64()))
		out = append(out, frame[4:8]...)
		if in.Buffered() < len(frame) || len(out) > 1<<14 {
			if _, err := to.Write(out); err != nil {
				return
			}
			out = out[:0]
		}
	}
}

// value is a sample as a fraction of full scale.
func value(b []byte) float64 { return float64(int32(binary.LittleEndian.Uint32(b))) / 0x1p31 }

// whole is the nearest sample.
func whole(x float64) uint32 {
	return uint32(int32(max(math.MinInt32, min(math.MaxInt32, math.RoundToEven(x*0x1p31)))))
}

// exciter is a high-pass of second order, by the bilinear transform: acceleration of a driven mass on a spring, which falls with 12 dB per octave below its resonance.
type exciter struct{ b0, b1, b2, a1, a2, x1, x2, y1, y2 float64 }

func newExciter() *exciter {
	k := math.Tan(math.Pi * resonance / Rate)
	d := 1 + 2*damping*k + k*k
	return &exciter{b0: 1 / d, b1: -2 / d, b2: 1 / d, a1: 2 * (k*k - 1) / d, a2: (1 - 2*damping*k + k*k) / d}
}

func (e *exciter) next(x float64) float64 {
	y := e.b0*x + e.b1*e.x1 + e.b2*e.x2 - e.a1*e.y1 - e.a2*e.y2
	e.x1, e.x2, e.y1, e.y2 = x, e.x1, y, e.y1
	return y
}
