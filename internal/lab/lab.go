// Package lab is the use cases: from a job file and recordings to a result, its statements of conformity and its certificate.
package lab

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"slices"

	"plumbline/calibration"
	"plumbline/conformity"
	"plumbline/internal/format"
	"plumbline/internal/jobfile"
	"plumbline/internal/resultfile"
	"plumbline/recording"
)

// Lab is what the use cases need from outside.
type Lab struct {
	Formats []format.Format // recording formats, asked in order
	Version string          // of the program, printed with every result
}

// Evaluation is a job evaluated.
type Evaluation struct {
	Job        *jobfile.Job
	Result     calibration.Result
	Statements []conformity.Statement
	Overall    conformity.Verdict
	Files      []resultfile.File // every file read
	version    string
}

// Evaluate reads the job, opens its recordings (below recordings, where that is not empty, else beside the job file) and evaluates it.
func (l Lab) Evaluate(job, recordings string) (*Evaluation, error) {
	j, err := jobfile.Load(jobfile.OS, filepath.ToSlash(job))
	if err != nil {
		return nil, err
	}
	if recordings == "" {
		recordings = filepath.Dir(job)
	}
	e := &Evaluation{Job: j, version: l.Version}
	for _, f := range j.Files {
		e.Files = append(e.Files, resultfile.File{Name: beside(job, f.Name), SHA256: Digest(f.Content)})
	}
	if err := l.openRecordings(e, recordings); err != nil {
		return nil, err
	}
	workers := runtime.GOMAXPROCS(0)
	if e.Result, err = calibration.Evaluate(j.Calibration, workers); err != nil {
		return nil, err
	}
	rule := j.Rule.Rule()
	if rule == nil {
		return e, nil
	}
	if e.Statements, err = conformity.Judge(&e.Result, rule, j.Items, workers); err != nil {
		return nil, err
	}
	e.Overall = conformity.Overall(e.Statements)
	return e, nil
}

// beside is name as seen from the folder of the job file, so that a result does not depend on where the program was started.
func beside(job, name string) string {
	rel, err := filepath.Rel(filepath.Dir(job), filepath.FromSlash(name))
	if err != nil {
		return name
	}
	return filepath.ToSlash(rel)
}

// openRecordings opens every recording the job names and gives it to its point.
func (l Lab) openRecordings(e *Evaluation, dir string) error {
	var errs []error
	for _, r := range e.Job.Recordings {
		rec, err := l.Open(filepath.Join(dir, filepath.FromSlash(r.File)), format.Options(r.Options))
		if err != nil {
			errs = append(errs, fmt.Errorf("%s: %w", r.Where, err))
			continue
		}
		if point := &e.Job.Calibration.Points[r.Point]; r.Exchanged {
			point.Exchanged = &rec
		} else {
			point.Recording = &rec
		}
		if f := (resultfile.File{Name: r.File, SHA256: rec.ID}); !slices.Contains(e.Files, f) { // points measured together share one
			e.Files = append(e.Files, f)
		}
	}
	return errors.Join(errs...)
}

// Open opens one recording file.
func (l Lab) Open(path string, opts format.Options) (recording.Recording, error) {
	info, err := os.Stat(path)
	if err != nil {
		var where *fs.PathError
		if errors.As(err, &where) {
			err = where.Err
		}
		return recording.Recording{}, fmt.Errorf("recording %s: %w", path, err)
	}
	if !info.Mode().IsRegular() {
		return recording.Recording{}, fmt.Errorf("recording %s: is not a file", path)
	}
	src := format.Source{Name: filepath.Base(path), Size: info.Size(), Open: func() (io.ReadSeekCloser, error) { return os.Open(path) }}
	return format.Open(l.Formats, src, opts)
}

// ResultFile is the machine-readable result.
func (e *Evaluation) ResultFile() resultfile.Result {
	return resultfile.New(resultfile.Header{Version: e.version, Certificate: e.Job.Particulars.Number, Invented: e.Job.Particulars.Invented, Files: e.Files},
		e.Result, e.Statements, e.Overall)
}

// Refused lists the points without a value, each with its reason.
func (e *Evaluation) Refused() error {
	var errs []error
	for _, p := range e.Result.Points {
		if p.Refused != "" {
			errs = append(errs, fmt.Errorf("%s refused: %s", p.Plan.Label, p.Refused))
		}
	}
	return errors.Join(errs...)
}
