package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"plumbline/internal/driver/scpi/scpitest"
)

// scpiJob is the short job on a generator and a digitizer with network addresses, and the instrument that is both: its output reaches its inputs as through an exciter of 9 m/s² per volt
// with a reference of 100 mV/g and a device of 10 V/g.
func scpiJob(t *testing.T) (string, *scpitest.Instrument) {
	t.Helper()
	const perVolt, g = 9.0, 9.80665
	w := scpitest.NewWorld(2000, 2, false, scpitest.Wire(2e-6, perVolt*0.1/g, perVolt*10/g))
	in, err := scpitest.Start(w, scpitest.Config{Generator: true, Inputs: []int{0, 1}, Time: 0.01})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(in.Close)
	dir := t.TempDir()
	job, err := shortJob(dir)
	if err != nil {
		t.Fatal(err)
	}
	text, err := os.ReadFile(job)
	if err != nil {
		t.Fatal(err)
	}
	head, _, _ := strings.Cut(strings.Replace(string(text), `driver = "simulator"`, `driver = "scpi"`, 1), "[bench.simulator]")
	for name, content := range map[string]string{
		"job.toml": head + `
[bench.scpi]
generator = "` + in.Address() + `"
digitizer = ["` + in.Address() + `"]
generator_dialect = "generator.toml"
digitizer_dialect = "digitizer.toml"
rate = "2 kHz"
`,
		"generator.toml": `setup = ["SOURce:VOLTage:UNIT VPP"]
unit = "peak-to-peak"
largest = 1.0
step_time = 0.001
limit = 10.0 # a loaded machine is no lost instrument
`,
		"digitizer.toml": `kind = "stream"
channels = 2
index = "DATA:INDex?"
full_scale = 10.0
overflow_errors = [301]
limit = 10.0
`,
	} {
		if err := os.WriteFile(filepath.Join(filepath.Dir(job), name), []byte(content), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	return job, in
}

// wantSilent waits until the output of the instrument is off.
func wantSilent(t *testing.T, in *scpitest.Instrument, p *program) {
	t.Helper()
	for limit := time.Now().Add(time.Minute); in.Output().On; time.Sleep(time.Millisecond) {
		if time.Now().After(limit) { // only keeps a test that fails from waiting for ever
			t.Fatalf("the output is on: %+v\n%s", in.Output(), p.said())
		}
	}
}

// TestMeasureSCPI measures on a scriptable instrument in this process: killed at three moments, the guard turns the true output off each time; then the run is resumed
// to its result.
func TestMeasureSCPI(t *testing.T) {
	job, in := scpiJob(t)
	dir := filepath.Join(t.TempDir(), "run")
	args := []string{job, "--run", dir, "--yes-checklist"}
	for _, moment := range []string{"1/5 low-level check", "1/5 level", "2/5 kept"} {
		p := startMeasure(t, args...)
		p.waitFor(moment)
		if err := p.Process.Kill(); err != nil {
			t.Fatalf("%v\n%s", err, p.said())
		}
		p.end(t)
		if in.Output().Highest == 0 {
			t.Fatalf("nothing was driven:\n%s", p.said())
		}
		wantSilent(t, in, p)
		args = []string{job, "--run", dir, "--yes-checklist", "--resume"}
	}
	p := startMeasure(t, args...)
	if code := p.end(t); code != 0 {
		t.Fatalf("exit code %d\n%s", code, p.said())
	}
	wantSilent(t, in, p)
	if text := p.said(); !strings.Contains(text, "certificate: ") || strings.Contains(text, "1/5 kept") {
		t.Errorf("resumed:\n%s", text)
	}
	// the instrument is gone: nothing is begun
	in.Close()
	p = startMeasure(t, job, "--run", filepath.Join(t.TempDir(), "run"), "--yes-checklist")
	if code := p.end(t); code != exitFailure || !strings.Contains(p.said(), "guard") {
		t.Errorf("without an instrument: exit code %d\n%s", code, p.said())
	}
}
