// Package formattest is the contract every recording format has to keep, as a test suite.
package formattest

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"sync/atomic"
	"testing"

	"plumbline/internal/format"
	"plumbline/recording"
)

// Subject is a small complete file of the format under test.
type Subject struct {
	Format  format.Format
	Name    string // file name
	Data    []byte
	Options format.Options
	Want    [][]float64 // Want[c] holds the samples of channel c
	Rate    float64
}

// Run checks the contract.
func Run(t *testing.T, s Subject) {
	t.Run("identity", s.identity)
	t.Run("block sizes", s.blockSizes)
	t.Run("reopened", s.reopened)
	t.Run("end", s.end)
	t.Run("match", s.match)
	t.Run("changed file", s.changed)
	t.Run("failing file", s.failing)
	t.Run("every prefix", s.prefixes)
	t.Run("damaged header", s.damaged)
}

// Handles is a source in memory that counts how many of its handles are open.
type Handles struct{ open atomic.Int64 }

type handle struct {
	*bytes.Reader
	owner  *Handles
	closed bool
}

func (h *handle) Close() error {
	if h.closed {
		return errors.New("handle closed twice")
	}
	h.closed = true
	h.owner.open.Add(-1)
	return nil
}

// Source returns data as a source of which h counts the handles.
func (h *Handles) Source(name string, data []byte) format.Source {
	return format.Source{Name: name, Size: int64(len(data)), Open: func() (io.ReadSeekCloser, error) {
		h.open.Add(1)
		return &handle{Reader: bytes.NewReader(data), owner: h}, nil
	}}
}

// Open returns how many handles are open.
func (h *Handles) Open() int64 { return h.open.Load() }

// File returns the file at path as a source.
func File(path string) format.Source {
	return format.Source{Name: filepath.Base(path), Open: func() (io.ReadSeekCloser, error) { return os.Open(path) }}
}

// Samples reads all of rec in blocks of the given number of frames; it stops with an error after limit frames.
func Samples(rec recording.Recording, block, limit int) (samples [][]float64, err error) {
	r, err := rec.Open()
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, r.Close()) }()
	channels := len(r.Info().Channels)
	samples = make([][]float64, channels)
	dst := recording.Block(channels, block)
	for {
		n, err := r.Read(dst)
		if n < 0 || n > block || err != nil && n != 0 || err == nil && n == 0 {
			return nil, fmt.Errorf("block of %d: Read returned %d, %v", block, n, err)
		}
		if err == io.EOF {
			return samples, nil
		}
		if err != nil {
			return nil, err
		}
		for c := range samples {
			samples[c] = append(samples[c], dst[c][:n]...)
		}
		if len(samples[0]) > limit {
			return nil, fmt.Errorf("more than %d frames", limit)
		}
	}
}

// Differ says where got departs from want; "" where nowhere. NaN equals NaN.
func Differ(got, want [][]float64) string {
	if len(got) != len(want) {
		return fmt.Sprintf("%d channels, want %d", len(got), len(want))
	}
	for c := range want {
		if len(got[c]) != len(want[c]) {
			return fmt.Sprintf("channel %d: %d samples, want %d", c+1, len(got[c]), len(want[c]))
		}
		for i, x := range want[c] {
			if y := got[c][i]; y != x && !(math.IsNaN(x) && math.IsNaN(y)) {
				return fmt.Sprintf("channel %d, sample %d: %v, want %v", c+1, i+1, y, x)
			}
		}
	}
	return ""
}

func (s Subject) open(t *testing.T, h *Handles) recording.Recording {
	t.Helper()
	rec, err := format.Open([]format.Format{s.Format}, h.Source(s.Name, s.Data), s.Options)
	if err != nil {
		t.Fatal(err)
	}
	return rec
}

func (s Subject) frames() int { return len(s.Want[0]) }

