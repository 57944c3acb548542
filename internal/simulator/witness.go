package simulator

import (
	"math"
	"slices"
)

// Witness sees what no real bench tells. It is for tests: nothing of it is reachable through the interfaces of a bench. Frequencies are those of nature's clock, in Hz;
// the recorder sees f/(1 + Recorder.Clock).
type Witness struct{ live *Live }

// State is the bench at one moment.
type State struct {
	Seconds      float64           // of the digitizer's clock
	Displacement float64           // m
	Velocity     float64           // m/s
	Acceleration float64           // m/s², of the exciter without the ground
	Peak         float64           // m, largest displacement since the beginning
	Output       float64           // of the amplifier, V or A
	Warming      [channels]float64 // relative change of sensitivity that reference and device still have
	Off          bool              // nothing is driven, and nothing waits to be
}

// Now is the state after the last frame.
func (w *Witness) Now() State {
	l := w.live
	l.mu.Lock()
	defer l.mu.Unlock()
	s := State{
		Seconds: l.seconds(), Displacement: l.table.x, Velocity: l.table.v, Acceleration: l.table.a, Peak: l.table.peak, Output: l.table.last, Off: l.off(),
	}
	for c := range s.Warming {
		for _, left := range l.lanes[c].warming.size {
			s.Warming[c] += left
		}
	}
	return s
}

// Advance lets time pass with nobody reading, s. Frames for a reader wait for it.
func (w *Witness) Advance(seconds float64) {
	l := w.live
	l.mu.Lock()
	defer l.mu.Unlock()
	for range int(math.Ceil(seconds * l.setup.Recorder.Rate)) {
		l.strike()
		l.advance()
	}
}

// Tap has every sample at the amplifier's input told, V, in order, from now on, and returns their rate per second. The function must not call the bench.
func (w *Witness) Tap(told func(volts float64)) (rate float64) {
	w.live.mu.Lock()
	defer w.live.mu.Unlock()
	w.live.output = told
	return 1 / w.live.h
}

// Reference is the true sensitivity of the reference along its axis, healthy and warm, in V per m/s².
func (w *Witness) Reference(f float64) complex128 { return w.live.lanes[0].transducer(f, w.live.h) }

// Device is the same of the device.
func (w *Witness) Device(f float64) complex128 { return w.live.lanes[1].transducer(f, w.live.h) }

// Chain is the transfer of a channel, 1 or 2, from the transducer's output to the samples: gain, coupling and the delay that the other channel does not have.
func (w *Witness) Chain(channel int, f float64) complex128 {
	return w.live.lanes[channel-1].chain(f, w.live.h)
}

// Ratio is what the samples of the device's channel over those of the reference show of a steady motion: sensitivities, channels and the motion across the axis, healthy and warm.
func (w *Witness) Ratio(f float64) complex128 {
	ratio := w.Device(f) * w.Chain(2, f) / (w.Reference(f) * w.Chain(1, f))
	var with [channels]complex128
	for c := range with {
		s := w.live.lanes[c].sensor
		with[c] = 1
		for i, share := range append(slices.Clone(s.Transverse[:]), s.Arm) {
			with[c] += complex(share, 0) * w.live.guidance[i].at(f, w.live.h)
		}
	}
	return ratio * with[1] / with[0]
}
