package scpi

import (
	"context"
	"errors"
	"fmt"
	"time"

	"plumbline/bench"
)

// attempts is how often turning off is tried over new connections.
const attempts = 5

// TurnOff turns the output of the generator at an address off over a connection of its own, and makes sure of it. It is for whoever watches over a run from outside,
// needs no Exciter, and tries several times: each attempt takes at most the limit of the dialect for connecting and for every exchange. No error: the instrument says that its
// output is off.
func TurnOff(ctx context.Context, address string, d Generator) error {
	d, err := d.complete()
	if err != nil {
		return err
	}
	for i := range attempts {
		if i > 0 {
			select {
			case <-time.After(50 * time.Millisecond):
			case <-ctx.Done():
				return fmt.Errorf("the output may still be on, after %d attempts: %w", i, errors.Join(err, context.Cause(ctx)))
			}
		}
		var client *Client
		if client, err = Dial(ctx, address, d.options()); err != nil {
			continue
		}
		err = turnOff(ctx, client, d)
		_ = client.Close() // what matters was said before
		if err == nil {
			return nil
		}
	}
	return fmt.Errorf("the output may still be on, after %d attempts: %w", attempts, err)
}

// turnOff turns the output off over a connection and makes sure of it. An entry that the error queue held before is no reason to give up.
func turnOff(ctx context.Context, c *Client, d Generator) error {
	refused := c.Command(ctx, d.Off)
	if errors.Is(refused, bench.ErrLost) {
		return refused
	}
	on, err := c.Flag(ctx, d.AskOutput)
	switch {
	case err != nil:
		return errors.Join(refused, err)
	case on:
		return errors.Join(refused, fmt.Errorf("%s: the output is still on after %q", c.Name(), d.Off))
	}
	return nil
}
