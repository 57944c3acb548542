package simulator

import (
	"context"
	"errors"
	"fmt"
	"io"

	"plumbline/bench"
	"plumbline/quantity"
	"plumbline/recording"
)

// Acquire begins an acquisition. One runs at a time.
func (l *Live) Acquire(ctx context.Context) (recording.Reader, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.gone {
		return nil, fmt.Errorf("simulated digitizer: %w", bench.ErrLost)
	}
	if l.reader != nil {
		return nil, errors.New("simulated digitizer: an acquisition is running, one at a time is allowed")
	}
	for c := range l.lanes {
		l.lanes[c].queue = l.lanes[c].queue[:0]
	}
	l.reader = &liveReader{live: l, ctx: ctx}
	return l.reader, nil
}

// liveReader is an acquisition.
type liveReader struct {
	live *Live
	ctx  context.Context
}

// Info says what is recorded.
func (r *liveReader) Info() recording.Info {
	s := r.live.setup.Recorder
	ch := recording.Channel{Unit: volt, Bits: s.Bits}
	if s.Bits > 0 {
		ch.FullScale = s.FullScale
	}
	return recording.Info{Format: "simulated", Channels: []recording.Channel{ch, ch}, Rate: s.Rate, Frames: -1}
}

var volt = quantity.Unit{Symbol: "V", Factor: 1, Dim: quantity.Dimension{Metre: 2, Kilogram: 1, Second: -3, Ampere: -1}}

// Close ends the acquisition.
func (r *liveReader) Close() error {
	r.live.mu.Lock()
	defer r.live.mu.Unlock()
	if r.live.reader == r {
		r.live.reader = nil
	}
	return nil
}

// Read lets time pass. It delivers at most half a second at a time.
func (r *liveReader) Read(dst [][]float64) (int, error) {
	n, seconds, err := r.take(dst)
	if err == nil && r.live.setup.Pace != nil {
		if err = r.live.setup.Pace(r.ctx, seconds); err != nil {
			return 0, err
		}
	}
	return n, err
}

func (r *liveReader) take(dst [][]float64) (n int, seconds float64, err error) {
	l := r.live
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.reader != r {
		return 0, 0, io.EOF
	}
	if err := r.ctx.Err(); err != nil {
		return 0, 0, err
	}
	most := min(len(dst[0]), l.longest())
	waiting := func() int { return min(len(l.lanes[0].queue), len(l.lanes[1].queue)) }
	for waiting() < most {
		l.strike()
		if l.gone || l.stalled || l.missing > 0 {
			break
		}
		l.advance()
	}
	n = min(most, waiting())
	switch {
	case n == 0 && l.gone:
		return 0, 0, fmt.Errorf("simulated digitizer: %w", bench.ErrLost)
	case n == 0 && l.stalled:
		return 0, 0, fmt.Errorf("simulated digitizer: no frame in its time limit: %w", bench.ErrLost)
	case n == 0 && l.missing > 0:
		return 0, 0, l.lose()
	}
	for c := range l.lanes {
		q := l.lanes[c].queue
		copy(dst[c], q[:n])
		l.lanes[c].queue = q[:copy(q, q[n:])]
	}
	return n, float64(l.frame-int64(waiting())) / l.setup.Recorder.Rate, nil
}

// longest is the most frames of one Read: half a second as fast as the machine allows, a twentieth where time is paced.
func (l *Live) longest() int {
	if l.setup.Pace != nil {
		return max(1, int(l.setup.Recorder.Rate/20))
	}
	return max(1, int(l.setup.Recorder.Rate/2))
}

// lose lets the missed frames pass unseen.
func (l *Live) lose() error {
	n := l.missing
	at := l.seconds()
	for range n {
		l.advance()
	}
	for c := range l.lanes {
		l.lanes[c].queue = l.lanes[c].queue[:0]
	}
	l.missing = 0
	return fmt.Errorf("simulated digitizer: %d frames from %.3f s: %w", n, at, bench.ErrGap)
}
