package wav

import (
	"bytes"
	"encoding/binary"
	"io"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"plumbline/internal/format"
	"plumbline/internal/format/formattest"
	"plumbline/recording"
)

// memory is a file in memory.
type memory struct {
	b  []byte
	at int64
}

func (m *memory) Write(p []byte) (int, error) {
	if need := m.at + int64(len(p)); need > int64(len(m.b)) {
		m.b = append(m.b, make([]byte, need-int64(len(m.b)))...)
	}
	copy(m.b[m.at:], p)
	m.at += int64(len(p))
	return len(p), nil
}

func (m *memory) Seek(offset int64, whence int) (int64, error) {
	switch whence {
	case io.SeekStart:
		m.at = offset
	case io.SeekEnd:
		m.at = int64(len(m.b)) + offset
	default:
		m.at += offset
	}
	return m.at, nil
}

// chunk returns a chunk with padding.
func chunk(id string, body []byte) []byte {
	b := binary.LittleEndian.AppendUint32([]byte(id), uint32(len(body)))
	b = append(b, body...)
	if len(body)&1 == 1 {
		b = append(b, 0)
	}
	return b
}

// fmtBody returns the body of a plain fmt chunk.
func fmtBody(tag, channels uint16, rate uint32, bits uint16) []byte {
	le := binary.LittleEndian
	align := channels * bits / 8
	b := le.AppendUint16(nil, tag)
	b = le.AppendUint16(b, channels)
	b = le.AppendUint32(b, rate)
	b = le.AppendUint32(b, rate*uint32(align))
	b = le.AppendUint16(b, align)
	return le.AppendUint16(b, bits)
}

func riff(chunks ...[]byte) []byte {
	body := append([]byte("WAVE"), bytes.Join(chunks, nil)...)
	return append(binary.LittleEndian.AppendUint32([]byte("RIFF"), uint32(len(body))), body...)
}

// codes returns deterministic samples as 32-bit codes.
func codes(channels, frames int) [][]int32 {
	r := rand.New(rand.NewPCG(1, 2)) // seed 1, 2
	x := make([][]int32, channels)
	for c := range x {
		for range frames {
			x[c] = append(x[c], int32(r.Uint32()))
		}
	}
	x[0][0], x[0][1] = math.MaxInt32, math.MinInt32
	return x
}

// interleaved stores the codes in the given encoding and says which samples they are.
func interleaved(x [][]int32, e encoding) (body []byte, want [][]float64) {
	le := binary.LittleEndian
	want = make([][]float64, len(x))
	for i := range x[0] {
		for c := range x {
			v := x[c][i] >> (32 - 8*min(e.bytes, 4)) << (32 - 8*min(e.bytes, 4))
			f := float64(v) / (1 << 31)
			switch {
			case e.float && e.bytes == 4:
				f = float64(float32(f))
				body = le.AppendUint32(body, math.Float32bits(float32(f)))
			case e.float:
				body = le.AppendUint64(body, math.Float64bits(f))
			default:
				for k := 4 - e.bytes; k < 4; k++ {
					body = append(body, byte(v>>(8*k)))
				}
			}
			want[c] = append(want[c], f)
		}
	}
	return body, want
}

var encodings = []encoding{{bytes: 2, bits: 16}, {bytes: 3, bits: 24}, {bytes: 4, bits: 32},
	{float: true, bytes: 4, bits: 32}, {float: true, bytes: 8, bits: 64}}

func small(e encoding, channels, frames int) (data []byte, want [][]float64) {
	body, want := interleaved(codes(channels, frames), e)
	tag := uint16(tagPCM)
	if e.float {
		tag = tagFloat
	}
	return riff(chunk("fmt ", fmtBody(tag, uint16(channels), 12800, uint16(8*e.bytes))), chunk("data", body)), want
}

