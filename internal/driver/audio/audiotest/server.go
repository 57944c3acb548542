//go:build linux

// Package audiotest is an audio interface without hardware: a sound server of its own with an exciter and two transducers behind it.
package audiotest

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"
)

// Rate is the sampling rate of the server in samples per second.
const Rate = 48000

// Names of what the server offers, and the channels of it, from 1.
const (
	Sink            = "drive"           // the output that the exciter listens to
	Source          = "sensors.monitor" // the input that carries the transducers
	Cable           = "drive.monitor"   // an input that carries what the output puts out, channel by channel
	DriveOutput     = 1
	CounterOutput   = 2
	ReferenceInput  = 1
	DeviceInput     = 2
	CounterInput    = 3
	sensors         = "sensors"
	outputs, inputs = 2, 3
)

// Server is a private PulseAudio server with two sinks that lead nowhere: their monitors are the cables.
type Server struct {
	Address string // for audio.Config
	t       testing.TB
	dir     string
	command *exec.Cmd
	log     bytes.Buffer
	ended   chan struct{}
	once    sync.Once
}

// Start starts a server that ends with the test. The package pulseaudio has to be installed.
func Start(t testing.TB) *Server { return StartFormat(t, "s32le", Rate) }

// StartFormat starts one whose samples have another format or rate.
func StartFormat(t testing.TB, format string, rate int) *Server {
	t.Helper()
	dir, err := os.MkdirTemp("", "audio") // t.TempDir is too long for a socket's name
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = os.RemoveAll(dir) })
	socket := filepath.Join(dir, "native")
	script := fmt.Sprintf(`load-module module-native-protocol-unix socket=%s auth-anonymous=1
load-module module-null-sink sink_name=%s format=%s rate=%d channels=%d
load-module module-null-sink sink_name=%s format=%s rate=%d channels=%d
`, socket, Sink, format, rate, outputs, sensors, format, rate, inputs)
	file := filepath.Join(dir, "script.pa")
	if err := os.WriteFile(file, []byte(script), 0o600); err != nil {
		t.Fatal(err)
	}
	s := &Server{Address: "unix:" + socket, t: t, dir: dir, ended: make(chan struct{})}
	s.command = exec.Command("pulseaudio", "-n", "-F", file, "--daemonize=no", "--exit-idle-time=-1", "--use-pid-file=no", "--disallow-exit=yes", "--high-priority=yes")
	s.command.Env = append(os.Environ(), "HOME="+dir, "XDG_RUNTIME_DIR="+dir, "PULSE_RUNTIME_PATH="+dir, "DBUS_SESSION_BUS_ADDRESS=disabled:")
	s.command.Stderr, s.command.Stdout = &s.log, &s.log
	s.command.SysProcAttr = &syscall.SysProcAttr{Pdeathsig: syscall.SIGKILL}
	if err := s.command.Start(); err != nil {
		t.Fatalf("the sound server does not start, is the package pulseaudio installed? %v", err)
	}
	go func() {
		_ = s.command.Wait() // ends by Kill
		close(s.ended)
	}()
	t.Cleanup(s.Kill)
	s.wait(socket)
	_ = hurry(s.command.Process.Pid) // it takes itself back to an ordinary priority when it starts
	return s
}

// wait waits until the server answers.
func (s *Server) wait(socket string) {
	s.t.Helper()
	for end := time.Now().Add(20 * time.Second); time.Now().Before(end); time.Sleep(20 * time.Millisecond) {
		select {
		case <-s.ended:
			s.t.Fatalf("the sound server ended by itself:\n%s", s.log.String())
		default:
		}
		if _, err := os.Stat(socket); err != nil {
			continue
		}
		if out, err := s.pactl("list", "short", "sinks"); err == nil && strings.Contains(out, sensors) {
			return
		}
	}
	s.t.Fatal("the sound server did not answer in 20 s")
}

func (s *Server) pactl(arguments ...string) (string, error) {
	out, err := s.Command("pactl", arguments...).CombinedOutput()
	return string(out), err
}

// Control runs pactl with the arguments and returns what it prints.
func (s *Server) Control(arguments ...string) string {
	s.t.Helper()
	out, err := s.pactl(arguments...)
	if err != nil {
		s.t.Fatalf("pactl %s: %v\n%s", strings.Join(arguments, " "), err, out)
	}
	return out
}

// Command is a client of the server that has not yet been started. It dies with the test's process.
func (s *Server) Command(name string, arguments ...string) *exec.Cmd {
	c := exec.Command(name, arguments...)
	c.Env = append(os.Environ(), "PULSE_SERVER="+s.Address, "PULSE_COOKIE="+filepath.Join(s.dir, "cookie"))
	c.SysProcAttr = &syscall.SysProcAttr{Pdeathsig: syscall.SIGKILL}
	return c
}

// Kill ends the server at once, as a crash would. It may be called twice.
func (s *Server) Kill() {
	s.once.Do(func() { _ = s.command.Process.Kill() })
	<-s.ended
}

// Freeze stops the server without ending it, as a hung driver would.
func (s *Server) Freeze() {
	s.t.Helper()
	if err := s.command.Process.Signal(syscall.SIGSTOP); err != nil {
		s.t.Fatal(err)
	}
}
