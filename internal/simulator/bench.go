// Package simulator is the physics of a comparison calibration without hardware: recordings, and benches that move in time, whose true sensitivity is known exactly.
package simulator

import (
	"math"
	"math/cmplx"

	"plumbline/quantity"
)

// Bench is everything that acts on a recording: exciter, ground, two transducers back to back on the exciter, hum, recorder, faults.
type Bench struct {
	Exciter   Exciter
	Ground    Ground
	Reference Transducer
	Device    Transducer
	Hum       Hum
	Recorder  Recorder
	Faults    Faults
}

// Exciter is the vibration exciter with its limits, its distortion and the loop that controls its level.
type Exciter struct {
	Stroke   float64 // m, peak to peak; 0 no limit
	Velocity float64 // m/s peak; 0 no limit
	Level    float64 // m/s² peak (force over moving mass); 0 no limit
	Third    float64 // third harmonic of the acceleration at full stroke, relative; falls with the square of the stroke used
	Second   float64 // second harmonic at full stroke, relative; falls with the stroke used
	Floor    float64 // second and third harmonic that the amplifier adds at any stroke, relative
	Settling float64 // s, time constant of the level loop from switch-on; 0: settled before the recording begins
	Start    float64 // relative level error at the first sample where Settling is not 0, for example 0.3
}

// Reach is the highest level in m/s² peak at the frequency f in Hz; +Inf without limits.
func (e Exciter) Reach(f float64) float64 {
	omega := 2 * math.Pi * f
	reach := math.Inf(1)
	if e.Stroke > 0 {
		reach = math.Min(reach, e.Stroke/2*omega*omega)
	}
	if e.Velocity > 0 {
		reach = math.Min(reach, e.Velocity*omega)
	}
	if e.Level > 0 {
		reach = math.Min(reach, e.Level)
	}
	return reach
}

// harmonics are the second and third harmonic, relative to the fundamental, at f in Hz and level in m/s² peak.
func (e Exciter) harmonics(f, level float64) [2]float64 {
	used := 0.0
	if e.Stroke > 0 {
		omega := 2 * math.Pi * f
		used = level / (omega * omega) / (e.Stroke / 2)
	}
	return [2]float64{math.Hypot(e.Second*used, e.Floor), math.Hypot(e.Third*used*used, e.Floor)}
}

// Ground is the motion of the floor. Both transducers follow it, except for the share that is not common to them.
type Ground struct {
	Density   float64 // m/s²/√Hz at 1 Hz, one-sided
	Modes     []Mode
	Machines  []Machine
	NotCommon float64 // share of the density that acts on each transducer independently (rocking, transverse leakage)
}

// Mode is a resonance of the floor: it adds Gain times the power density of the floor at Frequency, falling to half at Frequency ± Width.
type Mode struct{ Frequency, Width, Gain float64 }

// Machine is a steady line in the ground motion: Hz and m/s² peak.
type Machine struct{ Frequency, Level float64 }

// At is the one-sided amplitude spectral density in m/s²/√Hz at f in Hz, without the machines: rising as the root of frequency to about 12 Hz, falling as the root beyond.
func (g Ground) At(f float64) float64 {
	power := g.Density * g.Density * f / (1 + f*f/144)
	sum := 1.0
	for _, m := range g.Modes {
		x := (f - m.Frequency) / m.Width
		sum += m.Gain / (1 + x*x)
	}
	return math.Sqrt(power * sum)
}

// Transducer is an accelerometer mounted on the exciter: second-order high-pass, mounted resonance, self-noise, slow drift of its output.
type Transducer struct {
	Midband      float64 // V/(m/s²), between high-pass and resonance
	HighPass     float64 // Hz; 0 responds to constant acceleration
	Damping      float64 // of the high-pass; 0.7071 is maximally flat
	Resonance    float64 // Hz, mounted; 0 none
	Quality      float64 // of the resonance
	Noise        Noise   // m/s²/√Hz
	Bias         float64 // V, constant
	Creep        float64 // V, exponential return of the bias at the first sample
	CreepTime    float64 // s, its time constant
	Drift        float64 // V/s, thermal
	Warming      float64 // relative error of the sensitivity when its supply is switched on
	WarmTime     float64 // s, time constant with which that error falls; 0: warm
	InvertedAxis bool    // mounted upside down
}

// Sensitivity is the complex sensitivity in V/(m/s²) at f in Hz, exp(+j omega t), positive phase where the output leads.
func (t Transducer) Sensitivity(f float64) complex128 {
	s := complex(t.Midband, 0)
	if t.InvertedAxis {
		s = -s
	}
	if t.HighPass > 0 {
		q := complex(0, f/t.HighPass)
		s *= q * q / (q*q + complex(2*t.Damping, 0)*q + 1)
	}
	if t.Resonance > 0 {
		x := f / t.Resonance
		s /= complex(1-x*x, x/t.Quality)
	}
	return s
}

// Noise is a one-sided amplitude spectral density White*sqrt(1 + Corner/f).
type Noise struct {
	White  float64 // unit/√Hz
	Corner float64 // Hz
}

func (n Noise) density(f float64) float64 { return n.White * math.Sqrt(1+n.Corner/f) }

// Hum is the mains picked up by the two channels.
type Hum struct {
	Frequency float64   // Hz
	Reference float64   // V peak at Frequency, reference channel
	Device    float64   // V peak at Frequency, device channel
	Harmonics []float64 // relative size of the second harmonic, the third ...
}

