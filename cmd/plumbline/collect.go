package main

import (
	"context"
	"fmt"
)

// collect takes recordings that arrive in a folder.
func (s *session) collect(context.Context) error {
	return fmt.Errorf("driver %q is not reached from the command line", s.m.Bench.Driver)
}

// read takes values that a person reads off a display.
func (s *session) read(context.Context) error {
	return fmt.Errorf("driver %q is not reached from the command line", s.m.Bench.Driver)
}
