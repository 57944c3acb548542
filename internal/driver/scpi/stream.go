package scpi

import (
	"errors"
	"fmt"
	"slices"
	"time"

	"plumbline/bench"
)

// stream reads the acquisition of a digitizer while it goes on. It is a recording.Reader.
type stream struct {
	*acquisition
	handed int64     // frames taken from the instrument
	rest   []float64 // of them, those not yet read
}

// Read takes new frames from the instrument. No frame within the limit is bench.ErrLost; frames that the instrument has overwritten are bench.ErrGap.
func (r *stream) Read(dst [][]float64) (int, error) {
	r.reading.Lock()
	defer r.reading.Unlock()
	if err := r.ready(); err != nil {
		return 0, err
	}
	if len(dst) == 0 || len(dst[0]) == 0 {
		return 0, nil
	}
	began := time.Now()
	for len(r.rest) == 0 {
		var err error
		if r.rest, err = r.fetch(min(len(dst[0]), r.portion())); err != nil {
			return 0, err
		}
		if len(r.rest) > 0 {
			break
		}
		if time.Since(began) > seconds(r.dialect.Limit) {
			return 0, fmt.Errorf("%s: %w: it answers, but no frame came within %g s", r.clients[0].Name(), bench.ErrLost, r.dialect.Limit)
		}
		if err := r.pause(); err != nil {
			return 0, err
		}
	}
	n := min(len(dst[0]), r.portion(), len(r.rest)/r.dialect.Channels)
	deal(dst, 0, r.rest, n, r.dialect.Channels)
	r.rest = r.rest[n*r.dialect.Channels:]
	return n, nil
}

// fetch asks for at most so many frames and makes sure that none is missing before them.
func (r *stream) fetch(most int) ([]float64, error) {
	d := r.dialect
	layout := Layout{d.Encoding, d.Order == swapped, -1, min(most*d.Channels*spare, mostItems)}
	if d.Available != "" {
		x, err := r.clients[0].Number(r.ctx, d.Available)
		if err != nil {
			return nil, r.judge(err)
		}
		if most = min(most, int(min(x, 1<<30))); most <= 0 {
			return nil, r.lost()
		}
		layout.Items = most * d.Channels
	}
	numbers, err := r.clients[0].Numbers(r.ctx, fill(d.Fetch, "{frames}", fmt.Sprint(most)), layout)
	if err != nil {
		return nil, r.judge(err)
	}
	if len(numbers)%d.Channels != 0 {
		return nil, fmt.Errorf("%s: %q: %d numbers for %d channels", r.clients[0].Name(), d.Fetch, len(numbers), d.Channels)
	}
	r.handed += int64(len(numbers) / d.Channels)
	if err := r.lost(); err != nil {
		return nil, err
	}
	for i := range numbers {
		numbers[i] *= d.Scale
	}
	return numbers, nil
}

// spare is how many times more frames than asked for an instrument may send that does not count.
const spare = 16

// lost asks the instrument in every way the dialect knows whether frames were missed.
func (r *stream) lost() error {
	d := r.dialect
	if d.Overflow != "" {
		x, err := r.clients[0].Number(r.ctx, d.Overflow)
		if err != nil {
			return r.judge(err)
		}
		if int(x)&d.OverflowMask != 0 {
			return fmt.Errorf("%s: %w: %q is answered %g", r.clients[0].Name(), bench.ErrGap, d.Overflow, x)
		}
	}
	if d.Index != "" {
		x, err := r.clients[0].Number(r.ctx, d.Index)
		if err != nil {
			return r.judge(err)
		}
		if int64(x) != r.handed {
			return fmt.Errorf("%s: %w: the instrument has passed %.0f frames, %d came", r.clients[0].Name(), bench.ErrGap, x, r.handed)
		}
	}
	return nil
}

// judge tells frames that were lost from other complaints.
func (r *stream) judge(err error) error {
	var refusal *Refusal
	if errors.As(err, &refusal) && slices.ContainsFunc(refusal.Complaints, func(c Complaint) bool { return slices.Contains(r.dialect.OverflowErrors, c.Code) }) {
		return fmt.Errorf("%w: %w", bench.ErrGap, err)
	}
	return err
}
