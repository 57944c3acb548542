package wav

import (
	"encoding/binary"
	"fmt"
	"io"
	"math"

	"plumbline/recording"
)

const bufferBytes = 64 << 10

type reader struct {
	name   string
	f      io.ReadSeekCloser
	info   recording.Info
	enc    encoding
	align  int
	left   int64 // frames not yet read
	buf    []byte
	closed bool
}

func (r *reader) Info() recording.Info { return r.info }

func (r *reader) Read(dst [][]float64) (int, error) {
	if r.left == 0 {
		return 0, io.EOF
	}
	if r.buf == nil {
		frames := min(max(bufferBytes/int64(r.align), 1), r.left)
		r.buf = make([]byte, frames*int64(r.align))
	}
	total := int(min(int64(len(dst[0])), r.left))
	for done := 0; done < total; {
		n := min(total-done, len(r.buf)/r.align)
		src := r.buf[:n*r.align]
		if _, err := io.ReadFull(r.f, src); err != nil {
			return 0, fmt.Errorf("recording %s: %d frames before the end: %w", r.name, r.left, err)
		}
		for c := range r.info.Channels {
			r.decode(dst[c][done:done+n], src[c*r.enc.bytes:])
		}
		done += n
		r.left -= int64(n)
	}
	return total, nil
}

func (r *reader) Close() error {
	if r.closed {
		return nil
	}
	r.closed, r.left, r.buf = true, 0, nil
	return r.f.Close()
}

// decode fills dst with the samples of one channel, which lie align bytes apart in src.
func (r *reader) decode(dst []float64, src []byte) {
	const unit = 1.0 / (1 << 31) // samples are moved to the top of 32 bits
	at, step := 0, r.align
	switch r.enc.bytes {
	case 2:
		for i := range dst {
			dst[i] = float64(int16(binary.LittleEndian.Uint16(src[at:]))) / (1 << 15)
			at += step
		}
	case 3:
		for i := range dst {
			b := src[at : at+3 : at+3]
			dst[i] = float64(int32(uint32(b[0])<<8|uint32(b[1])<<16|uint32(b[2])<<24)) * unit
			at += step
		}
	case 4:
		if r.enc.float {
			for i := range dst {
				dst[i] = float64(math.Float32frombits(binary.LittleEndian.Uint32(src[at:])))
				at += step
			}
			return
		}
		for i := range dst {
			dst[i] = float64(int32(binary.LittleEndian.Uint32(src[at:]))) * unit
			at += step
		}
	case 8:
		for i := range dst {
			dst[i] = math.Float64frombits(binary.LittleEndian.Uint64(src[at:]))
			at += step
		}
	}
}
