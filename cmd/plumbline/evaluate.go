package main

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"plumbline/conformity"
	"plumbline/internal/lab"
	"plumbline/internal/resultfile"
)

func newEvaluate() *cobra.Command {
	var recordings, output string
	cmd := &cobra.Command{
		Use:   "evaluate JOB.toml",
		Short: "Compute sensitivity, uncertainty and conformity from recordings or readings",
		Long: `Evaluate reads a job file with its assets, evaluates its recordings (or the values read off a
display), prints a table and writes every figure unrounded as JSON. The format of job files is described in
docs/job-files.md, that of the result in docs/result.md.`,
		Args: exactly("JOB.toml"),
		RunE: func(cmd *cobra.Command, args []string) error {
			e, err := newLab().Evaluate(args[0], recordings)
			if err != nil {
				return err
			}
			record, err := writeResult(e, output)
			if err != nil {
				return err
			}
			if err := printEvaluation(cmd.OutOrStdout(), e); err != nil {
				return err
			}
			fmt.Fprintf(cmd.OutOrStdout(), "\nresult: %s (SHA-256 %s)\n", output, record)
			return outcome(e)
		},
	}
	cmd.Flags().StringVar(&recordings, "recordings", "", "folder of the recordings (default: that of the job file)")
	cmd.Flags().StringVarP(&output, "output", "o", "result.json", "file the result is written to")
	return cmd
}

// resultBytes is the result record.
func resultBytes(e *lab.Evaluation) ([]byte, error) {
	var b bytes.Buffer
	err := resultfile.Write(&b, e.ResultFile())
	return b.Bytes(), err
}

// writeResult writes the result record and returns its SHA-256.
func writeResult(e *lab.Evaluation, path string) (digest string, err error) {
	b, err := resultBytes(e)
	if err != nil {
		return "", err
	}
	return lab.Digest(b), writeFile(path, b)
}

// writeFile writes a whole file or none of it.
func writeFile(path string, data []byte) error {
	f, err := os.CreateTemp(filepath.Dir(path), "."+filepath.Base(path)+"-*")
	if err != nil {
		var where *fs.PathError
		if errors.As(err, &where) {
			return fmt.Errorf("%s: %w", path, where.Err)
		}
		return err
	}
	_, err = f.Write(data)
	err = errors.Join(err, f.Chmod(0o644), f.Sync(), f.Close())
	if err == nil {
		err = os.Rename(f.Name(), path)
	}
	if err != nil {
		return errors.Join(err, os.Remove(f.Name()))
	}
	return nil
}

// outcome turns refused points and a bad verdict into the exit code.
func outcome(e *lab.Evaluation) error {
	if err := e.Refused(); err != nil {
		return err
	}
	if e.Overall == conformity.DoesNotConform || e.Overall == conformity.ConditionallyDoesNotConform {
		return exitError{exitDoesNotConform, fmt.Errorf("device %s %s", e.Result.Job.Device.Serial, e.Overall)}
	}
	return nil
}
