package main

import (
	"bytes"
	"strings"
	"testing"

	"plumbline/bench"
)

// TestConsoleWritesOver: in a terminal a line of progress is written over by the next one, and wiped before what stays; elsewhere every line stays.
func TestConsoleWritesOver(t *testing.T) {
	for _, terminal := range []bool{true, false} {
		var out bytes.Buffer
		c := &console{out: &out, terminal: terminal}
		c.show("level 0.1 g")
		c.show("level 0.2 g")
		c.say("kept")
		want := "level 0.1 g\nlevel 0.2 g\nkept\n"
		if terminal {
			blank := "\r" + strings.Repeat(" ", 11) + "\r"
			want = "level 0.1 g" + blank + "level 0.2 g" + blank + "kept\n"
		}
		if out.String() != want {
			t.Errorf("terminal %v: %q, want %q", terminal, out.String(), want)
		}
	}
}

// TestParseCommand reads what an operator types, short and long.
func TestParseCommand(t *testing.T) {
	for line, want := range map[string]bench.Command{
		"p": {Kind: "pause", Name: "T. Marlow"}, "R": {Kind: "resume", Name: "T. Marlow"}, "n a door": {Kind: "note", Text: "a door", Name: "T. Marlow"},
		"k it drifts with the sun": {Kind: "keep", Text: "it drifts with the sun", Name: "T. Marlow"}, "a 3": {Kind: "repeat", Text: "3", Step: 2, Name: "T. Marlow"},
		"w": {Kind: "longer", Name: "T. Marlow"}, "stop": {Kind: "stop", Name: "T. Marlow"}, "": {},
	} {
		if got, err := parseCommand(line, "T. Marlow"); err != nil || got != want {
			t.Errorf("%q: %+v, %v, want %+v", line, got, err, want)
		}
	}
	for _, line := range []string{"x", "n", "k", "a", "a nine", "a 0"} {
		if got, err := parseCommand(line, "T. Marlow"); err == nil {
			t.Errorf("%q is taken as %+v", line, got)
		}
	}
}

// TestDecide: a point that is not steady is kept with a reason only, what is not offered is asked again, and where nobody answers the run stops.
func TestDecide(t *testing.T) {
	q := bench.Question{Step: bench.Step{Label: "2 Hz"}, Attempt: 1, Why: "not steady", Offers: []bench.Choice{bench.Again, bench.Keep, bench.Stop}}
	for typed, want := range map[string]bench.Decision{
		"a\n": {Choice: bench.Again, Name: "T. Marlow"}, "s\nw\nq\n": {Choice: bench.Stop, Name: "T. Marlow"}, "": {Choice: bench.Stop, Name: "T. Marlow"},
		"k\nk the customer waits\n": {Choice: bench.Keep, Reason: "the customer waits", Name: "T. Marlow"},
	} {
		var out bytes.Buffer
		got, err := newConsole(strings.NewReader(typed), &out, "T. Marlow").Decide(t.Context(), q)
		if err != nil || got != want {
			t.Errorf("%q: %+v, %v, want %+v\n%s", typed, got, err, want, &out)
		}
	}
}
