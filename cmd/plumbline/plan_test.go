package main

import (
	"bytes"
	"io"
	"os"
	"strings"
	"testing"

	"plumbline/internal/jobfile"
	"plumbline/internal/planfile"
	"plumbline/plan"
)

// TestPlannedPoints writes the example's planned points into its job file and reads that as the job it has become.
func TestPlannedPoints(t *testing.T) {
	const name = "../../examples/plan/job.toml"
	_, request, err := jobfile.LoadPlan(jobfile.OS, name)
	if err != nil {
		t.Fatal(err)
	}
	p, err := plan.Make(request)
	if err != nil {
		t.Fatal(err)
	}
	var points bytes.Buffer
	if err := planfile.WritePoints(&points, p); err != nil {
		t.Fatal(err)
	}
	open := func(file string) (io.ReadCloser, error) {
		if file != name {
			return jobfile.OS(file)
		}
		b, err := os.ReadFile(name)
		return io.NopCloser(io.MultiReader(bytes.NewReader(b), strings.NewReader("\n"), &points)), err
	}
	job, err := jobfile.Load(open, name)
	if err != nil {
		t.Fatal(err)
	}
	repeats := 0
	for _, q := range job.Calibration.Points {
		if q.Repeat {
			repeats++
		}
	}
	if got := len(job.Calibration.Points) - repeats; got != p.Distinct || got+repeats != len(p.Points) {
		t.Fatalf("%d points and %d repeated, %d were planned, %d with the repeated ones", got, repeats, p.Distinct, len(p.Points))
	}
	for i, q := range job.Calibration.Points {
		if want := p.Points[i]; q.Frequency/want.Frequency-1 > 1e-5 || q.Level/want.Level-1 > 1e-9 || q.Level/want.Level-1 < -1e-9 {
			t.Errorf("point %d: %g Hz at %g m/s², planned %g Hz at %g m/s²", i+1, q.Frequency, q.Level, want.Frequency, want.Level)
		}
	}
}
