package simulator

import (
	"fmt"
	"math"
)

// FaultKind names what can be wrong with a live bench.
type FaultKind string

// The faults. Beside each: the fields of Fault it uses besides At and, unless stated, Channel.
const (
	Gain       FaultKind = "gain"      // Size: factor on what the conditioner gives (0.7071 rms for peak, 10 a wrong range, 1.05 a changed sensitivity)
	Polarity   FaultKind = "polarity"  // the signal is upside down
	Swapped    FaultKind = "swapped"   // the cables of the two channels are exchanged; no Channel
	ACCoupling FaultKind = "coupling"  // Frequency: corner of first order in the channel, Hz
	Loose      FaultKind = "loose"     // Frequency: resonance of the loose mounting, Hz; Size: how much stiffer it is pushed than pulled
	Local      FaultKind = "local"     // Frequency: of a resonance of cable or fixture, Hz; Size: what it adds there, relative
	Saturated  FaultKind = "saturated" // Size: V of swing that a wrong bias leaves the sensor on one side
	Clipped    FaultKind = "clipped"   // Size: V at which the recorder cuts off
	Alias      FaultKind = "alias"     // Frequency: of a foreign line, Hz, not held back by the recorder's filter; Size: V peak
	Dropped    FaultKind = "dropped"   // Frames: lost without a word
	HumLoop    FaultKind = "hum"       // Size: V peak of mains
	Click      FaultKind = "click"     // Size: V, of a burst of three samples
	Pulled     FaultKind = "pulled"    // the cable is pulled
	Flat       FaultKind = "flat"      // the channel stays at one value
	Unplugged  FaultKind = "unplugged" // exciter's converter and digitizer are gone; no Channel
	Stalled    FaultKind = "stalled"   // the digitizer delivers nothing more; no Channel
	Gap        FaultKind = "gap"       // Frames: lost, and the digitizer says so; no Channel
	Stuck      FaultKind = "stuck"     // the table is held; no Channel
	Runaway    FaultKind = "runaway"   // Size: factor on the amplifier's gain; no Channel
)

const (
	looseQuality = 5.6  // of a loose mounting: with 650 Hz it reads 28 % more at 300 Hz and lags by 6°
	localQuality = 20.0 // of a resonance of cable or fixture
	pulledHum    = 10.0 // an open input picks up so much more mains than a connected one; assumed
)

// Fault is something wrong with a live bench.
type Fault struct {
	Kind      FaultKind
	At        float64 // s of the digitizer's clock, all acquisitions together; what lies behind begins at once
	Every     float64 // s, for Dropped, Click and Gap: again and again; 0 once
	Channel   int     // 1 reference, 2 device, 0 both
	Size      float64
	Frequency float64 // Hz
	Frames    int
}

// needs are the fields of Fault that a kind of fault uses and that may not be zero.
type needs struct{ size, frequency, frames bool }

var kinds = map[FaultKind]needs{
	Gain: {size: true}, Polarity: {}, Swapped: {}, ACCoupling: {frequency: true}, Loose: {frequency: true}, Local: {frequency: true, size: true},
	Saturated: {size: true}, Clipped: {size: true}, Alias: {frequency: true, size: true}, Dropped: {frames: true}, HumLoop: {size: true}, Click: {size: true},
	Pulled: {}, Flat: {}, Unplugged: {}, Stalled: {}, Gap: {frames: true}, Stuck: {}, Runaway: {size: true},
}

