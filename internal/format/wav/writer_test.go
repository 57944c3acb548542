package wav

import (
	"encoding/binary"
	"math"
	"strings"
	"testing"

	"plumbline/internal/format/formattest"
)

// ramp holds both ends of full scale, codes beside them and values beyond.
var ramp = [][]float64{{0, 0.5, -0.5, 1 - 0x1p-23, -1, 0.25 + 0x1p-23}, {0x1p-23, -0x1p-23, 1, -1.5, 0x1p-24, -0x1p-25}}

func written(t *testing.T, spec Spec, block [][]float64, limit int64) (*memory, *Writer) {
	t.Helper()
	m := &memory{}
	w, err := NewWriter(m, spec)
	if err != nil {
		t.Fatal(err)
	}
	if limit > 0 {
		w.limit = limit
	}
	if err := w.Write(block); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return m, w
}

func TestWriter(t *testing.T) {
	m, w := written(t, Spec{Channels: 2, Rate: 12800, Encoding: PCM24}, ramp, 0)
	want := [][]float64{ramp[0], {0x1p-23, -0x1p-23, 1 - 0x1p-23, -1, 0, 0}} // rounded to even, saturated
	if d := formattest.Differ(samples(t, open(t, m.b)), want); d != "" {
		t.Error(d)
	}
	if w.Clipped() != 2 {
		t.Errorf("%d samples beyond full scale, want 2", w.Clipped())
	}
	m, w = written(t, Spec{Channels: 2, Rate: 12800, Encoding: Float32}, ramp, 0)
	if d := formattest.Differ(samples(t, open(t, m.b)), ramp); d != "" || w.Clipped() != 0 {
		t.Errorf("float: %s, %d clipped", d, w.Clipped())
	}
}

// TestWriterKeepsCounts: what a recorder counted comes back as the same fraction of full scale, in any width; double precision comes back as given.
func TestWriterKeepsCounts(t *testing.T) {
	for enc, bits := range map[Encoding]int{PCM16: 16, PCM24: 24, PCM32: 32} {
		full := math.Exp2(float64(bits - 1))
		block := [][]float64{{0, 1 / full, -1 / full, -1, (full - 1) / full, 12345 / full}}
		m, w := written(t, Spec{Channels: 1, Rate: 1000, Encoding: enc}, block, 0)
		if d := formattest.Differ(samples(t, open(t, m.b)), block); d != "" || w.Clipped() != 0 {
			t.Errorf("%d bits: %s, %d clipped", bits, d, w.Clipped())
		}
		if got := open(t, m.b).Info.Channels[0].Bits; got != bits {
			t.Errorf("%d bits are read as %d", bits, got)
		}
	}
	block := [][]float64{{math.Pi, -1e-300, 12}, {0, 1.0 / 3, math.MaxFloat64}}
	m, _ := written(t, Spec{Channels: 2, Rate: 1000, Encoding: Float64}, block, 0)
	if d := formattest.Differ(samples(t, open(t, m.b)), block); d != "" {
		t.Error(d)
	}
}

// TestWriterLarge: beyond the limit of RIFF the header becomes RF64, with the samples where they were.
func TestWriterLarge(t *testing.T) {
	small, _ := written(t, Spec{Channels: 2, Rate: 8000, Encoding: Float32}, ramp, 0)
	large, _ := written(t, Spec{Channels: 2, Rate: 8000, Encoding: Float32}, ramp, 100)
	if string(small.b[:4]) != "RIFF" || string(large.b[:4]) != "RF64" || string(large.b[12:16]) != "ds64" {
		t.Fatalf("headers %q, %q", small.b[:16], large.b[:16])
	}
	le := binary.LittleEndian
	if riff, data, frames := le.Uint64(large.b[20:]), le.Uint64(large.b[28:]), le.Uint64(large.b[36:]); riff != uint64(len(large.b)-8) || data != 48 || frames != 6 {
		t.Errorf("ds64 says %d, %d, %d; want %d, 48, 6", riff, data, frames, len(large.b)-8)
	}
	if d := formattest.Differ(samples(t, open(t, large.b)), ramp); d != "" {
		t.Error(d)
	}
}

// TestWriterUnfinished: what was written before a loss of power is read.
func TestWriterUnfinished(t *testing.T) {
	for _, rf64 := range []bool{false, true} {
		m := &memory{}
		w, err := NewWriter(m, Spec{Channels: 2, Rate: 8000, Encoding: Float32, RF64: rf64})
		if err != nil {
			t.Fatal(err)
		}
		if err := w.Write(ramp); err != nil {
			t.Fatal(err)
		}
		rec := open(t, m.b)
		if d := formattest.Differ(samples(t, rec), ramp); d != "" || !noted(rec.Info, "never wrote") {
			t.Errorf("RF64 %v: %s, notes %q", rf64, d, rec.Info.Notes)
		}
	}
}

func TestWriterRefuses(t *testing.T) {
	for _, c := range []struct {
		spec Spec
		want string
	}{
		{Spec{Channels: 2, Rate: 8000}, "encoding 0"},
		{Spec{Rate: 8000, Encoding: PCM24}, "0 channels"},
		{Spec{Channels: 2, Rate: 8000.5, Encoding: PCM24}, "rate 8000.5 Hz"},
		{Spec{Channels: 2, Rate: math.NaN(), Encoding: PCM24}, "rate NaN Hz"},
	} {
		if _, err := NewWriter(&memory{}, c.spec); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("error %v, want %q", err, c.want)
		}
	}
	w, err := NewWriter(&memory{}, Spec{Channels: 2, Rate: 8000, Encoding: PCM24})
	if err != nil {
		t.Fatal(err)
	}
	for _, block := range [][][]float64{{{0}}, {{0}, {math.NaN()}}, {{math.Inf(1)}, {0}}, {{0, 1}, {0}}} {
		if err := w.Write(block); err == nil {
			t.Errorf("%v written", block)
		}
	}
}
