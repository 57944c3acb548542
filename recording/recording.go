// Package recording is one acquisition: its channels, samples, rate and identity, with what speaks against using it.
package recording

import (
	"time"

	"plumbline/quantity"
)

// Channel describes one channel of a recording.
type Channel struct {
	Name      string        // as written in the file, may be empty
	Unit      quantity.Unit // unit of the samples as delivered by Read; Symbol "FS" means fraction of full scale, "" unknown
	Bits      int           // resolution of integer samples in bits, 0 for floating point or text
	FullScale float64       // largest size a sample can have, in Unit, where someone who knows the recorder says so; 0 as Bits tell
}

// Info is what is known of a recording from its header.
type Info struct {
	Format   string    // name of the format, for example "WAV PCM 24 bit"
	Channels []Channel // in file order
	Rate     float64   // samples per second
	Frames   int64     // frames (one sample of every channel) announced by the header; -1 where only reading can tell
	Start    time.Time // zero where the file does not say
	Findings []Finding // what opening the file found, for example gaps in a column of times
	Notes    []string  // what was guessed or repaired on opening, in plain words (delimiter, unfinished header ...)
}

// Reader streams one recording from its first frame.
type Reader interface {
	Info() Info
	// Read fills dst[c][0:n] for every channel c with the next n <= len(dst[0]) frames.
	// It returns io.EOF with n == 0 at the end. Missing values are NaN.
	Read(dst [][]float64) (n int, err error)
	Close() error
}

// Recording is an acquisition that can be read from the start as often as needed.
type Recording struct {
	Name string // the file's name without folder
	ID   string // SHA-256 of the bytes, lower-case hex
	Info Info
	open func() (Reader, error)
}

// New makes a Recording; open must start at the first frame each time it is called.
func New(name, id string, info Info, open func() (Reader, error)) Recording {
	return Recording{Name: name, ID: id, Info: info, open: open}
}

// Open starts reading at the first frame.
func (r Recording) Open() (Reader, error) { return r.open() }

// From is the recording from a frame on, from 0. Its identity is that of the whole.
func (r Recording) From(frame int64) Recording {
	if frame <= 0 {
		return r
	}
	whole := r.open
	if r.Info.Frames >= 0 {
		r.Info.Frames = max(0, r.Info.Frames-frame)
	}
	if !r.Info.Start.IsZero() && r.Info.Rate > 0 {
		r.Info.Start = r.Info.Start.Add(time.Duration(float64(frame) / r.Info.Rate * float64(time.Second)))
	}
	info := r.Info
	r.open = func() (Reader, error) {
		reader, err := whole()
		if err != nil {
			return nil, err
		}
		return &later{Reader: reader, info: info, skip: frame}, nil
	}
	return r
}

// later is a reader that leaves out the first frames.
type later struct {
	Reader
	info Info
	skip int64
}

// Info is that of the part.
func (l *later) Info() Info { return l.info }

// Read reads on from the first frame of the part.
func (l *later) Read(dst [][]float64) (int, error) {
	for l.skip > 0 {
		part := make([][]float64, len(dst))
		for c := range dst {
			part[c] = dst[c][:min(l.skip, int64(len(dst[c])))]
		}
		n, err := l.Reader.Read(part)
		if err != nil {
			return 0, err
		}
		l.skip -= int64(n)
	}
	return l.Reader.Read(dst)
}
