package wav

import (
	"encoding/binary"
	"fmt"
	"io"
	"math"
	"time"

	"plumbline/internal/format"
)

// Encoding is how Writer stores samples.
type Encoding uint8

// The encodings. One must be chosen.
const (
	PCM24   Encoding = iota + 1 // fraction of full scale, rounded to 24 bits; beyond full scale it saturates as a recorder does
	Float32                     // as given, in single precision
	PCM16                       // as PCM24 with 16 bits
	PCM32                       // as PCM24 with 32 bits
	Float64                     // as given
)

// Spec is what a WAV file says of its samples.
type Spec struct {
	Channels int
	Rate     float64 // samples per second; a WAV file holds whole numbers only
	Encoding Encoding
	Start    time.Time // of the first sample; zero: not written
	RF64     bool      // write RF64 whatever the length; else only beyond 4 GiB
}

// Writer writes a WAV file. Until Close the file says that it is unfinished.
type Writer struct {
	w       io.WriteSeeker
	spec    Spec
	enc     encoding
	buf     []byte
	start   int64 // of the samples in the file
	bytes   int64 // of samples
	clipped int64
	limit   int64 // largest size that RIFF can hold
}

// NewWriter writes the header. The Writer does not close w.
func NewWriter(w io.WriteSeeker, spec Spec) (*Writer, error) {
	enc := map[Encoding]encoding{PCM24: {bytes: 3, bits: 24}, Float32: {float: true, bytes: 4, bits: 32}, PCM16: {bytes: 2, bits: 16},
		PCM32: {bytes: 4, bits: 32}, Float64: {float: true, bytes: 8, bits: 64}}[spec.Encoding]
	switch {
	case enc.bytes == 0:
		return nil, fmt.Errorf("write WAV: encoding %d: allowed are PCM16, PCM24, PCM32, Float32 and Float64", spec.Encoding)
	case spec.Channels < 1 || spec.Channels > format.MaxChannels:
		return nil, fmt.Errorf("write WAV: %d channels: allowed are 1 to %d", spec.Channels, format.MaxChannels)
	case spec.Rate != math.Trunc(spec.Rate) || spec.Rate < 1 || spec.Rate > math.MaxUint32:
		return nil, fmt.Errorf("write WAV: rate %v Hz: allowed are whole numbers from 1 to %d", spec.Rate, uint32(math.MaxUint32))
	}
	wr := &Writer{w: w, spec: spec, enc: enc, limit: unknownSize - 1}
	head := wr.header(0, unknownSize)
	wr.start = int64(len(head))
	if _, err := w.Write(head); err != nil {
		return nil, fmt.Errorf("write WAV: %w", err)
	}
	return wr, nil
}

// Write appends frames: block[c] holds the samples of channel c, all of the same length.
func (w *Writer) Write(block [][]float64) error {
	if len(block) != w.spec.Channels {
		return fmt.Errorf("write WAV: %d channels in a block, %d in the file", len(block), w.spec.Channels)
	}
	for c := range block {
		if len(block[c]) != len(block[0]) {
			return fmt.Errorf("write WAV: %d samples of channel %d beside %d of channel 1", len(block[c]), c+1, len(block[0]))
		}
	}
	w.buf = w.buf[:0]
	for i := range block[0] {
		for c := range block {
			x := block[c][i]
			if math.IsNaN(x) || math.IsInf(x, 0) {
				return fmt.Errorf("write WAV: channel %d: sample %v: allowed are finite numbers", c+1, x)
			}
			w.encode(x)
		}
		if len(w.buf) >= bufferBytes {
			if err := w.flush(); err != nil {
				return err
			}
		}
	}
	return w.flush()
}

// Clipped returns how many PCM samples were beyond full scale so far.
func (w *Writer) Clipped() int64 { return w.clipped }

func (w *Writer) encode(x float64) {
	switch {
	case w.enc.float && w.enc.bits == 64:
		w.buf = binary.LittleEndian.AppendUint64(w.buf, math.Float64bits(x))
		return
	case w.enc.float:
		w.buf = binary.LittleEndian.AppendUint32(w.buf, math.Float32bits(float32(x)))
		return
	}
	full := math.Exp2(float64(w.enc.bits - 1))
	code := math.RoundToEven(x * full)
	if code < -full || code > full-1 {
		w.clipped++
		code = min(max(code, -full), full-1)
	}
	v := uint32(int32(code))
	for i := range w.enc.bytes {
		w.buf = append(w.buf, byte(v>>(8*i)))
	}
}

