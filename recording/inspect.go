package recording

import (
	"errors"
	"io"
)

// Inspector looks for defects in the samples of a recording while they pass by, in memory that does not grow with their number.
type Inspector struct {
	info   Info
	frames int64
}

// NewInspector returns an Inspector for a recording described by info.
func NewInspector(info Info) *Inspector { return &Inspector{info: info} }

// Add examines the next frames: block[c] holds the samples of channel c, all of the same length. Blocks may have any size.
func (in *Inspector) Add(block [][]float64) {
	if len(block) > 0 {
		in.frames += int64(len(block[0]))
	}
}

// Frames returns the number of frames examined so far.
func (in *Inspector) Frames() int64 { return in.frames }

// Findings returns what was found so far, and what opening the file had found, in a fixed order.
func (in *Inspector) Findings() []Finding {
	return append([]Finding(nil), in.info.Findings...)
}

// Inspect reads all of rec and returns what was found.
func Inspect(rec Recording) (findings []Finding, err error) {
	r, err := rec.Open()
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, r.Close()) }()
	in := NewInspector(r.Info())
	block := Block(len(r.Info().Channels), 4096)
	view := make([][]float64, len(block))
	for {
		n, err := r.Read(block)
		if err == io.EOF {
			return in.Findings(), nil
		}
		if err != nil {
			return nil, err
		}
		for c := range block {
			view[c] = block[c][:n]
		}
		in.Add(view)
	}
}

// Block returns room for n frames of the given number of channels.
func Block(channels, n int) [][]float64 {
	room := make([]float64, channels*n)
	block := make([][]float64, channels)
	for c := range block {
		block[c] = room[c*n : (c+1)*n : (c+1)*n]
	}
	return block
}
