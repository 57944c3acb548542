package benchtest

import (
	"context"
	"fmt"
	"slices"
	"sync"

	"plumbline/bench"
	"plumbline/recording"
)

// Memory is an archive that keeps a run in memory.
type Memory struct {
	Full int  // portions after which the disk is full; 0: never
	Lame bool // no recording can be completed

	mu      sync.Mutex
	written int
	Entries []bench.Entry
	Takes   []*Take
}

// Take is one recording.
type Take struct {
	Step    bench.Step
	Attempt int
	Info    recording.Info
	Samples [][]float64
	State   string // "open", "kept", "discarded"
	Outcome bench.Outcome
	Reason  string // why it was discarded
	memory  *Memory
}

// ErrFull is what a full disk answers.
var ErrFull = fmt.Errorf("no space left on the disk")

// Create begins a recording.
func (m *Memory) Create(s bench.Step, attempt int, info recording.Info) (bench.Sink, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	t := &Take{Step: s, Attempt: attempt, Info: info, Samples: make([][]float64, len(info.Channels)), State: "open", memory: m}
	m.Takes = append(m.Takes, t)
	return t, nil
}

// Note keeps an entry.
func (m *Memory) Note(e bench.Entry) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.Entries = append(m.Entries, e)
	return nil
}

// Kept are the recordings kept so far.
func (m *Memory) Kept() []*Take {
	m.mu.Lock()
	defer m.mu.Unlock()
	return slices.DeleteFunc(slices.Clone(m.Takes), func(t *Take) bool { return t.State != "kept" })
}

// Write takes samples.
func (t *Take) Write(block [][]float64) error {
	t.memory.mu.Lock()
	defer t.memory.mu.Unlock()
	if t.memory.written++; t.memory.Full > 0 && t.memory.written > t.memory.Full {
		return ErrFull
	}
	for c := range block {
		t.Samples[c] = append(t.Samples[c], block[c]...)
	}
	return nil
}

// Keep completes the recording.
func (t *Take) Keep(o bench.Outcome) (string, error) {
	t.memory.mu.Lock()
	defer t.memory.mu.Unlock()
	if t.memory.Lame {
		return "", ErrFull
	}
	t.State, t.Outcome = "kept", o
	return fmt.Sprintf("step %d, attempt %d", o.Step+1, o.Attempt), nil
}

// Discard ends a recording that does not count.
func (t *Take) Discard(reason string) error {
	t.memory.mu.Lock()
	defer t.memory.mu.Unlock()
	t.State, t.Reason = "discarded", reason
	return nil
}

// Script is an operator who gives prepared answers, one after the other, and stops the run after the last.
type Script struct {
	Answers []bench.Decision
	Asked   []bench.Question
}

// Decide gives the next answer.
func (s *Script) Decide(_ context.Context, q bench.Question) (bench.Decision, error) {
	s.Asked = append(s.Asked, q)
	if len(s.Asked) > len(s.Answers) {
		return bench.Decision{Choice: bench.Stop, Name: "script"}, nil
	}
	return s.Answers[len(s.Asked)-1], nil
}
