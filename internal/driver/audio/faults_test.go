//go:build linux

package audio_test

import (
	"bufio"
	"context"
	"errors"
	"io"
	"math"
	"os"
	"strings"
	"syscall"
	"testing"
	"time"

	"plumbline/bench"
	"plumbline/internal/driver/audio"
	"plumbline/internal/driver/audio/audiotest"
	"plumbline/recording"
)

func acquire(t *testing.T, a *audio.Interface) recording.Reader {
	t.Helper()
	r, err := a.Acquire(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = r.Close() })
	if err := until(r, audiotest.Rate/2); err != nil {
		t.Fatal(err)
	}
	return r
}

// bystander plays silence to the drive's sink.
func bystander(t *testing.T, s *audiotest.Server) (end func()) {
	t.Helper()
	c := s.Command("pacat", "--raw", "--playback", "--device="+audiotest.Sink, "--client-name=bystander", "--format=s32le", "--rate=48000", "--channels=2", "/dev/zero")
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	end = func() {
		_ = c.Process.Kill()
		_ = c.Wait()
	}
	t.Cleanup(end)
	return end
}

// eventually waits for what another program does.
func eventually(t *testing.T, what string, is func() bool) {
	t.Helper()
	for end := time.Now().Add(20 * time.Second); !is(); time.Sleep(20 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("after 20 s: not yet %s", what)
		}
	}
}

func TestSomeoneElsePlays(t *testing.T) {
	t.Parallel()
	s := audiotest.Start(t)
	end := bystander(t, s)
	eventually(t, "heard the other program", func() bool { return strings.Contains(s.Control("list", "short", "sink-inputs"), "s32le") })
	a, err := audio.Open(context.Background(), config(s))
	if !errors.Is(err, bench.ErrGap) || !strings.Contains(err.Error(), `"bystander"`) {
		t.Errorf("output that another program plays to: %v, want ErrGap that names it", err)
	}
	if a != nil {
		t.Fatal("it was opened")
	}
	end()
	eventually(t, "rid of the other program", func() bool { return s.Control("list", "short", "sink-inputs") == "" })

	cfg := config(s)
	cfg.Counter = audio.Counter{}
	a = open(t, cfg)
	r := acquire(t, a)
	end = bystander(t, s)
	if err := until(r, 20*audiotest.Rate); !errors.Is(err, bench.ErrGap) || !strings.Contains(err.Error(), `"bystander"`) {
		t.Errorf("another program begins to play: %v, want ErrGap that names it", err)
	}
	if err := a.Drive(context.Background(), bench.Signal{{Frequency: 40, Amplitude: 1}}); !errors.Is(err, bench.ErrGap) {
		t.Errorf("drive while another program plays: %v, want ErrGap", err)
	}
	if _, err := a.Acquire(context.Background()); !errors.Is(err, bench.ErrGap) {
		t.Errorf("acquisition while another program plays: %v, want ErrGap", err)
	}
	end()
	eventually(t, "ready again", func() bool { return a.Drive(context.Background(), nil) == nil })
	acquire(t, a)
}

func TestVolume(t *testing.T) {
	t.Parallel()
	s := audiotest.Start(t)
	s.Control("set-sink-volume", audiotest.Sink, "50%")
	s.Control("set-sink-mute", audiotest.Sink, "1")
	s.Control("set-source-volume", audiotest.Source, "70%")
	s.Control("set-source-mute", audiotest.Source, "1")
	cfg := config(s)
	cfg.Counter = audio.Counter{}
	a := open(t, cfg)
	for _, of := range [][]string{{"get-sink-volume", audiotest.Sink}, {"get-source-volume", audiotest.Source}} {
		if out := s.Control(of...); !strings.Contains(out, "100%") || strings.Contains(out, "0.00 dB") == false {
			t.Errorf("%s after opening: %s", of[0], out)
		}
	}
	for _, of := range [][]string{{"get-sink-mute", audiotest.Sink}, {"get-source-mute", audiotest.Source}} {
		if out := s.Control(of...); !strings.Contains(out, "no") {
			t.Errorf("%s after opening: %s", of[0], out)
		}
	}
	for _, c := range []struct {
		change, back []string
		want         string
	}{
		{[]string{"set-source-volume", audiotest.Source, "99%"}, []string{"set-source-volume", audiotest.Source, "100%"}, "volume 99.0 %"},
		{[]string{"set-sink-volume", audiotest.Sink, "90%"}, []string{"set-sink-volume", audiotest.Sink, "100%"}, "volume"},
		{[]string{"set-source-mute", audiotest.Source, "1"}, []string{"set-source-mute", audiotest.Source, "0"}, "muted"},
	} {
		r := acquire(t, a)
		s.Control(c.change...)
		if err := until(r, 20*audiotest.Rate); !errors.Is(err, bench.ErrGap) || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%v: %v, want ErrGap with %q", c.change, err, c.want)
		}
		s.Control(c.back...)
		eventually(t, "ready again", func() bool { return a.Drive(context.Background(), nil) == nil })
	}
}

