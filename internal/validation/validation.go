// Package validation reruns the studies that show how far the numbers can be trusted.
package validation

import (
	"fmt"
	"io"
	"math"
	"strings"
)

// Effort is how much is computed.
type Effort uint8

// The efforts: a few minutes, or an hour and more.
const (
	Quick Effort = iota
	Full
	smoke // a twentieth of Quick, for tests
)

// Settings of a run.
type Settings struct {
	Effort  Effort
	Runs    int // of a study whose runs can be counted in one number, whatever the effort; 0: as the effort has it
	Seed    uint64
	Workers int
}

// runs is the number of runs of a study at an effort.
func (s Settings) runs(quick, full int) int {
	if s.Runs > 0 {
		return s.Runs
	}
	switch s.Effort {
	case Full:
		return full
	case smoke:
		return quick / 20
	}
	return quick
}

// Study is one study: it writes its findings as Markdown and returns what missed its target.
type Study struct {
	Name  string // short word, for the command line
	Title string
	Run   func(Settings, io.Writer) (misses []string, err error)
}

// Studies lists every study in the order of the report.
func Studies() []Study {
	return []Study{
		{"estimator", "Estimator against the Cramér-Rao bound", estimator},
		{"settling", "Has the point settled?", settling},
		{"coverage", "Do 95.45 % intervals hold the truth?", coverage},
		{"evaluations", "First order against Monte Carlo", evaluations},
		{"plan", "Predicted against achieved", planned},
		{"live", "Sets measured live on the simulated bench", live},
		{"decisions", "Decision rules: simulated against stated risk", decisions},
	}
}

// table writes a Markdown table.
func table(w io.Writer, head []string, rows [][]string) {
	fmt.Fprintf(w, "| %s |\n|%s\n", strings.Join(head, " | "), strings.Repeat("---|", len(head)))
	for _, r := range rows {
		fmt.Fprintf(w, "| %s |\n", strings.Join(r, " | "))
	}
	fmt.Fprintln(w)
}

// binomial is three standard deviations of a proportion p found in n runs.
func binomial(p float64, n int) float64 { return 3 * math.Sqrt(p*(1-p)/float64(n)) }

func percent(x float64, decimals int) string { return fmt.Sprintf("%.*f %%", decimals, 100*x) }
