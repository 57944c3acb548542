package formattest

import (
	"encoding/binary"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// Command runs a program from outside in dir and returns what it printed. A program that is absent fails the test.
func Command(t *testing.T, dir, name string, args ...string) string {
	t.Helper()
	cmd := exec.Command(name, args...)
	cmd.Dir = dir
	out, err := cmd.CombinedOutput()
	if err != nil {
		t.Fatalf("%s %s: %v\n%s", name, strings.Join(args, " "), err, out)
	}
	return string(out)
}

// Python runs a script with the system's interpreter in dir and returns what it printed.
func Python(t *testing.T, dir, script string) string {
	t.Helper()
	return Command(t, dir, "/usr/bin/python3", "-c", script)
}

// Raw reads a file of interleaved little-endian float64.
func Raw(t *testing.T, path string, channels int) [][]float64 {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	x := make([][]float64, channels)
	for i := 0; i+8 <= len(b); i += 8 {
		c := i / 8 % channels
		x[c] = append(x[c], math.Float64frombits(binary.LittleEndian.Uint64(b[i:])))
	}
	return x
}

// Shared returns the path of a recording that is not part of the repository; the test skips where it is absent.
// PLUMBLINE_RECORDINGS says where the recordings are; a relative path starts at the root of the repository.
func Shared(t *testing.T, elements ...string) string {
	t.Helper()
	root := os.Getenv("PLUMBLINE_RECORDINGS")
	if root == "" {
		root = "../shared/recordings"
	}
	if !filepath.IsAbs(root) {
		root = filepath.Join(repository(), root)
	}
	path := filepath.Join(append([]string{root}, elements...)...)
	if _, err := os.Stat(path); err != nil {
		t.Skipf("shared recording %s is absent: set PLUMBLINE_RECORDINGS", filepath.Join(elements...))
	}
	return path
}

// repository is the folder that holds go.mod, at or above the working directory.
func repository() string {
	dir := "."
	for range 16 {
		if _, err := os.Stat(filepath.Join(dir, "go.mod")); err == nil {
			return dir
		}
		dir = filepath.Join("..", dir)
	}
	return "."
}
