package main

import (
	"path/filepath"
	"testing"
)

// TestRaceMeasure measures a short job on the simulated bench: for the race detector, which need not see the sessions and the killed programs as well. Program and
// guard are the test's own binary.
func TestRaceMeasure(t *testing.T) {
	dir := t.TempDir()
	job, err := shortJob(dir)
	if err != nil {
		t.Fatal(err)
	}
	p := startMeasure(t, job, "--run", filepath.Join(dir, "run"), "--yes-checklist")
	if code := p.end(t); code != 0 {
		t.Errorf("exit code %d:\n%s", code, p.said())
	}
}
