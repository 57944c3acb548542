package run

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"strings"

	"plumbline/bench"
	"plumbline/internal/format/wav"
	"plumbline/recording"
)

// discardedSuffix stands before the extension of a recording that does not count.
const discardedSuffix = ".discarded"

// noStep is the number of what belongs to no step.
const noStep = -1

// Create begins the recording of an attempt, at a step of the run or, for one without points, of the bench itself. Attempts are counted over all programs that drove
// the run.
func (f *Folder) Create(s bench.Step, _ int, info recording.Info) (bench.Sink, error) {
	if len(s.Points) == 0 {
		return f.attempt(noStep, s.Label, info)
	}
	for i, h := range f.state.Head.Steps { // never changes
		if h.Label == s.Label {
			return f.attempt(i, h.Label, info)
		}
	}
	return nil, fmt.Errorf("run %s: step %q is none of the run", f.dir, s.Label)
}

// sink is the recording of one attempt.
type sink struct {
	folder  *Folder
	step    int
	attempt int
	name    string // that it has once it is kept
	spec    wav.Spec
	units   []string
	rate    float64
	frames  int64
	f       file
	w       *wav.Writer
	closed  bool // its file is
	ended   bool // kept or discarded
}

func (f *Folder) attempt(step int, label string, info recording.Info) (*sink, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	s := &sink{folder: f, step: step, attempt: f.state.Begun[step] + 1, rate: info.Rate}
	s.name = fmt.Sprintf("%s/%03d-%s-a%d.wav", Recordings, step+1, f.what(step, label), s.attempt)
	s.spec, s.units = stored(info)
	line := Line{Kind: kindRecording, Step: step + 1, Attempt: s.attempt, Text: label, Data: figures(attemptFile{s.name})}
	if err := f.journal.append(line); err != nil {
		return nil, fmt.Errorf("run %s: %w", f.dir, err)
	}
	f.state.Begun[step] = s.attempt
	var err error
	if s.f, err = f.disk.open(f.path(s.name+partSuffix), os.O_CREATE|os.O_RDWR|os.O_EXCL); err != nil {
		return nil, fmt.Errorf("run %s: recording %s: %w", f.dir, s.name, plain(err))
	}
	if s.w, err = wav.NewWriter(s.f, s.spec); err != nil {
		return nil, errors.Join(fmt.Errorf("run %s: recording %s: %w", f.dir, s.name, plain(err)), s.f.Close())
	}
	return s, nil
}

// what names what is recorded, as part of a file's name.
func (f *Folder) what(step int, label string) string {
	switch {
	case step == noStep:
		return strings.Map(func(r rune) rune {
			if r >= 'a' && r <= 'z' || r >= '0' && r <= '9' {
				return r
			}
			return '-'
		}, strings.ToLower(label))
	case len(f.state.Head.Steps[step].Lines) == 1:
		return fmt.Sprintf("%.4gHz", f.state.Head.Steps[step].Lines[0].Frequency)
	}
	return "multisine"
}

// stored is how samples are written: as the counts they were where the digitizer says its bits, else in double precision. units are those of the channels
// where the file cannot say them.
func stored(info recording.Info) (spec wav.Spec, units []string) {
	spec = wav.Spec{Channels: len(info.Channels), Rate: math.Max(1, math.Round(info.Rate)), Encoding: wav.Float64, Start: info.Start}
	widths := map[int]wav.Encoding{16: wav.PCM16, 24: wav.PCM24, 32: wav.PCM32}
	counts, fractions := true, true
	for _, c := range info.Channels {
		fractions = fractions && c.Unit.Symbol == "FS"
		counts = counts && c.Unit.Symbol == "FS" && c.Bits == info.Channels[0].Bits && widths[c.Bits] != 0
		units = append(units, c.Unit.Symbol)
	}
	if counts && len(info.Channels) > 0 {
		spec.Encoding = widths[info.Channels[0].Bits]
	}
	if fractions {
		units = nil
	}
	return spec, units
}

// Write appends frames.
func (s *sink) Write(block [][]float64) error {
	if s.ended || s.closed {
		return s.wrong(errors.New("is ended"))
	}
	if err := s.w.Write(block); err != nil {
		return s.wrong(err)
	}
	if len(block) > 0 {
		s.frames += int64(len(block[0]))
	}
	return nil
}

func (s *sink) wrong(err error) error {
	return fmt.Errorf("run %s: recording %s: %w", s.folder.dir, s.name, plain(err))
}

// Keep completes the recording on disk and then says in the journal that it counts.
func (s *sink) Keep(o bench.Outcome) (string, error) {
	if s.ended || s.closed {
		return "", s.wrong(errors.New("is ended"))
	}
	f := s.folder
	sum, err := s.complete()
	if err != nil {
		return "", s.wrong(err)
	}
	if err := f.disk.rename(f.path(s.name+partSuffix), f.path(s.name)); err != nil {
		return "", s.wrong(err)
	}
	if err := f.disk.syncDir(f.path(Recordings)); err != nil {
		return "", s.wrong(err)
	}
	k := Kept{Step: s.step, Attempt: s.attempt, File: s.name, SHA256: sum, Frames: s.frames, Rate: s.rate, Units: s.units, Outcome: outcomeOf(o)}
	f.mu.Lock()
	defer f.mu.Unlock()
	if err := f.journal.append(Line{Kind: kindKept, Step: s.step + 1, Attempt: s.attempt, Text: o.Reason, Data: figures(k)}); err != nil {
		return "", s.wrong(err)
	}
	s.ended = true
	k.Time = f.clock().UTC()
	f.state.Kept = append(f.state.Kept, k)
	return s.name, nil
}

// complete writes the header, makes the bytes safe and returns their digest as read back.
func (s *sink) complete() (sum string, err error) {
	s.closed = true
	defer func() { err = errors.Join(err, s.f.Close()) }()
	if err := s.w.Close(); err != nil {
		return "", err
	}
	if err := s.f.Sync(); err != nil {
		return "", err
	}
	if _, err := s.f.Seek(0, io.SeekStart); err != nil {
		return "", err
	}
	h := sha256.New()
	if _, err := io.Copy(h, s.f); err != nil {
		return "", err
	}
	return hex.EncodeToString(h.Sum(nil)), nil
}

// Discard ends a recording that does not count. What can be written of it stays under a name that says so.
func (s *sink) Discard(reason string) error {
	if s.ended {
		return nil
	}
	s.ended = true
	f, name, from := s.folder, marked(s.name, discardedSuffix), s.name+partSuffix
	var errs []error
	if !s.closed {
		_, err := s.complete()
		errs = append(errs, err)
	}
	if !exists(f.path(from)) { // it was on its way to be kept
		from = s.name
	}
	errs = append(errs, f.disk.rename(f.path(from), f.path(name)), f.disk.syncDir(f.path(Recordings)),
		f.log(Line{Kind: kindDiscarded, Step: s.step + 1, Attempt: s.attempt, Text: reason, Data: figures(attemptFile{name})}))
	if err := errors.Join(errs...); err != nil {
		return s.wrong(err)
	}
	return nil
}
