package sine

import (
	"errors"
	"fmt"
	"io"
	"math"
	"math/cmplx"
	"slices"
)

const (
	mostPasses   = 4
	piece        = 8192  // frames read at a time
	tuningBlocks = 16    // after so many blocks of the first pass the frequency is looked at, and a better one begun with at once
	tuned        = 0.005 // largest difference of frequency, in cycles over a block, that needs no further pass
	tunedNoise   = 0.1   // largest part of the residual variance that may come from it
	idle         = 1e-7  // cycles over a block below which another pass cannot help
	reach        = 0.03  // relative, how far the line may be from the start value
	significant  = 5     // amplitude over its standard deviation that makes a line
	wrapping     = 0.3   // cycles over a block from which the block phases may have wrapped
	coherent     = 0.8
	mainsWander  = 1e-3 // relative, how far the mains may be from its nominal frequency
	emptyReads   = 100  // in a row that end the patience
)

// Source opens a recording at its first frame. next fills dst[c][0:n] with the next n <= len(dst[0]) frames and returns io.EOF with n == 0 at the end.
type Source = func() (next func(dst [][]float64) (int, error), err error)

// Approximate reads the recording as often as needed, at most four times, to find its line near s.Frequency and approximates it at the refined frequency.
// The line may be 3 % off. ErrNoLine is wrapped, with the frequency of the strongest line there is, where none stands out there or another one outdoes it.
// Clause: ISO 16063-11:1999 sine approximation (method 3)
func Approximate(open Source, channels int, s Settings) (Fit, error) {
	if err := s.check(channels); err != nil {
		return Fit{}, err
	}
	p := &passes{open: open, channels: channels, nominal: s.Frequency}
	for {
		p.count++
		fit, err := p.read(s)
		if p.short(err) && s.Frames != p.frames && p.count < mostPasses { // blocks were chosen for another length
			s.Frames = p.frames
			continue
		}
		if err != nil {
			return Fit{}, err
		}
		fit.Passes = p.count
		again, err := p.next(&s, fit)
		if err != nil || !again {
			return fit, err
		}
	}
}

// passes is the state of Approximate between readings.
type passes struct {
	open     Source
	channels int
	nominal  float64
	count    int
	searched bool
	whole    bool  // the last one reached the end
	frames   int64 // it read
	room     [][]float64
}

func (p *passes) short(err error) bool { return errors.Is(err, ErrShort) && p.whole && p.frames > 0 }

// read makes one pass. The first one is broken off after some blocks where it shows that the frequency must be changed.
func (p *passes) read(s Settings) (Fit, error) {
	a, err := NewAccumulator(s, p.channels)
	if err != nil {
		return Fit{}, err
	}
	look := int64(-1)
	if p.count == 1 && !s.Known {
		look = tuningBlocks * int64(a.basis.size)
	}
	var early Fit
	p.whole, p.frames = true, 0
	err = p.pieces(piece, func(block [][]float64) (bool, error) {
		if err := a.Add(block); err != nil {
			return false, err
		}
		if look < 0 || a.frames < look {
			return true, nil
		}
		look = -1
		f, undecided := a.Fit()
		if undecided == nil && !(f.inTune() && f.obvious()) {
			early, p.whole = f, false
			return false, nil
		}
		return true, nil // in tune, or too early to tell: read on
	})
	p.frames = a.frames
	if err != nil {
		return Fit{}, err
	}
	if !p.whole {
		return early, nil
	}
	return a.Fit()
}

// pieces hands the recording on, size frames at a time, until its end or until take has had enough.
func (p *passes) pieces(size int, take func(block [][]float64) (more bool, err error)) error {
	next, err := p.open()
	if err != nil {
		return err
	}
	if p.room == nil {
		p.room = make([][]float64, p.channels)
		for c := range p.room {
			p.room[c] = make([]float64, size)
		}
	}
	block := make([][]float64, p.channels)
	for empty := 0; empty < emptyReads; empty++ {
		n, err := next(p.room)
		if n > 0 {
			empty = 0
			for c := range block {
				block[c] = p.room[c][:n]
			}
			if more, e := take(block); e != nil || !more {
				return e
			}
		}
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return err
		}
	}
	return io.ErrNoProgress
}

