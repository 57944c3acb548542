// Command bench runs Go benchmarks and the numpy or scipy programs that do the same work one after the other, printing the ratio of their times.
package main

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
)

// pair is one piece of work done by both.
type pair struct {
	work      string // what is done
	folder    string // Go package, relative to the repository's root
	benchmark string // full name of the Go benchmark
	script    string // Python program in the package's testdata; empty where there is nothing to compare with
	line      string // what its line of output starts with, before the colon: "NAME: 12.3 ms"
}

// pairs lists what is compared. Both sides run on one core and report their best of several runs.
var pairs = []pair{
	{"1e6 Monte Carlo trials of 12 inputs", "uncertainty", "BenchmarkTrials", "bench_numpy.py", "trials"},
	{"streaming fit with mains lines, matrix product", "sine", "BenchmarkAccumulator/mains", "bench_scipy.py", "mains batched"},
	{"streaming fit with mains lines, lstsq a block", "sine", "BenchmarkAccumulator/mains", "bench_scipy.py", "mains lstsq"},
	{"streaming fit, slow point, matrix product", "sine", "BenchmarkAccumulator/slow", "bench_scipy.py", "slow batched"},
	{"streaming fit, slow point, lstsq a block", "sine", "BenchmarkAccumulator/slow", "bench_scipy.py", "slow lstsq"},
	{"look of the settling judge at 60 blocks", "steady", "BenchmarkLook60", "", ""},
	{"ten-point calibration with Monte Carlo", "cmd/plumbline", "BenchmarkTenPoints", "", ""},
	{"whole evaluation of 60 s, one matrix product", "cmd/plumbline", "BenchmarkEvaluate/60s", "bench_evaluate.py", "evaluate 60s"},
	{"whole evaluation of 600 s, one matrix product", "cmd/plumbline", "BenchmarkEvaluate/600s", "bench_evaluate.py", "evaluate 600s"},
	{"whole evaluation of 600 s, lstsq a block", "cmd/plumbline", "BenchmarkEvaluate/600s", "bench_evaluate.py", "evaluate by lstsq 600s"},
}

func main() {
	if err := run(os.Stdout); err != nil {
		fmt.Fprintln(os.Stderr, "bench:", err)
		os.Exit(1)
	}
}

func run(w io.Writer) error {
	dir, err := os.MkdirTemp("", "plumbline-bench-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	if err := os.Setenv("PLUMBLINE_BENCH_DIR", dir); err != nil { // recordings that both sides read
		return err
	}
	ours := make([]float64, len(pairs))
	for i, p := range pairs { // all of ours first: the programs evaluate what our benchmarks wrote
		if ours[i], err = goTime(p); err != nil {
			return err
		}
	}
	scripts := map[string][]byte{} // each is run once
	fmt.Fprintf(w, "%-48s %12s %12s %9s\n", "best of several runs on one core", "Go ms", "Python ms", "Python/Go")
	for i, p := range pairs {
		if p.script == "" { // ours alone: a cost, not a comparison
			fmt.Fprintf(w, "%-48s %12.3f\n", p.work, ours[i])
			continue
		}
		file := filepath.Join(p.folder, "testdata", p.script)
		if scripts[file] == nil {
			if scripts[file], err = output(python(file)); err != nil {
				return err
			}
		}
		theirs, err := pythonTime(scripts[file], p.line)
		if err != nil {
			return fmt.Errorf("%s: %w", file, err)
		}
		fmt.Fprintf(w, "%-48s %12.3f %12.3f %9.2f\n", p.work, ours[i], theirs, theirs/ours[i])
	}
	return nil
}

// goTime is the best time of the pair's benchmark in ms.
func goTime(p pair) (float64, error) {
	text, err := output(exec.Command("go", "test", "-run=^$", "-bench=^"+p.benchmark+"$", "-cpu=1", "-benchtime=0.3s", "-count=5", "./"+p.folder))
	if err != nil {
		return 0, err
	}
	return bestGo(text, p.benchmark)
}

var goLine = regexp.MustCompile(`(?m)^(Benchmark\S+)\s+\d+\s+([0-9.e+]+) ns/op`)

func bestGo(text []byte, benchmark string) (float64, error) {
	best := math.Inf(1)
	for _, m := range goLine.FindAllSubmatch(text, -1) {
		ns, err := strconv.ParseFloat(string(m[2]), 64)
		if err != nil {
			return 0, err
		}
		if string(m[1]) == benchmark {
			best = min(best, ns/1e6)
		}
	}
	if math.IsInf(best, 1) {
		return 0, fmt.Errorf("no benchmark %s in\n%s", benchmark, text)
	}
	return best, nil
}

// python is the interpreter that has numpy and scipy from Debian's packages; one thread, so that both sides use one core.
func python(script string) *exec.Cmd {
	cmd := exec.Command("/usr/bin/python3", script)
	cmd.Env = append(os.Environ(), "OMP_NUM_THREADS=1", "OPENBLAS_NUM_THREADS=1", "MKL_NUM_THREADS=1")
	return cmd
}

func pythonTime(text []byte, name string) (float64, error) {
	m := regexp.MustCompile(`(?m)^` + regexp.QuoteMeta(name) + `: ([0-9.e+-]+) ms`).FindSubmatch(text)
	if m == nil {
		return 0, fmt.Errorf("no line %q in\n%s", name+": ... ms", text)
	}
	return strconv.ParseFloat(string(m[1]), 64)
}

func output(cmd *exec.Cmd) ([]byte, error) {
	var out, complaints bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &complaints
	if err := cmd.Run(); err != nil {
		return nil, fmt.Errorf("%v: %w\n%s%s", cmd.Args, err, out.Bytes(), complaints.Bytes())
	}
	return out.Bytes(), nil
}
