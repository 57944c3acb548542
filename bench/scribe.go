package bench

import (
	"errors"
	"fmt"
	"slices"
	"time"
)

const (
	mostWaiting = 256             // portions that may wait for the disk
	mostStalled = 5 * time.Second // that the disk may then take for one of them; meanwhile nobody watches
)

// errSlowDisk says that the disk does not take what is recorded.
var errSlowDisk = errors.New("the disk does not keep up with the recording")

// scribe writes a recording beside the run, which must go on watching while the disk is slow.
type scribe struct {
	sink    Sink
	waiting chan [][]float64
	done    chan struct{}
	err     error // read after done
	failed  chan struct{}
	open    bool
}

func newScribe(sink Sink) *scribe {
	s := &scribe{sink: sink, waiting: make(chan [][]float64, mostWaiting), done: make(chan struct{}), failed: make(chan struct{}), open: true}
	go s.work()
	return s
}

func (s *scribe) work() {
	defer close(s.done)
	for block := range s.waiting {
		if s.err != nil {
			continue
		}
		if s.err = s.sink.Write(block); s.err != nil {
			close(s.failed)
		}
	}
}

// write hands a portion over. An error is that of this or of an earlier one.
func (s *scribe) write(block [][]float64) error {
	select {
	case <-s.failed:
		return fmt.Errorf("recording: %w", s.err)
	default:
	}
	mine := make([][]float64, len(block))
	for c := range block {
		mine[c] = slices.Clone(block[c])
	}
	select {
	case s.waiting <- mine:
		return nil
	default:
	}
	stalled := time.NewTimer(mostStalled)
	defer stalled.Stop()
	select {
	case s.waiting <- mine:
		return nil
	case <-stalled.C:
		return fmt.Errorf("recording: %w: %d portions wait since %v", errSlowDisk, mostWaiting, mostStalled)
	}
}

// flush waits until everything is written.
func (s *scribe) flush() error {
	if s.open {
		s.open = false
		close(s.waiting)
	}
	<-s.done
	if s.err != nil {
		return fmt.Errorf("recording: %w", s.err)
	}
	return nil
}

// keep completes the recording; where that is not possible it is discarded.
func (s *scribe) keep(o Outcome) (string, error) {
	err := s.flush()
	if err != nil {
		return "", errors.Join(err, s.sink.Discard(err.Error()))
	}
	name, err := s.sink.Keep(o)
	if err != nil {
		return "", fmt.Errorf("recording: %w", errors.Join(err, s.sink.Discard(err.Error())))
	}
	return name, nil
}

// discard ends a recording that does not count. Its own trouble is no news beside the reason, but is told.
func (s *scribe) discard(reason string) error {
	err := s.flush()
	if e := s.sink.Discard(reason); e != nil {
		err = errors.Join(err, fmt.Errorf("recording, discarded for %s: %w", reason, e))
	}
	return err
}
