package main

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"plumbline/certificate/pdf"
	"plumbline/internal/assets"
	"plumbline/internal/lab"
)

func newCertificate() *cobra.Command {
	var recordings, output string
	var replace bool
	cmd := &cobra.Command{
		Use:   "certificate JOB.toml",
		Short: "Evaluate a job and write its certificate as PDF",
		Long: `Certificate evaluates the job from its recordings, writes the result record beside the certificate and the
certificate as PDF. Made twice from the same files it is the same to the byte. An existing certificate
is not overwritten.`,
		Args: exactly("JOB.toml"),
		RunE: func(cmd *cobra.Command, args []string) error {
			e, err := newLab().Evaluate(args[0], recordings)
			if err != nil {
				return err
			}
			if err := e.Refused(); err != nil {
				return fmt.Errorf("no certificate while points have no value; record them again, or take them out of the job and say so under its deviations\n%w", err)
			}
			paths, err := writeCertificate(e, output, replace)
			if err != nil {
				return err
			}
			fmt.Fprintf(cmd.OutOrStdout(), "certificate: %s\nresult record: %s\n", paths[0], paths[1])
			return outcome(e)
		},
	}
	cmd.Flags().StringVar(&recordings, "recordings", "", "folder of the recordings (default: that of the job file)")
	cmd.Flags().StringVarP(&output, "output", "o", "certificate.pdf", "file the certificate is written to; the result record goes beside it, as NAME.result.json")
	cmd.Flags().BoolVar(&replace, "replace", false, "overwrite an existing certificate")
	return cmd
}

// writeCertificate writes certificate and result record and returns their paths.
func writeCertificate(e *lab.Evaluation, output string, replace bool) (paths [2]string, err error) {
	fonts, err := assets.Fonts()
	if err != nil {
		return paths, err
	}
	record := strings.TrimSuffix(output, filepath.Ext(output)) + ".result.json"
	doc, digest, err := e.Certificate(filepath.Base(record))
	if err != nil {
		return paths, err
	}
	var b bytes.Buffer
	if err := pdf.Write(&b, doc, pdf.Fonts(fonts)); err != nil {
		return paths, err
	}
	result, err := resultBytes(e)
	if err != nil {
		return paths, err
	}
	if found := lab.Digest(result); found != digest {
		return paths, fmt.Errorf("%s: digest %s, the certificate names %s", record, found, digest)
	}
	if !replace {
		if err := errors.Join(unchanged(output, b.Bytes()), unchanged(record, result)); err != nil {
			return paths, err
		}
	}
	return [2]string{output, record}, errors.Join(writeFile(record, result), writeFile(output, b.Bytes()))
}

// unchanged is an error where the file exists with another content.
func unchanged(path string, content []byte) error {
	old, err := os.ReadFile(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil
	case err != nil:
		return err
	case !bytes.Equal(old, content):
		return fmt.Errorf("%s exists and differs: choose another place, or --replace it", path)
	}
	return nil
}
