package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func TestTimesAreRead(t *testing.T) {
	const text = `BenchmarkFit         	      10	  30000000 ns/op	 12 Mtrials/s
BenchmarkFit         	      10	  20000000 ns/op
BenchmarkFitLong     	      10	     1.5 ns/op
`
	if got, err := bestGo([]byte(text), "BenchmarkFit"); err != nil || got != 20 {
		t.Errorf("%v ms, %v", got, err)
	}
	if _, err := bestGo([]byte(text), "BenchmarkOther"); err == nil {
		t.Error("a missing benchmark is accepted")
	}
	const python = "trials and two quantiles: 90.0 ms, 11 million\ntrials: 77.5 ms, 12.9 million trials/s\n"
	if got, err := pythonTime([]byte(python), "trials"); err != nil || got != 77.5 {
		t.Errorf("%v ms, %v", got, err)
	}
	if _, err := pythonTime([]byte(python), "fit"); err == nil {
		t.Error("a missing line is accepted")
	}
}

// Every pair names a benchmark and a program that exist, so that the comparison cannot rot unseen.
func TestPairsExist(t *testing.T) {
	root := filepath.Join("..", "..")
	for _, p := range pairs {
		names, err := filepath.Glob(filepath.Join(root, p.folder, "*_test.go"))
		if err != nil {
			t.Fatal(err)
		}
		found := false
		for _, name := range names {
			text, err := os.ReadFile(name)
			if err != nil {
				t.Fatal(err)
			}
			function, _, _ := strings.Cut(p.benchmark, "/")
			found = found || strings.Contains(string(text), "func "+function+"(b *testing.B)")
		}
		if !found {
			t.Errorf("%s: no benchmark %s", p.folder, p.benchmark)
		}
		if p.script == "" {
			continue
		}
		if _, err := os.Stat(filepath.Join(root, p.folder, "testdata", p.script)); err != nil {
			t.Error(err)
		}
	}
}
