// Package scpitest is a scriptable SCPI instrument for tests: a generator and a digitizer in a small world, with misbehaviour on demand.
package scpitest

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"net"
	"strings"
	"sync"
	"time"
)

// Config describes an instrument.
type Config struct {
	Address   string  // to listen at; empty: a free port of this machine
	Identity  string  // answer to *IDN?; empty: an invented one
	Generator bool    // it has the generator
	Inputs    []int   // columns of the world that it records, from 0
	Capacity  int64   // frames its buffer holds; 0: 2^20
	Range     float64 // V, full scale of the inputs; 0: 10 V
	Largest   float64 // V peak the generator can do; 0: 10 V
	Least     float64 // V peak, the smallest amplitude the generator accepts
	Discreet  bool    // a buffer that has run over does not show in the error queue, only in status and index
	Time      float64 // s that a command takes in a world that is not paced; 0: 1 ms
}

// Instrument is a running instrument.
type Instrument struct {
	cfg      Config
	world    *World
	listener net.Listener
	serving  sync.WaitGroup

	// under the world's lock
	conns    map[net.Conn]bool
	faults   []*Fault
	heard    []string
	queue    []fault
	esr, ese int
	sre      int
	opc      bool   // *OPC waits for the acquisition
	unit     string // of the amplitude: VPP, VRMS or VPK
	format   string
	swapped  bool
	user     []float64 // arbitrary waveform as downloaded
	acq      *acquisition
}

// Start runs an instrument in a world until Close.
func Start(w *World, cfg Config) (*Instrument, error) {
	if cfg.Address == "" {
		cfg.Address = "127.0.0.1:0"
	}
	if cfg.Identity == "" {
		cfg.Identity = "PLUMBLINE,SCRIPTABLE INSTRUMENT,A-0401,1"
	}
	setDefault(&cfg.Capacity, 1<<20)
	setDefault(&cfg.Range, 10)
	setDefault(&cfg.Largest, 10)
	setDefault(&cfg.Time, 1e-3)
	listener, err := net.Listen("tcp", cfg.Address)
	if err != nil {
		return nil, err
	}
	in := &Instrument{cfg: cfg, world: w, listener: listener, conns: map[net.Conn]bool{}}
	in.acq = &acquisition{inputs: cfg.Inputs, capacity: cfg.Capacity, full: cfg.Range, overflow: in.runOver}
	w.mu.Lock()
	in.reset()
	in.esr = powerOn
	w.sinks = append(w.sinks, in.acq)
	w.mu.Unlock()
	in.serving.Go(in.accept)
	return in, nil
}

func setDefault[T int64 | float64](x *T, value T) {
	if *x == 0 {
		*x = value
	}
}

// Address is where the instrument listens, host:port.
func (in *Instrument) Address() string { return in.listener.Addr().String() }

// Close ends the instrument with all its connections. Its output stays as it is, as that of an instrument whose network cable was pulled.
func (in *Instrument) Close() {
	_ = in.listener.Close() // the tests ask for no more than that it is gone
	in.HangUp()
	in.serving.Wait()
}

// HangUp closes every connection; new ones are accepted.
func (in *Instrument) HangUp() {
	in.world.mu.Lock()
	defer in.world.mu.Unlock()
	for c := range in.conns {
		_ = c.Close() // as above
	}
}

// Output tells the truth about the generator's output.
func (in *Instrument) Output() Output { return in.world.Output() }

// Heard is every command and query so far, in order, as received.
func (in *Instrument) Heard() []string {
	in.world.mu.Lock()
	defer in.world.mu.Unlock()
	return append([]string(nil), in.heard...)
}

func (in *Instrument) accept() {
	for {
		conn, err := in.listener.Accept()
		if err != nil {
			return
		}
		in.world.mu.Lock()
		in.conns[conn] = true
		in.world.mu.Unlock()
		in.serving.Go(func() {
			in.serve(conn)
			_ = conn.Close() // nothing was promised
			in.world.mu.Lock()
			delete(in.conns, conn)
			in.world.mu.Unlock()
		})
	}
}

