package guard

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"net"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"strings"
	"sync/atomic"
	"syscall"
	"testing"
	"time"
)

// amplifier is an instrument of another process: it is on from the first byte it is sent until it is told to be off.
type amplifier struct {
	net.Listener
	on    atomic.Bool
	offed chan struct{} // a value for each time it was told
	deaf  atomic.Int32  // so many connections are dropped before it listens
}

func newAmplifier(t *testing.T) *amplifier {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	a := &amplifier{Listener: l, offed: make(chan struct{}, 100)}
	t.Cleanup(func() { _ = l.Close() }) // a test may have closed it
	go a.serve()
	return a
}

func (a *amplifier) serve() {
	for {
		c, err := a.Accept()
		if err != nil {
			return
		}
		go func() {
			defer func() { _ = c.Close() }() // the other end notices
			if a.deaf.Add(-1) >= 0 {
				return
			}
			for lines := bufio.NewScanner(c); lines.Scan(); {
				a.on.Store(lines.Text() == "on")
				if lines.Text() == "off" {
					a.offed <- struct{}{}
				}
				if _, err := fmt.Fprintln(c, "ok"); err != nil {
					return
				}
			}
		}()
	}
}

// tell sends one word and waits for the answer.
func tell(ctx context.Context, data json.RawMessage, word string) error {
	var address string
	if err := json.Unmarshal(data, &address); err != nil {
		return err
	}
	var d net.Dialer
	c, err := d.DialContext(ctx, "tcp", address)
	if err != nil {
		return err
	}
	defer func() { _ = c.Close() }() // all that matters was answered
	if word == "" {
		return nil
	}
	if _, err := fmt.Fprintln(c, word); err != nil {
		return err
	}
	_, err = bufio.NewReader(c).ReadString('\n')
	return err
}

func switches() map[string]Switch {
	return map[string]Switch{"tcp": {
		Reach: func(ctx context.Context, data json.RawMessage) error { return tell(ctx, data, "") },
		Off:   func(ctx context.Context, data json.RawMessage) error { return tell(ctx, data, "off") },
	}}
}

// Environment with which the test binary is a guard, or a program that drives with one.
const (
	asGuard  = "PLUMBLINE_TEST_GUARD"
	asDriver = "PLUMBLINE_TEST_DRIVER"
)

func TestMain(m *testing.M) {
	switch {
	case os.Getenv(asGuard) != "":
		signal.Ignore(syscall.SIGINT, syscall.SIGHUP, syscall.SIGPIPE)
		stop := make(chan os.Signal, 1)
		signal.Notify(stop, syscall.SIGTERM)
		if err := Serve(os.Stdin, os.Stdout, switches(), stop); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		os.Exit(0)
	case os.Getenv(asDriver) != "":
		if err := driver(os.Args[1], os.Args[2]); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		os.Exit(0)
	}
	os.Exit(m.Run())
}

func command() *exec.Cmd {
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), asGuard+"=1")
	return cmd
}

func order(address, log string) Order {
	data, _ := json.Marshal(address) // a string can always be written
	return Order{Driver: "tcp", Data: data, Silence: 0.8, Log: log}
}

// driver starts a guard, switches the amplifier on, says so, and drives until it is killed.
func driver(address, log string) error {
	g, err := Start(command(), order(address, log))
	if err != nil {
		return err
	}
	if err := tell(context.Background(), g.data(address), "on"); err != nil {
		return err
	}
	fmt.Println("driving", g.cmd.Process.Pid)
	<-g.Lost()
	return fmt.Errorf("the guard was lost")
}

func (g *Guard) data(address string) json.RawMessage { return order(address, "").Data }

// within is a generous limit for what takes a second: it only keeps a test that fails from waiting for ever.
const within = 30 * time.Second

func (a *amplifier) wantOff(t *testing.T) {
	t.Helper()
	select {
	case <-a.offed:
	case <-time.After(within):
		t.Fatal("the output is still on")
	}
	if a.on.Load() {
		t.Error("the output is on")
	}
}

// drive starts a program that drives, in a process group of its own.
func drive(t *testing.T, a *amplifier) (cmd *exec.Cmd, guard int, log string) {
	t.Helper()
	log = filepath.Join(t.TempDir(), "guard.log")
	cmd = exec.Command(os.Args[0], a.Addr().String(), log)
	cmd.Env = append(os.Environ(), asDriver+"=1")
	cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true}
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = cmd.Process.Kill(); _ = cmd.Wait() }) // mostly it has ended
	line, err := bufio.NewReader(out).ReadString('\n')
	if _, wrong := fmt.Sscanf(line, "driving %d", &guard); err != nil || wrong != nil {
		t.Fatalf("%q: %v, %v", line, err, wrong)
	}
	if !a.on.Load() {
		t.Fatal("the output is not on")
	}
	return cmd, guard, log
}