// Recorder turns the two signals into samples.
type Recorder struct {
	Rate      float64    // samples per second, nominal
	Clock     float64    // relative offset of its clock: 30e-6 samples 30 ppm too fast
	FullScale float64    // V, half the span
	Bits      int        // 0: no quantisation, no full scale
	Noise     Noise      // V/√Hz, of each channel
	Gain      [2]float64 // true over nominal gain of the reference and the device channel; 0 means 1
	Coupling  [2]float64 // Hz, first-order high-pass of each channel; 0 none
	Delay     [2]float64 // s, positive: later
}

// transfer is the complex transfer of a channel (0 reference, 1 device) at f in Hz, V per V.
func (r Recorder) transfer(channel int, f float64) complex128 {
	h := cmplx.Rect(1, -2*math.Pi*f*r.Delay[channel])
	if g := r.Gain[channel]; g != 0 {
		h *= complex(g, 0)
	}
	if c := r.Coupling[channel]; c > 0 {
		q := complex(0, f/c)
		h *= q / (1 + q)
	}
	return h
}

// Step is one quantisation step in V; 0 without quantisation.
func (r Recorder) Step() float64 {
	if r.Bits == 0 {
		return 0
	}
	return math.Ldexp(r.FullScale, 1-r.Bits)
}

// Faults are what people do wrong. The zero value is a healthy bench.
type Faults struct {
	ClipAt         float64 // V, both signals are limited here; 0 none
	Dropped        int     // samples lost at once in the middle of the recording
	DroppedChannel int     // 1 or 2: only this channel loses them; 0 both
	Swapped        bool    // the cables of the two channels are exchanged
	Flat           int     // 1 or 2: this channel holds one value; 0 none
	Hum            float64 // V peak, hum added to the device channel (a ground loop)
	GainFactor     float64 // the device channel's gain differs from the stated one by this factor; 0 means 1
	Clicks         int     // bursts of three samples, 20 times the signal, in the device channel
}

// Point is what is asked of the exciter.
type Point struct {
	Frequency float64 // Hz
	Level     float64 // m/s² peak; more than the exciter's reach becomes the reach
	Duration  float64 // s on the recorder's clock
	Warm      float64 // s from switching on the transducers' supply to the first sample
}

// Truth is what no real bench tells.
type Truth struct {
	Frequency         float64    // Hz, true
	RecordedFrequency float64    // Hz on the recorder's clock
	Level             float64    // m/s² peak, settled
	Reference         complex128 // V/(m/s²) at Frequency
	Device            complex128 // V/(m/s²) at Frequency
	Ratio             complex128 // device over reference channel as recorded: with the recorder's two transfers, before any fault
	Second, Third     float64    // harmonics of the acceleration, relative
}

// FenwickLane is the bench of the invented laboratory: a long-stroke exciter, a 100 mV/g reference, a 10 V/g seismic accelerometer, a 24-bit recorder
// at 2000 samples a second. Densities, limits and hum are assumed values of the right size for such instruments, not measured ones.
func FenwickLane() Bench {
	return Bench{
		Exciter:   LongStroke(),
		Ground:    QuietFloor(),
		Reference: WorkingReference(),
		Device:    Seismic(),
		Hum:       Hum{Frequency: 50.01, Reference: 0.2e-3, Device: 1e-3, Harmonics: []float64{0.3, 0.2, 0, 0.1}},
		Recorder: Recorder{
			Rate: 2000, Clock: 30e-6, FullScale: 10, Bits: 24,
			Noise: Noise{White: 1e-7, Corner: 10},
		},
	}
}

// LongStroke is the exciter X-12: 25 mm peak to peak.
func LongStroke() Exciter {
	return Exciter{Stroke: 25e-3, Velocity: 0.5, Level: 0.9 * quantity.StandardGravity, Third: 0.14, Second: 0.056, Floor: 5e-4}
}

// Small is the exciter X-03: 10 mm peak to peak.
func Small() Exciter {
	return Exciter{Stroke: 10e-3, Velocity: 0.5, Level: 3 * quantity.StandardGravity, Third: 0.14, Second: 0.056, Floor: 5e-4}
}

// QuietFloor is the ground motion of a laboratory on a ground floor.
func QuietFloor() Ground {
	const g = quantity.StandardGravity
	return Ground{
		Density:   4.7e-6 * g,
		Modes:     []Mode{{2.3, 0.2, 3}, {6.8, 0.4, 3}, {17, 1, 3}},
		Machines:  []Machine{{24.7, 2e-5 * g}},
		NotCommon: 0.03,
	}
}

// WorkingReference is a 100 mV/g back-to-back reference.
func WorkingReference() Transducer {
	const g = quantity.StandardGravity
	return Transducer{
		Midband: 0.1 / g, HighPass: 0.02, Damping: 1, Resonance: 30e3, Quality: 30,
		Noise: Noise{White: 1.5e-6 * g, Corner: 100},
		Bias:  0.02, Creep: 0.5e-3, CreepTime: 8, Drift: 2e-6,
	}
}

// Seismic is a 10 V/g accelerometer for structures.
func Seismic() Transducer {
	const g = quantity.StandardGravity
	return Transducer{
		Midband: 10 / g, HighPass: 0.05, Damping: 0.7071, Resonance: 1e3, Quality: 20,
		Noise: Noise{White: 3e-8 * g, Corner: 100},
		Bias:  -0.05, Creep: 10e-3, CreepTime: 12, Drift: 20e-6,
	}
}
