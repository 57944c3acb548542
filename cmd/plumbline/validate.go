package main

import (
	"bytes"
	"fmt"
	"io"
	"runtime"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"plumbline/internal/validation"
)

// validationSeed is the seed of the committed report.
const validationSeed = 20261125

func newValidate() *cobra.Command {
	settings := validation.Settings{Workers: runtime.GOMAXPROCS(0)}
	var full bool
	var only []string
	var output string
	cmd := &cobra.Command{
		Use:   "validate",
		Short: "Rerun the studies that show how far the numbers can be trusted",
		Long: `Validate reruns the studies behind VALIDATION.md: the estimator against its bound, coverage of the stated
intervals in complete simulated calibrations, first order against Monte Carlo, plans carried out and
sets measured live on the simulated bench, decision rules. The quick run takes minutes, the full one some hours. It exits with 1 where a target is missed.`,
		Args: exactly(),
		RunE: func(cmd *cobra.Command, _ []string) error {
			if settings.Runs < 0 {
				return usage(fmt.Errorf("validate: --runs is %d, allowed are 1 and more", settings.Runs))
			}
			if full {
				settings.Effort = validation.Full
			}
			var report bytes.Buffer
			misses, err := validate(io.MultiWriter(cmd.OutOrStdout(), &report), settings, only)
			if err != nil {
				return err
			}
			if output != "" {
				if err := writeFile(output, report.Bytes()); err != nil {
					return err
				}
			}
			if len(misses) > 0 {
				return fmt.Errorf("%d targets missed: %s", len(misses), strings.Join(misses, "; "))
			}
			return nil
		},
	}
	f := cmd.Flags()
	f.BoolVar(&full, "full", false, "as many runs as the report needs")
	f.IntVar(&settings.Runs, "runs", 0, "runs of each study, instead of as many as the run has")
	f.Uint64Var(&settings.Seed, "seed", validationSeed, "seed of all random draws")
	f.StringSliceVar(&only, "only", nil, "names of the studies to run (default: all)")
	f.StringVarP(&output, "output", "o", "", "file the report is written to as well, for example VALIDATION.md")
	return cmd
}

// validate writes the report and returns what missed its target.
func validate(w io.Writer, s validation.Settings, only []string) (misses []string, err error) {
	effort := "quick"
	if s.Effort == validation.Full {
		effort = "full"
	}
	if s.Runs > 0 {
		effort = fmt.Sprintf("%d-runs", s.Runs)
	}
	fmt.Fprintf(w, "# Validation\n\nWritten by `plumbline validate`, %s run, seed %d, version %s. Everything is simulated; no hardware was measured. Sizes of effects are assumed, of the right order for "+
		"the instruments of the trade.\n\n", effort, s.Seed, version)
	known := map[string]bool{}
	for _, study := range validation.Studies() {
		known[study.Name] = true
		if len(only) > 0 && !slices.Contains(only, study.Name) {
			continue
		}
		fmt.Fprintf(w, "## %s\n\n", study.Title)
		m, err := study.Run(s, w)
		if err != nil {
			return nil, fmt.Errorf("study %s: %w", study.Name, err)
		}
		misses = append(misses, m...)
	}
	for _, name := range only {
		if !known[name] {
			return nil, usage(fmt.Errorf("no study %q", name))
		}
	}
	if len(misses) == 0 {
		fmt.Fprintln(w, "Every target was met.")
		return nil, nil
	}
	fmt.Fprintln(w, "Targets missed:")
	for _, m := range misses {
		fmt.Fprintf(w, "- %s\n", m)
	}
	return misses, nil
}
