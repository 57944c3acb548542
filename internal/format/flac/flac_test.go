package flac

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"plumbline/internal/format"
	"plumbline/internal/format/formattest"
	"plumbline/recording"
)

// small returns a file that libsndfile 1.2.0 wrote, and its samples: code (37 i² + 1000 c [+ i³]) modulo 2^bits, less half of it.
func small(t testing.TB, bits int) (data []byte, want [][]float64) {
	t.Helper()
	name := map[int]string{16: "small16.flac", 24: "small24.flac"}[bits]
	data, err := os.ReadFile(filepath.Join("testdata", name))
	if err != nil {
		t.Fatal(err)
	}
	half := 1 << (bits - 1)
	want = make([][]float64, 2)
	for c := range want {
		for i := range 300 {
			v := 37*i*i + 1000*c
			if bits == 24 {
				v += i * i * i
			}
			want[c] = append(want[c], float64(v%(2*half)-half)/float64(half))
		}
	}
	return data, want
}

func TestContract(t *testing.T) {
	for _, bits := range []int{16, 24} {
		data, want := small(t, bits)
		formattest.Run(t, formattest.Subject{Format: Format{}, Name: "a.flac", Data: data, Want: want, Rate: 12800})
	}
}

func openFile(t *testing.T, path string) (recording.Recording, error) {
	t.Helper()
	return format.Open([]format.Format{Format{}}, formattest.File(path), format.Options{})
}

// TestFilesFromOutside: what libsndfile, sox and the flac tool wrote is read with the samples libsndfile reads.
func TestFilesFromOutside(t *testing.T) {
	dir := t.TempDir()
	formattest.Python(t, dir, `
import numpy as np, soundfile as sf
i = np.arange(20000)
x = np.stack([0.9 * np.sin(i * 0.01), 0.5 * np.sin(i * 0.017) + 0.1 * np.cos(i * 0.3)], axis=1)
for kind in ("PCM_16", "PCM_24"):
    sf.write("sf-" + kind + ".flac", x, 51200, subtype=kind)
    sf.write(kind + ".wav", x, 51200, subtype=kind)
`)
	formattest.Command(t, dir, "flac", "-s", "-8", "-b", "1000", "-o", "tool-PCM_24.flac", "PCM_24.wav")
	formattest.Command(t, dir, "sox", "PCM_16.wav", "sox-PCM_16.flac")
	formattest.Python(t, dir, `
import soundfile as sf
for name in ("sf-PCM_16", "sf-PCM_24", "tool-PCM_24", "sox-PCM_16"):
    sf.read(name + ".flac")[0].tofile(name + ".raw")
`)
	for _, name := range []string{"sf-PCM_16", "sf-PCM_24", "tool-PCM_24", "sox-PCM_16"} {
		rec, err := openFile(t, filepath.Join(dir, name+".flac"))
		if err != nil {
			t.Fatal(err)
		}
		got, err := formattest.Samples(rec, 777, 1<<20)
		if err != nil {
			t.Fatal(err)
		}
		if d := formattest.Differ(got, formattest.Raw(t, filepath.Join(dir, name+".raw"), 2)); d != "" {
			t.Errorf("%s: %s", name, d)
		}
		if rec.Info.Rate != 51200 || rec.Info.Frames != 20000 || !strings.Contains(name+" bit", strings.TrimSuffix(rec.Info.Format[5:], " bit")) {
			t.Errorf("%s: %+v", name, rec.Info)
		}
	}
}

// TestRefused: 32 bits, a cut file and a file with a block taken out give no samples by mistake.
func TestRefused(t *testing.T) {
	dir := t.TempDir()
	formattest.Command(t, dir, "sox", "-R", "-n", "-r", "8000", "-c", "1", "-b", "32", "a.wav", "synth", "0.1", "sine", "100")
	formattest.Command(t, dir, "flac", "-s", "-o", "a.flac", "a.wav")
	if _, err := openFile(t, filepath.Join(dir, "a.flac")); err == nil || !strings.Contains(err.Error(), "32 bits: allowed are 8 to 24") {
		t.Errorf("32 bit: %v", err)
	}
	formattest.Command(t, dir, "sox", "-R", "-n", "-r", "8000", "-c", "1", "-b", "16", "b.wav", "synth", "0.5", "noise")
	formattest.Command(t, dir, "flac", "-s", "-b", "1024", "--no-padding", "-o", "b.flac", "b.wav")
	whole, err := os.ReadFile(filepath.Join(dir, "b.flac"))
	if err != nil {
		t.Fatal(err)
	}
	sync := []byte{0xFF, 0xF8} // start of a block of fixed size, RFC 9639 9.1.1
	var blocks []int
	for at := 0; ; {
		k := bytes.Index(whole[at:], append(sync, 0xA4)) // 1024 frames, 8 kHz
		if k < 0 {
			break
		}
		blocks = append(blocks, at+k)
		at += k + 1
	}
	if len(blocks) < 3 {
		t.Fatalf("blocks at %v", blocks)
	}
	for name, data := range map[string][]byte{
		"block number": append(bytes.Clone(whole[:blocks[1]]), whole[blocks[2]:]...),
		"cut off":      whole[:blocks[2]],
		"unexpected":   whole[:len(whole)-5],
	} {
		var h formattest.Handles
		rec, err := format.Open([]format.Format{Format{}}, h.Source("b.flac", data), format.Options{})
		if err != nil {
			t.Fatal(err)
		}
		if _, err = formattest.Samples(rec, 100, 1<<20); err == nil || !strings.Contains(err.Error(), name) {
			t.Errorf("%s: error %v", name, err)
		}
	}
}

func FuzzFLAC(f *testing.F) {
	a, _ := small(f, 16)
	b, _ := small(f, 24)
	formattest.Fuzz(f, Format{}, "a.flac", format.Options{}, a, b)
}

func BenchmarkFLAC24(b *testing.B) {
	data, want := small(b, 24)
	var h formattest.Handles
	rec, err := format.Open([]format.Format{Format{}}, h.Source("a.flac", data), format.Options{})
	if err != nil {
		b.Fatal(err)
	}
	b.SetBytes(int64(3 * 2 * len(want[0])))
	for b.Loop() {
		if _, err := formattest.Samples(rec, 4096, 1<<20); err != nil {
			b.Fatal(err)
		}
	}
}
