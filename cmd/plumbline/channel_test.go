package main

import (
	"bytes"
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/pelletier/go-toml/v2"

	"plumbline/internal/format/wav"
)

// voltages writes recordings of 1 V rms on two channels: full scale of 8 V and 12 V, corners of 0.4 Hz and 0.25 Hz, the second 30 µs later, noise of 20 µV.
func voltages(t *testing.T, dir string) []string {
	t.Helper()
	const rate, seed = 2000.0, 20261126
	rng := rand.New(rand.NewPCG(seed, 1))
	var names []string
	for _, f := range []float64{0.5, 1, 3, 10, 40, 160} {
		name := filepath.Join(dir, fmt.Sprintf("%gHz.wav", f))
		file, err := os.Create(name)
		if err != nil {
			t.Fatal(err)
		}
		w, err := wav.NewWriter(file, wav.Spec{Rate: rate, Channels: 2, Encoding: wav.PCM24})
		if err != nil {
			t.Fatal(err)
		}
		n := int(rate * math.Max(10, 12/f))
		block := [][]float64{make([]float64, n), make([]float64, n)}
		for c, in := range []struct{ full, corner, delay float64 }{{8, 0.4, 0}, {12, 0.25, 30e-6}} {
			h := complex(math.Sqrt2/in.full, 0) / complex(1, -in.corner/f) * cmplx.Exp(complex(0, -2*math.Pi*f*in.delay))
			for k := range n {
				block[c][k] = real(h*cmplx.Exp(complex(0, 2*math.Pi*f*float64(k)/rate))) + 20e-6/in.full*rng.NormFloat64()
			}
		}
		if err := w.Write(block); err != nil {
			t.Fatal(err)
		}
		if err := w.Close(); err != nil {
			t.Fatal(err)
		}
		if err := file.Close(); err != nil {
			t.Fatal(err)
		}
		names = append(names, name)
	}
	return names
}

// number is the number at the front of a text.
func number(t *testing.T, text string) float64 {
	t.Helper()
	x, err := strconv.ParseFloat(strings.TrimPrefix(strings.Fields(text)[0], "±"), 64)
	if err != nil {
		t.Fatal(err)
	}
	return x
}

// TestChannel calibrates the two channels of made recordings and finds what they were made with.
func TestChannel(t *testing.T) {
	dir := t.TempDir()
	files := voltages(t, dir)
	var out, errs bytes.Buffer
	flags := []string{"channel", "--voltage", "1 V rms", "--u", "0.1 %", "--u-flatness", "10 ppm", "--corners", "1", "--mains", "50 Hz"}
	if code := run(append(flags, files...), &out, &errs); code != 0 {
		t.Fatalf("exit code %d: %s", code, errs.String())
	}
	var read struct {
		Recorder struct {
			Channel []struct {
				Name, Full_scale, U_gain, Delay, U_delay, Coupling string
				Filters                                            []struct{ High_pass, U string }
			}
		}
	}
	if err := toml.Unmarshal(out.Bytes(), &read); err != nil {
		t.Fatalf("%v\n%s", err, out.String())
	}
	if len(read.Recorder.Channel) != 2 {
		t.Fatalf("%d channels:\n%s", len(read.Recorder.Channel), out.String())
	}
	for i, want := range []struct{ full, corner, delay float64 }{{8, 0.4, 0}, {12, 0.25, 30e-6}} {
		c := read.Recorder.Channel[i]
		if got := number(t, c.Full_scale); math.Abs(got/want.full-1) > 1e-4 || math.Abs(number(t, c.U_gain)-0.1) > 1e-3 {
			t.Errorf("channel %s: full scale %s, u %s, want %g V and 0.1 %%", c.Name, c.Full_scale, c.U_gain, want.full)
		}
		got, u := number(t, c.Filters[0].High_pass), number(t, c.Filters[0].U)/100*want.corner
		if math.Abs(got-want.corner) > 3*u || u > 2e-3*want.corner || c.Coupling != "AC" {
			t.Errorf("channel %s: corner %g Hz ± %g Hz, want %g Hz", c.Name, got, u, want.corner)
		}
		if got, u := number(t, c.Delay), number(t, c.U_delay); math.Abs(got-want.delay) > 3*u || u > 2e-7 {
			t.Errorf("channel %s: delay %g s ± %g s, want %g s", c.Name, got, u, want.delay)
		}
	}
	if t.Failed() {
		t.Log(out.String())
	}
	file := filepath.Join(dir, "channels.toml")
	more := append(flags, "--asset", "--source", "VS-1", "--columns", "2", "-o", file)
	if code := run(append(more, files...), &out, &errs); code != 0 {
		t.Fatalf("exit code %d: %s", code, errs.String())
	}
	text, err := os.ReadFile(file)
	if err != nil || !strings.Contains(string(text), "[[channel]]\nname = \"2\"\n") || !strings.Contains(string(text), "source = \"VS-1\"\nu_gain_source = \"0.1 %\"\n") {
		t.Errorf("%v:\n%s", err, text)
	}
	if code := run(append(more, files...), &out, &errs); code != exitFailure {
		t.Errorf("over a file that is there: exit code %d", code)
	}
}

// TestChannelRefuses says what is missing.
func TestChannelRefuses(t *testing.T) {
	good := []string{"channel", "--voltage", "1 V rms", "--u", "0.1 %", "--corners", "0", "--mains", "50 Hz"}
	for _, c := range []struct {
		args []string
		code int
		want string
	}{
		{[]string{"channel"}, exitUsage, "FILE is missing"},
		{[]string{"channel", "1Hz.wav"}, exitUsage, "--voltage is missing"},
		{append(good, "--voltage", "1 V", "1Hz.wav"), exitUsage, "peak, rms or peak-to-peak"},
		{append(good, "--u", "-1 %", "1Hz.wav"), exitUsage, "--u: "},
		{append(good, "low.wav"), exitFailure, "at which frequency?"},
		{append(good, "0 Hz=low.wav"), exitFailure, "values above zero"},
		{append(good, "1 Hz=absent.wav"), exitFailure, "absent.wav"},
	} {
		var out, errs bytes.Buffer
		if code := run(c.args, &out, &errs); code != c.code || !strings.Contains(errs.String(), c.want) {
			t.Errorf("%q: exit code %d, %q, want %d and %q", c.args, code, errs.String(), c.code, c.want)
		}
	}
}
