package main

import (
	"bytes"
	"embed"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"plumbline/internal/format/wav"
	"plumbline/internal/simulator"
	"plumbline/quantity"
)

//go:embed demofiles
var demoFiles embed.FS

// demoSeed makes the demonstration the same every time.
const demoSeed = 20261118

// demoPoint is one recording of the demonstration.
type demoPoint struct {
	frequency float64 // Hz
	level     float64 // g peak
	duration  float64 // s
	again     bool    // a point before it, measured again at the end
}

// name is the name of the recording without its ending.
func (p demoPoint) name() string {
	if p.again {
		return fmt.Sprintf("%gHz-repeated", p.frequency)
	}
	return fmt.Sprintf("%gHz", p.frequency)
}

var demoPoints = []demoPoint{
	{80, 0.1, 12, false}, {40, 0.1, 12, false}, {20, 0.1, 12, false}, {10, 0.1, 12, false}, {5, 0.1, 20, false}, {3, 0.1, 30, false}, {2, 0.1, 40, false},
	{1, 0.04, 80, false}, {0.5, 0.011, 160, false}, {80, 0.1, 12, true}, {0.5, 0.011, 160, true},
}

// demoCertificateAt is the calibrated frequencies of the demonstration's reference, Hz.
var demoCertificateAt = []float64{0.4, 0.5, 0.63, 0.8, 1, 1.25, 1.6, 2, 2.5, 3.15, 4, 5, 6.3, 8, 10, 12.5, 16, 20, 31.5, 40, 63, 80, 125, 160, 315}

func newDemo() *cobra.Command {
	var dir string
	var replace bool
	cmd := &cobra.Command{
		Use:   "demo",
		Short: "Run an invented calibration from recordings to certificate",
		Long: `Demo writes the files of an invented calibration (job, assets and synthetic recordings whose true sensitivity is
known), evaluates them as any other job, and makes the certificate.`,
		Args: exactly(),
		RunE: func(cmd *cobra.Command, _ []string) error { return demo(cmd.OutOrStdout(), dir, replace) },
	}
	cmd.Flags().StringVar(&dir, "dir", "demo", "folder for the files")
	cmd.Flags().BoolVar(&replace, "replace", false, "overwrite files of the demonstration that were changed")
	return cmd
}

func demo(w io.Writer, dir string, replace bool) error {
	fmt.Fprintln(w, "This demonstration is invented: laboratory, people, transducers and recordings do not exist.")
	truths, err := writeDemo(dir, demoPoints, replace)
	if err != nil {
		return err
	}
	job := filepath.Join(dir, "job.toml")
	e, err := newLab().Evaluate(job, "")
	if err != nil {
		return err
	}
	fmt.Fprintln(w)
	if err := printEvaluation(w, e); err != nil {
		return err
	}
	if err := e.Refused(); err != nil {
		return err
	}
	fmt.Fprintln(w, "\nagainst the truth, which only a simulator knows:")
	for i, p := range e.Result.Points {
		d := p.Sensitivity / truths[i]
		fmt.Fprintf(w, "  %6g Hz: modulus off %+.3f %% (U %.3f %%), phase off %+.3f° (U %.3f°)\n", p.Plan.Frequency,
			100*(cmplx.Abs(d)-1), 100*p.Reported.UModulus, cmplx.Phase(d)*180/math.Pi, p.Reported.UPhase*180/math.Pi)
	}
	paths, err := writeCertificate(e, filepath.Join(dir, "certificate.pdf"), true)
	if err != nil {
		return err
	}
	fmt.Fprintf(w, "\ncertificate   %s\nresult        %s\njob           %s\nrecordings    %s\n", paths[0], paths[1], job, filepath.Join(dir, "recordings"))
	fmt.Fprintf(w, "try           plumbline evaluate %s -o result.json\n", job)
	return outcome(e)
}

// writeDemo writes job, assets, reference certificate and the recordings of points, and returns the true sensitivity at each, V/(m/s²).
func writeDemo(dir string, points []demoPoint, replace bool) ([]complex128, error) {
	if err := os.MkdirAll(filepath.Join(dir, "recordings"), 0o755); err != nil {
		return nil, err
	}
	files, err := fs.Sub(demoFiles, "demofiles")
	if err != nil {
		return nil, err
	}
	err = fs.WalkDir(files, ".", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		content, err := fs.ReadFile(files, name)
		if err != nil {
			return err
		}
		return writeDemoFile(filepath.Join(dir, name), content, replace)
	})
	if err != nil {
		return nil, err
	}
	bench := simulator.FenwickLane()
	rng := rand.New(rand.NewPCG(demoSeed, 1))
	if err := writeDemoFile(filepath.Join(dir, "R-201-certificate.csv"), demoCertificate(bench.Reference, rng), replace); err != nil {
		return nil, err
	}
	var truths []complex128
	for _, p := range points {
		samples, truth := bench.Record(simulator.Point{Frequency: p.frequency, Level: p.level * quantity.StandardGravity, Duration: p.duration}, rng)
		if err := writeWAV(filepath.Join(dir, "recordings", p.name()+".wav"), bench.Recorder, samples); err != nil {
			return nil, err
		}
		truths = append(truths, truth.Device)
	}
	return truths, nil
}

// writeDemoFile writes one file, unless it is there and someone changed it.
func writeDemoFile(path string, content []byte, replace bool) error {
	if !replace {
		if err := unchanged(path, content); err != nil {
			return err
		}
	}
	return writeFile(path, content)
}

// demoCertificate is the reference's certificate as an invented higher laboratory would state it: the truth with errors of its stated size,
// four fifths of their variance common to all frequencies.
func demoCertificate(reference simulator.Transducer, rng *rand.Rand) []byte {
	var b bytes.Buffer
	fmt.Fprintln(&b, "frequency_Hz,modulus_mV_per_m_s2,phase_deg,U_modulus_percent,U_phase_deg,k")
	commonModulus, commonPhase := rng.NormFloat64(), rng.NormFloat64()
	mix := func(common float64) float64 { return math.Sqrt(0.8)*common + math.Sqrt(0.2)*rng.NormFloat64() }
	for _, f := range demoCertificateAt {
		u := 0.25 // percent, standard uncertainty
		if f < 2 {
			u = 0.4
		}
		const uPhase = 0.1 // degrees
		s := reference.Sensitivity(f)
		modulus := 1000 * cmplx.Abs(s) * (1 + u/100*mix(commonModulus))
		phase := cmplx.Phase(s)*180/math.Pi + uPhase*mix(commonPhase)
		fmt.Fprintf(&b, "%g,%.5f,%.3f,%g,%g,2\n", f, modulus, phase, 2*u, 2*uPhase)
	}
	return b.Bytes()
}

// writeWAV writes samples in V as the recorder would, as fractions of its full scale.
func writeWAV(path string, recorder simulator.Recorder, samples [][]float64) (err error) {
	scaled := make([][]float64, len(samples))
	for c, channel := range samples {
		scaled[c] = make([]float64, len(channel))
		for i, v := range channel {
			scaled[c][i] = v / recorder.FullScale
		}
	}
	f, err := os.Create(path)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	w, err := wav.NewWriter(f, wav.Spec{Channels: len(samples), Rate: recorder.Rate, Encoding: wav.PCM24})
	if err != nil {
		return err
	}
	if err := w.Write(scaled); err != nil {
		return err
	}
	return w.Close()
}
