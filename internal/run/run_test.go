package run

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"plumbline/bench"
	"plumbline/internal/format"
	"plumbline/internal/format/formattest"
	"plumbline/internal/format/wav"
	"plumbline/recording"
	"plumbline/steady"
)

// clock is a clock that goes on by a second each time it is read.
func clock() func() time.Time {
	now := time.Date(2026, 11, 9, 8, 0, 0, 0, time.UTC)
	return func() time.Time {
		now = now.Add(time.Second)
		return now
	}
}

// steps are three points and a repeat of the first.
func steps() []bench.Step {
	var all []bench.Step
	for i, f := range []float64{80, 20, 1.25, 80} {
		s := bench.Step{Points: []int{i % 3}, Label: fmt.Sprintf("step %d", i+1), Lines: []bench.Line{{Frequency: f, Level: 1}}, Repeat: i == 3, Block: 1, Longest: 60,
			Judge: steady.Settings{Rule: steady.Wary, Modulus: 1e-3, TauMax: 4}}
		all = append(all, s)
	}
	return all
}

func head() Head {
	h := Head{Program: "test", Job: "J-0431", Device: "A-0412", Driver: "simulator"}
	for _, s := range steps() {
		h.Steps = append(h.Steps, StepOf(s))
	}
	return h
}

var jobFiles = []Content{{"job/job.toml", []byte("[job]\n")}, {"procedures/laboratory.toml", []byte("name = \"x\"\n")}}

// counted says what a digitizer of 24 bits delivers.
func counted() recording.Info {
	c := recording.Channel{Unit: format.FullScale(), Bits: 24}
	return recording.Info{Channels: []recording.Channel{c, c}, Rate: 2000}
}

func samples(seed uint64, n int) [][]float64 {
	rng := rand.New(rand.NewPCG(seed, 1))
	out := [][]float64{make([]float64, n), make([]float64, n)}
	for c := range out {
		for i := range out[c] {
			out[c][i] = float64(rng.IntN(1<<23)-1<<22) / (1 << 23)
		}
	}
	return out
}

func outcome(step int) bench.Outcome {
	e := steady.Estimate{Judged: true, Mean: 1.5, HalfWidth: 1e-3, Dof: 20, Reached: true}
	return bench.Outcome{Step: step, Level: []float64{0.98}, Seconds: 12,
		Answers: []steady.Answer{{State: steady.Steady, Blocks: 40, Modulus: e, Phase: steady.Estimate{HalfWidth: math.Inf(1)}}}}
}

// drive records every step that is left, one attempt of the second is discarded. It returns the names that were said to be kept.
func drive(f *Folder) (kept []string, err error) {
	var left []int
	for i := range f.State().Head.Steps {
		if _, done := f.State().Last(i); !done {
			left = append(left, i)
		}
	}
	if err := f.Note(bench.Entry{Kind: "quiet-check", Step: -1, Text: "quiet", Data: map[string]float64{"V": 1e-6}}); err != nil {
		return nil, err
	}
	quiet, err := f.Create(bench.Step{Label: "quiet check"}, 1, counted())
	if err != nil {
		return nil, err
	}
	if _, err := quiet.Keep(bench.Outcome{Step: -1, Attempt: 1}); err != nil {
		return nil, errors.Join(err, quiet.Discard("disk"))
	}
	for _, step := range left {
		name, err := attempt(f, step)
		if err != nil {
			return kept, err
		}
		kept = append(kept, name)
	}
	taken, err := f.Take(0, ".csv", strings.NewReader("time_s\n0\n"), "", nil, outcome(0)) // measured again, elsewhere
	if err != nil {
		return kept, err
	}
	return append(kept, taken), f.Finish("every step is kept")
}

func attempt(a bench.Archive, step int) (name string, err error) {
	for try := range 2 {
		if try == 0 && step != 1 {
			continue
		}
		s, err := a.Create(steps()[step], try+1, counted())
		if err != nil {
			return "", err
		}
		for n := range 3 {
			if err := s.Write(samples(uint64(10*step+n), 500)); err != nil {
				return "", errors.Join(err, s.Discard("disk"))
			}
		}
		if try == 0 {
			if err := s.Discard("not steady"); err != nil {
				return "", err
			}
			continue
		}
		name, err = s.Keep(outcome(step))
		if err != nil {
			return "", errors.Join(err, s.Discard("disk"))
		}
	}
	return name, nil
}

