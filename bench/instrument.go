// Package bench runs a calibration on instruments: what it asks of them, the sequence of the points and the safe stop.
package bench

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/cmplx"

	"plumbline/recording"
)

// Tone is one sinusoid of a drive: Re(Amplitude·exp(j·2π·Frequency·t)), with t from the first sample the driver put out.
type Tone struct {
	Frequency float64    // Hz
	Amplitude complex128 // V peak at the output
}

// Signal is a sum of tones. The empty signal is silence.
type Signal []Tone

// Peak is the highest voltage the signal can reach: the sum of the amplitudes, V.
func (s Signal) Peak() float64 {
	var sum float64
	for _, t := range s {
		sum += cmplx.Abs(t.Amplitude)
	}
	return sum
}

// check refuses a signal that no driver could put out. Two tones of one frequency are refused: the driver follows a tone by its frequency.
func (s Signal) check() error {
	for i, t := range s {
		if !(t.Frequency > 0) || math.IsInf(t.Frequency, 1) {
			return fmt.Errorf("drive, tone %d: frequency %g Hz, allowed are values above zero", i+1, t.Frequency)
		}
		if cmplx.IsNaN(t.Amplitude) || cmplx.IsInf(t.Amplitude) {
			return fmt.Errorf("drive, tone %d (%g Hz): amplitude %v V, allowed are finite numbers", i+1, t.Frequency, t.Amplitude)
		}
		for _, q := range s[:i] {
			if q.Frequency == t.Frequency {
				return fmt.Errorf("drive, tone %d: %g Hz stands twice", i+1, t.Frequency)
			}
		}
	}
	return nil
}

// Exciter moves the table. Every driver passes the suite of package benchtest.
//
// Between what the exciter puts out and what the digitizer shows of it lies a delay that the driver need not know. It stays the same while one tone plays on in one
// acquisition; tones whose frequencies are multiples of one of them stay locked to it. Run relies on no more than that.
type Exciter interface {
	// Drive asks for a signal from now on and returns when the request is accepted. The output goes there continuous in phase and in amplitude, and stays there until
	// the next request. An error says that the request was not accepted; the output is then as before, or off.
	// More tones than the instrument can put out at once are refused with ErrTones: Run then does without pre-distortion and measures no multisine.
	Drive(ctx context.Context, s Signal) error
	// Halt takes the output down to silence within half a second, a ramp where the instrument still obeys, and leaves it off: after that Drive is refused with ErrHalted. It may be
	// called at any time and from any goroutine, before the first Drive, twice, after errors and after the instrument was lost; then it says what it could not do.
	Halt() error
}

// Digitizer records the channels.
type Digitizer interface {
	// Acquire starts an acquisition of all channels. Its reader delivers volts, or fractions of full scale, frame after frame without a gap. Read waits for at least one
	// frame, at most half a second of them at a time, and never longer than the driver's time limit: an instrument that stays silent is ErrLost, frames that were
	// missed are ErrGap, and the end of ctx ends a Read that waits with the error of ctx. Close ends the acquisition; it may be called twice.
	Acquire(ctx context.Context) (recording.Reader, error)
}

// What drivers say, wrapped with what they know of the cause.
var (
	ErrHalted = errors.New("the exciter was halted")
	ErrLost   = errors.New("the instrument does not answer")
	ErrGap    = errors.New("frames were lost")
	ErrTones  = errors.New("more tones than the exciter puts out at once")
)