// check refuses a fault that cannot be, with h the time between steps in s.
func (f Fault) check(h float64) error {
	need, ok := kinds[f.Kind]
	if !ok {
		return fmt.Errorf("fault %q: no such fault", f.Kind)
	}
	for _, x := range []float64{f.At, f.Every, f.Size, f.Frequency} {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			return fmt.Errorf("fault %q: %g among its numbers, allowed are finite ones", f.Kind, x)
		}
	}
	highest := 0.4 / h
	if f.Kind == Alias {
		highest = math.MaxFloat64
	}
	switch {
	case f.Channel < 0 || f.Channel > channels:
		return fmt.Errorf("fault %q: channel %d, allowed are 1 reference, 2 device and 0 both", f.Kind, f.Channel)
	case f.Every != 0 && f.Every < 1e-3:
		return fmt.Errorf("fault %q: every %g s, allowed are values from 1 ms, and 0 for once", f.Kind, f.Every)
	case need.frequency && !(f.Frequency > 0 && f.Frequency < highest):
		return fmt.Errorf("fault %q: frequency %g Hz, allowed are values above zero and below %.4g Hz", f.Kind, f.Frequency, highest)
	case need.size && f.Size == 0:
		return fmt.Errorf("fault %q: size 0 changes nothing", f.Kind)
	case (f.Kind == Saturated || f.Kind == Clipped) && f.Size < 0:
		return fmt.Errorf("fault %q: at %g V, allowed are values above zero", f.Kind, f.Size)
	case need.frames && f.Frames <= 0:
		return fmt.Errorf("fault %q: %d frames, allowed are values above zero", f.Kind, f.Frames)
	}
	return nil
}

// laneFault is what is wrong with one channel.
type laneFault struct {
	loose, local section
	push         float64 // share of |x| that a loose mounting adds
	isLoose      bool
	isLocal      bool
	swing        float64 // V left on one side; 0 enough
	pulled       bool
	factor       float64 // of the conditioner, sign included; 0 one
	couple       coupling
	clip         float64 // V
	skip         int     // frames to lose
	click        int     // samples of a click to come
	burst        float64 // V
	flat, held   bool
	value        float64
}

// mount is a loose mounting, and a resonance of cable or fixture.
func (l *laneFault) mount(x float64) float64 {
	if l.isLoose {
		x = l.loose.step(x)
		x += l.push * math.Abs(x)
	}
	if l.isLocal {
		x = l.local.step(x)
	}
	return x
}

// saturate is a sensor at the wrong bias: it has no room on one side.
func (l *laneFault) saturate(v float64) float64 {
	if l.swing <= 0 {
		return v
	}
	knee := 0.02 * l.swing // what runs out of current does not cut off like a converter; assumed
	over := (v - l.swing) / knee
	if over > 30 {
		return l.swing
	}
	return v - knee*math.Log1p(math.Exp(over))
}

// condition is what the conditioner and its cables do wrong.
func (l *laneFault) condition(v float64) float64 {
	if l.pulled {
		v = 0
	}
	if l.factor != 0 {
		v *= l.factor
	}
	if l.couple.g > 0 {
		v = l.couple.step(v)
	}
	return v
}

func (l *laneFault) hold(v float64) float64 {
	if !l.flat {
		return v
	}
	if !l.held {
		l.held, l.value = true, v
	}
	return l.value
}

// plant puts a fault into the channel, h being the time between steps.
func (l *laneFault) plant(f Fault, h float64) {
	switch f.Kind {
	case Gain, Polarity:
		if l.factor == 0 {
			l.factor = 1
		}
		if f.Kind == Gain {
			l.factor *= f.Size
		} else {
			l.factor = -l.factor
		}
	case ACCoupling:
		l.couple = newCoupling(f.Frequency, h)
	case Loose:
		l.loose, _ = newResonance(f.Frequency, looseQuality, h)
		l.push, l.isLoose = f.Size, true
	case Local:
		l.local, l.isLocal = newBump(f.Frequency, localQuality, f.Size, h), true
	case Saturated:
		l.swing = f.Size
	case Clipped:
		l.clip = f.Size
	case Dropped:
		l.skip += f.Frames
	case Click:
		l.click, l.burst = 3, f.Size
	case Pulled:
		l.pulled = true
	case Flat:
		l.flat = true
	}
}