// TestRun records a whole run and reads it back from the journal alone.
func TestRun(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "run")
	f, err := Create(dir, head(), jobFiles, clock())
	if err != nil {
		t.Fatal(err)
	}
	kept, err := drive(f)
	if err = errors.Join(err, f.Close()); err != nil {
		t.Fatal(err)
	}
	want := []string{"001-80Hz-a1", "002-20Hz-a2", "003-1.25Hz-a1", "004-80Hz-a1"}
	s, err := Read(dir)
	if err = errors.Join(err, s.Verify(dir)); err != nil {
		t.Fatal(err)
	}
	if len(kept) != 5 || len(s.Kept) != 6 || s.Kept[0].Step != -1 || s.Kept[0].File != "recordings/000-quiet-check-a1.wav" || !s.Finished || len(s.open) > 0 {
		t.Fatalf("kept %q, state %+v", kept, s)
	}
	for i, k := range s.Kept[1:5] {
		if k.File != Recordings+"/"+want[i]+".wav" || k.File != kept[i] || k.Step != i || k.Frames != 1500 || k.Rate != 2000 || k.Units != nil {
			t.Errorf("step %d: %+v", i+1, k)
		}
		if !k.Outcome.Steady() || k.Outcome.Answers[0].Phase != nil || *k.Outcome.Answers[0].Modulus.HalfWidth != 1e-3 {
			t.Errorf("step %d: outcome %+v", i+1, k.Outcome)
		}
	}
	if k, ok := s.Last(0); !ok || k.File != "recordings/001-80Hz-a2.csv" || k.File != kept[4] {
		t.Errorf("step 1 was measured again, its last recording counts: %+v", k)
	}
	if !exists(filepath.Join(dir, Recordings, "002-20Hz-a1.discarded.wav")) {
		t.Error("the discarded attempt is not there under a name that says so")
	}
	rec, err := format.Open([]format.Format{wav.Format{}}, formattest.File(filepath.Join(dir, filepath.FromSlash(kept[2]))), format.Options{})
	if err != nil {
		t.Fatal(err)
	}
	r, err := rec.Open()
	if err != nil {
		t.Fatal(err)
	}
	got := [][]float64{make([]float64, 500), make([]float64, 500)}
	if _, err := r.Read(got); err != nil {
		t.Fatal(err)
	}
	if d := formattest.Differ(got, samples(20, 500)); d != "" || rec.Info.Channels[0].Bits != 24 || rec.ID != s.Kept[3].SHA256 {
		t.Errorf("recording %+v: %s", rec.Info, d)
	}
	if err := r.Close(); err != nil {
		t.Fatal(err)
	}
}

// TestRunHasOneDriver: a run that is driven, and a folder that holds one, are refused.
func TestRunHasOneDriver(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "run")
	if _, err := Open(dir, "test", clock()); !errors.Is(err, ErrNone) {
		t.Errorf("no run: %v", err)
	}
	f, err := Create(dir, head(), jobFiles, clock())
	if err != nil {
		t.Fatal(err)
	}
	if _, err := Open(dir, "test", clock()); !errors.Is(err, ErrLocked) {
		t.Errorf("driven run: %v, want %v", err, ErrLocked)
	}
	if _, err := Create(dir, head(), jobFiles, clock()); !errors.Is(err, ErrLocked) {
		t.Errorf("driven run: %v, want %v", err, ErrLocked)
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
	if _, err := Create(dir, head(), jobFiles, clock()); !errors.Is(err, ErrExists) {
		t.Errorf("run that is there: %v, want %v", err, ErrExists)
	}
}

