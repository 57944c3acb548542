package guard

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"strings"
	"sync"
	"time"
)

// Guard is a guard that was started.
type Guard struct {
	cmd    *exec.Cmd
	in     io.WriteCloser
	errors *bytes.Buffer // what it complained of; to be read after ended is closed
	answer chan string
	ended  chan struct{}
	stop   chan struct{} // ends the beats
	once   sync.Once
	mu     sync.Mutex // one writer at a time
}

const (
	readyWithin = 15 * time.Second
	offWithin   = 20 * time.Second
)

// Start starts a guard with the command, which must end in Serve on its standard input and output, and returns when it is ready. No exciter is to be driven before.
func Start(cmd *exec.Cmd, o Order) (*Guard, error) {
	order, err := json.Marshal(o)
	if err != nil {
		return nil, fmt.Errorf("guard: order: %w", err)
	}
	g := &Guard{cmd: cmd, errors: &bytes.Buffer{}, answer: make(chan string, 2), ended: make(chan struct{}), stop: make(chan struct{})}
	detach(cmd)
	cmd.Stderr = g.errors
	if g.in, err = cmd.StdinPipe(); err != nil {
		return nil, fmt.Errorf("guard: %w", err)
	}
	out, err := cmd.StdoutPipe()
	if err != nil {
		return nil, fmt.Errorf("guard: %w", err)
	}
	if err := cmd.Start(); err != nil {
		return nil, fmt.Errorf("guard: %w", err)
	}
	go g.listen(out)
	if _, err := fmt.Fprintf(g.in, "%s\n", order); err != nil {
		return nil, errors.Join(fmt.Errorf("guard: %w", err), g.abandon())
	}
	if err := g.expect(ready, readyWithin); err != nil {
		return nil, errors.Join(err, g.abandon())
	}
	go g.beat()
	return g, nil
}

// listen passes the guard's answers on until it ends.
func (g *Guard) listen(out io.Reader) {
	lines := bufio.NewScanner(out)
	for lines.Scan() {
		select {
		case g.answer <- strings.TrimSpace(lines.Text()):
		default: // it says at most two words
		}
	}
	_ = g.cmd.Wait() // what it means is in what it said, or did not say
	close(g.ended)
}

// beat tells the guard that the program lives.
func (g *Guard) beat() {
	t := time.NewTicker(every)
	defer t.Stop()
	for {
		select {
		case <-g.stop:
			return
		case <-g.ended:
			return
		case <-t.C:
			if g.say(beat) != nil {
				return
			}
		}
	}
}

func (g *Guard) say(word string) error {
	g.mu.Lock()
	defer g.mu.Unlock()
	if _, err := fmt.Fprintln(g.in, word); err != nil {
		return fmt.Errorf("guard: %w", err)
	}
	return nil
}

// expect waits for an answer.
func (g *Guard) expect(want string, within time.Duration) error {
	limit := time.NewTimer(within)
	defer limit.Stop()
	for {
		select {
		case got := <-g.answer:
			if got == want {
				return nil
			}
			return fmt.Errorf("guard: says %q, %q is wanted", got, want)
		case <-g.ended:
			select {
			case got := <-g.answer:
				if got == want {
					return nil
				}
			default:
			}
			return fmt.Errorf("guard: ended before it was %s: %s", want, strings.TrimSpace(g.errors.String()))
		case <-limit.C:
			return fmt.Errorf("guard: is not %s within %v", want, within)
		}
	}
}

// Lost is closed when the guard has ended: then nothing may be driven any longer.
func (g *Guard) Lost() <-chan struct{} { return g.ended }

// Done tells the guard that the run is over and returns when it has seen the output off. It may be called twice.
func (g *Guard) Done() (err error) {
	g.once.Do(func() {
		close(g.stop)
		if err = g.say(lastWord); err == nil {
			err = g.expect(off, offWithin)
		} else {
			<-g.ended
			err = fmt.Errorf("%w: it ended before: %s", err, strings.TrimSpace(g.errors.String()))
		}
		err = errors.Join(err, g.abandon())
	})
	return err
}

// abandon closes the pipe, on which a guard turns the output off and ends; one that has ended closed it.
func (g *Guard) abandon() error {
	if err := g.in.Close(); err != nil && !errors.Is(err, os.ErrClosed) {
		return fmt.Errorf("guard: %w", err)
	}
	return nil
}
