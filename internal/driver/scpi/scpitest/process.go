package scpitest

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"
)

// Order is what a test tells an instrument that runs in a process of its own, as one line of JSON.
type Order struct {
	Provoke *Fault `json:",omitempty"`
	Calm    bool   `json:",omitempty"`
	HangUp  bool   `json:",omitempty"`
}

// Report is its answer to every order, one line of JSON; the first comes by itself when it listens.
type Report struct {
	Address string
	Output  Output // the true state
}

// Serve runs an instrument for a test in another process until the orders end, which they do when that process dies.
func Serve(w *World, cfg Config, orders io.Reader, reports io.Writer) error {
	in, err := Start(w, cfg)
	if err != nil {
		return err
	}
	defer in.Close()
	out := json.NewEncoder(reports)
	if err := out.Encode(Report{in.Address(), in.Output()}); err != nil {
		return err
	}
	lines := bufio.NewScanner(orders)
	for lines.Scan() {
		var o Order
		if err := json.Unmarshal(lines.Bytes(), &o); err != nil {
			return fmt.Errorf("order %q: %w", lines.Text(), err)
		}
		if o.Calm {
			in.Calm()
		}
		if o.Provoke != nil {
			in.Provoke(*o.Provoke)
		}
		if o.HangUp {
			in.HangUp()
		}
		if err := out.Encode(Report{in.Address(), in.Output()}); err != nil {
			return err
		}
	}
	return lines.Err()
}
