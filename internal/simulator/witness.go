package simulator

import (
	"math"
	"slices"
)

// Witness sees what no real bench tells. It is for tests: nothing of it is reachable through the interfaces of a bench.
type Witness struct{ live *Live }

// State is the exciter at one moment.
type State struct {
	Seconds      float64 // of the digitizer's clock
	Displacement float64 // m
	Velocity     float64 // m/s
	Acceleration float64 // m/s², without ground
	Peak         float64 // m, largest displacement since the beginning
	Output       float64 // of the amplifier, V or A
	Off          bool    // nothing is driven, and nothing waits to be
}

// Now is the state at the last frame.
func (w *Witness) Now() State {
	l := w.live
	l.mu.Lock()
	defer l.mu.Unlock()
	return State{
		Seconds: l.seconds(), Displacement: l.table.x, Velocity: l.table.v, Acceleration: l.table.a, Peak: l.table.peak, Output: l.table.last,
		Off: l.generator.Silent() && l.line.empty(),
	}
}

// Advance lets time pass with nobody reading, s. Frames that a reader would have seen wait for it.
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

// Reference is the true sensitivity of the healthy reference with its conditioner and recorder channel, at f in Hz of nature's clock: V per m/s² along its axis, warm.
func (w *Witness) Reference(f float64) complex128 { return w.transfer(0, f) }

// Device is the same of the device.
func (w *Witness) Device(f float64) complex128 { return w.transfer(1, f) }

func (w *Witness) transfer(c int, f float64) complex128 {
	l := &w.live.lanes[c]
	return l.at(f, w.live.h) * l.window.at(f, w.live.h)
}

// Ratio is what device over reference channel show of the motion at f in Hz: with the motion across the axis, healthy and warm.
func (w *Witness) Ratio(f float64) complex128 {
	ratio := w.Device(f) / w.Reference(f)
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
