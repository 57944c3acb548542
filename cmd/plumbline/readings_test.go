package main

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"plumbline/internal/lab"
	runfolder "plumbline/internal/run"
)

// jobWithBench is an example with another bench and other points, in a folder of its own with the files it names; it returns the name of the job file.
func jobWithBench(t *testing.T, example, bench, points string) string {
	t.Helper()
	dir := t.TempDir()
	for _, name := range []string{example + "/job.toml", example + "/exciter.toml", example + "/exciter-certificate.csv", "procedures/field.toml"} {
		text, err := os.ReadFile(filepath.Join("..", "..", "examples", filepath.FromSlash(name)))
		if err != nil {
			t.Fatal(err)
		}
		if strings.HasSuffix(name, "job.toml") {
			head, _, _ := strings.Cut(string(text), "[[point]]")
			text = []byte(head + bench + points)
		}
		path := filepath.Join(dir, filepath.FromSlash(name))
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, text, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	return filepath.Join(dir, example, "job.toml")
}

const displayBench = `
[bench]
driver = "readings"

[bench.readings]
interval = "5 s"
unit = "V/g"
level_unit = "g peak"
`

// typing is a session at a display: what is typed, and a clock of which each reading takes a look.
func typing(t *testing.T, m *lab.Measurement, dir string, resume bool, now func() time.Time, lines ...string) (*session, *bytes.Buffer) {
	t.Helper()
	begin := m.Begin
	if resume {
		begin = m.Resume
	}
	f, err := begin(dir, time.Now)
	if err != nil {
		t.Fatal(err)
	}
	out := &bytes.Buffer{}
	s := &session{m: m, folder: f, now: now, flags: measureFlags{dir: dir, operator: "T. Marlow"}}
	s.console = newConsole(strings.NewReader(strings.Join(lines, "\n")+"\n"), out, "T. Marlow")
	return s, out
}

// TestReadings types a calibration at a display: early and late readings, a mistyped one, one kept before it was steady with a reason and not without; a program that ended
// in between; and the result goes the way of all readings.
func TestReadings(t *testing.T) {
	const seed = 403
	t.Logf("seed %d", seed)
	rng := rand.New(rand.NewPCG(seed, 1))
	job := jobWithBench(t, "readings", displayBench, `
[[point]]
frequency = "100 Hz"
level = "0.1 g peak"

[[point]]
frequency = "10 Hz"
level = "0.1 g peak"

[[point]]
frequency = "5 Hz"
level = "0.1 g peak"
`)
	m, err := newLab().Prepare(job)
	if err != nil {
		t.Fatal(err)
	}
	clock, step := time.Date(2026, 10, 14, 9, 0, 0, 0, time.UTC), []float64{}
	now := func() time.Time {
		span := 5 + 0.4*rng.Float64()
		if len(step) > 0 {
			span, step = step[0], step[1:]
		}
		clock = clock.Add(time.Duration(span * float64(time.Second)))
		return clock
	}
	reading := func() string {
		return fmt.Sprintf("%.2f %.4f", 10.21+0.01*rng.NormFloat64(), 0.1+0.0003*rng.NormFloat64())
	}
	lines := []string{"k", reading(), "", reading(), "banana", "99.9 0.1", "u", "10,21 0,1001", "10.2", "n a door"}
	step = []float64{5, 1, 3, 1, 1, 2, 2} // the second reading comes after 1 s: too early
	for range 39 {
		lines = append(lines, reading())
		if len(lines) == 14 {
			lines = append(lines, "k")
		}
	}
	lines = append(lines, "") // 100 Hz is steady by now
	dir := filepath.Join(t.TempDir(), "run")
	s, out := typing(t, m, dir, false, now, lines...)
	if err := s.read(t.Context()); err == nil || !strings.Contains(err.Error(), errNobody.Error()) {
		t.Fatalf("%v\n%s", err, out)
	}
	for _, want := range []string{"0 readings: 4 at least", "not taken: taken 1 s after the last reading", `not taken: "banana"`, "not steady yet", "without a reason it is not kept", "the level is missing", "steady, Enter keeps it", "kept: recordings/001-100Hz-a1.csv"} {
		if !strings.Contains(out.String(), want) {
			t.Errorf("%q was not said:\n%s", want, out)
		}
	}
	if err := s.folder.Close(); err != nil {
		t.Fatal(err)
	}
	step = []float64{5, 5, 12} // the third is late
	s, out = typing(t, m, dir, true, now, reading(), reading(), reading(), reading(), reading(), reading(), "k the customer waits", "s broken cable")
	if err := s.read(t.Context()); err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(out.String(), "the series begins again") || !strings.Contains(out.String(), "2/3 point 2 (10 Hz)") || strings.Contains(out.String(), "1/3") {
		t.Errorf("resumed:\n%s", out)
	}
	if err := s.folder.Close(); err != nil {
		t.Fatal(err)
	}
	checkReadings(t, m, dir, s)
}

func checkReadings(t *testing.T, m *lab.Measurement, dir string, s *session) {
	t.Helper()
	state, err := runfolder.Read(dir)
	if err != nil {
		t.Fatal(err)
	}
	first, _ := state.Last(0)
	second, _ := state.Last(1)
	if !first.Outcome.Steady() || second.Outcome.Steady() || second.Outcome.Reason != "the customer waits" || second.Outcome.Operator != "T. Marlow" {
		t.Errorf("outcomes %+v, %+v", first.Outcome, second.Outcome)
	}
	if _, ok := state.Last(2); ok {
		t.Error("the point that was skipped is kept")
	}
	job, err := m.Compose(s.folder)
	if err != nil {
		t.Fatal(err)
	}
	e, err := newLab().Evaluate(job, "")
	if err != nil {
		t.Fatal(err)
	}
	if len(e.Result.Points) != 2 || e.Result.Points[0].Refused != "" || !e.Result.Points[0].Evidence.Judgement.Steady() {
		t.Errorf("points %+v", e.Result.Points)
	}
	if n := e.Result.Points[1].Evidence.Blocks; n != 4 {
		t.Errorf("%d readings at 10 Hz, four follow the late one", n)
	}
	if d := strings.Join(e.Job.Particulars.Deviations, "\n"); !strings.Contains(d, "kept before it was steady: the customer waits (T. Marlow)") {
		t.Errorf("deviations %q", d)
	}
}