func TestFormats(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		format, want string
		rate         int
		bits         int
		note         string
	}{
		{format: "s16le", rate: 48000, want: "32 or 24 bit"},
		{format: "s32le", rate: 44100, want: "runs at 44100"},
		{format: "s24le", rate: 48000, bits: 24},
		{format: "s24-32le", rate: 48000, bits: 24},
		{format: "float32le", rate: 48000, note: "24 bits count"},
	} {
		t.Run(c.format, func(t *testing.T) {
			t.Parallel()
			s := audiotest.StartFormat(t, c.format, c.rate)
			a, err := audio.Open(context.Background(), cabled(s))
			if c.want != "" {
				if err == nil || !strings.Contains(err.Error(), c.want) {
					t.Errorf("%v, want %q", err, c.want)
				}
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			defer a.Close()
			r := acquire(t, a) // with the frame counter: 24 bits come through
			if got := r.Info().Channels[0].Bits; got != c.bits {
				t.Errorf("%d bits, want %d", got, c.bits)
			}
			if got := strings.Join(a.Notes(), "; "); c.note == "" && got != "" || !strings.Contains(got, c.note) {
				t.Errorf("notes %q, want %q", got, c.note)
			}
			if err := until(r, audiotest.Rate); err != nil {
				t.Error(err)
			}
		})
	}
}

// TestVanished takes output and input away while the server lives on.
func TestVanished(t *testing.T) {
	t.Parallel()
	for _, name := range []string{audiotest.Sink, strings.TrimSuffix(audiotest.Source, ".monitor")} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			s := audiotest.Start(t)
			cfg := config(s)
			cfg.Counter = audio.Counter{}
			a := open(t, cfg)
			r := acquire(t, a)
			for line := range strings.Lines(s.Control("list", "short", "modules")) {
				if strings.Contains(line, "sink_name="+name) {
					s.Control("unload-module", strings.Fields(line)[0])
				}
			}
			if err := until(r, 20*audiotest.Rate); !errors.Is(err, bench.ErrLost) {
				t.Errorf("it vanished: %v, want ErrLost", err)
			}
			if err := a.Drive(context.Background(), bench.Signal{{Frequency: 40, Amplitude: 1}}); !errors.Is(err, bench.ErrLost) {
				t.Errorf("drive after that: %v, want ErrLost", err)
			}
		})
	}
}

// start starts this test's binary as a program of its own.
func start(t *testing.T, s *audiotest.Server, what string) (*os.Process, io.Writer, *bufio.Scanner) {
	t.Helper()
	c := s.Command(os.Args[0])
	c.Env = append(c.Env, child+"="+what)
	c.Stderr = os.Stderr
	out, err := c.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	in, err := c.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		_ = c.Process.Kill()
		_ = c.Wait()
	})
	return c.Process, in, bufio.NewScanner(out)
}

// says compares the next line of a program.
func says(t *testing.T, lines *bufio.Scanner, want string) {
	t.Helper()
	if !lines.Scan() || !strings.Contains(lines.Text(), want) {
		t.Fatalf("the program says %q, want %q", lines.Text(), want)
	}
}

