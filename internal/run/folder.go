// Package run keeps what a live run records in a folder from which the run can be resumed and evaluated.
package run

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"

	"plumbline/bench"
)

// Names in a run's folder.
const (
	Recordings = "recordings" // folder of the recordings
	JobFiles   = "job"        // folder of the job's files as they were when the run began
	JobName    = "job.toml"   // job file made of the recordings that were kept
)

// What can be wrong with a folder, wrapped with its name.
var (
	ErrLocked = errors.New("another program drives this run")
	ErrExists = errors.New("holds a run already")
	ErrNone   = errors.New("holds no run")
)

// Content is a file that is copied into a run.
type Content struct {
	Name string // below the folder of the job's files, with slashes
	Data []byte
}

// Folder is a run that this program drives. It is safe for concurrent use.
type Folder struct {
	dir   string
	disk  disk
	lock  *os.File
	clock func() time.Time

	mu      sync.Mutex
	journal *journal
	state   State
}

// Create begins a run in a folder that holds none yet. The head's schema, time and files are filled in.
func Create(dir string, h Head, files []Content, clock func() time.Time) (*Folder, error) {
	return create(osDisk{}, dir, h, files, clock)
}

func create(d disk, dir string, h Head, files []Content, clock func() time.Time) (*Folder, error) {
	for _, name := range []string{dir, filepath.Join(dir, Recordings), filepath.Join(dir, JobFiles)} {
		if err := d.mkdir(name); err != nil {
			return nil, fmt.Errorf("run %s: %w", dir, plain(err))
		}
	}
	l, err := lock(dir)
	if err != nil {
		return nil, err
	}
	if exists(filepath.Join(dir, headName)) || exists(filepath.Join(dir, journalName)) {
		return nil, errors.Join(fmt.Errorf("run %s: %w", dir, ErrExists), l.Close())
	}
	f := &Folder{dir: dir, disk: d, lock: l, clock: clock}
	h.Schema, h.Created, h.Files = Schema, clock().UTC(), nil
	if err := f.write(&h, files); err != nil {
		return nil, errors.Join(fmt.Errorf("run %s: %w", dir, plain(err)), l.Close())
	}
	f.state = State{Head: h, Begun: map[int]int{}}
	if err := f.begin(kindBegun); err != nil {
		return nil, errors.Join(fmt.Errorf("run %s: %w", dir, err), l.Close())
	}
	return f, nil
}

// write writes the job's files and then the head, with which the folder becomes a run.
func (f *Folder) write(h *Head, files []Content) error {
	for _, c := range files {
		if !filepath.IsLocal(filepath.FromSlash(c.Name)) {
			return fmt.Errorf("file of the job %q: its name leads out of the folder", c.Name)
		}
		name := filepath.Join(f.dir, JobFiles, filepath.FromSlash(c.Name))
		if err := f.disk.mkdir(filepath.Dir(name)); err != nil {
			return err
		}
		if err := writeWhole(f.disk, name, c.Data); err != nil {
			return err
		}
		sum := sha256.Sum256(c.Data)
		h.Files = append(h.Files, File{c.Name, hex.EncodeToString(sum[:])})
	}
	text, err := json.MarshalIndent(h, "", "  ")
	if err != nil {
		return err
	}
	if err := writeWhole(f.disk, filepath.Join(f.dir, headName), append(text, '\n')); err != nil {
		return err
	}
	return f.disk.syncDir(filepath.Dir(filepath.Clean(f.dir)))
}

// begin opens the journal and writes its first line of this program.
func (f *Folder) begin(kind string) (err error) {
	if f.journal, err = openJournal(f.disk, f.dir, f.state.torn, f.state.check(), f.clock); err != nil {
		return err
	}
	return f.journal.append(Line{Kind: kind, Text: "program " + f.state.Head.Program})
}

// Open takes up a run again. Every recording that was kept is compared with its digest; what an ended program left unfinished is renamed so that its
// name says so.
func Open(dir, program string, clock func() time.Time) (*Folder, error) {
	return open(osDisk{}, dir, program, clock)
}

func open(d disk, dir, program string, clock func() time.Time) (*Folder, error) {
	if !exists(filepath.Join(dir, headName)) {
		return nil, fmt.Errorf("run %s: %w", dir, ErrNone)
	}
	l, err := lock(dir)
	if err != nil {
		return nil, err
	}
	f := &Folder{dir: dir, disk: d, lock: l, clock: clock}
	if f.state, err = Read(dir); err == nil {
		err = f.state.Verify(dir)
	}
	if err == nil {
		f.state.Head.Program = program
		err = f.begin(kindResumed)
	}
	if err == nil {
		err = f.clear()
	}
	if err != nil {
		return nil, errors.Join(err, l.Close())
	}
	return f, nil
}

