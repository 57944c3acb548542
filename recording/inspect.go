package recording

import (
	"errors"
	"fmt"
	"io"
	"math"
)

// headFrames is how many frames are kept to learn the resolution of the samples before they are judged.
const headFrames = 2048

// Inspector looks for defects in the samples of a recording while they pass by, in memory that does not grow with their number.
type Inspector struct {
	info     Info
	frames   int64
	head     [][]float64 // first frames, not yet judged
	learned  bool
	channels []channel
	frame    stall
	piece    [][]float64 // part of a block
}

// NewInspector returns an Inspector for a recording described by info.
func NewInspector(info Info) *Inspector {
	in := &Inspector{info: info, head: make([][]float64, len(info.Channels)), channels: make([]channel, len(info.Channels)),
		piece: make([][]float64, len(info.Channels))}
	for c, ch := range info.Channels {
		in.channels[c] = newChannel(ch)
	}
	in.frame = newStall(len(info.Channels))
	return in
}

// Add examines the next frames: block[c] holds the samples of channel c, all of the same length. Blocks may have any size.
func (in *Inspector) Add(block [][]float64) {
	if len(block) == 0 || len(block[0]) == 0 {
		return
	}
	if in.learned {
		in.judge(block)
		return
	}
	n := min(headFrames-len(in.head[0]), len(block[0]))
	rest := make([][]float64, len(block))
	for c := range block {
		in.head[c] = append(in.head[c], block[c][:n]...)
		rest[c] = block[c][n:]
	}
	if len(in.head[0]) == headFrames {
		in.learn()
		in.Add(rest)
	}
}

// learn takes the resolution from the frames kept and judges them.
func (in *Inspector) learn() {
	in.learned = true
	for c := range in.channels {
		in.channels[c].learn(in.head[c])
	}
	if len(in.head) > 0 && len(in.head[0]) > 0 {
		in.judge(in.head)
	}
	in.head = nil
}

// judge examines a block in pieces, so that what is learned from one is used for the next.
func (in *Inspector) judge(block [][]float64) {
	const most = 512
	for n := len(block[0]); n > 0; {
		for c := range block {
			rest := block[c][len(block[c])-n:]
			in.piece[c] = rest[:min(n, most)]
		}
		in.frame.begin(len(in.piece[0]))
		for c := range in.channels {
			in.channels[c].add(in.piece[c], in.frames, in.frame.same)
		}
		in.frame.add(in.piece, in.frames, in.channels)
		in.frames += int64(len(in.piece[0]))
		n -= len(in.piece[0])
	}
}

// Frames returns the number of frames examined so far.
func (in *Inspector) Frames() int64 {
	if !in.learned && len(in.head) > 0 {
		return int64(len(in.head[0]))
	}
	return in.frames
}

// Findings returns what was found so far, and what opening the file had found: channel by channel, in a fixed order.
func (in *Inspector) Findings() []Finding {
	if !in.learned {
		in.learn()
	}
	found := append([]Finding(nil), in.info.Findings...)
	if in.frames == 0 {
		return append(found, Finding{Code: Empty, Refuse: true, Text: "no samples: the recording is empty"})
	}
	for c := range in.channels {
		found = append(found, in.channels[c].findings(c+1, in.frames, in.info.Channels[c].Unit.Symbol)...)
	}
	return append(found, in.frame.findings(in.frames, in.channels)...)
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

func isFinite(x float64) bool { return x-x == 0 }

// value prints a sample with its unit.
func value(x float64, unit string) string {
	if unit == "" {
		return fmt.Sprintf("%.6g", x)
	}
	return fmt.Sprintf("%.6g %s", x, unit)
}

// nearFull is the size over a stated full scale from which a sample counts as at full scale: the largest code of 16 bits lies just above it.
const nearFull = 1 - 1e-4

// fullScaleOf is the least size of a sample that is at full scale: as stated, else 1 less one step for integers, never for others.
func fullScaleOf(ch Channel) float64 {
	if ch.FullScale > 0 {
		return ch.FullScale * nearFull
	}
	if ch.Bits > 0 && ch.Unit.Symbol == "FS" {
		return 1 - math.Ldexp(1, 1-ch.Bits)
	}
	return math.Inf(1)
}
