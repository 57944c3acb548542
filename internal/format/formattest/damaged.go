package formattest

import (
	"errors"
	"io"
	"runtime"
	"testing"

	"plumbline/internal/format"
	"plumbline/recording"
)

// limits of what one file may cost: fixed room for buffers, and so much for every byte of the file.
const (
	fixedRoom   = 4 << 20
	fuzzingRoom = 64 << 20 // the fuzzing engine allocates at the same time
	roomPerByte = 256
	mostFrames  = 1 << 20
)

// try opens and reads a file that may be damaged: errors are welcome, panics, leaks and hunger for memory are not.
func try(t *testing.T, f format.Format, name string, data []byte, opts format.Options, room int) ([][]float64, error) {
	t.Helper()
	var h Handles
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	rec, err := format.Open([]format.Format{f}, h.Source(name, data), opts)
	var samples [][]float64
	if err == nil {
		samples, err = drain(t, rec, len(data))
	}
	runtime.ReadMemStats(&after)
	if got, most := after.TotalAlloc-before.TotalAlloc, uint64(room+roomPerByte*len(data)); got > most {
		t.Errorf("%d bytes allocated for a file of %d bytes, at most %d allowed", got, len(data), most)
	}
	if h.Open() != 0 {
		t.Errorf("%d handles left open", h.Open())
	}
	return samples, err
}

// drain reads rec; the samples of more than a file of text could hold are counted, not kept.
func drain(t *testing.T, rec recording.Recording, size int) (samples [][]float64, err error) {
	r, err := rec.Open()
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, r.Close()) }()
	channels := len(r.Info().Channels)
	samples = make([][]float64, channels)
	dst := recording.Block(channels, max(1, min(64, 1<<14/channels)))
	for total := 0; total < mostFrames; {
		n, err := r.Read(dst)
		if n < 0 || n > len(dst[0]) || err != nil && n != 0 || err == nil && n == 0 {
			t.Errorf("Read returned %d, %v for a block of %d", n, err, len(dst[0]))
			return nil, err
		}
		if err == io.EOF {
			return samples, nil
		}
		if err != nil {
			return nil, err
		}
		total += n
		for c := range samples {
			if len(samples[c]) < size {
				samples[c] = append(samples[c], dst[c][:n]...)
			}
		}
	}
	return samples, nil
}

// Fuzz makes a fuzz target of f: whatever the bytes, opening and reading them ends without panic, leak or hunger for memory.
func Fuzz(f *testing.F, fm format.Format, name string, opts format.Options, seeds ...[]byte) {
	for _, seed := range seeds {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, data []byte) { try(t, fm, name, data, opts, fuzzingRoom) })
}