// Read reads the state of a run without driving it.
func Read(dir string) (State, error) {
	head, err := os.ReadFile(filepath.Join(dir, headName))
	if errors.Is(err, fs.ErrNotExist) {
		return State{}, fmt.Errorf("run %s: %w", dir, ErrNone)
	} else if err != nil {
		return State{}, fmt.Errorf("run %s: %w", dir, err)
	}
	h, err := parseHead(dir, head)
	if err != nil {
		return State{}, err
	}
	content, err := os.ReadFile(filepath.Join(dir, journalName))
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return State{}, fmt.Errorf("run %s: %w", dir, err)
	}
	s, err := derive(h, content)
	if err != nil {
		return State{}, fmt.Errorf("run %s: %w", dir, err)
	}
	return s, nil
}

// Verify compares the recordings that were kept, and the files of the job, with their digests.
func (s State) Verify(dir string) error {
	var errs []error
	check := func(what, name, want string) {
		got, err := digest(filepath.Join(dir, filepath.FromSlash(name)))
		switch {
		case err != nil:
			errs = append(errs, fmt.Errorf("run %s: %s %s: %w", dir, what, name, plain(err)))
		case got != want:
			errs = append(errs, fmt.Errorf("run %s: %s %s has the SHA-256 %s, the run says %s: it was changed", dir, what, name, got, want))
		}
	}
	for _, c := range s.Head.Files {
		check("file of the job", JobFiles+"/"+c.Name, c.SHA256)
	}
	for _, k := range s.Kept {
		check("recording", k.File, k.SHA256)
	}
	return errors.Join(errs...)
}

func digest(name string) (sum string, err error) {
	f, err := os.Open(name)
	if err != nil {
		return "", err
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	h := sha256.New()
	if _, err := io.Copy(h, f); err != nil {
		return "", err
	}
	return hex.EncodeToString(h.Sum(nil)), nil
}

// interruptedSuffix stands before the extension of a recording that a program left behind when it ended.
const interruptedSuffix = ".interrupted"

// clear renames the recordings that were begun and neither kept nor discarded.
func (f *Folder) clear() error {
	for _, l := range f.state.open {
		var a attemptFile
		if err := json.Unmarshal(l.Data, &a); err != nil || !strings.HasPrefix(a.File, Recordings+"/") {
			return fmt.Errorf("run %s: journal, attempt %d at step %d: names no recording", f.dir, l.Attempt, l.Step)
		}
		left := ""
		for _, name := range []string{a.File, a.File + partSuffix, marked(a.File, discardedSuffix)} {
			if !exists(f.path(name)) {
				continue
			}
			left = marked(a.File, interruptedSuffix)
			if err := f.disk.rename(f.path(name), f.path(left)); err != nil {
				return fmt.Errorf("run %s: %w", f.dir, err)
			}
		}
		if err := f.disk.syncDir(f.path(Recordings)); err != nil {
			return fmt.Errorf("run %s: %w", f.dir, err)
		}
		err := f.journal.append(Line{Kind: kindInterrupted, Step: l.Step, Attempt: l.Attempt, Text: "the program ended during the recording", Data: figures(attemptFile{left})})
		if err != nil {
			return fmt.Errorf("run %s: %w", f.dir, err)
		}
	}
	f.state.open = nil
	return nil
}

// marked puts a mark before the extension of a file's name.
func marked(name, mark string) string {
	ext := filepath.Ext(name)
	return strings.TrimSuffix(name, ext) + mark + ext
}

func (f *Folder) path(name string) string { return filepath.Join(f.dir, filepath.FromSlash(name)) }

// Dir is the folder's name.
func (f *Folder) Dir() string { return f.dir }

// State is what is known of the run.
func (f *Folder) State() State {
	f.mu.Lock()
	defer f.mu.Unlock()
	s := f.state
	s.Kept, s.Lines, s.Begun = slices.Clone(s.Kept), slices.Clone(s.Lines), map[int]int{}
	for k, v := range f.state.Begun {
		s.Begun[k] = v
	}
	return s
}

// Note keeps a remark, a check or an event of the run; it returns when the entry is safe on disk.
func (f *Folder) Note(e bench.Entry) error {
	return f.log(Line{Kind: e.Kind, Step: e.Step + 1, Text: e.Text, Data: figures(e.Data)})
}

// log appends a line.
func (f *Folder) log(l Line) error {
	f.mu.Lock()
	defer f.mu.Unlock()
	if err := f.journal.append(l); err != nil {
		return fmt.Errorf("run %s: %w", f.dir, err)
	}
	return nil
}

// Write writes a file of the run as a whole, over one that is there.
func (f *Folder) Write(name string, content []byte) error {
	if err := writeWhole(f.disk, f.path(name), content); err != nil {
		return fmt.Errorf("run %s: %s: %w", f.dir, name, plain(err))
	}
	return nil
}

// Finish says that nothing is left to do.
func (f *Folder) Finish(text string) error { return f.log(Line{Kind: kindFinished, Text: text}) }

// Close lets go of the run.
func (f *Folder) Close() error {
	f.mu.Lock()
	defer f.mu.Unlock()
	return errors.Join(f.journal.f.Close(), f.lock.Close())
}
