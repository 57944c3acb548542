package main

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"plumbline/internal/format/wav"
)

// mostResident is what the evaluation of a recording of any length may keep in memory, bytes.
const mostResident = 200 << 20

// A recording larger than memory is evaluated in bounded memory: 5 GiB with PLUMBLINE_SOAK=1, else 300 MiB, far above the bound all the same.
func TestLargerThanMemory(t *testing.T) {
	size := int64(300 << 20)
	if os.Getenv("PLUMBLINE_SOAK") != "" {
		size = 5 << 30
	}
	dir := t.TempDir()
	if _, err := writeDemo(dir, nil, false); err != nil {
		t.Fatal(err)
	}
	writeLong(t, filepath.Join(dir, "recordings", "80Hz.wav"), size)
	job := filepath.Join(dir, "job.toml")
	editFile(t, job, func(s string) string { return strings.Join(strings.Split(s, "[[point]]")[:2], "[[point]]") })
	cmd := exec.Command(os.Args[0], "evaluate", job, "-o", filepath.Join(dir, "result.json"))
	cmd.Env = append(os.Environ(), runAsProgram+"=1")
	var out bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &out
	if err := cmd.Run(); err != nil {
		t.Fatalf("%v\n%s", err, out.String())
	}
	resident := cmd.ProcessState.SysUsage().(*syscall.Rusage).Maxrss << 10 // Linux counts KiB
	t.Logf("%d MiB evaluated in %d MiB resident, %.1f s of processor time\n%s", size>>20, resident>>20, cmd.ProcessState.UserTime().Seconds(), out.String())
	if resident > mostResident {
		t.Errorf("%d MiB resident for a recording of %d MiB, want at most %d MiB", resident>>20, size>>20, mostResident>>20)
	}
	// a hundred times the certificate's value at 80 Hz, 10.24111 mV/(m/s²), times 1 + 0.6e-4 for the temperature and 1 - 2.7e-4 for relative motion
	if want := " 10.041 "; !strings.Contains(out.String(), want) {
		t.Errorf("no sensitivity of%sV/g in\n%s", want, out.String())
	}
}

// writeLong writes a two-channel RF64 file of the given size: one second of 80 Hz with noise over and over, ratio 100.
func writeLong(t *testing.T, path string, size int64) {
	t.Helper()
	const rate, f = 48000, 80.0
	second := [][]float64{make([]float64, rate), make([]float64, rate)}
	rng := rand.New(rand.NewPCG(5, 5))
	for i := range rate {
		s := math.Sin(2 * math.Pi * f * float64(i) / rate)
		second[0][i] = 1e-3*s + 1e-6*rng.NormFloat64()
		second[1][i] = 0.1*s + 1e-5*rng.NormFloat64()
	}
	file, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	w, err := wav.NewWriter(file, wav.Spec{Channels: 2, Rate: rate, Encoding: wav.PCM24, RF64: true})
	if err != nil {
		t.Fatal(err)
	}
	for written := int64(0); written < size; written += rate * 6 {
		if err := w.Write(second); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(fmt.Errorf("%s: %w", path, err))
	}
}
