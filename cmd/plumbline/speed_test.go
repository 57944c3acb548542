package main

import (
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"plumbline/internal/simulator"
	"plumbline/quantity"
)

// speedRate is the sampling rate of the recordings the speed is measured on.
const speedRate = 48000

// speedJob writes a job with one 80 Hz recording of the given length and returns the job's path. The folder is that of PLUMBLINE_BENCH_DIR
// where it is set, so that the numpy program evaluates the same file.
func speedJob(b *testing.B, seconds float64) string {
	b.Helper()
	dir := os.Getenv("PLUMBLINE_BENCH_DIR")
	if dir == "" {
		dir = b.TempDir()
	}
	dir = filepath.Join(dir, fmt.Sprintf("%gs", seconds))
	if _, err := writeDemo(dir, nil, false); err != nil {
		b.Fatal(err)
	}
	bench := simulator.FenwickLane()
	bench.Recorder.Rate = speedRate
	samples, _ := bench.Record(simulator.Point{Frequency: 80, Level: 0.1 * quantity.StandardGravity, Duration: seconds}, rand.New(rand.NewPCG(1, 1)))
	if err := writeWAV(filepath.Join(dir, "recordings", "80Hz.wav"), bench.Recorder, samples); err != nil {
		b.Fatal(err)
	}
	job := filepath.Join(dir, "job.toml")
	text, err := os.ReadFile(job)
	if err != nil {
		b.Fatal(err)
	}
	head, points, _ := strings.Cut(string(text), "[[point]]")
	first, _, _ := strings.Cut(points, "[[point]]")
	if err := os.WriteFile(job, []byte(head+"[[point]]"+first), 0o644); err != nil {
		b.Fatal(err)
	}
	return job
}

// BenchmarkEvaluate is the whole evaluation of one recording: identity, inspection, approximation, budget, Monte Carlo, decision.
func BenchmarkEvaluate(b *testing.B) {
	for _, seconds := range []float64{60, 600} {
		b.Run(fmt.Sprintf("%gs", seconds), func(b *testing.B) {
			job := speedJob(b, seconds)
			b.ReportAllocs()
			for b.Loop() {
				e, err := newLab().Evaluate(job, "")
				if err != nil {
					b.Fatal(err)
				}
				if err := e.Refused(); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(seconds*speedRate*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mframes/s")
		})
	}
}

// BenchmarkTenPoints is the demonstration's calibration: its recordings, two budgets a point, 200 000 trials for each, statements of conformity.
func BenchmarkTenPoints(b *testing.B) {
	dir := b.TempDir()
	points := append(slices.Clone(demoPoints), demoPoint{63, 0.1, 8, false})
	if _, err := writeDemo(dir, points, false); err != nil {
		b.Fatal(err)
	}
	job := filepath.Join(dir, "job.toml")
	text, err := os.ReadFile(job)
	if err != nil {
		b.Fatal(err)
	}
	tenth := "\n[[point]]\nfrequency = \"63 Hz\"\nlevel = \"0.1 g peak\"\nrecording = \"recordings/63Hz.wav\"\n"
	if err := os.WriteFile(job, append(text, tenth...), 0o644); err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		e, err := newLab().Evaluate(job, "")
		if err != nil {
			b.Fatal(err)
		}
		if err := e.Refused(); err != nil {
			b.Fatal(err)
		}
	}
}