// serve answers one connection.
func (in *Instrument) serve(conn net.Conn) {
	r := bufio.NewReader(conn)
	for {
		message, err := readMessage(r)
		var f fault
		if errors.As(err, &f) {
			in.world.mu.Lock()
			in.complain(f)
			in.world.mu.Unlock()
			return
		}
		if err != nil {
			return
		}
		a := in.obey(message)
		if a.delay > 0 {
			time.Sleep(a.delay) // a slow instrument is what the script asked for
		}
		if a.text != "" {
			if _, err := io.WriteString(conn, a.text); err != nil {
				return
			}
		}
		if a.hangUp {
			return
		}
	}
}

// answer is what a message leads to.
type answer struct {
	text   string // with its end of line; empty: none
	delay  time.Duration
	hangUp bool
}

// obey carries a message out.
func (in *Instrument) obey(message string) answer {
	var a answer
	var answers []string
	mute := false
	for _, u := range split(message) {
		in.world.mu.Lock()
		in.heard = append(in.heard, strings.TrimSpace(u.header+" "+u.data))
		in.world.pass(in.cfg.Time)
		f := in.misdeed(u)
		text, answered := "", false
		if f == nil || !f.prevents() {
			text, answered = in.try(u)
		}
		in.world.mu.Unlock()
		if f != nil {
			text = f.spoil(text, u)
			a.delay += f.Delay
			a.hangUp = a.hangUp || f.Do == HangUp || f.Do == CutAnswer
			mute = mute || f.Do == Silence || f.Do == Mute
		}
		if answered {
			answers = append(answers, text)
		}
	}
	if len(answers) > 0 && !mute {
		a.text = strings.Join(answers, ";")
		if !a.hangUp {
			a.text += "\n"
		}
	}
	return a
}

// try carries one unit out and puts what went wrong into the error queue. Only a query that went well is answered.
func (in *Instrument) try(u unit) (text string, answered bool) {
	text, err := in.execute(u)
	if err == nil {
		return text, u.query()
	}
	var why fault
	if !errors.As(err, &why) {
		why = fault{-200, err.Error()}
	}
	in.complain(why)
	return "", false
}

// execute carries one unit out.
func (in *Instrument) execute(u unit) (string, error) {
	header := strings.TrimSuffix(u.header, "?")
	for _, c := range commands {
		if !matches(c.pattern, header) {
			continue
		}
		switch {
		case u.query() && c.ask != nil:
			return c.ask(in, u.data)
		case !u.query() && c.set != nil:
			return "", c.set(in, u.data)
		}
	}
	return "", refuse(-113, fmt.Sprintf("Undefined header;%.40s", strings.ReplaceAll(u.header, `"`, "'")))
}

// Bits of the standard event status register and the status byte.
// Source: IEEE 488.2 11.5.1 (standard event status register, from memory).
const (
	operationComplete = 1 << 0
	queryError        = 1 << 2
	deviceError       = 1 << 3
	executionError    = 1 << 4
	commandError      = 1 << 5
	powerOn           = 1 << 7

	errorAvailable = 1 << 2
	eventSummary   = 1 << 5
	masterSummary  = 1 << 6
)

// longestQueue is how many entries the error queue holds; the last is then told as lost.
const longestQueue = 20

// complain puts an entry into the error queue and its bit into the event status.
func (in *Instrument) complain(f fault) {
	switch {
	case len(in.queue) < longestQueue:
		in.queue = append(in.queue, f)
	default:
		in.queue[longestQueue-1] = fault{-350, "Queue overflow"}
	}
	switch {
	case f.Code <= -400:
		in.esr |= queryError
	case f.Code <= -300 || f.Code > 0:
		in.esr |= deviceError
	case f.Code <= -200:
		in.esr |= executionError
	default:
		in.esr |= commandError
	}
}

// runOver tells of a buffer that has run over.
func (in *Instrument) runOver() {
	if !in.cfg.Discreet {
		in.complain(fault{301, "Acquisition buffer overflow"})
	}
}

// status is the status byte.
func (in *Instrument) status() int {
	b := 0
	if len(in.queue) > 0 {
		b |= errorAvailable
	}
	if in.esr&in.ese != 0 {
		b |= eventSummary
	}
	if b&in.sre != 0 {
		b |= masterSummary
	}
	return b
}
