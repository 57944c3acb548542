package simulator

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"io"
	"math"

	"plumbline/recording"
)

// Recording hands samples in V (samples[c] holds channel c) at rate samples per second to what reads recordings, without a file between.
// Its identity is the SHA-256 of the samples as little-endian float64, frame by frame.
func Recording(name string, samples [][]float64, rate float64, bits int) recording.Recording {

	info := recording.Info{Format: "simulated", Rate: rate, Frames: int64(len(samples[0]))}
	for range samples {
		info.Channels = append(info.Channels, recording.Channel{Unit: volt, Bits: bits})
	}
	open := func() (recording.Reader, error) { return &reader{info: info, samples: samples}, nil }
	return recording.New(name, digest(samples), info, open)
}

func digest(samples [][]float64) string {
	h := sha256.New()
	frame := make([]byte, 0, 8*len(samples))
	for i := range samples[0] {
		frame = frame[:0]
		for c := range samples {
			frame = binary.LittleEndian.AppendUint64(frame, math.Float64bits(samples[c][i]))
		}
		h.Write(frame)
	}
	return hex.EncodeToString(h.Sum(nil))
}

type reader struct {
	info    recording.Info
	samples [][]float64
	next    int
}

func (r *reader) Info() recording.Info { return r.info }

func (r *reader) Read(dst [][]float64) (int, error) {
	n := min(len(dst[0]), len(r.samples[0])-r.next)
	if n == 0 {
		return 0, io.EOF
	}
	for c := range r.samples {
		copy(dst[c], r.samples[c][r.next:r.next+n])
	}
	r.next += n
	return n, nil
}

func (r *reader) Close() error { return nil }
