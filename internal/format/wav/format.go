// Package wav reads and writes recordings in WAV files.
package wav

import (
	"bytes"
	"errors"
	"fmt"
	"io"

	"plumbline/internal/format"
	"plumbline/recording"
)

// Format reads WAV files: RIFF, RF64 and BW64 with PCM of 16, 24 and 32 bits or floating point of 32 and 64 bits.
// Integer samples are delivered as fraction of full scale, floating-point samples as stored.
type Format struct{}

// Name returns "WAV".
func (Format) Name() string { return "WAV" }

// Match reports whether head starts a WAV file.
func (Format) Match(name string, head []byte) bool {
	if len(head) < 12 || !bytes.Equal(head[8:12], []byte("WAVE")) {
		return false
	}
	id := string(head[:4])
	return id == "RIFF" || id == "RF64" || id == "BW64"
}

// Open reads the header of src up to the samples.
func (Format) Open(src format.Source, opts format.Options) (recording.Reader, error) {
	f, err := src.Open()
	if err != nil {
		return nil, err
	}
	r, err := newReader(f, src, opts)
	if err != nil {
		return nil, errors.Join(err, f.Close())
	}
	return r, nil
}

func newReader(f io.ReadSeekCloser, src format.Source, opts format.Options) (*reader, error) {
	h, err := readHeader(f)
	if err != nil {
		return nil, fmt.Errorf("recording %s: %w", src.Name, err)
	}
	info := h.info()
	if err := opts.Settle(src.Name, &info); err != nil {
		return nil, err
	}
	if _, err := f.Seek(h.dataStart, io.SeekStart); err != nil {
		return nil, fmt.Errorf("recording %s: %w", src.Name, err)
	}
	return &reader{name: src.Name, f: f, info: info, enc: h.enc, align: h.align, left: h.frames}, nil
}