func (w *Writer) flush() error {
	if _, err := w.w.Write(w.buf); err != nil {
		return fmt.Errorf("write WAV: %w", err)
	}
	w.bytes += int64(len(w.buf))
	w.buf = w.buf[:0]
	return nil
}

// Close writes the lengths into the header.
func (w *Writer) Close() error {
	if w.bytes&1 == 1 {
		if _, err := w.w.Write([]byte{0}); err != nil {
			return fmt.Errorf("write WAV: %w", err)
		}
	}
	if _, err := w.w.Seek(0, io.SeekStart); err != nil {
		return fmt.Errorf("write WAV: %w", err)
	}
	if _, err := w.w.Write(w.header(w.bytes, w.bytes)); err != nil {
		return fmt.Errorf("write WAV: %w", err)
	}
	if _, err := w.w.Seek(0, io.SeekEnd); err != nil {
		return fmt.Errorf("write WAV: %w", err)
	}
	return nil
}

// header is everything before the samples. Its length does not depend on the sizes: ds64 and JUNK take the same room.
func (w *Writer) header(bytes, data int64) []byte {
	le := binary.LittleEndian
	align := w.spec.Channels * w.enc.bytes
	frames := bytes / int64(align)
	rest := w.chunks(uint32(min(frames, math.MaxUint32)))
	riff := 4 + 36 + int64(len(rest)) + 8 + bytes + bytes&1
	large := w.spec.RF64 || riff > w.limit
	id, size, room := "RIFF", uint32(min(riff, unknownSize)), "JUNK"
	if large {
		id, size, room, data = "RF64", unknownSize, "ds64", unknownSize
	}
	if data == unknownSize && !large {
		size = unknownSize
	}
	b := le.AppendUint32([]byte(id), size)
	b = le.AppendUint32(append(b, "WAVE"+room...), 28)
	if large {
		b = le.AppendUint64(b, uint64(riff))
		b = le.AppendUint64(b, uint64(bytes))
		b = le.AppendUint64(b, uint64(frames))
	} else {
		b = append(b, make([]byte, 24)...)
	}
	b = le.AppendUint32(b, 0)
	b = append(append(b, rest...), "data"...)
	return le.AppendUint32(b, uint32(data))
}

// chunks are fmt, fact and bext. PCM gets the extensible fmt chunk, floating point the plain one: sox warns of the other.
func (w *Writer) chunks(frames uint32) []byte {
	le := binary.LittleEndian
	align := w.spec.Channels * w.enc.bytes
	rate := uint32(w.spec.Rate)
	tag, extra := uint16(tagExt), uint16(22)
	if w.enc.float {
		tag, extra = tagFloat, 0
	}
	b := le.AppendUint32([]byte("fmt "), 18+uint32(extra))
	b = le.AppendUint16(b, tag)
	b = le.AppendUint16(b, uint16(w.spec.Channels))
	b = le.AppendUint32(b, rate)
	b = le.AppendUint32(b, uint32(min(int64(rate)*int64(align), math.MaxUint32)))
	b = le.AppendUint16(b, uint16(align))
	b = le.AppendUint16(b, uint16(w.enc.bits))
	b = le.AppendUint16(b, extra)
	if extra > 0 {
		b = le.AppendUint16(b, uint16(w.enc.bits))
		b = le.AppendUint32(b, 0) // no loudspeaker positions
		b = append(b, tagPCM, 0, 0, 0, 0, 0, 0x10, 0, 0x80, 0, 0, 0xAA, 0, 0x38, 0x9B, 0x71)
	}
	if w.enc.float {
		b = le.AppendUint32(append(b, "fact"...), 4)
		b = le.AppendUint32(b, frames)
	}
	if !w.spec.Start.IsZero() {
		b = append(b, broadcast(w.spec.Start, w.spec.Rate)...)
	}
	return b
}

// broadcast is the chunk that holds the start time (EBU Tech 3285, version 1).
func broadcast(start time.Time, rate float64) []byte {
	body := make([]byte, 602)
	copy(body[320:], start.Format("2006-01-0215-04-05"))
	midnight := time.Date(start.Year(), start.Month(), start.Day(), 0, 0, 0, 0, start.Location())
	samples := math.Round(start.Sub(midnight).Seconds() * rate)
	binary.LittleEndian.PutUint64(body[338:], uint64(samples))
	body[346] = 1
	b := binary.LittleEndian.AppendUint32([]byte("bext"), uint32(len(body)))
	return append(b, body...)
}