func TestContract(t *testing.T) {
	for _, e := range encodings {
		t.Run(e.String(), func(t *testing.T) {
			data, want := small(e, 3, 37)
			formattest.Run(t, formattest.Subject{Format: Format{}, Name: "a.wav", Data: data, Want: want, Rate: 12800})
		})
	}
}

func open(t *testing.T, data []byte) recording.Recording {
	t.Helper()
	var h formattest.Handles
	rec, err := format.Open([]format.Format{Format{}}, h.Source("a.wav", data), format.Options{})
	if err != nil {
		t.Fatal(err)
	}
	return rec
}

func samples(t *testing.T, rec recording.Recording) [][]float64 {
	t.Helper()
	x, err := formattest.Samples(rec, 100, 1<<22)
	if err != nil {
		t.Fatal(err)
	}
	return x
}

func noted(info recording.Info, words string) bool {
	return strings.Contains(strings.Join(info.Notes, "\n"), words)
}

// TestHeaders: the same samples behind every kind of header that recorders write.
func TestHeaders(t *testing.T) {
	le := binary.LittleEndian
	pcm := encodings[1]
	body, want := interleaved(codes(1, 11), pcm) // 33 bytes: odd
	plain := chunk("fmt ", fmtBody(tagPCM, 1, 12800, 24))
	data := chunk("data", body)
	sized := func(b []byte, size uint32) []byte {
		b = bytes.Clone(b)
		le.PutUint32(b[4:], size)
		return b[:8+len(body)]
	}
	large := func(id string, size uint64) []byte {
		ds := le.AppendUint32([]byte("ds64"), 28)
		ds = le.AppendUint64(ds, 1000)
		ds = le.AppendUint64(ds, size)
		ds = append(ds, make([]byte, 12)...)
		b := riff(ds, plain, sized(data, unknownSize))
		copy(b, id)
		le.PutUint32(b[4:], unknownSize)
		return b
	}
	open1 := func(b []byte) []byte { // the length of the file was never written
		le.PutUint32(b[4:], 0)
		return b
	}
	for _, c := range []struct {
		name string
		data []byte
		note string
	}{
		{"plain", riff(plain, data), ""},
		{"chunks before data", riff(chunk("JUNK", make([]byte, 5)), plain, chunk("LIST", []byte("INFOICMT")), chunk("xxxx", nil), data), ""},
		{"chunks behind data", riff(plain, data, chunk("LIST", []byte("INFO"))), ""},
		{"data never closed, size 0", open1(riff(plain, sized(data, 0))), "never wrote"},
		{"data never closed, size FFFFFFFF", open1(riff(plain, sized(data, unknownSize))), "never wrote"},
		{"cut off", riff(plain, sized(data, 1000)), "cut off"},
		{"incomplete frame", open1(append(riff(plain, sized(data, 0)), 1, 2)), "incomplete last frame"},
		{"bytes behind data", append(riff(plain, data), 1, 2, 3, 4, 5, 6, 7, 8, 9), "9 bytes behind"},
		{"RF64", large("RF64", 33), ""},
		{"BW64", large("BW64", 33), ""},
		{"RF64 never closed", large("RF64", 0), "never wrote"},
		{"RF64 cut off", large("RF64", 1<<40), "cut off"},
	} {
		rec := open(t, c.data)
		if d := formattest.Differ(samples(t, rec), want); d != "" {
			t.Errorf("%s: %s", c.name, d)
		}
		if c.note == "" && len(rec.Info.Notes) > 0 || !noted(rec.Info, c.note) {
			t.Errorf("%s: notes %q, want %q", c.name, rec.Info.Notes, c.note)
		}
	}
}

// TestEmpty: a finished file without samples has no frames, even where chunks follow.
func TestEmpty(t *testing.T) {
	rec := open(t, riff(chunk("fmt ", fmtBody(tagPCM, 1, 12800, 24)), chunk("data", nil), chunk("LIST", []byte("INFO"))))
	if rec.Info.Frames != 0 || len(samples(t, rec)[0]) != 0 {
		t.Errorf("%d frames", rec.Info.Frames)
	}
}