func (s Subject) identity(t *testing.T) {
	var h Handles
	rec := s.open(t, &h)
	sum := sha256.Sum256(s.Data)
	if want := hex.EncodeToString(sum[:]); rec.ID != want {
		t.Errorf("identity %s, want the SHA-256 %s", rec.ID, want)
	}
	info := rec.Info
	if rec.Name != s.Name || info.Format == "" || len(info.Channels) != len(s.Want) {
		t.Errorf("name %q, format %q, %d channels; want %q, a name, %d", rec.Name, info.Format, len(info.Channels), s.Name, len(s.Want))
	}
	if math.Abs(info.Rate/s.Rate-1) > 1e-9 {
		t.Errorf("rate %.12g, want %.12g", info.Rate, s.Rate)
	}
	if info.Frames != -1 && info.Frames != int64(s.frames()) {
		t.Errorf("%d frames announced, want %d or -1", info.Frames, s.frames())
	}
	if h.Open() != 0 {
		t.Errorf("%d handles left open", h.Open())
	}
}

func (s Subject) blockSizes(t *testing.T) {
	var h Handles
	rec := s.open(t, &h)
	for _, block := range []int{1, 2, 3, 7, 64, 1000, s.frames(), s.frames() + 1, 100_000} {
		got, err := Samples(rec, block, 1<<20)
		if err != nil {
			t.Fatalf("block of %d: %v", block, err)
		}
		if d := Differ(got, s.Want); d != "" {
			t.Fatalf("block of %d: %s", block, d)
		}
	}
	if h.Open() != 0 {
		t.Errorf("%d handles left open", h.Open())
	}
}

// reopened reads with two readers in turns: they share nothing.
func (s Subject) reopened(t *testing.T) {
	var h Handles
	rec := s.open(t, &h)
	var readers [2]recording.Reader
	var got [2][][]float64
	for k := range readers {
		r, err := rec.Open()
		if err != nil {
			t.Fatal(err)
		}
		readers[k], got[k] = r, make([][]float64, len(s.Want))
	}
	for ended := 0; ended < 2; {
		ended = 0
		for k, r := range readers {
			dst := recording.Block(len(s.Want), 5+k)
			n, err := r.Read(dst)
			if err == io.EOF {
				ended++
				continue
			}
			if err != nil {
				t.Fatal(err)
			}
			for c := range dst {
				got[k][c] = append(got[k][c], dst[c][:n]...)
			}
		}
	}
	for k := range readers {
		if d := Differ(got[k], s.Want); d != "" {
			t.Errorf("reader %d: %s", k+1, d)
		}
		if err := readers[k].Close(); err != nil {
			t.Error(err)
		}
	}
}

func (s Subject) end(t *testing.T) {
	var h Handles
	r, err := s.open(t, &h).Open()
	if err != nil {
		t.Fatal(err)
	}
	dst := recording.Block(len(s.Want), s.frames())
	for n := 1; n > 0; {
		if n, err = r.Read(dst); err != nil && err != io.EOF {
			t.Fatal(err)
		}
	}
	for range 3 {
		if n, err := r.Read(dst); n != 0 || err != io.EOF {
			t.Errorf("behind the end: %d, %v; want 0, EOF", n, err)
		}
	}
	for range 2 {
		if err := r.Close(); err != nil {
			t.Errorf("Close: %v", err)
		}
	}
	if n, err := r.Read(dst); n != 0 || err == nil {
		t.Errorf("Read after Close: %d, %v; want 0 and an error", n, err)
	}
	if h.Open() != 0 {
		t.Errorf("%d handles left open", h.Open())
	}
}

func (s Subject) match(t *testing.T) {
	head := s.Data[:min(len(s.Data), format.HeadBytes)]
	if !s.Format.Match(s.Name, head) {
		t.Errorf("%s does not match its own file", s.Format.Name())
	}
	if !s.Format.Match("recording", head) {
		t.Error("the content does not decide: no match without an extension")
	}
	for _, other := range []string{"", "\x00", "MZ\x90\x00\x03\x00\x00\x00\x04", "%PDF-1.7\n%\xe2\xe3\xcf\xd3\n", "PK\x03\x04\x14\x00\x06\x00"} {
		if s.Format.Match(s.Name, []byte(other)) {
			t.Errorf("matches %q", other)
		}
	}
	for n := range min(len(head), 600) {
		s.Format.Match(s.Name, head[:n])
	}
}

