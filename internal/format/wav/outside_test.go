package wav

import (
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	"plumbline/internal/format"
	"plumbline/internal/format/formattest"
	"plumbline/recording"
)

func openFile(t *testing.T, path string) recording.Recording {
	t.Helper()
	rec, err := format.Open([]format.Format{Format{}}, formattest.File(path), format.Options{})
	if err != nil {
		t.Fatal(err)
	}
	return rec
}

// TestFilesOfLibsndfile: what libsndfile wrote is read with the samples libsndfile reads.
func TestFilesOfLibsndfile(t *testing.T) {
	dir := t.TempDir()
	formattest.Python(t, dir, `
import numpy as np, soundfile as sf
x = np.random.default_rng(5).uniform(-1, 1, (1001, 3))
for container in ("WAV", "WAVEX", "RF64"):
    for kind in ("PCM_16", "PCM_24", "PCM_32", "FLOAT", "DOUBLE"):
        name = container + "-" + kind
        sf.write(name + ".wav", x, 51200, subtype=kind, format=container)
        sf.read(name + ".wav")[0].tofile(name + ".raw")
`)
	bits := map[string]int{"PCM_16": 16, "PCM_24": 24, "PCM_32": 32}
	for _, container := range []string{"WAV", "WAVEX", "RF64"} {
		for _, kind := range []string{"PCM_16", "PCM_24", "PCM_32", "FLOAT", "DOUBLE"} {
			path := filepath.Join(dir, container+"-"+kind)
			rec := openFile(t, path+".wav")
			if rec.Info.Rate != 51200 || rec.Info.Frames != 1001 || rec.Info.Channels[2].Bits != bits[kind] || len(rec.Info.Notes) > 0 {
				t.Errorf("%s %s: %+v", container, kind, rec.Info)
			}
			if d := formattest.Differ(samples(t, rec), formattest.Raw(t, path+".raw", 3)); d != "" {
				t.Errorf("%s %s: %s", container, kind, d)
			}
		}
	}
}

// TestFilesOfSox: what sox wrote is read with the samples libsndfile reads, a stream without a length too.
func TestFilesOfSox(t *testing.T) {
	dir := t.TempDir()
	tone := []string{"-R", "-n", "-r", "12800", "-c", "2"}
	synth := []string{"synth", "0.25", "sine", "160", "sine", "315", "vol", "0.7"}
	var names []string
	for name, kind := range map[string][]string{"16": {"-b", "16"}, "24": {"-b", "24"}, "32": {"-b", "32"},
		"float": {"-e", "floating-point", "-b", "32"}, "double": {"-e", "floating-point", "-b", "64"}} {
		args := append(append(append([]string{}, tone...), kind...), name+".wav")
		formattest.Command(t, dir, "sox", append(args, synth...)...)
		names = append(names, name)
	}
	formattest.Command(t, dir, "sh", "-c", "sox -R -n -r 12800 -c 2 -b 24 -t wav - "+strings.Join(synth, " ")+" 2>/dev/null | cat >stream.wav")
	formattest.Command(t, dir, "cp", "24.wav", "complete.wav") // libsndfile reads the same samples from a file with a length
	names = append(names, "stream")
	formattest.Python(t, dir, `
import soundfile as sf, shutil
for name in ("16", "24", "32", "float", "double"):
    sf.read(name + ".wav")[0].tofile(name + ".raw")
shutil.copy("24.raw", "stream.raw")
`)
	for _, name := range names {
		rec := openFile(t, filepath.Join(dir, name+".wav"))
		if d := formattest.Differ(samples(t, rec), formattest.Raw(t, filepath.Join(dir, name+".raw"), 2)); d != "" {
			t.Errorf("%s: %s", name, d)
		}
		if rec.Info.Rate != 12800 || (name == "stream") != (len(rec.Info.Notes) > 0) {
			t.Errorf("%s: rate %v, notes %q", name, rec.Info.Rate, rec.Info.Notes)
		}
	}
}

