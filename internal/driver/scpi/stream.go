package scpi

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"plumbline/bench"
)

// stream reads an acquisition while it goes on. It is a recording.Reader.
type stream struct {
	*acquisition
	parts []*part
}

// part is what comes from one instrument.
type part struct {
	*acquisition
	client *Client
	handed int64     // frames taken from the instrument
	rest   []float64 // of them, those not yet read
}

// waiting is how many frames have come and were not yet read.
func (p *part) waiting() int { return len(p.rest) / p.dialect.Channels }

// Read takes new frames from the instruments. No frame within the limit is bench.ErrLost; frames that an instrument has overwritten are bench.ErrGap.
func (r *stream) Read(dst [][]float64) (int, error) {
	r.reading.Lock()
	defer r.reading.Unlock()
	if err := r.ready(); err != nil {
		return 0, err
	}
	if len(dst) == 0 || len(dst[0]) == 0 {
		return 0, nil
	}
	n, err := r.wait(min(len(dst[0]), r.portion()))
	if err != nil {
		return 0, err
	}
	channels := r.dialect.Channels
	for i, p := range r.parts {
		deal(dst, i*channels, p.rest, n, channels)
		p.rest = p.rest[n*channels:]
	}
	return n, nil
}

// wait fetches until at least one frame of every instrument is there, and returns how many of at most so many are there of all. Every fetch takes all that an instrument has,
// because a reader of small portions must not fall behind.
func (r *stream) wait(most int) (int, error) {
	for began := time.Now(); ; {
		n, last := most, r.parts[0]
		for _, p := range r.parts {
			if p.waiting() == 0 {
				if err := p.fetch(); err != nil {
					return 0, err
				}
			}
			if p.waiting() < n {
				n, last = p.waiting(), p
			}
		}
		if n > 0 {
			return n, nil
		}
		if time.Since(began) > seconds(r.dialect.Limit) {
			return 0, fmt.Errorf("%s: %w: it answers, but no frame came within %g s", last.client.Name(), bench.ErrLost, r.dialect.Limit)
		}
		if err := r.pause(); err != nil {
			return 0, err
		}
	}
}

// fetch asks for the frames that are there and makes sure that none is missing before them.
func (p *part) fetch() error {
	d := p.dialect
	most := min(int(math.Ceil(longestFetch*p.info.Rate)), mostItems/spare/d.Channels)
	layout := Layout{d.Encoding, d.Order == swapped, -1, most * d.Channels * spare}
	if d.Available != "" {
		x, err := p.client.Number(p.ctx, d.Available)
		if err != nil {
			return p.judge(err)
		}
		if most = min(most, int(min(x, mostItems))); most <= 0 {
			return p.lost()
		}
		layout.Items = most * d.Channels
	}
	numbers, err := p.client.Numbers(p.ctx, fill(d.Fetch, "{frames}", fmt.Sprint(most)), layout)
	if err != nil {
		return p.judge(err)
	}
	if len(numbers)%d.Channels != 0 {
		return fmt.Errorf("%s: %q: %d numbers for %d channels", p.client.Name(), d.Fetch, len(numbers), d.Channels)
	}
	p.handed += int64(len(numbers) / d.Channels)
	if err := p.lost(); err != nil {
		return err
	}
	for _, x := range numbers {
		p.rest = append(p.rest, x*d.Scale)
	}
	return nil
}

// longestFetch is how much one fetch asks for at most, s.
const longestFetch = 2

// spare is how many times more frames than asked for an instrument may send that does not count.
const spare = 16

// lost asks the instrument in every way the dialect knows whether frames were missed.
func (p *part) lost() error {
	d := p.dialect
	if d.Overflow != "" {
		x, err := p.client.Number(p.ctx, d.Overflow)
		if err != nil {
			return p.judge(err)
		}
		if int(x)&d.OverflowMask != 0 {
			return fmt.Errorf("%s: %w: %q is answered %g", p.client.Name(), bench.ErrGap, d.Overflow, x)
		}
	}
	if d.Index != "" {
		x, err := p.client.Number(p.ctx, d.Index)
		if err != nil {
			return p.judge(err)
		}
		if int64(x) != p.handed {
			return fmt.Errorf("%s: %w: the instrument has passed %.0f frames, %d came", p.client.Name(), bench.ErrGap, x, p.handed)
		}
	}
	return nil
}

// judge tells frames that were lost from other complaints.
func (p *part) judge(err error) error {
	var refusal *Refusal
	if errors.As(err, &refusal) && slices.ContainsFunc(refusal.Complaints, func(c Complaint) bool { return slices.Contains(p.dialect.OverflowErrors, c.Code) }) {
		return fmt.Errorf("%w: %w", bench.ErrGap, err)
	}
	return err
}
