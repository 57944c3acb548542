// Package flac reads recordings in FLAC files.
package flac

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"

	"github.com/mewkiz/flac"
	"github.com/mewkiz/flac/frame"

	"plumbline/internal/format"
	"plumbline/recording"
)

// Format reads FLAC files of 8 to 24 bits. Samples are delivered as fraction of full scale.
type Format struct{}

// Name returns "FLAC".
func (Format) Name() string { return "FLAC" }

// Match reports whether head starts a FLAC file.
func (Format) Match(name string, head []byte) bool { return bytes.HasPrefix(head, []byte("fLaC")) }

// Open reads the header of src.
func (Format) Open(src format.Source, opts format.Options) (recording.Reader, error) {
	f, err := src.Open()
	if err != nil {
		return nil, err
	}
	r, err := newReader(f, src.Name, opts)
	if err != nil {
		return nil, errors.Join(err, f.Close())
	}
	return r, nil
}

func newReader(f io.ReadSeekCloser, name string, opts format.Options) (*reader, error) {
	stream, err := flac.New(f)
	if err != nil {
		return nil, fmt.Errorf("recording %s: header: %w", name, cut(err))
	}
	head := stream.Info
	bits := int(head.BitsPerSample)
	if bits < 8 || bits > 24 {
		return nil, fmt.Errorf("recording %s: FLAC of %d bits: allowed are 8 to 24; convert it to WAV of %d bits", name, bits, bits)
	}
	info := recording.Info{Format: fmt.Sprintf("FLAC %d bit", bits), Rate: float64(head.SampleRate), Frames: int64(head.NSamples)}
	if head.NSamples == 0 {
		info.Frames = -1
		info.Notes = append(info.Notes, "the file does not say how long the recording is")
	}
	for range head.NChannels {
		info.Channels = append(info.Channels, recording.Channel{Unit: format.FullScale(), Bits: bits})
	}
	if err := opts.Settle(name, &info); err != nil {
		return nil, err
	}
	return &reader{name: name, f: f, stream: stream, info: info, bits: uint8(bits), scale: math.Ldexp(1, 1-bits)}, nil
}

// cut tells the end of a file in the middle of something from the end of a recording.
func cut(err error) error {
	if err == io.EOF {
		return io.ErrUnexpectedEOF
	}
	return err
}

type reader struct {
	name   string
	f      io.ReadSeekCloser
	stream *flac.Stream
	info   recording.Info
	bits   uint8
	scale  float64

	block   *frame.Frame
	used    int    // frames taken from block
	blocks  uint64 // decoded so far
	decoded int64  // frames decoded so far
	err     error  // sticky
}

func (r *reader) Info() recording.Info { return r.info }

func (r *reader) Read(dst [][]float64) (int, error) {
	done := 0
	for done < len(dst[0]) && r.err == nil {
		if r.block == nil || r.used == len(r.block.Subframes[0].Samples) {
			r.err = r.next()
			continue
		}
		var n int
		for c, sub := range r.block.Subframes {
			src, to := sub.Samples[r.used:], dst[c][done:]
			n = min(len(src), len(to))
			for i, code := range src[:n] {
				to[i] = float64(code) * r.scale
			}
		}
		r.used += n
		done += n
	}
	if done > 0 {
		return done, nil
	}
	return 0, r.err
}

// next decodes the next block of frames.
func (r *reader) next() error {
	block, err := r.stream.ParseNext()
	switch {
	case err == io.EOF && r.info.Frames >= 0 && r.decoded != r.info.Frames:
		return fmt.Errorf("recording %s: the file is cut off: %d frames announced, %d are there", r.name, r.info.Frames, r.decoded)
	case err == io.EOF:
		return io.EOF
	case err != nil:
		return fmt.Errorf("recording %s: behind frame %d: %w", r.name, r.decoded, cut(err))
	case len(block.Subframes) != len(r.info.Channels) || block.BitsPerSample != r.bits:
		return fmt.Errorf("recording %s: behind frame %d: %d channels of %d bits, the header says %d of %d",
			r.name, r.decoded, len(block.Subframes), block.BitsPerSample, len(r.info.Channels), r.bits)
	}
	want := uint64(r.decoded)
	if block.HasFixedBlockSize {
		want = r.blocks
	}
	n := len(block.Subframes[0].Samples)
	if n == 0 || block.Num != want {
		return fmt.Errorf("recording %s: behind frame %d: block number %d of %d frames, number %d is due: frames are missing",
			r.name, r.decoded, block.Num, n, want)
	}
	r.block, r.used = block, 0
	r.blocks++
	r.decoded += int64(n)
	return nil
}

func (r *reader) Close() error {
	if r.f == nil {
		return nil
	}
	err := r.f.Close()
	r.f, r.block, r.err = nil, nil, fmt.Errorf("recording %s: read after close", r.name)
	return err
}
