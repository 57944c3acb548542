// Command testrun runs every check of the tree once, ending with one line that counts them.
//
// Counted are: gofmt and go vet (one each), every top-level test, example and fuzz seed run, and every short fuzz run. Packages that
// start goroutines run under the race detector; where one has tests named TestRace..., as those whose other tests compute for long, these alone do, and the others run without. A skipped test is a failure unless its reason contains the word "shared": only
// recordings kept beside the repository may be absent.
package main

import (
	"bytes"
	"flag"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"time"
)

func main() {
	fuzz := flag.Duration("fuzztime", 2*time.Second, "how long each fuzz target runs; 0: not at all")
	race := flag.Bool("race", true, "run packages that start goroutines under the race detector")
	flag.Parse()
	total, err := run(os.Stdout, *fuzz, *race)
	if err != nil {
		fmt.Fprintln(os.Stderr, "testrun:", err)
		total.failed++
	}
	fmt.Println(total)
	if total.failed > 0 {
		os.Exit(1)
	}
}

// run executes all checks below the working directory, reporting to w.
func run(w io.Writer, fuzz time.Duration, race bool) (counts, error) {
	started := time.Now()
	packages, err := survey(".")
	if err != nil {
		return counts{}, err
	}
	root, err := exec.Command("go", "env", "GOROOT").Output() // the gofmt of the toolchain that compiles, not the one on the path
	if err != nil {
		return counts{}, fmt.Errorf("go env GOROOT: %w", err)
	}
	var total counts
	total.add(command(w, "gofmt", true, filepath.Join(strings.TrimSpace(string(root)), "bin", "gofmt"), "-l", "."))
	total.add(command(w, "go vet", false, "go", "vet", "./..."))

	var plain, racing, partly []string
	for _, p := range packages {
		switch {
		case !p.tested:
		case race && p.goroutines && p.race:
			plain, partly = append(plain, p.path), append(partly, p.path)
		case race && p.goroutines:
			racing = append(racing, p.path)
		default:
			plain = append(plain, p.path)
		}
	}
	for _, group := range []struct {
		name     string
		packages []string
		flags    []string
	}{
		{"tests", plain, nil},
		{"tests of their own under the race detector", partly, []string{"-race", "-run=^TestRace"}},
		{"tests under the race detector", racing, []string{"-race"}},
	} {
		if len(group.packages) == 0 {
			continue
		}
		fmt.Fprintf(w, "== %s\n", group.name)
		n, err := goTest(w, append(group.flags, group.packages...))
		total.add(n)
		if err != nil {
			return total, err
		}
	}
	if fuzz > 0 {
		fmt.Fprintf(w, "== fuzz targets, %v each\n", fuzz)
		for _, p := range packages {
			for _, target := range p.fuzz {
				total.add(command(w, p.path+" "+target, false, "go", "test", "-run=^$", "-fuzz=^"+target+"$", "-fuzztime="+fuzz.String(), p.path))
			}
		}
	}
	fmt.Fprintf(w, "== %.0f s\n", time.Since(started).Seconds())
	return total, nil
}

// command runs one check that passes or fails as a whole. With silent, any output is a failure too.
func command(w io.Writer, name string, silent bool, argv ...string) counts {
	cmd := exec.Command(argv[0], argv[1:]...)
	var out bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &out
	err := cmd.Run()
	if err == nil && (!silent || out.Len() == 0) {
		fmt.Fprintf(w, "ok    %s\n", name)
		return counts{passed: 1}
	}
	fmt.Fprintf(w, "FAIL  %s: %s\n%s", name, strings.Join(argv, " "), indent(out.String()))
	if err != nil {
		fmt.Fprintf(w, "      %v\n", err)
	}
	return counts{failed: 1}
}

// goTest runs go test with the arguments and reports its events.
func goTest(w io.Writer, args []string) (counts, error) {
	cmd := exec.Command("go", append([]string{"test", "-json", "-count=1", "-timeout=12m"}, args...)...)
	var complaints bytes.Buffer
	cmd.Stderr = &complaints
	events, err := cmd.StdoutPipe()
	if err != nil {
		return counts{}, err
	}
	if err := cmd.Start(); err != nil {
		return counts{}, err
	}
	n, err := report(w, events)
	if waited := cmd.Wait(); waited != nil && n.failed == 0 {
		n.failed++
		fmt.Fprintf(w, "FAIL  go test: %v\n", waited)
	}
	fmt.Fprint(w, indent(complaints.String()))
	return n, err
}

func indent(text string) string {
	if text == "" {
		return ""
	}
	return "      " + strings.ReplaceAll(strings.TrimRight(text, "\n"), "\n", "\n      ") + "\n"
}