// next decides what follows a pass: it changes the settings and asks for another one, or ends.
func (p *passes) next(s *Settings, fit Fit) (again bool, err error) {
	f := fit.Frequency
	if !p.searched && !s.Known && !fit.obvious() {
		p.searched = true
		found, err := p.search(*s)
		if err != nil {
			return false, err
		}
		if found != 0 && math.Abs(found-f)*float64(fit.BlockSize)/fit.Rate > wrapping { // else the blocks know better
			f = found
		}
	}
	if p.count < mostPasses && (f != fit.Frequency && !s.Known || !p.whole || !fit.inTune() || p.replan(*s, fit)) {
		if p.whole {
			s.Frames = p.frames
		}
		if !s.Known {
			s.Frequency = f
		}
		if s.Mains > 0 {
			s.mainsOff = fit.Mains/s.Mains - 1
		}
		return true, nil
	}
	return false, p.settled(s, fit)
}

// replan reports whether blocks chosen for the length that was read would be better: more of them, or other mains lines.
func (p *passes) replan(s Settings, fit Fit) bool {
	if s.Block > 0 || s.Frames == p.frames {
		return false
	}
	s.Frames, s.Frequency = p.frames, fit.Frequency
	size, err := s.blockSize()
	if err != nil || size == fit.BlockSize {
		return false
	}
	was, _ := s.regressors(fit.BlockSize)
	is, _ := s.regressors(size)
	return len(was) != len(is) || p.frames/int64(fit.BlockSize) < manyBlocks && p.frames/int64(size) > p.frames/int64(fit.BlockSize)
}

// settled refuses a fit that found no line where one was said to be.
func (p *passes) settled(s *Settings, fit Fit) error {
	strong := slices.ContainsFunc(fit.Channels, func(c Channel) bool { return cmplx.Abs(c.Amplitude) > significant*c.Std })
	record := float64(fit.Frames) / fit.Rate
	off := math.Abs(fit.Frequency - p.nominal)
	if strong && (off <= reach*p.nominal || off*record < 1) {
		if d := fit.offset(); !s.Known && d > wrapping {
			return fmt.Errorf("sine: %w: after %d passes it still moved from %.6g Hz to %.6g Hz", ErrNotConverged, fit.Passes, fit.Start, fit.Frequency)
		}
		return nil
	}
	found := fit.Frequency
	if l, err := p.spectrum(*s); err == nil {
		found = l.strongest
	}
	return p.noLine(*s, found)
}

// noLine is the error that no line stands out near the frequency wanted, and why the strongest one there is does not count.
func (p *passes) noLine(s Settings, strongest float64) error {
	what := "the strongest is at"
	if k, d := NearestMains(strongest, s.Mains, float64(max(s.Frames, p.frames))/s.Rate); s.Mains > 0 && (d < lobe || math.Abs(strongest-float64(k)*s.Mains) < mainsWander*strongest) {
		what = "there is only the mains, at"
		if k > 1 {
			what = fmt.Sprintf("there is only multiple %d of the mains, at", k)
		}
	}
	return fmt.Errorf("sine: %w within %g %% of %.6g Hz: %s %.5g Hz", ErrNoLine, 100*reach, p.nominal, what, strongest)
}

// offset is the difference of the refined frequency from that of the regressors in cycles over a block.
func (f Fit) offset() float64 { return math.Abs(f.Frequency-f.Start) * float64(f.BlockSize) / f.Rate }

// inTune reports whether another pass could not improve the fit.
func (f Fit) inTune() bool {
	d := f.offset()
	return d <= tuned && (f.Mistuning <= tunedNoise || d <= idle) && f.humResidual <= tunedNoise
}

// obvious reports whether the line is beyond doubt: in one channel stronger than its own harmonics and all that is left, its phase the same from block to block.
func (f Fit) obvious() bool {
	if f.Coherence < coherent || f.offset() > wrapping {
		return false
	}
	return slices.ContainsFunc(f.Channels, func(c Channel) bool {
		a := cmplx.Abs(c.Amplitude)
		return a*a > 2*c.Residual*c.Residual && c.Distortion < 1
	})
}
