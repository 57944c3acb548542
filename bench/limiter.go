package bench

import (
	"context"
	"fmt"
	"math"
	"math/cmplx"
)

// longestStep is the time in s for which the growth of a drive may be asked for at once.
const longestStep = 0.1

// limiter is the only caller of Exciter.Drive. Whatever it is asked for, the peak of the drive stays within Limits.Drive and grows no faster than Limits.Slew, and the
// motion expected of it by the response measured stays within Limits.Level.
type limiter struct {
	exciter Exciter
	limits  Limits
	now     Signal  // as last accepted
	at      float64 // s of the stream at that time
	// response is the motion per drive in m/s² per volt at f, as far as measured; ok false: not yet.
	response func(f float64) (h float64, ok bool)
	unknown  float64 // V peak allowed of all tones together while the response of one is not known
}

// reached is what became of a request.
type reached struct {
	there bool   // nothing is left for the slew: time does not help
	bound string // the limit that stood against it; empty: none
}

// set asks for a signal at t seconds of the stream. The drive goes as far towards it as the limits allow.
func (l *limiter) set(ctx context.Context, want Signal, t float64) (reached, error) {
	want, bound := l.bounded(want)
	step, whole := l.slewed(want, t)
	if err := l.exciter.Drive(ctx, step); err != nil {
		return reached{}, fmt.Errorf("exciter: %w", err)
	}
	l.now, l.at = step, t
	return reached{whole, bound}, nil
}

// off asks for silence.
func (l *limiter) off(ctx context.Context, t float64) error {
	_, err := l.set(ctx, nil, t)
	return err
}

// bounded takes a signal down as a whole until no limit stands against it.
func (l *limiter) bounded(s Signal) (Signal, string) {
	peak := s.Peak()
	factor, bound := 1.0, ""
	least := func(f float64, name string) {
		if f < factor {
			factor, bound = f, name
		}
	}
	if peak > l.limits.Drive {
		least(l.limits.Drive/peak, fmt.Sprintf("the drive is capped at %.4g V", l.limits.Drive))
	}
	share, unknown := 0.0, false
	for _, tone := range s {
		h, ok := l.response(tone.Frequency)
		if !ok {
			unknown = true
			continue
		}
		share += h * cmplx.Abs(tone.Amplitude) / l.limits.Level(tone.Frequency)
	}
	if share > 1 {
		least(1/share, "stroke, velocity, force or payload admit no more")
	}
	if unknown && peak > l.unknown {
		least(l.unknown/peak, fmt.Sprintf("%.4g V are allowed before the response is measured", l.unknown))
	}
	if factor == 1 || !(factor > 0) { // not a number: the driver refuses it
		return s, bound
	}
	return scaled(s, factor*(1-1e-12)), bound
}

// slewed goes from the present drive towards the signal as far as the slew allows.
func (l *limiter) slewed(want Signal, t float64) (Signal, bool) {
	growth := growth(l.now, want)
	room := l.limits.Slew * min(longestStep, max(0, t-l.at))
	if growth <= room {
		return want, true
	}
	return between(l.now, want, room/growth), false
}

// growth is the sum of what tones gain in amplitude, V.
func growth(from, to Signal) float64 {
	var sum float64
	for _, t := range to {
		sum += max(0, cmplx.Abs(t.Amplitude)-cmplx.Abs(from.at(t.Frequency)))
	}
	return sum
}

// between is the signal at a part of the way from one to another.
func between(from, to Signal, part float64) Signal {
	var s Signal
	for _, t := range to {
		s = append(s, Tone{t.Frequency, from.at(t.Frequency)*complex(1-part, 0) + t.Amplitude*complex(part, 0)})
	}
	for _, t := range from {
		if !to.holds(t.Frequency) {
			s = append(s, Tone{t.Frequency, t.Amplitude * complex(1-part, 0)})
		}
	}
	return s
}

func (s Signal) at(f float64) complex128 {
	for _, t := range s {
		if t.Frequency == f {
			return t.Amplitude
		}
	}
	return 0
}

func (s Signal) holds(f float64) bool {
	for _, t := range s {
		if t.Frequency == f {
			return true
		}
	}
	return false
}

func scaled(s Signal, factor float64) Signal {
	out := make(Signal, len(s))
	for i, t := range s {
		out[i] = Tone{t.Frequency, t.Amplitude * complex(factor, 0)}
	}
	return out
}

// check refuses limits that limit nothing.
func (l Limits) check() error {
	switch {
	case !(l.Drive > 0) || math.IsInf(l.Drive, 1):
		return fmt.Errorf("limits: drive of %g V, allowed are values above zero", l.Drive)
	case !(l.Slew > 0) || math.IsInf(l.Slew, 1):
		return fmt.Errorf("limits: slew of %g V/s, allowed are values above zero", l.Slew)
	case l.Level == nil:
		return fmt.Errorf("limits: no limit of the level is given")
	}
	return nil
}
