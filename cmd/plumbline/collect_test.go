package main

import (
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	runfolder "plumbline/internal/run"
	"plumbline/internal/simulator"
)

// folderJob is the example of a live run with recordings that arrive in the folder "arrivals", at three points.
func folderJob(t *testing.T) (job, arrivals string) {
	t.Helper()
	dir := t.TempDir()
	job, err := shortJob(dir)
	if err != nil {
		t.Fatal(err)
	}
	text, err := os.ReadFile(job)
	if err != nil {
		t.Fatal(err)
	}
	head, _, _ := strings.Cut(string(text), "[plan]")
	text = []byte(head + `
[bench]
driver = "folder"

[bench.folder]
path = "arrivals"
stable_for = "0.05 s"

[[point]]
frequency = "80 Hz"
level = "0.1 g peak"

[[point]]
frequency = "20 Hz"
level = "0.1 g peak"

[[point]]
frequency = "80 Hz"
level = "0.1 g peak"
repeat = true
`)
	arrivals = filepath.Join(filepath.Dir(job), "arrivals")
	if err := os.WriteFile(job, text, 0o644); err != nil {
		t.Fatal(err)
	}
	if err := os.Mkdir(arrivals, 0o755); err != nil {
		t.Fatal(err)
	}
	return job, arrivals
}

// overheard is an output of which a test waits for what it says.
type overheard struct {
	mu   sync.Mutex
	text strings.Builder
}

func (o *overheard) Write(p []byte) (int, error) {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.text.Write(p)
}

func (o *overheard) String() string {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.text.String()
}

// wait waits until a text was said n times.
func (o *overheard) wait(t *testing.T, text string, n int) {
	t.Helper()
	for limit := time.Now().Add(time.Minute); strings.Count(o.String(), text) < n; time.Sleep(time.Millisecond) {
		if time.Now().After(limit) { // only keeps a test that fails from waiting for ever
			t.Errorf("%q was not said %d times:\n%s", text, n, o)
			return
		}
	}
}

// TestCollect lets recordings arrive: one at another frequency, one too short, one that is none, and good ones; one is kept with a reason.
func TestCollect(t *testing.T) {
	const seed = 12
	t.Logf("seed %d", seed)
	rng := rand.New(rand.NewPCG(seed, 1))
	job, arrivals := folderJob(t)
	b := simulator.FenwickLane()
	b.Recorder.Rate = 1000
	arrive := func(name string, frequency, seconds float64) {
		samples, _ := b.Record(simulator.Point{Frequency: frequency, Level: 1, Duration: seconds}, rng)
		if err := writeWAV(filepath.Join(arrivals, name+".part"), b.Recorder, samples); err != nil {
			t.Error(err)
		}
		if err := os.Rename(filepath.Join(arrivals, name+".part"), filepath.Join(arrivals, name)); err != nil {
			t.Error(err)
		}
	}
	m, err := newLab().Prepare(job)
	if err != nil {
		t.Fatal(err)
	}
	dir := filepath.Join(t.TempDir(), "run")
	f, err := m.Begin(dir, time.Now)
	if err != nil {
		t.Fatal(err)
	}
	out := &overheard{}
	keys, typed := io.Pipe()
	s := &session{m: m, folder: f, job: job, now: time.Now, flags: measureFlags{dir: dir, operator: "T. Marlow"}, console: newConsole(keys, out, "T. Marlow")}
	done := make(chan error, 1)
	go func() { done <- s.collect(t.Context()) }()
	say := func(line string) {
		if _, err := io.WriteString(typed, line+"\n"); err != nil {
			t.Error(err)
		}
	}

	out.wait(t, "001-80Hz.wav (or any", 1)
	say("k impatient")
	out.wait(t, "no recording of this point", 1)
	arrive("notes.wav", 80, 1) // another name: nobody asked for it
	arrive("001-80Hz.wav", 20, 30)
	out.wait(t, "is not kept", 1)
	arrive("001-80Hz.wav", 80, 2)
	out.wait(t, "cannot be judged", 1)
	arrive("001-80Hz.wav", 80, 30)
	out.wait(t, "kept: recordings/001-80Hz-a1.wav", 1)
	if err := os.WriteFile(filepath.Join(arrivals, "002-20Hz.wav"), []byte("no recording"), 0o644); err != nil {
		t.Fatal(err)
	}
	out.wait(t, "is not kept", 3)
	arrive("002-20Hz.wav", 20, 3)
	out.wait(t, "is not kept", 4)
	say("k the exciter is needed elsewhere")
	out.wait(t, "kept: recordings/002-20Hz-a1.wav", 1)
	arrive("003-80Hz.wav", 80, 30)
	if err := <-done; err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	if err := typed.Close(); err != nil {
		t.Fatal(err)
	}
	checkCollected(t, s, dir, out)
}

func checkCollected(t *testing.T, s *session, dir string, out *overheard) {
	t.Helper()
	path, err := s.m.Compose(s.folder)
	if err != nil {
		t.Fatal(err)
	}
	if err := s.folder.Close(); err != nil {
		t.Fatal(err)
	}
	e, err := newLab().Evaluate(path, "")
	if err != nil {
		t.Fatal(err)
	}
	if len(e.Result.Points) != 2 || len(e.Result.Repeats) != 1 || e.Refused() != nil {
		t.Errorf("%d points, %d repeated: %v\n%s", len(e.Result.Points), len(e.Result.Repeats), e.Refused(), out)
	}
	state, err := runfolder.Read(dir)
	if err != nil {
		t.Fatal(err)
	}
	if k, _ := state.Last(0); !k.Outcome.Steady() || len(k.Outcome.Level) != 1 {
		t.Errorf("outcome %+v", k.Outcome)
	}
	if d := strings.Join(e.Job.Particulars.Deviations, "\n"); !strings.Contains(d, "the exciter is needed elsewhere (T. Marlow)") {
		t.Errorf("deviations %q", d)
	}
}

// TestArrivals: a file is complete when neither its size nor its time has changed for long enough, and is looked at once.
func TestArrivals(t *testing.T) {
	dir := t.TempDir()
	name := filepath.Join(dir, "001-80Hz.WAV")
	a := &arrivals{dir: dir, stem: "001-80Hz", stable: time.Second, seen: map[string]arrival{}}
	now := time.Date(2026, 11, 9, 8, 0, 0, 0, time.UTC)
	at := func(seconds float64) string {
		t.Helper()
		found, err := a.complete(now.Add(time.Duration(seconds * float64(time.Second))))
		if err != nil {
			t.Fatal(err)
		}
		return found
	}
	write := func(text string) {
		t.Helper()
		if err := os.WriteFile(name, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	if found := at(0); found != "" {
		t.Errorf("found %q in an empty folder", found)
	}
	write("a")
	at(1)
	write("ab")
	if at(2.1) != "" || at(2.9) != "" {
		t.Error("a file that grows is not complete")
	}
	if found := at(3.2); found != name {
		t.Errorf("found %q, want %q", found, name)
	}
	if at(9) != "" {
		t.Error("the same file was found twice")
	}
	write("abc")
	if at(10) != "" || at(11.1) != name {
		t.Error("a file that was replaced is looked at again")
	}
}
