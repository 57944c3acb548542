package simulator

import (
	"fmt"
	"math"
	"slices"
)

// FaultKind names what can be wrong with a live bench.
type FaultKind string

// The faults. Beside each: the fields of Fault it uses besides At and, unless stated, Channel.
const (
	Gain        FaultKind = "gain"      // Size: factor on what the conditioner gives (0.7071 rms for peak, 10 a wrong range, 1.05 a changed sensitivity)
	Polarity    FaultKind = "polarity"  // the signal is upside down
	Swapped     FaultKind = "swapped"   // the cables of the two channels are exchanged; no Channel
	ACCoupling  FaultKind = "coupling"  // Frequency: corner of first order in the channel, Hz
	Loose       FaultKind = "loose"     // Frequency: resonance of the loose mounting, Hz; Size: how much stiffer it is pushed than pulled
	Local       FaultKind = "local"     // Frequency: of a resonance of cable or fixture, Hz; Size: what it adds there, relative
	Saturated   FaultKind = "saturated" // Size: V at which the sensor's output bends; Bias: V by which its rest is off
	Clipped     FaultKind = "clipped"   // Size: V at which the recorder cuts off
	Alias       FaultKind = "alias"     // Frequency: of a foreign line, Hz, not held back by the recorder's filter; Size: V peak
	Dropped     FaultKind = "dropped"   // Frames: lost without a word
	HumLoop     FaultKind = "hum"       // Size: V peak of mains
	Click       FaultKind = "click"     // Size: V, of a burst of three samples
	Pulled      FaultKind = "pulled"    // the cable is pulled
	Flat        FaultKind = "flat"      // the channel stays at one value
	Unplugged   FaultKind = "unplugged" // exciter's converter and digitizer are gone; no Channel
	Stalled     FaultKind = "stalled"   // the digitizer delivers nothing more; no Channel
	Gap         FaultKind = "gap"       // Frames: lost, and the digitizer says so; no Channel
	Stuck       FaultKind = "stuck"     // the table is held; no Channel
	Runaway     FaultKind = "runaway"   // Size: factor on the amplifier's gain; no Channel
	looseFactor           = 5.6         // quality of a loose mounting: 28 % and 6° at 300 Hz with 650 Hz
	localFactor           = 20.0        // quality of a local resonance
	pulledHum             = 10.0        // an open input picks up so much more mains than a connected one; assumed
)

// Fault is something wrong with a live bench.
type Fault struct {
	Kind      FaultKind
	At        float64 // s of the digitizer's clock, all acquisitions together; what lies behind begins at once
	Every     float64 // s, for Dropped, Click and Gap: again and again; 0 once
	Channel   int     // 1 reference, 2 device, 0 both
	Size      float64
	Bias      float64 // V
	Frequency float64 // Hz
	Frames    int
}

func (f Fault) check() error {
	need := map[FaultKind]string{
		Gain: "size", Polarity: "", Swapped: "", ACCoupling: "frequency", Loose: "frequency", Local: "frequency size", Saturated: "size", Clipped: "size",
		Alias: "frequency size", Dropped: "frames", HumLoop: "size", Click: "size", Pulled: "", Flat: "", Unplugged: "", Stalled: "", Gap: "frames", Stuck: "", Runaway: "size",
	}
	fields, ok := need[f.Kind]
	if !ok {
		return fmt.Errorf("fault %q: no such fault", f.Kind)
	}
	for _, x := range []float64{f.At, f.Every, f.Size, f.Bias, f.Frequency} {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			return fmt.Errorf("fault %q: %g among its numbers, allowed are finite ones", f.Kind, x)
		}
	}
	switch {
	case f.Channel < 0 || f.Channel > channels:
		return fmt.Errorf("fault %q: channel %d, allowed are 1 reference, 2 device and 0 both", f.Kind, f.Channel)
	case f.Every < 0:
		return fmt.Errorf("fault %q: every %g s, allowed are values from zero", f.Kind, f.Every)
	case slices.Contains([]string{"frequency", "frequency size"}, fields) && !(f.Frequency > 0):
		return fmt.Errorf("fault %q: frequency %g Hz, allowed are values above zero", f.Kind, f.Frequency)
	case slices.Contains([]string{"size", "frequency size"}, fields) && f.Size == 0:
		return fmt.Errorf("fault %q: size 0 changes nothing", f.Kind)
	case fields == "frames" && f.Frames <= 0:
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
	soft, offset float64 // V
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

func (l *laneFault) saturate(v float64) float64 {
	if l.soft > 0 {
		v = l.soft * math.Tanh((v+l.offset)/l.soft)
	}
	return v
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
		l.loose, l.push, l.isLoose = newResonance(f.Frequency, looseFactor, h), f.Size, true
	case Local:
		l.local, l.isLocal = newBump(f.Frequency, localFactor, f.Size, h), true
	case Saturated:
		l.soft, l.offset = f.Size, f.Bias
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