// TestExtensible: valid bits below the container's are the upper ones.
func TestExtensible(t *testing.T) {
	ext := fmtBody(tagExt, 1, 48000, 32)
	ext = append(ext, 22, 0, 20, 0, 0, 0, 0, 0, tagPCM, 0, 0, 0, 0, 0, 0x10, 0, 0x80, 0, 0, 0xAA, 0, 0x38, 0x9B, 0x71)
	rec := open(t, riff(chunk("fmt ", ext), chunk("data", []byte{0, 0, 0, 0x40, 0, 0xF0, 0xFF, 0x7F})))
	if got := samples(t, rec)[0]; got[0] != 0.5 || got[1] != 1-math.Ldexp(1, -19) {
		t.Errorf("samples %v", got)
	}
	if ch := rec.Info.Channels[0]; ch.Bits != 20 || ch.Unit.Symbol != "FS" || rec.Info.Format != "WAV PCM 20 bit" {
		t.Errorf("channel %+v, format %q", ch, rec.Info.Format)
	}
}

func TestStart(t *testing.T) {
	start := time.Date(2026, 5, 1, 10, 20, 30, 250_000_000, time.UTC)
	m := &memory{}
	w, err := NewWriter(m, Spec{Channels: 1, Rate: 2000, Encoding: PCM24, Start: start})
	if err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	if got := open(t, m.b).Info.Start; !got.Equal(start) {
		t.Errorf("start %v, want %v", got, start)
	}
	bext := make([]byte, 602)
	copy(bext[320:], "2026:05:0110:20:30")
	rec := open(t, riff(chunk("bext", bext), chunk("fmt ", fmtBody(tagPCM, 1, 8000, 16)), chunk("data", make([]byte, 4))))
	if want := start.Truncate(time.Second); !rec.Info.Start.Equal(want) || !noted(rec.Info, "without a time zone") {
		t.Errorf("start %v, want %v; notes %q", rec.Info.Start, want, rec.Info.Notes)
	}
}

func TestRefused(t *testing.T) {
	data := chunk("data", make([]byte, 64))
	align := fmtBody(tagPCM, 2, 8000, 16)
	align[12] = 3
	for _, c := range []struct {
		name string
		data []byte
		want string
	}{
		{"8 bit", riff(chunk("fmt ", fmtBody(tagPCM, 1, 8000, 8)), data), "samples of 8 bits"},
		{"A-law", riff(chunk("fmt ", fmtBody(6, 1, 8000, 8)), data), "format code 0x0006"},
		{"no channel", riff(chunk("fmt ", fmtBody(tagPCM, 0, 8000, 16)), data), "0 channels"},
		{"many channels", riff(chunk("fmt ", fmtBody(tagPCM, 32767, 8000, 16)), data), "32767 channels"},
		{"no rate", riff(chunk("fmt ", fmtBody(tagPCM, 1, 0, 16)), data), "rate 0 Hz"},
		{"frame size", riff(chunk("fmt ", align), data), "frames of 3 bytes"},
		{"no fmt", riff(data), "before the fmt chunk"},
		{"no data", riff(chunk("fmt ", fmtBody(tagPCM, 1, 8000, 16))), "no data chunk"},
		{"two fmt", riff(chunk("fmt ", fmtBody(tagPCM, 1, 8000, 16)), chunk("fmt ", fmtBody(tagPCM, 1, 9000, 16)), data), "two fmt chunks"},
		{"short fmt", riff(chunk("fmt ", []byte{1, 0}), data), "at least 16"},
	} {
		var h formattest.Handles
		_, err := format.Open([]format.Format{Format{}}, h.Source("a.wav", c.data), format.Options{})
		if err == nil || !strings.Contains(err.Error(), c.want) || !strings.Contains(err.Error(), "a.wav") {
			t.Errorf("%s: error %v, want %q", c.name, err, c.want)
		}
	}
}

