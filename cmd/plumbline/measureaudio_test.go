//go:build linux

package main

import (
	"encoding/json"
	"fmt"
	"math"
	"math/cmplx"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"plumbline/internal/driver/audio/audiotest"
)

// certified is the reference of the example between 20 Hz and 80 Hz, mV/g (examples/measure/R-201-certificate.csv), to its interpolation.
const certified = 99.65

// audioJob is the job of a short live run over an audio server whose loop stands for exciter and transducers.
func audioJob(dir, server string) (string, error) {
	job, err := shortJob(dir)
	if err != nil {
		return "", err
	}
	text, err := os.ReadFile(job)
	if err != nil {
		return "", err
	}
	s := string(text)
	for from, to := range map[string]string{
		`sensitivity = "10 V/g"`:                               fmt.Sprintf(`sensitivity = "%.4g mV/g"`, 100*cmplx.Abs(audiotest.Ratio(0))),
		`flatness = "±5 %"`:                                    `flatness = "±10 %"`, // the loop's device falls with frequency
		`range = "0.5 g peak"`:                                 `range = "50 g peak"`,
		`rates = ["500 Hz", "2 kHz"]`:                          fmt.Sprintf(`rates = ["%d Hz"]`, audiotest.Rate),
		`driver = "simulator"`:                                 `driver = "audio"`,
		`drive_limit = "1 V"`:                                  `drive_limit = "0.1 V"`,
		`quiet = "5 s"`:                                        `quiet = "1 s"`,
		"[bench.simulator]\nseed = 434":                        fmt.Sprintf("[bench.audio]\nserver = %q\noutput = %q\ninput = %q\nrate = %d\noutput_channel = %d\noutput_full_scale = \"1 V\"\ncounter_output = %d\ncounter_input = %d", server, audiotest.Sink, audiotest.Source, audiotest.Rate, audiotest.DriveOutput, audiotest.CounterOutput, audiotest.CounterInput),
		`noise = { white = "0.03 µg/√Hz", corner = "100 Hz" }`: `noise = { white = "1 µg/√Hz", corner = "100 Hz" }`,
	} {
		if !strings.Contains(s, from) {
			return "", fmt.Errorf("%s: %q is not in it", job, from)
		}
		s = strings.Replace(s, from, to, 1)
	}
	return job, os.WriteFile(job, []byte(s), 0o644)
}

// TestMeasureOverAudio runs a whole calibration through the real audio driver in a closed loop, the frame counter beside it: plan, checklist, guard, points and repeats,
// result and certificate. The sensitivity is the certified one times the ratio that the loop was built with, within U and the 0.2 % between the rows of the certificate.
// Where a busy machine loses frames the program stops, for nobody answers it, and is taken up again.
func TestMeasureOverAudio(t *testing.T) {
	s := audiotest.Start(t)
	audiotest.Connect(t, s)
	dir := t.TempDir()
	job, err := audioJob(dir, s.Address)
	if err != nil {
		t.Fatal(err)
	}
	folder := filepath.Join(dir, "run")
	args := []string{job, "--run", folder, "--yes-checklist"}
	p := startMeasure(t, args...)
	for try := 0; p.end(t) != 0; try++ {
		if try == 5 || !strings.Contains(p.said(), "frames were lost") {
			t.Fatalf("exit code %d:\n%s", p.ProcessState.ExitCode(), p.said())
		}
		p = startMeasure(t, append(args, "--resume")...)
	}
	var result struct {
		Points []struct {
			Frequency   float64 `json:"frequency_Hz"`
			Sensitivity struct {
				SI struct {
					Value float64 `json:"value"`
				} `json:"modulus_SI"`
				Modulus struct {
					U float64 `json:"U"`
				} `json:"modulus_uncertainty"`
			} `json:"sensitivity"`
		} `json:"points"`
		Repeats []json.RawMessage `json:"repeats"`
	}
	text, err := os.ReadFile(filepath.Join(folder, "result.json"))
	if err == nil {
		err = json.Unmarshal(text, &result)
	}
	if err != nil {
		t.Fatal(err)
	}
	if len(result.Points) != 3 || len(result.Repeats) != 2 {
		t.Errorf("%d points and %d repeats, want 3 and 2", len(result.Points), len(result.Repeats))
	}
	for _, q := range result.Points {
		want := certified * 1e-3 / 9.80665 * cmplx.Abs(audiotest.Ratio(q.Frequency)) // V/(m/s²)
		off, most := q.Sensitivity.SI.Value/want-1, q.Sensitivity.Modulus.U+0.002
		if !(math.Abs(off) <= most) {
			t.Errorf("%.4g Hz: %.6g V/(m/s²), built was %.6g: off by %.2g %%, allowed are %.2g %%", q.Frequency, q.Sensitivity.SI.Value, want, 100*off, 100*most)
		}
	}
	if _, err := os.Stat(filepath.Join(folder, "certificate.pdf")); err != nil {
		t.Error(err)
	}
}
