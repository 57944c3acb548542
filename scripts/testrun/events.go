package main

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"
	"strings"
)

// counts is the outcome of some checks.
type counts struct{ passed, failed, skipped int }

func (c *counts) add(d counts) {
	c.passed += d.passed
	c.failed += d.failed
	c.skipped += d.skipped
}

func (c counts) String() string {
	return fmt.Sprintf("%d passed, %d failed, %d skipped", c.passed, c.failed, c.skipped)
}

// event is one line of go test -json (cmd/test2json).
type event struct {
	Action     string
	Package    string
	ImportPath string // of build-output
	Test       string
	Elapsed    float64
	Output     string
}

// report reads the events of one go test, writes a line for every package and the output of what failed, and counts top-level tests.
// A skipped subtest is counted too, so that no skip hides behind a passing parent.
func report(w io.Writer, events io.Reader) (counts, error) {
	r := reporter{w: w, output: map[string]*strings.Builder{}, perPackage: map[string]*counts{}}
	in := bufio.NewReader(events)
	for {
		line, err := in.ReadBytes('\n')
		if len(line) > 0 {
			var e event
			if json.Unmarshal(line, &e) != nil { // not an event: whatever go printed is worth seeing
				fmt.Fprintf(w, "      %s", line)
			} else {
				r.take(e)
			}
		}
		if err == io.EOF {
			return r.total, nil
		}
		if err != nil {
			return r.total, err
		}
	}
}

type reporter struct {
	w          io.Writer
	total      counts
	output     map[string]*strings.Builder // by package and test
	perPackage map[string]*counts
}

func (r *reporter) take(e event) {
	key := e.Package + "\x00" + e.Test
	if e.Action == "output" || e.Action == "build-output" {
		if e.Action == "build-output" {
			key = e.ImportPath
		}
		if r.output[key] == nil {
			r.output[key] = &strings.Builder{}
		}
		r.output[key].WriteString(e.Output)
		return
	}
	if e.Action == "build-fail" {
		fmt.Fprintf(r.w, "FAIL  build of %s\n%s", e.ImportPath, indent(r.outputOf(e.ImportPath)))
		return
	}
	if e.Action != "pass" && e.Action != "fail" && e.Action != "skip" {
		return
	}
	n := r.perPackage[e.Package]
	if n == nil {
		n = &counts{}
		r.perPackage[e.Package] = n
	}
	if e.Test == "" {
		r.endPackage(e, n)
		return
	}
	r.endTest(e, n, r.outputOf(key))
}

// endTest counts one test. Subtests only matter where they are skipped.
func (r *reporter) endTest(e event, n *counts, output string) {
	top := !strings.Contains(e.Test, "/")
	switch {
	case e.Action == "skip" && strings.Contains(output, "shared"):
		n.skipped++
		fmt.Fprintf(r.w, "skip  %s %s\n%s", e.Package, e.Test, indent(reason(output)))
	case e.Action == "skip":
		n.failed++
		fmt.Fprintf(r.w, "FAIL  %s %s: skipped for a reason that is not absent shared recordings\n%s", e.Package, e.Test, indent(output))
	case e.Action == "fail":
		fmt.Fprintf(r.w, "FAIL  %s %s (%.2f s)\n%s", e.Package, e.Test, e.Elapsed, indent(output))
		if top {
			n.failed++
		}
	case top:
		n.passed++
	}
}

func (r *reporter) endPackage(e event, n *counts) {
	output := r.outputOf(e.Package + "\x00")
	switch {
	case e.Action == "fail" && n.failed == 0: // did not build, panicked outside a test, or ran out of time
		n.failed++
		fmt.Fprintf(r.w, "FAIL  %s\n%s", e.Package, indent(output))
	case e.Action == "fail":
		fmt.Fprintf(r.w, "FAIL  %s: %v (%.1f s)\n", e.Package, *n, e.Elapsed)
	case e.Action == "pass":
		fmt.Fprintf(r.w, "ok    %s: %v (%.1f s)\n", e.Package, *n, e.Elapsed)
	}
	r.total.add(*n)
}

// outputOf returns what a test or package printed, without the progress lines of the test runner itself, and forgets it.
func (r *reporter) outputOf(key string) string {
	b := r.output[key]
	if b == nil {
		return ""
	}
	delete(r.output, key)
	var kept strings.Builder
	for line := range strings.Lines(b.String()) {
		if !strings.HasPrefix(line, "=== ") {
			kept.WriteString(line)
		}
	}
	return kept.String()
}

// reason is the part of a skipped test's output that is not the runner's own.
func reason(output string) string {
	var kept strings.Builder
	for line := range strings.Lines(output) {
		if !strings.HasPrefix(strings.TrimSpace(line), "--- ") {
			kept.WriteString(strings.TrimLeft(line, " "))
		}
	}
	return kept.String()
}