func TestOptions(t *testing.T) {
	data, _ := small(encodings[3], 2, 4)
	var h formattest.Handles
	opts := format.Options{Rate: 12801, Units: []string{"", "mV"}}
	rec, err := format.Open([]format.Format{Format{}}, h.Source("a.wav", data), opts)
	if err != nil {
		t.Fatal(err)
	}
	if rec.Info.Rate != 12801 || rec.Info.Channels[0].Unit.Symbol != "FS" || rec.Info.Channels[1].Unit.Symbol != "mV" || !noted(rec.Info, "as given") {
		t.Errorf("info %+v", rec.Info)
	}
	for _, bad := range []format.Options{{Rate: -1}, {Rate: math.NaN()}, {Rate: math.Inf(1)}, {Units: []string{"V"}}, {Units: []string{"V", "furlong"}}} {
		if _, err := format.Open([]format.Format{Format{}}, h.Source("a.wav", data), bad); err == nil {
			t.Errorf("%+v: no error", bad)
		}
	}
	if h.Open() != 0 {
		t.Errorf("%d handles left open", h.Open())
	}
}

// TestReadAllocates: reading allocates nothing once the buffer is there.
func TestReadAllocates(t *testing.T) {
	data, _ := small(encodings[1], 2, 400_000)
	r, err := open(t, data).Open()
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	dst := recording.Block(2, 1000)
	if n := testing.AllocsPerRun(100, func() {
		if _, err := r.Read(dst); err != nil {
			t.Fatal(err)
		}
	}); n != 0 {
		t.Errorf("%v allocations per Read", n)
	}
}

func FuzzWAV(f *testing.F) {
	var seeds [][]byte
	for _, e := range encodings {
		data, _ := small(e, 2, 8)
		seeds = append(seeds, data)
	}
	for _, spec := range []Spec{{Channels: 1, Rate: 8000, Encoding: PCM24, RF64: true},
		{Channels: 2, Rate: 8000, Encoding: Float32, Start: time.Date(2026, 5, 1, 0, 0, 1, 0, time.UTC)}} {
		m := &memory{}
		w, err := NewWriter(m, spec)
		if err != nil {
			f.Fatal(err)
		}
		if err := w.Write(recording.Block(spec.Channels, 5)); err != nil {
			f.Fatal(err)
		}
		seeds = append(seeds, bytes.Clone(m.b))
		if err := w.Close(); err != nil {
			f.Fatal(err)
		}
		seeds = append(seeds, m.b)
	}
	formattest.Fuzz(f, Format{}, "a.wav", format.Options{}, seeds...)
}

func benchmark(b *testing.B, e encoding) {
	const frames = 1 << 19
	data, _ := small(e, 2, frames)
	var h formattest.Handles
	rec, err := format.Open([]format.Format{Format{}}, h.Source("a.wav", data), format.Options{})
	if err != nil {
		b.Fatal(err)
	}
	dst := recording.Block(2, 4096)
	b.SetBytes(int64(len(data)))
	b.ReportAllocs()
	for b.Loop() {
		r, err := rec.Open()
		if err != nil {
			b.Fatal(err)
		}
		for err == nil {
			_, err = r.Read(dst)
		}
		if err != io.EOF {
			b.Fatal(err)
		}
		r.Close()
	}
	b.ReportMetric(float64(b.N)*2*frames/b.Elapsed().Seconds()/1e6, "Msamples/s")
}

func BenchmarkWAV16(b *testing.B)      { benchmark(b, encodings[0]) }
func BenchmarkWAV24(b *testing.B)      { benchmark(b, encodings[1]) }
func BenchmarkWAVFloat32(b *testing.B) { benchmark(b, encodings[3]) }
