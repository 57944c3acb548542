package lab

import (
	"errors"
	"fmt"
	"math"
	"path"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"plumbline/internal/jobfile"
	"plumbline/internal/run"
)

// Begin makes the folder of a new run.
func (m *Measurement) Begin(dir string, clock func() time.Time) (*run.Folder, error) {
	_, files, err := m.gather()
	if err != nil {
		return nil, err
	}
	return run.Create(dir, m.head(), files, clock)
}

// Resume takes up a run of the same job. One that was begun with other files, or whose steps would be others today, is refused.
func (m *Measurement) Resume(dir string, clock func() time.Time) (*run.Folder, error) {
	_, files, err := m.gather()
	if err != nil {
		return nil, err
	}
	s, err := run.Read(dir)
	if err != nil {
		return nil, err
	}
	if err := m.same(s.Head, files); err != nil {
		return nil, fmt.Errorf("run %s: %w", dir, err)
	}
	m.Before = s.Programs
	return run.Open(dir, m.version, clock)
}

func (m *Measurement) head() run.Head {
	c := m.Job.Calibration
	h := run.Head{Program: m.version, Job: c.Number, Device: c.Device.Serial, Driver: m.Bench.Driver}
	for _, s := range m.Steps {
		h.Steps = append(h.Steps, run.StepOf(s))
	}
	return h
}

// same compares what the run was begun with to what is at hand.
func (m *Measurement) same(h run.Head, files []run.Content) error {
	var errs []error
	for _, c := range files {
		k := slices.IndexFunc(h.Files, func(f run.File) bool { return f.Name == c.Name })
		switch {
		case k < 0:
			errs = append(errs, fmt.Errorf("file %s was no part of the job when the run began", c.Name))
		case h.Files[k].SHA256 != Digest(c.Data):
			errs = append(errs, fmt.Errorf("file %s has changed since the run began; as it was it is in %s: measure that, or begin another run", c.Name, run.JobFiles))
		}
	}
	if len(errs) == 0 && !samePlan(h.Steps, m.head().Steps) {
		errs = append(errs, fmt.Errorf("this program (%s) plans other steps than the one that began the run (%s): finish it with that one, or begin another run", m.version, h.Program))
	}
	return errors.Join(errs...)
}

// gather is the files of the job with their names below the folder that holds them all; place is the name of one of them there.
func (m *Measurement) gather() (place func(name string) string, files []run.Content, err error) {
	absolute := func(name string) (string, error) { return filepath.Abs(filepath.FromSlash(name)) }
	job, err := absolute(m.path)
	if err != nil {
		return nil, nil, err
	}
	root := filepath.Dir(job)
	for _, f := range m.Job.Files {
		name, err := absolute(f.Name)
		if err != nil {
			return nil, nil, err
		}
		for !strings.HasPrefix(name, strings.TrimSuffix(root, string(filepath.Separator))+string(filepath.Separator)) {
			root = filepath.Dir(root)
		}
	}
	place = func(name string) string {
		full, err := absolute(name)
		if err != nil {
			return name
		}
		rel, err := filepath.Rel(root, full)
		if err != nil {
			return name
		}
		return filepath.ToSlash(rel)
	}
	for _, f := range m.Job.Files {
		files = append(files, run.Content{Name: place(f.Name), Data: f.Content})
	}
	return place, files, nil
}

// Compose writes the run's own job file, with the recordings that were kept, and returns its name. From there on a run is a job like any other.
func (m *Measurement) Compose(f *run.Folder) (string, error) {
	s := f.State()
	if err := s.Verify(f.Dir()); err != nil {
		return "", err
	}
	place, _, err := m.gather()
	if err != nil {
		return "", err
	}
	var points []jobfile.Measured
	var deviations []string
	for _, repeats := range []bool{false, true} {
		more, why := m.measured(s, repeats)
		points, deviations = append(points, more...), append(deviations, why...)
	}
	if len(points) == 0 {
		return "", fmt.Errorf("run %s: no point was kept, so there is nothing to evaluate", f.Dir())
	}
	text := fmt.Sprintf("# Made from run %s: the job as it was when the run began (folder %s), with the recordings that were kept.\n", filepath.Base(f.Dir()), run.JobFiles) +
		m.Job.Compose(points, deviations, func(name string) string { return path.Join(run.JobFiles, place(name)) })
	return filepath.Join(f.Dir(), run.JobName), f.Write(run.JobName, []byte(text))
}

// measured are the points of the steps that were kept, in order of time, and what of them deviates from the method.
func (m *Measurement) measured(s run.State, repeats bool) (points []jobfile.Measured, deviations []string) {
	var kept []run.Kept
	for i, step := range m.Steps {
		if k, ok := s.Last(i); ok && step.Repeat == repeats {
			kept = append(kept, k)
		}
	}
	slices.SortStableFunc(kept, func(a, b run.Kept) int { return a.Time.Compare(b.Time) })
	for _, k := range kept {
		step := m.Steps[k.Step]
		if step.Repeat && !m.hasFirst(s, step.Points[0]) {
			continue
		}
		for i, line := range step.Lines {
			p := jobfile.Measured{Of: m.of[step.Points[i]], Frequency: line.Frequency, Recording: k.File, Units: k.Units, Repeat: step.Repeat}
			if m.Plan != nil {
				p.Block, p.Held = step.Block, k.Outcome.Held
				p.Level = m.Plan.Request.LevelText(line.Level, line.Frequency)
			}
			if len(step.Lines) > 1 {
				for _, l := range step.Lines {
					p.Together = append(p.Together, l.Frequency)
				}
				p.Block = 0 // an evaluation takes shorter ones than the bench, which waits for whole periods
			}
			if k.Rate != math.Trunc(k.Rate) {
				p.Rate = k.Rate
			}
			if strings.HasSuffix(k.File, ".csv") {
				p.Recording, p.Readings, p.Units = "", k.File, nil
			}
			p.Comment = fmt.Sprintf("step %d, attempt %d", k.Step+1, k.Attempt)
			if k.Outcome.Reason != "" {
				p.Comment += ", kept because: " + k.Outcome.Reason
			}
			points = append(points, p)
		}
		if k.Outcome.Reason != "" {
			deviations = append(deviations, fmt.Sprintf("%s was kept before it was steady: %s (%s)", step.Label, k.Outcome.Reason, k.Outcome.Operator))
		}
	}
	return points, deviations
}

// hasFirst reports whether a point was kept the first time.
func (m *Measurement) hasFirst(s run.State, point int) bool {
	for i, step := range m.Steps {
		if _, ok := s.Last(i); ok && !step.Repeat && slices.Contains(step.Points, point) {
			return true
		}
	}
	return false
}