// TestLeavesNothingBehind closes on a healthy server, a frozen and a dead one, and counts the goroutines.
func TestLeavesNothingBehind(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name, want string
		harm       func(*audiotest.Server)
	}{
		{"healthy", "<nil>", func(*audiotest.Server) {}},
		{"frozen", "did not confirm silence", (*audiotest.Server).Freeze},
		{"killed", "the connection has ended", (*audiotest.Server).Kill},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			s := audiotest.Start(t)
			_, in, lines := start(t, s, "leave")
			says(t, lines, "driving")
			c.harm(s)
			if _, err := io.WriteString(in, "\n"); err != nil {
				t.Fatal(err)
			}
			says(t, lines, c.want)
			says(t, lines, c.want)
			says(t, lines, "goroutines: 0")
		})
	}
}

// orphan starts the program that drives, and waits until it is heard.
func orphan(t *testing.T, s *audiotest.Server, l *audiotest.Loop) (*os.Process, io.Writer, *bufio.Scanner) {
	t.Helper()
	process, in, lines := start(t, s, "drive")
	says(t, lines, "recording")
	eventually(t, "driven", func() bool { return largest(last(l.Driven(), audiotest.Rate/10)) > 0.49 })
	return process, in, lines
}

func last(x []float64, n int) []float64 { return x[max(0, len(x)-n):] }

func largest(x []float64) float64 {
	var m float64
	for _, v := range x {
		m = max(m, math.Abs(v))
	}
	return m
}

// TestRunsDry kills the program that drives, and stops it without killing it: in both cases the output is silent half a second later. The time is that of the output's own samples.
func TestRunsDry(t *testing.T) {
	t.Parallel()
	for name, signal := range map[string]syscall.Signal{"killed": syscall.SIGKILL, "stopped": syscall.SIGSTOP} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			s := audiotest.Start(t)
			l := audiotest.Listen(t, s)
			program, _, _ := orphan(t, s, l)
			if err := program.Signal(signal); err != nil {
				t.Fatal(err)
			}
			from := len(l.Driven())
			eventually(t, "a second later", func() bool { return len(l.Driven()) > from+3*audiotest.Rate/2 })
			x := l.Driven()
			end := len(x) - 1
			for end > 0 && x[end] == 0 {
				end--
			}
			t.Logf("sound for %.3f s after the signal", float64(end-from)/audiotest.Rate)
			if end > from+audiotest.Rate/2 {
				t.Errorf("sound for %.3f s after the program was %s, allowed are 0.5 s", float64(end-from)/audiotest.Rate, name)
			}
		})
	}
}

// TestUnderRun stops the program that drives until its output has run dry, and lets it go on: it discards what it records and begins again softly.
func TestUnderRun(t *testing.T) {
	t.Parallel()
	s := audiotest.Start(t)
	l := audiotest.Listen(t, s)
	program, in, lines := orphan(t, s, l)
	if err := program.Signal(syscall.SIGSTOP); err != nil {
		t.Fatal(err)
	}
	eventually(t, "silent", func() bool { return largest(last(l.Driven(), audiotest.Rate/10)) == 0 })
	from := len(l.Driven())
	if err := program.Signal(syscall.SIGCONT); err != nil {
		t.Fatal(err)
	}
	says(t, lines, "ran dry")
	says(t, lines, "recording")
	eventually(t, "driven again", func() bool { return largest(last(l.Driven(), audiotest.Rate/10)) > 0.49 })
	x := l.Driven()[from:]
	const slope = 2*math.Pi*40*0.5/audiotest.Rate + 0.5/(0.1*audiotest.Rate) + 1e-6 // of the tone and of the ramp
	for i := 1; i < len(x); i++ {
		if d := math.Abs(x[i] - x[i-1]); d > slope {
			t.Fatalf("the drive comes back with a jump of %.4g, allowed are %.4g of full scale", d, slope)
		}
	}
	if _, err := io.WriteString(in, "\n"); err != nil {
		t.Fatal(err)
	}
	says(t, lines, "closed: <nil>")
}