// changed: a file whose size changes after it was identified is not read.
func (s Subject) changed(t *testing.T) {
	data := bytes.Clone(s.Data)
	var h Handles
	src := h.Source(s.Name, data)
	src.Open = func() (io.ReadSeekCloser, error) { return h.Source(s.Name, data).Open() }
	rec, err := format.Open([]format.Format{s.Format}, src, s.Options)
	if err != nil {
		t.Fatal(err)
	}
	data = data[:len(data)-1]
	if _, err := rec.Open(); err == nil {
		t.Error("a shortened file was opened")
	}
	if h.Open() != 0 {
		t.Errorf("%d handles left open", h.Open())
	}
}

var errBroken = errors.New("medium broken")

// broken fails after some bytes.
type broken struct {
	io.ReadSeekCloser
	left int
}

func (b *broken) Read(p []byte) (int, error) {
	if b.left <= 0 {
		return 0, errBroken
	}
	n, err := b.ReadSeekCloser.Read(p[:min(len(p), b.left)])
	b.left -= n
	return n, err
}

// failing: an error of the medium is reported as such, and never taken for the end.
func (s Subject) failing(t *testing.T) {
	for _, left := range []int{0, 1, 11, 60, len(s.Data) / 2} {
		var h Handles
		whole := h.Source(s.Name, s.Data)
		opened := 0
		src := whole
		src.Open = func() (io.ReadSeekCloser, error) {
			f, err := whole.Open()
			if opened++; opened == 1 { // identifying succeeds
				return f, err
			}
			return &broken{f, left}, err
		}
		rec, err := format.Open([]format.Format{s.Format}, src, s.Options)
		if err == nil {
			_, err = Samples(rec, 64, 1<<20)
		}
		if !errors.Is(err, errBroken) {
			t.Errorf("medium broken after %d bytes: error %v", left, err)
		}
		if h.Open() != 0 {
			t.Errorf("medium broken after %d bytes: %d handles left open", left, h.Open())
		}
	}
}

func (s Subject) prefixes(t *testing.T) {
	for n := range len(s.Data) {
		got, err := try(t, s.Format, s.Name, s.Data[:n], s.Options, fixedRoom)
		if t.Failed() {
			t.Fatalf("prefix of %d bytes", n)
		}
		if err != nil {
			continue
		}
		if len(got) != len(s.Want) { // cut within the first lines of text
			continue
		}
		sure := max(len(got[0])-1, 0) // a number of text may be cut
		for c := range got {
			if sure > s.frames() {
				t.Fatalf("prefix of %d bytes: %d frames, the whole has %d", n, sure+1, s.frames())
			}
			if d := Differ([][]float64{got[c][:sure]}, [][]float64{s.Want[c][:sure]}); d != "" {
				t.Fatalf("prefix of %d bytes: channel %d: %s", n, c+1, d)
			}
		}
	}
}

// damaged overwrites places of the first kilobyte with extreme values: every place of the first 128 bytes, one in seven behind.
func (s Subject) damaged(t *testing.T) {
	data := make([]byte, len(s.Data))
	for k, with := range []string{"\x00", "\xff", "\x7f", "\x80", "9", "-", "\n", "\x00\x00\x00\x00", "\xff\xff\xff\xff", "\xff\xff\xff\x7f",
		"\x00\x00\x00\x80", "\xff\xff\xff\xff\xff\xff\xff\xff", "99999999", "1e999999", "-1      "} {
		for at := range min(len(data), 1024) - len(with) {
			if at >= 128 && (at+k)%7 != 0 {
				continue
			}
			copy(data, s.Data)
			copy(data[at:], with)
			try(t, s.Format, s.Name, data, s.Options, fixedRoom)
			if t.Failed() {
				t.Fatalf("%q written at %d", with, at)
			}
		}
	}
}