// TestReadersOfOurFiles: sox, sndfile-info, scipy and libsndfile read what Writer writes.
func TestReadersOfOurFiles(t *testing.T) {
	dir := t.TempDir()
	block := [][]float64{{0.5, -0.25, 0x1p-23, -1, 1 - 0x1p-23}, {0, 0.125, -0.75, 0x1p-22, -0x1p-23}}
	for name, spec := range map[string]Spec{"p": {Encoding: PCM24}, "f": {Encoding: Float32}, "pl": {Encoding: PCM24, RF64: true}, "fl": {Encoding: Float32, RF64: true}} {
		spec.Channels, spec.Rate = 2, 25600
		f, err := os.Create(filepath.Join(dir, name+".wav"))
		if err != nil {
			t.Fatal(err)
		}
		w, err := NewWriter(f, spec)
		if err == nil {
			err = w.Write(block)
		}
		if err == nil {
			err = w.Close()
		}
		if err == nil {
			err = f.Close()
		}
		if err != nil {
			t.Fatal(err)
		}
		for option, want := range map[string]string{"-r": "25600", "-c": "2", "-s": "5"} {
			if got := strings.TrimSpace(formattest.Command(t, dir, "soxi", option, name+".wav")); got != want {
				t.Errorf("%s: soxi %s says %q, want %q", name, option, got, want)
			}
		}
		if got := formattest.Command(t, dir, "sndfile-info", name+".wav"); !strings.Contains(got, "Frames      : 5") {
			t.Errorf("%s: sndfile-info says %s", name, got)
		}
	}
	formattest.Python(t, dir, `
import soundfile as sf, scipy.io.wavfile, numpy as np
for name in ("p", "f", "pl", "fl"):
    x, rate = sf.read(name + ".wav")
    assert rate == 25600
    x.tofile(name + ".raw")
    if len(name) == 1:
        rate, y = scipy.io.wavfile.read(name + ".wav")
        assert rate == 25600
        y = y / 2.0**31 if y.dtype.kind == "i" else y
        assert (y == x).all()
`)
	for _, name := range []string{"p", "f", "pl", "fl"} {
		if d := formattest.Differ(formattest.Raw(t, filepath.Join(dir, name+".raw"), 2), block); d != "" {
			t.Errorf("%s: libsndfile read %s", name, d)
		}
	}
}

// TestLargeFile: a long recording is identified and read in memory that does not grow with it.
// PLUMBLINE_SOAK=1 makes it 5 GiB, beyond what 32-bit sizes can say.
func TestLargeFile(t *testing.T) {
	size := int64(64 << 20)
	if os.Getenv("PLUMBLINE_SOAK") == "1" {
		size = 5 << 30
	}
	const channels = 2
	frames := size / (3 * channels)
	path := filepath.Join(t.TempDir(), "large.wav")
	sparse(t, path, channels, frames)
	var before, after runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&before)
	rec := openFile(t, path)
	r, err := rec.Open()
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	dst := recording.Block(channels, 4096)
	var got int64
	var sum float64
	for {
		n, err := r.Read(dst)
		if err == io.EOF {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		for _, x := range dst[0][:n] {
			sum += x
		}
		got += int64(n)
	}
	runtime.ReadMemStats(&after)
	if rec.Info.Frames != frames || got != frames || sum != 0.5 || len(rec.Info.Notes) > 0 {
		t.Errorf("%d frames announced, %d read, want %d; sum %v, want 0.5; notes %q", rec.Info.Frames, got, frames, sum, rec.Info.Notes)
	}
	if used := after.TotalAlloc - before.TotalAlloc; used > 2<<20 {
		t.Errorf("%d bytes allocated for a file of %d", used, size)
	}
}

// sparse writes a file of zeros whose last frame is 0.5 in channel 1.
func sparse(t *testing.T, path string, channels int, frames int64) {
	t.Helper()
	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	w, err := NewWriter(f, Spec{Channels: channels, Rate: 51200, Encoding: PCM24, RF64: true})
	if err != nil {
		t.Fatal(err)
	}
	w.bytes = frames * int64(3*channels)
	if err := f.Truncate(w.start + w.bytes); err != nil {
		t.Fatal(err)
	}
	if _, err := f.WriteAt([]byte{0, 0, 0x40}, w.start+w.bytes-int64(3*channels)); err != nil {
		t.Fatal(err)
	}
	if _, err := f.Seek(0, io.SeekEnd); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
}

// TestBench reads the shared bench recordings: 2 channels, the rates of their scenario.
func TestBench(t *testing.T) {
	for name, want := range map[string]struct {
		rate   float64
		frames int64
		kind   string
	}{
		"general/point-01-160Hz.wav":  {12800, 64000, "WAV float 32 bit"}, // frames and rates as soxi says
		"general/point-10-5000Hz.wav": {51200, 102400, "WAV float 32 bit"},
		"seismic/point-01-100Hz.wav":  {1000, 10000, "WAV PCM 24 bit"},
		"seismic/point-08-1Hz.wav":    {200, 12000, "WAV PCM 24 bit"},
	} {
		rec := openFile(t, formattest.Shared(t, "bench", filepath.FromSlash(name)))
		if rec.Info.Rate != want.rate || rec.Info.Frames != want.frames || rec.Info.Format != want.kind {
			t.Errorf("%s: %s", name, fmt.Sprint(rec.Info))
		}
		samples(t, rec)
	}
}

// TestBenchHasNoFindings: nothing speaks against the shared bench recordings, which are good ones.
func TestBenchHasNoFindings(t *testing.T) {
	files, err := filepath.Glob(filepath.Join(filepath.Dir(formattest.Shared(t, "bench", "general")), "*", "*.wav"))
	if err != nil || len(files) < 10 {
		t.Fatalf("%d files, %v", len(files), err)
	}
	for _, path := range files {
		found, err := recording.Inspect(openFile(t, path))
		if err != nil || len(found) > 0 {
			t.Errorf("%s: %+v, %v", filepath.Base(path), found, err)
		}
	}
}
