package uff58

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"

	"plumbline/internal/format"
	"plumbline/recording"
)

const bufferBytes = 32 << 10

type reader struct {
	f       io.ReadSeekCloser
	src     format.Source
	info    recording.Info
	records []dataset
	cursors []cursor
	left    int64
}

// start begins reading the records of an open file at the first sample.
func start(f io.ReadSeekCloser, src format.Source, info recording.Info, records []dataset) *reader {
	r := &reader{f: f, src: src, info: info, records: records, left: info.Frames}
	for _, d := range records {
		width, perLine := d.layout()
		r.cursors = append(r.cursors, cursor{f: f, d: d, at: d.offset, end: d.offset + d.length, width: width, perLine: perLine})
	}
	return r
}

// Reopen starts another reading without a search for the datasets.
func (r *reader) Reopen() (recording.Reader, error) {
	f, err := r.src.Open()
	if err != nil {
		return nil, err
	}
	return start(f, r.src, r.info, r.records), nil
}

func (r *reader) Info() recording.Info { return r.info }

func (r *reader) Read(dst [][]float64) (int, error) {
	n := int(min(int64(len(dst[0])), r.left))
	if n == 0 {
		return 0, io.EOF
	}
	for c := range r.cursors {
		if err := r.cursors[c].read(dst[c][:n]); err != nil {
			return 0, fmt.Errorf("recording %s, channel %d, dataset %d: %w", r.src.Name, c+1, r.cursors[c].d.place, err)
		}
	}
	r.left -= int64(n)
	return n, nil
}

func (r *reader) Close() error {
	if r.f == nil {
		return nil
	}
	err := r.f.Close()
	r.f, r.left, r.cursors = nil, 0, nil
	return err
}

// cursor reads the samples of one dataset. All cursors of a recording share one file.
type cursor struct {
	f       io.ReadSeeker
	d       dataset
	at, end int64 // part of the file not yet in buf
	width   int
	perLine int
	buf     []byte // room
	rest    []byte // part of buf not yet used
	line    []byte // part of a line of text not yet used
	done    int64  // samples
}

// fill reads on until rest holds want bytes or all there is.
func (c *cursor) fill(want int) error {
	if len(c.rest) >= want || c.at >= c.end {
		return nil
	}
	if c.buf == nil {
		c.buf = make([]byte, min(bufferBytes, c.end-c.at))
	}
	n := copy(c.buf, c.rest)
	more := int(min(int64(len(c.buf)-n), c.end-c.at))
	if _, err := c.f.Seek(c.at, io.SeekStart); err != nil {
		return err
	}
	if _, err := io.ReadFull(c.f, c.buf[n:n+more]); err != nil {
		return fmt.Errorf("sample %d: %w", c.done+1, err)
	}
	c.at += int64(more)
	c.rest = c.buf[:n+more]
	return nil
}

func (c *cursor) read(dst []float64) error {
	for i := range dst {
		var x float64
		var err error
		if c.d.binary {
			x, err = c.bits()
		} else {
			x, err = c.field()
		}
		if err != nil {
			return err
		}
		if c.d.divisor != 1 {
			x /= c.d.divisor
		}
		dst[i] = x
		c.done++
	}
	return nil
}

// bits reads a binary sample.
func (c *cursor) bits() (float64, error) {
	if err := c.fill(c.width); err != nil {
		return 0, err
	}
	b := c.rest[:c.width]
	c.rest = c.rest[c.width:]
	switch {
	case c.width == 4 && c.d.big:
		return float64(math.Float32frombits(binary.BigEndian.Uint32(b))), nil
	case c.width == 4:
		return float64(math.Float32frombits(binary.LittleEndian.Uint32(b))), nil
	case c.d.big:
		return math.Float64frombits(binary.BigEndian.Uint64(b)), nil
	}
	return math.Float64frombits(binary.LittleEndian.Uint64(b)), nil
}

// field reads the next columns of text. Blank columns are a missing sample.
func (c *cursor) field() (float64, error) {
	for len(c.line) == 0 {
		if err := c.fill(160); err != nil {
			return 0, err
		}
		if len(c.rest) == 0 {
			return 0, fmt.Errorf("ends at sample %d of %d", c.done, c.d.n)
		}
		k := bytes.IndexByte(c.rest, '\n')
		if k < 0 {
			if k = len(c.rest) - 1; c.at < c.end {
				return 0, errors.New("a line of more than 160 characters within the samples")
			}
		}
		c.line = bytes.TrimRight(c.rest[:k+1], " \r\n")
		c.line = c.line[:min(len(c.line), c.width*c.perLine)]
		c.rest = c.rest[k+1:]
	}
	k := min(c.width, len(c.line))
	text := bytes.TrimSpace(c.line[:k])
	c.line = c.line[k:]
	if len(text) == 0 {
		return math.NaN(), nil
	}
	x, err := parse(text)
	if err != nil {
		return 0, fmt.Errorf("sample %d: %w", c.done+1, err)
	}
	return x, nil
}
