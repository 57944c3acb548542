package bench

import (
	"context"
	"fmt"
	"io"
	"math"

	"plumbline/recording"
)

// stream is one acquisition.
type stream struct {
	reader recording.Reader
	info   recording.Info
	in     [2]Input
	buffer [][]float64
	pair   [2][]float64 // of the last portion, V at the digitizer
	frames int64
}

func openStream(ctx context.Context, d Digitizer, in [2]Input) (*stream, error) {
	reader, err := d.Acquire(ctx)
	if err != nil {
		return nil, fmt.Errorf("digitizer: %w", err)
	}
	s := &stream{reader: reader, info: reader.Info(), in: in}
	if !(s.info.Rate > 0) {
		_ = reader.Close() // the rate is the news
		return nil, fmt.Errorf("digitizer: %g frames per second", s.info.Rate)
	}
	for c, i := range in {
		if i.Column < 1 || i.Column > len(s.info.Channels) {
			_ = reader.Close()
			return nil, fmt.Errorf("digitizer: column %d for the %s, it has 1 to %d", i.Column, channelNames[c], len(s.info.Channels))
		}
	}
	s.buffer = recording.Block(len(s.info.Channels), max(1, int(math.Ceil(s.info.Rate/2))))
	return s, nil
}

// seconds is the time of the stream.
func (s *stream) seconds() float64 { return float64(s.frames) / s.info.Rate }

// next reads at most the given frames and returns them as the digitizer delivered them; they are good until the next call.
func (s *stream) next(frames int) ([][]float64, error) {
	dst := make([][]float64, len(s.buffer))
	frames = max(1, min(frames, len(s.buffer[0])))
	for c := range dst {
		dst[c] = s.buffer[c][:frames]
	}
	n, err := s.reader.Read(dst)
	if err == io.EOF {
		err = fmt.Errorf("%w: the stream ended", ErrLost)
	}
	if err != nil {
		return nil, fmt.Errorf("digitizer, %.3f s into the acquisition: %w", s.seconds(), err)
	}
	for c := range dst {
		dst[c] = dst[c][:n]
	}
	for c, in := range s.in {
		s.pair[c] = s.pair[c][:0]
		for _, v := range dst[in.Column-1] {
			s.pair[c] = append(s.pair[c], v*in.Scale)
		}
	}
	s.frames += int64(n)
	return dst, nil
}

// steps are the voltages of one count of both channels, 0 where samples are no integers.
func (s *stream) steps() [2]float64 {
	var lsb [2]float64
	for c, in := range s.in {
		ch := s.info.Channels[in.Column-1]
		if ch.Bits > 0 {
			full := ch.FullScale
			if full == 0 {
				full = 1
			}
			lsb[c] = full * in.Scale / math.Ldexp(1, ch.Bits-1)
		}
	}
	return lsb
}
