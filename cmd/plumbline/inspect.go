package main

import (
	"errors"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"plumbline/internal/format"
	"plumbline/recording"
)

func newInspect() *cobra.Command {
	var opts format.Options
	var header int
	cmd := &cobra.Command{
		Use:   "inspect FILE...",
		Short: "Show what a recording holds, what was guessed, and what speaks against using it",
		Long: `Inspect reads recordings and shows format, channels, rate and length, everything that was guessed on reading,
and every finding with channel and sample numbers. The flags overrule the guess; the same names overrule it in a
job file (docs/recordings.md).`,
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) == 0 {
				return usage(fmt.Errorf("inspect: FILE is missing"))
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			if cmd.Flags().Changed("header-lines") {
				opts.HeaderLines = &header
			}
			var errs []error
			for _, path := range args {
				if err := inspect(cmd.OutOrStdout(), path, opts); err != nil {
					errs = append(errs, err)
				}
			}
			return errors.Join(errs...)
		},
	}
	f := cmd.Flags()
	f.StringVar(&opts.Delimiter, "delimiter", "", "tab, blank, ; , or |")
	f.StringVar(&opts.DecimalMark, "decimal", "", ". or ,")
	f.StringVar(&opts.Encoding, "encoding", "", "utf-8, utf-16le, utf-16be or windows-1252")
	f.IntVar(&header, "header-lines", 0, "lines before the first line of numbers")
	f.StringVar(&opts.TimeColumn, "time-column", "", "name or number of the column of times, or none")
	f.StringSliceVar(&opts.Units, "units", nil, "unit of each channel, for example V,V")
	f.Float64Var(&opts.Rate, "rate", 0, "samples per second")
	return cmd
}

func inspect(w io.Writer, path string, opts format.Options) error {
	rec, err := newLab().Open(path, opts)
	if err != nil {
		return err
	}
	findings, err := recording.Inspect(rec)
	if err != nil {
		return err
	}
	fmt.Fprintf(w, "%s\n  format     %s\n  SHA-256    %s\n  rate       %.10g samples per second\n", rec.Name, rec.Info.Format, rec.ID, rec.Info.Rate)
	if rec.Info.Frames >= 0 {
		fmt.Fprintf(w, "  length     %d frames, %.6g s\n", rec.Info.Frames, float64(rec.Info.Frames)/rec.Info.Rate)
	}
	if !rec.Info.Start.IsZero() {
		fmt.Fprintf(w, "  start      %s\n", rec.Info.Start.Format("2006-01-02 15:04:05.000"))
	}
	for i, c := range rec.Info.Channels {
		unit := c.Unit.Symbol
		switch unit {
		case "":
			unit = "unit unknown"
		case "FS":
			unit = "fraction of full scale"
		}
		fmt.Fprintf(w, "  channel %-2d %s (%s)\n", i+1, orNone(c.Name), unit)
	}
	for _, n := range rec.Info.Notes {
		fmt.Fprintf(w, "  guessed    %s\n", n)
	}
	refused := 0
	for _, f := range findings {
		kind := "remark "
		if f.Refuse {
			kind = "refused"
			refused++
		}
		fmt.Fprintf(w, "  %s    %s\n", kind, f.Text)
	}
	if len(findings) == 0 {
		fmt.Fprintln(w, "  findings   none")
	}
	if refused > 0 {
		return fmt.Errorf("recording %s: %d findings forbid using it", rec.Name, refused)
	}
	return nil
}

func orNone(name string) string {
	if name == "" {
		return "(no name)"
	}
	return name
}
