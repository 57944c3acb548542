package recording

import (
	"errors"
	"io"
	"testing"
	"time"
)

// counting is a recording of two channels that count their frames.
func counting(frames int64) Recording {
	info := Info{Channels: make([]Channel, 2), Rate: 10, Frames: frames, Start: time.Date(2026, 11, 9, 8, 0, 0, 0, time.UTC)}
	return New("counted", "id", info, func() (Reader, error) { return &counter{info: info}, nil })
}

type counter struct {
	info Info
	at   int64
}

func (c *counter) Info() Info   { return c.info }
func (c *counter) Close() error { return nil }

func (c *counter) Read(dst [][]float64) (n int, err error) {
	for ; n < min(len(dst[0]), 3) && c.at < c.info.Frames; n++ { // no more than three at a time
		dst[0][n], dst[1][n] = float64(c.at), -float64(c.at)
		c.at++
	}
	if n == 0 {
		return 0, io.EOF
	}
	return n, nil
}

// TestFrom: a part of a recording begins where it is told to, each time it is opened, and knows its length and start.
func TestFrom(t *testing.T) {
	for _, from := range []int64{0, 1, 7, 19, 20, 30} {
		part := counting(20).From(from)
		if want := max(0, 20-from); part.Info.Frames != want || part.ID != "id" || part.Info.Start.Sub(counting(20).Info.Start) != time.Duration(from)*100*time.Millisecond {
			t.Errorf("from %d: %+v", from, part.Info)
		}
		for range 2 {
			r, err := part.Open()
			if err != nil {
				t.Fatal(err)
			}
			var got []float64
			for dst := [][]float64{make([]float64, 4), make([]float64, 4)}; ; {
				n, err := r.Read(dst)
				if errors.Is(err, io.EOF) {
					break
				} else if err != nil {
					t.Fatal(err)
				}
				got = append(got, dst[0][:n]...)
			}
			if int64(len(got)) != part.Info.Frames || len(got) > 0 && got[0] != float64(from) || r.Info().Frames != part.Info.Frames {
				t.Errorf("from %d: read %v", from, got)
			}
		}
	}
}