// logged waits until the guard has said that the output is off, which is the last it does.
func logged(log string) string {
	var text []byte
	for limit := time.Now().Add(within); !strings.Contains(string(text), "output off") && time.Now().Before(limit); time.Sleep(time.Millisecond) {
		text, _ = os.ReadFile(log) // not there at first
	}
	return string(text)
}

// TestGuard ends a program that drives in every way it can end by itself: the output goes off each time.
func TestGuard(t *testing.T) {
	for _, c := range []struct {
		name   string
		end    func(cmd *exec.Cmd, guard int) error
		reason string
	}{
		{"killed", func(cmd *exec.Cmd, _ int) error { return cmd.Process.Kill() }, "pipe was closed"},
		{"hung", func(cmd *exec.Cmd, _ int) error { return cmd.Process.Signal(syscall.SIGSTOP) }, "no beat"},
		{"interrupt for the terminal's group", func(cmd *exec.Cmd, _ int) error { return syscall.Kill(-cmd.Process.Pid, syscall.SIGINT) }, "pipe was closed"},
		{"terminal closed", func(cmd *exec.Cmd, guard int) error {
			if err := syscall.Kill(guard, syscall.SIGHUP); err != nil {
				return err
			}
			return syscall.Kill(-cmd.Process.Pid, syscall.SIGHUP)
		}, "pipe was closed"},
		{"guard told to end", func(_ *exec.Cmd, guard int) error { return syscall.Kill(guard, syscall.SIGTERM) }, "told to end"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			a := newAmplifier(t)
			cmd, guard, log := drive(t, a)
			if err := c.end(cmd, guard); err != nil {
				t.Fatal(err)
			}
			a.wantOff(t)
			if text := logged(log); !strings.Contains(text, c.reason) {
				t.Errorf("log %q, want %q in it", text, c.reason)
			}
		})
	}
}

// TestGuardTriesAgain: an instrument that does not answer at first is turned off all the same.
func TestGuardTriesAgain(t *testing.T) {
	a := newAmplifier(t)
	cmd, _, log := drive(t, a)
	a.deaf.Store(3)
	if err := cmd.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	a.wantOff(t)
	if text := logged(log); !strings.Contains(text, "not yet off") {
		t.Errorf("log %q does not say that it took more than one try", text)
	}
}

// TestGuardLives: the program says that the run is over, and the guard turns the output off once more and ends; a beat keeps it until then.
func TestGuardLives(t *testing.T) {
	a := newAmplifier(t)
	g, err := Start(command(), order(a.Addr().String(), ""))
	if err != nil {
		t.Fatal(err)
	}
	if err := tell(t.Context(), g.data(a.Addr().String()), "on"); err != nil {
		t.Fatal(err)
	}
	select {
	case <-g.Lost():
		t.Fatal("the guard ended although the program lives")
	case <-a.offed:
		t.Fatal("the guard turned the output off although the program lives")
	case <-time.After(3 * every): // longer than the silence it takes for a hung program
	}
	for range 2 {
		if err := g.Done(); err != nil {
			t.Error(err)
		}
	}
	a.wantOff(t)
	<-g.Lost()
}

// TestGuardIsLost: a guard that was killed is noticed at once.
func TestGuardIsLost(t *testing.T) {
	a := newAmplifier(t)
	g, err := Start(command(), order(a.Addr().String(), ""))
	if err != nil {
		t.Fatal(err)
	}
	if err := g.cmd.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	select {
	case <-g.Lost():
	case <-time.After(within):
		t.Fatal("nobody noticed")
	}
	if err := g.Done(); err == nil {
		t.Error("a guard that was killed has seen the output off")
	}
}

// TestGuardRefuses: no guard, no drive.
func TestGuardRefuses(t *testing.T) {
	a := newAmplifier(t)
	address := a.Addr().String()
	if err := a.Close(); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		order Order
		want  string
	}{
		{order(address, ""), "refused"},
		{Order{Driver: "audi", Silence: 1}, `driver "audi" is not known`},
		{Order{Driver: "tcp"}, "time without a beat"},
	} {
		if _, err := Start(command(), c.order); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%+v: %v, want %q", c.order, err, c.want)
		}
	}
}