// TestRunNoticesChanges: a recording or a file of the job that was altered after it was written ends a resumption.
func TestRunNoticesChanges(t *testing.T) {
	for _, name := range []string{"recordings/002-20Hz-a2.wav", "job/procedures/laboratory.toml", "journal.jsonl"} {
		dir := filepath.Join(t.TempDir(), "run")
		f, err := Create(dir, head(), jobFiles, clock())
		if err != nil {
			t.Fatal(err)
		}
		_, err = drive(f)
		if err = errors.Join(err, f.Close()); err != nil {
			t.Fatal(err)
		}
		path := filepath.Join(dir, filepath.FromSlash(name))
		b, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		b[len(b)/2] ^= 0x80
		if err := os.WriteFile(path, b, 0o644); err != nil {
			t.Fatal(err)
		}
		if _, err := Open(dir, "test", clock()); err == nil || !strings.Contains(err.Error(), filepath.Base(name)) && !strings.Contains(err.Error(), "journal, line") {
			t.Errorf("%s was changed: %v", name, err)
		}
	}
}

// TestTakeNoticesChanges: a file that is not the one that was looked at is not kept.
func TestTakeNoticesChanges(t *testing.T) {
	f, err := Create(filepath.Join(t.TempDir(), "run"), head(), jobFiles, clock())
	if err != nil {
		t.Fatal(err)
	}
	if _, err := f.Take(0, ".wav", strings.NewReader("x"), "00", nil, outcome(0)); err == nil || !strings.Contains(err.Error(), "it changed meanwhile") {
		t.Errorf("changed file: %v", err)
	}
	if s := f.State(); len(s.Kept) > 0 {
		t.Errorf("kept %+v", s.Kept)
	}
	if _, err := f.Take(9, ".wav", strings.NewReader("x"), "", nil, outcome(0)); err == nil {
		t.Error("step 10 of 4 was kept")
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
}

// TestStored: integers stay counts, everything else is stored in double precision with its unit.
func TestStored(t *testing.T) {
	volts := recording.Channel{Unit: format.FullScale()}
	volts.Unit.Symbol = "V"
	for _, c := range []struct {
		channels []recording.Channel
		want     wav.Encoding
		units    int
	}{
		{[]recording.Channel{{Unit: format.FullScale(), Bits: 16}, {Unit: format.FullScale(), Bits: 16}}, wav.PCM16, 0},
		{[]recording.Channel{{Unit: format.FullScale(), Bits: 16}, {Unit: format.FullScale(), Bits: 24}}, wav.Float64, 0},
		{[]recording.Channel{{Unit: format.FullScale(), Bits: 20}}, wav.Float64, 0},
		{[]recording.Channel{volts, volts}, wav.Float64, 2},
	} {
		if spec, units := stored(recording.Info{Channels: c.channels, Rate: 1000}); spec.Encoding != c.want || len(units) != c.units {
			t.Errorf("%+v: %+v %q", c.channels, spec, units)
		}
	}
}

// TestJournalTorn cuts a journal at every byte: what is left reads as a beginning of it, and a line appended afterwards counts.
func TestJournalTorn(t *testing.T) {
	dir := t.TempDir()
	name := filepath.Join(dir, journalName)
	j, err := openJournal(osDisk{}, dir, false, "", clock())
	if err != nil {
		t.Fatal(err)
	}
	for i := range 4 {
		if err := j.append(Line{Kind: fmt.Sprint("k", i)}); err != nil {
			t.Fatal(err)
		}
	}
	if err := j.f.Close(); err != nil {
		t.Fatal(err)
	}
	whole, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	for cut := range len(whole) + 1 {
		lines, torn, err := parseJournal(whole[:cut])
		if err != nil || len(lines) != strings.Count(string(whole[:cut]), "\n") || torn != (cut > 0 && whole[cut-1] != '\n') {
			t.Fatalf("cut at byte %d: %d lines, torn %v, %v", cut, len(lines), torn, err)
		}
		if err := os.WriteFile(name, whole[:cut], 0o644); err != nil {
			t.Fatal(err)
		}
		j, err := openJournal(osDisk{}, dir, torn, State{Lines: lines}.check(), clock())
		if err != nil {
			t.Fatal(err)
		}
		if err := errors.Join(j.append(Line{Kind: "more"}), j.f.Close()); err != nil {
			t.Fatal(err)
		}
		again, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		after, torn, err := parseJournal(again)
		if err != nil || torn || after[len(after)-1].Kind != "more" || !strings.HasPrefix(string(again), string(whole[:cut])) {
			t.Fatalf("cut at byte %d: %+v, torn %v, %v", cut, after, torn, err)
		}
	}
}

// quick is a disk that makes nothing safe, for tests that are about something else.
type quick struct{ osDisk }

func (d quick) open(name string, flag int) (file, error) {
	f, err := d.osDisk.open(name, flag)
	return unsynced{f}, err
}

func (quick) syncDir(string) error { return nil }

type unsynced struct{ file }

func (unsynced) Sync() error { return nil }

// failing is a disk on which every operation from one on fails; a write that fails has written a part.
type failing struct {
	quick
	left  *int // operations that still succeed
	cause error
}

func (d failing) fails() error {
	if *d.left--; *d.left < 0 {
		return d.cause
	}
	return nil
}

func (d failing) open(name string, flag int) (file, error) {
	if err := d.fails(); err != nil {
		return nil, &os.PathError{Op: "open", Path: name, Err: err}
	}
	f, err := d.quick.open(name, flag)
	return failingFile{f, d}, err
}

func (d failing) rename(from, to string) error {
	if err := d.fails(); err != nil {
		return err
	}
	return d.osDisk.rename(from, to)
}

func (d failing) mkdir(name string) error {
	if err := d.fails(); err != nil {
		return &os.PathError{Op: "mkdir", Path: name, Err: err}
	}
	return d.osDisk.mkdir(name)
}

func (d failing) syncDir(name string) error {
	if err := d.fails(); err != nil {
		return err
	}
	return d.quick.syncDir(name)
}

type failingFile struct {
	file
	disk failing
}

func (f failingFile) Write(p []byte) (int, error) {
	if err := f.disk.fails(); err != nil {
		n, _ := f.file.Write(p[:len(p)/2])
		return n, &os.PathError{Op: "write", Path: "x", Err: err}
	}
	return f.file.Write(p)
}

func (f failingFile) Sync() error {
	if err := f.disk.fails(); err != nil {
		return err
	}
	return f.file.Sync()
}

// TestFullDisk makes every operation in turn the first that fails, as on a full disk, one that became read-only, or one that is broken. The run says so; what it had
// said to be kept is there, whole; and once there is room again the run goes on to its end.
func TestFullDisk(t *testing.T) {
	root := t.TempDir()
	finished := false
	for n := 0; !finished; n++ {
		cause := []error{syscall.ENOSPC, syscall.EROFS, syscall.EIO}[n%3]
		dir := filepath.Join(root, fmt.Sprint(n))
		left := n
		f, err := create(failing{left: &left, cause: cause}, dir, head(), jobFiles, clock())
		var kept []string
		if err == nil {
			kept, err = drive(f)
			err = errors.Join(err, f.Close())
		}
		if finished = err == nil; finished && n < 40 {
			t.Fatalf("only %d operations", n)
		}
		if !finished && !errors.Is(err, cause) {
			t.Fatalf("operation %d fails: %v, want %v", n, err, cause)
		}
		f, err = open(quick{}, dir, "test", clock())
		if errors.Is(err, ErrNone) && len(kept) == 0 {
			f, err = create(quick{}, dir, head(), jobFiles, clock())
		}
		if err != nil {
			t.Fatalf("operation %d failed: resume: %v", n, err)
		}
		for _, name := range kept {
			if s := f.State(); !strings.Contains(fmt.Sprint(s.Kept), name) {
				t.Errorf("operation %d failed: %s was kept and is lost", n, name)
			}
		}
		_, err = drive(f)
		if err = errors.Join(err, f.Close()); err != nil {
			t.Fatalf("operation %d failed: %v", n, err)
		}
		s, err := Read(dir)
		if err = errors.Join(err, s.Verify(dir)); err != nil {
			t.Fatalf("operation %d failed: %v", n, err)
		}
		for i := range s.Head.Steps {
			if _, ok := s.Last(i); !ok || !s.Finished {
				t.Errorf("operation %d failed: step %d is not kept after resuming", n, i+1)
			}
		}
	}
}
