package simulator

import (
	"context"
	"sync"
	"time"
)

// Paced holds a live bench to the time of a clock: now tells it and wait lets a span of it pass or ends with ctx. It begins with the first Read. A bench that was not read for a while does not
// hurry to make up for it.
func Paced(now func() time.Time, wait func(ctx context.Context, span time.Duration) error) func(ctx context.Context, seconds float64) error {
	const late = time.Second // behind by more: time starts anew
	var mu sync.Mutex
	var zero time.Time // of the bench's time
	return func(ctx context.Context, seconds float64) error {
		mu.Lock()
		due := zero.Add(time.Duration(seconds * float64(time.Second)))
		ahead := due.Sub(now())
		if zero.IsZero() || ahead < -late {
			zero, ahead = now().Add(-time.Duration(seconds*float64(time.Second))), 0
		}
		mu.Unlock()
		if ahead <= 0 {
			return ctx.Err()
		}
		return wait(ctx, ahead)
	}
}

// Wait lets a span of real time pass, or ends with ctx.
func Wait(ctx context.Context, span time.Duration) error {
	t := time.NewTimer(span)
	defer t.Stop()
	select {
	case <-t.C:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}
