package main

import (
	"bytes"
	"errors"
	"fmt"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"
	"gonum.org/v1/plot/vg"

	"plumbline/certificate/pdf"
	"plumbline/figure"
	"plumbline/internal/assets"
	"plumbline/internal/jobfile"
	"plumbline/internal/planfile"
	"plumbline/plan"
)

func newPlan() *cobra.Command {
	var points, output string
	var drawings []string
	var replace bool
	cmd := &cobra.Command{
		Use:   "plan JOB.toml",
		Short: "Say which points are feasible, at which level, how long they take and how good they will be",
		Long: `Plan reads a job file before anything is mounted: device, reference, exciter, recorder, motion of the
ground and what is wanted. It prints each point with the limit that binds, the level, the predicted
uncertainty and the time, in the order of measuring, and what would make an infeasible wish feasible;
writes the plan as JSON; and draws the level against frequency with every limit. The tables it needs
are described in docs/job-files.md, section Planning.`,
		Args: exactly("JOB.toml"),
		RunE: func(cmd *cobra.Command, args []string) error {
			job, request, err := jobfile.LoadPlan(jobfile.OS, args[0])
			if err != nil {
				return err
			}
			p, err := plan.Make(request)
			if err != nil {
				return err
			}
			if err := printPlan(cmd.OutOrStdout(), p, job.Particulars.Invented); err != nil {
				return err
			}
			files, err := planFiles(p, points, output, drawings)
			if err != nil {
				return err
			}
			if err := writePlanned(files, points, replace); err != nil {
				return err
			}
			for _, f := range files {
				fmt.Fprintf(cmd.OutOrStdout(), "%-12s %s\n", f.what, f.path)
			}
			return nil
		},
	}
	cmd.Flags().StringVarP(&points, "output", "o", "", "file the points are written to, as tables [[point]] for the job file")
	cmd.Flags().StringVar(&output, "json", "plan.json", "file the plan is written to")
	cmd.Flags().StringSliceVar(&drawings, "figure", []string{"plan.svg"}, "file the figure is drawn in, NAME.svg, NAME.png or NAME.pdf; more than one with commas")
	cmd.Flags().BoolVar(&replace, "replace", false, "overwrite an existing file of points")
	return cmd
}

// madeFile is a file to be written.
type madeFile struct {
	what, path string
	content    []byte
}

// planFiles makes everything the plan is written to.
func planFiles(p plan.Plan, points, output string, drawings []string) ([]madeFile, error) {
	var b bytes.Buffer
	if err := planfile.Write(&b, planfile.Make(p, version)); err != nil {
		return nil, err
	}
	files := []madeFile{{"plan", output, bytes.Clone(b.Bytes())}}
	for _, path := range drawings {
		b.Reset()
		if err := drawPlan(&b, p, path); err != nil {
			return nil, err
		}
		files = append(files, madeFile{"figure", path, bytes.Clone(b.Bytes())})
	}
	if points != "" {
		b.Reset()
		if err := planfile.WritePoints(&b, p); err != nil {
			return nil, err
		}
		files = append(files, madeFile{"points", points, bytes.Clone(b.Bytes())})
	}
	return files, nil
}

// writePlanned writes the files. The points, which people edit, are not overwritten unasked.
func writePlanned(files []madeFile, points string, replace bool) error {
	var errs []error
	for _, f := range files {
		if f.path == points && !replace {
			if err := unchanged(f.path, f.content); err != nil {
				return err
			}
		}
	}
	for _, f := range files {
		errs = append(errs, writeFile(f.path, f.content))
	}
	return errors.Join(errs...)
}

// Size and resolution of the figure.
const (
	figureWidth, figureHeight = vg.Length(482), vg.Length(320)
	figureDots                = 200
)

// drawPlan draws the envelope in the format the name's extension says.
func drawPlan(b *bytes.Buffer, p plan.Plan, path string) error {
	fonts, err := assets.Fonts()
	if err != nil {
		return err
	}
	faces, err := figure.NewType(figure.Fonts(fonts))
	if err != nil {
		return err
	}
	e := envelope(p)
	switch ext := strings.ToLower(filepath.Ext(path)); ext {
	case ".svg":
		return figure.SVG(b, e, figureWidth, figureHeight, faces)
	case ".png":
		return figure.PNG(b, e, figureWidth, figureHeight, figureDots, faces)
	case ".pdf":
		return pdf.Figure(b, e, figureWidth, figureHeight, p.Request.Job.Performed, figure.Fonts(fonts))
	default:
		return usage(fmt.Errorf("plan: figure %s: extension %q, allowed are .svg, .png and .pdf", path, ext))
	}
}

// envelope is the figure of a plan, a little wider than its points.
func envelope(p plan.Plan) figure.Envelope {
	r := p.Request
	e := figure.Envelope{Title: fmt.Sprintf("Levels of %s on %s", r.Job.Device.Serial, r.Exciter.Serial), Unit: r.UnitText()}
	low, high := r.Job.Device.ReferenceFrequency, r.Job.Device.ReferenceFrequency
	for _, q := range p.Points {
		if !q.Repeat {
			e.Points = append(e.Points, figure.EnvelopePoint{Frequency: q.Frequency, Level: r.InUnit(q.Level, q.Frequency), Open: q.Together})
			low, high = min(low, q.Frequency), max(high, q.Frequency)
		}
	}
	const margin = 1.3
	for _, c := range r.Envelope(low/margin, high*margin) {
		e.Limits = append(e.Limits, figure.EnvelopeLimit(c))
	}
	return e
}
