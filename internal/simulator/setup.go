package simulator

import (
	"fmt"
	"math"
)

// check refuses what cannot be simulated.
func (s Setup) check() error {
	x := s.Shaker
	for _, c := range []struct {
		name  string
		value float64
		open  bool // zero is refused
	}{
		{"moving mass", x.mass(), true}, {"payload", x.Payload, false}, {"resonance of the suspension", x.Resonance, true}, {"damping of the suspension", x.Damping, false},
		{"stroke", x.Stroke, true}, {"force of the coil", x.Force, true}, {"gain of the amplifier", x.Gain, true},
		{"clip of the amplifier", x.Clip, false}, {"current limit", x.Limit, false}, {"latency", x.Latency, false}, {"rate of the recorder", s.Recorder.Rate, true},
		{"range of the recorder", s.Recorder.FullScale, s.Recorder.Bits > 0}, {"hum frequency", s.Hum.Frequency, false},
	} {
		if !(c.value >= 0) || math.IsInf(c.value, 1) || c.open && c.value == 0 {
			return fmt.Errorf("simulated bench: %s is %g, allowed are finite values above zero", c.name, c.value)
		}
	}
	if x.Stop != 0 && !(x.Stop > 1 && x.Stop < 2) {
		return fmt.Errorf("simulated bench: stops at %g of half the stroke, allowed are values above 1 and below 2, and 0 for none", x.Stop)
	}
	if c := s.Recorder.Clock; !(math.Abs(c) < 0.1) || !(math.Abs(x.Skew) < 0.1) {
		return fmt.Errorf("simulated bench: clocks off by %g and %g, allowed are less than 0.1", c, x.Skew)
	}
	if x.Latency > 1 {
		return fmt.Errorf("simulated bench: latency of %g s, allowed are 0 s to 1 s", x.Latency)
	}
	for _, g := range []Guidance{x.Guidance[0], x.Guidance[1], x.Rocking} {
		if g.Resonance > 0 && !(g.Quality > 0.5) {
			return fmt.Errorf("simulated bench: guidance of quality %g, allowed are values above 0.5", g.Quality)
		}
	}
	if !x.Current && !(x.Resistance > 0) {
		return fmt.Errorf("simulated bench: a coil of %g Ω on a voltage drive, allowed are values above zero", x.Resistance)
	}
	for c, q := range []Sensor{s.Reference, s.Device} {
		if err := q.check(); err != nil {
			return fmt.Errorf("simulated bench, %s: %w", [channels]string{"reference", "device"}[c], err)
		}
	}
	for _, f := range s.Faults {
		if err := f.check(s.step()); err != nil {
			return fmt.Errorf("simulated bench: %w", err)
		}
	}
	return nil
}

func (s Sensor) check() error {
	if s.Resonance > 0 && !(s.Quality > 0.5) {
		return fmt.Errorf("quality %g of its resonance, allowed are values above 0.5", s.Quality)
	}
	if s.HighPass > 0 && !(s.Damping > 0) {
		return fmt.Errorf("damping %g of its high-pass, allowed are values above zero", s.Damping)
	}
	for i, c := range s.Creeps {
		if !(c.Time > 0) {
			return fmt.Errorf("creep %d takes %g s, allowed are values above zero", i+1, c.Time)
		}
	}
	return nil
}
