package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"plumbline/bench"
	"plumbline/internal/lab"
)

// arrivals watches a folder for the recording of one step.
type arrivals struct {
	dir, stem string
	stable    time.Duration
	seen      map[string]arrival
}

// arrival is a file as it was when it was last looked for.
type arrival struct {
	size     int64
	modified time.Time
	since    time.Time // it has been so since then
	told     bool      // it was looked at
}

// complete is the name of a file that is new and has not changed for long enough; empty where there is none.
func (a *arrivals) complete(now time.Time) (string, error) {
	entries, err := os.ReadDir(a.dir)
	if err != nil {
		return "", err
	}
	for _, e := range entries {
		name := e.Name()
		if !strings.EqualFold(strings.TrimSuffix(name, filepath.Ext(name)), a.stem) {
			continue
		}
		info, err := e.Info()
		if err != nil || !info.Mode().IsRegular() {
			continue // gone again, or no file
		}
		was, known := a.seen[name]
		if !known || was.size != info.Size() || !was.modified.Equal(info.ModTime()) {
			a.seen[name] = arrival{size: info.Size(), modified: info.ModTime(), since: now}
			continue
		}
		if !was.told && was.size > 0 && now.Sub(was.since) >= a.stable {
			was.told = true
			a.seen[name] = was
			return filepath.Join(a.dir, name), nil
		}
	}
	return "", nil
}

// pollEvery is how often a folder is looked into.
const pollEvery = 100 * time.Millisecond

// collect takes recordings made elsewhere, as they arrive in a folder.
func (s *session) collect(ctx context.Context) error {
	dir := filepath.Join(filepath.Dir(s.job), filepath.FromSlash(s.m.Bench.Folder.Path))
	if info, err := os.Stat(dir); err != nil || !info.IsDir() {
		return errors.Join(fmt.Errorf("folder of the recordings %s: is no folder", dir), err)
	}
	s.console.say("while it waits: k REASON keeps the recording of this point although it is not steady, n TEXT note, s skip, q stop")
	for i := range s.m.Steps {
		if _, done := s.folder.State().Last(i); done {
			continue
		}
		if err := s.collectPoint(ctx, i, dir); err != nil {
			return err
		}
	}
	return nil
}

// collectPoint waits for the recording of one step.
func (s *session) collectPoint(ctx context.Context, i int, dir string) error {
	step := s.m.Steps[i]
	a := &arrivals{dir: dir, stem: fmt.Sprintf("%03d-%.4gHz", i+1, step.Lines[0].Frequency), stable: time.Duration(s.m.Bench.Folder.Stable * float64(time.Second)), seen: map[string]arrival{}}
	s.console.say("%d/%d %s: record from the start of the drive, then put it at %s (or any other format that is read)", i+1, len(s.m.Steps), step.Label, filepath.Join(dir, a.stem+".wav"))
	var last *lab.Arrival // can be kept with a reason
	var path string
	poll := time.NewTicker(pollEvery)
	defer poll.Stop()
	lines := s.console.lines
	for {
		select {
		case <-ctx.Done():
			return errors.New("stopped by a signal")
		case line, open := <-lines:
			if !open {
				lines = nil // nobody types, but recordings may still come
				continue
			}
			done, err := s.typedWhileWaiting(i, line, path, last)
			if done || err != nil {
				return err
			}
		case <-poll.C:
			found, err := a.complete(s.now())
			if err != nil {
				return err
			}
			if found == "" {
				continue
			}
			if looked, kept, err := s.arrived(i, found); kept || err != nil {
				return err
			} else if looked.Useless == "" {
				last, path = &looked, found
			}
		}
	}
}

// arrived looks at a recording and keeps it where nothing speaks against that.
func (s *session) arrived(i int, path string) (a lab.Arrival, kept bool, err error) {
	a = newLab().Look(s.m, i, path)
	switch {
	case a.Useless != "":
		s.console.say("  %s is not kept: %s", filepath.Base(path), a.Useless)
		return a, false, s.folder.Note(bench.Entry{Kind: "refused", Step: i, Text: a.Useless, Data: map[string]string{"file": filepath.Base(path)}})
	case a.Unsteady != "":
		s.console.say("  %s is not kept: %s; k REASON keeps it", filepath.Base(path), a.Unsteady)
		return a, false, s.folder.Note(bench.Entry{Kind: "not-steady", Step: i, Text: a.Unsteady, Data: map[string]string{"file": filepath.Base(path)}})
	}
	return a, true, s.keepArrival(i, path, a, "")
}

// typedWhileWaiting does what was typed while a recording is waited for; done says that the point is over.
func (s *session) typedWhileWaiting(i int, line, path string, last *lab.Arrival) (done bool, err error) {
	c, err := parseCommand(line, s.flags.operator)
	if err != nil {
		s.console.say("  %v", err)
		return false, nil
	}
	switch c.Kind {
	case "note":
		return false, s.folder.Note(bench.Entry{Kind: "note", Step: i, Text: c.Text, Data: map[string]string{"operator": c.Name}})
	case "skip":
		return true, s.folder.Note(bench.Entry{Kind: "skipped", Step: i, Text: c.Text, Data: map[string]string{"operator": c.Name}})
	case "stop":
		return true, errStopped
	case "keep":
		if last == nil {
			s.console.say("  there is no recording of this point that could be kept")
			return false, nil
		}
		return true, s.keepArrival(i, path, *last, c.Text)
	case "":
		return false, nil
	}
	s.console.say("  %s: does nothing while a recording is waited for", c.Kind)
	return false, nil
}

// keepArrival copies a recording into the run.
func (s *session) keepArrival(i int, path string, a lab.Arrival, reason string) (err error) {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	name, err := s.folder.Take(i, strings.ToLower(filepath.Ext(path)), f, a.Recording.ID, s.m.Bench.Folder.Units, a.Outcome(i, reason, s.flags.operator))
	if err != nil {
		return err
	}
	s.console.say("  kept: %s", name)
	return nil
}
