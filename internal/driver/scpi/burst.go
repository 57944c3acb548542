package scpi

import (
	"fmt"
	"io"
	"time"

	"plumbline/bench"
)

// burst reads one burst of frames from every instrument once it is complete. It is a recording.Reader and ends with the burst.
type burst struct {
	*acquisition
	began   time.Time
	numbers [][]float64 // of every instrument; nil: not yet fetched
	at      int         // frames handed out
}

// Read waits for the burst and hands it out. A burst that is not complete after its length and the limit of one exchange is bench.ErrLost.
func (r *burst) Read(dst [][]float64) (int, error) {
	r.reading.Lock()
	defer r.reading.Unlock()
	if err := r.ready(); err != nil {
		return 0, err
	}
	if len(dst) == 0 || len(dst[0]) == 0 {
		return 0, nil
	}
	if r.numbers == nil {
		if err := r.gather(); err != nil {
			return 0, err
		}
	}
	n := min(len(dst[0]), r.portion(), r.frames-r.at)
	if n == 0 {
		return 0, io.EOF
	}
	channels := r.dialect.Channels
	for i, numbers := range r.numbers {
		deal(dst, i*channels, numbers[r.at*channels:], n, channels)
	}
	r.at += n
	return n, nil
}

// gather waits until every instrument has its burst and fetches them.
func (r *burst) gather() error {
	var all [][]float64
	for _, c := range r.clients {
		if err := r.await(c); err != nil {
			return err
		}
	}
	for _, c := range r.clients {
		items := r.frames * r.dialect.Channels
		numbers, err := c.Numbers(r.ctx, r.dialect.Fetch, Layout{r.dialect.Encoding, r.dialect.Order == swapped, items, items})
		if err != nil {
			return err
		}
		for i := range numbers {
			numbers[i] *= r.dialect.Scale
		}
		all = append(all, numbers)
	}
	r.numbers = all
	return nil
}

// await asks an instrument until its burst is complete.
func (r *burst) await(c *Client) error {
	longest := seconds(float64(r.frames)/r.info.Rate + r.dialect.Limit)
	for {
		x, err := c.Number(r.ctx, r.dialect.Done)
		if err != nil {
			return err
		}
		if int(x)&r.dialect.DoneMask != 0 {
			return nil
		}
		if time.Since(r.began) > longest {
			return fmt.Errorf("%s: %w: it answers, but its burst of %d frames is not complete after %.3g s", c.Name(), bench.ErrLost, r.frames, longest.Seconds())
		}
		if err := r.pause(); err != nil {
			return err
		}
	}
}
