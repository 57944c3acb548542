package calibration

import (
	"math"
	"math/cmplx"
	"strings"
	"testing"
)

// Two equal first-order high-passes in cascade (sensor and conditioner) square the gain and double the phase (closed form; gain and lead of
// one stage at f/fc = 1, 2, 3, 5, 10, 20 as tabulated from it: 0.707107 45°, 0.894427 26.565° ...).
func TestFirstOrderHighPass(t *testing.T) {
	for _, c := range []struct{ ratio, gain, lead float64 }{{1, 0.707107, 45}, {2, 0.894427, 26.565}, {3, 0.948683, 18.435}, {5, 0.980581, 11.310}, {10, 0.995037, 5.711}, {20, 0.998752, 2.862}} {
		h := firstOrder(c.ratio, 1, false)
		if math.Abs(cmplx.Abs(h)-c.gain) > 5e-7 || math.Abs(cmplx.Phase(h)*180/math.Pi-c.lead) > 5e-4 {
			t.Errorf("f/fc %g: %g at %g°, want %g at %g°", c.ratio, cmplx.Abs(h), cmplx.Phase(h)*180/math.Pi, c.gain, c.lead)
		}
		if two := h * h; math.Abs(cmplx.Abs(two)-c.gain*c.gain) > 2e-6 || math.Abs(cmplx.Phase(two)-2*cmplx.Phase(h)) > 1e-12 {
			t.Errorf("f/fc %g: two stages give %g at %g rad", c.ratio, cmplx.Abs(two), cmplx.Phase(two))
		}
	}
	// Frequencies of a loss, as multiples of 1/tau = 2 pi fc (closed form: sqrt(1/(1/(1-d)² - 1))/2 pi), and the lead there where it is tabulated.
	for _, c := range []struct{ times, gain, lead float64 }{{0.15915, math.Sqrt2 / 2, 45}, {0.32861, 0.9, 25.84}, {0.48422, 0.95, 18.19}, {0.78379, 0.98, math.NaN()}, {1.11694, 0.99, math.NaN()}} {
		h := firstOrder(c.times, 1/(2*math.Pi), false)
		if lead := cmplx.Phase(h) * 180 / math.Pi; math.Abs(cmplx.Abs(h)-c.gain) > 1.5e-5 || math.Abs(lead-c.lead) > 0.006 {
			t.Errorf("%g/tau: %g at %g°, want %g at %g°", c.times, cmplx.Abs(h), lead, c.gain, c.lead)
		}
	}
	if h := firstOrder(1, 1, true); math.Abs(cmplx.Abs(h)-math.Sqrt2/2) > 1e-12 || cmplx.Phase(h) > 0 {
		t.Errorf("low-pass at its corner: %v, want modulus 0.7071 and a lag", h)
	}
}

func TestUnknownCornerIsRefused(t *testing.T) {
	s := Stage{Identity: Identity{Serial: "D-8"}, Channel: "3", CoupledAC: true, LargestPlausibleCorner: 0.1}
	if err := s.usable(9.9); err == nil || !strings.Contains(err.Error(), "D-8 channel 3") || !strings.Contains(err.Error(), "10 Hz") {
		t.Errorf("9.9 Hz with a corner of up to 0.1 Hz: %v, want a refusal below 10 Hz that names the channel", err)
	}
	if err := s.usable(10); err != nil {
		t.Errorf("10 Hz is 100 times the largest plausible corner: %v", err)
	}
	s.LargestPlausibleCorner = 0
	if err := s.usable(1000); err == nil {
		t.Error("AC coupled and nothing stated about its corner: accepted")
	}
	s.Corners = []Corner{{Frequency: 0.05}}
	if err := s.usable(0.1); err != nil {
		t.Errorf("AC coupled with a stated corner: %v", err)
	}
}

func TestTransferTable(t *testing.T) {
	s := Stage{Identity: Identity{Serial: "C-1"}, Table: []TransferPoint{{1, 0.9, 0.1, 0.001, 0.002}, {10, 1, 0, 0.003, 0.004}}}
	p := s.transferAt(math.Sqrt(10))
	if math.Abs(p.Modulus-0.95) > 1e-12 || math.Abs(p.Phase-0.05) > 1e-12 || math.Abs(p.StdModulus-0.002) > 1e-12 {
		t.Errorf("middle of a table in ln f: %+v, want modulus 0.95, phase 0.05, u 0.002", p)
	}
	if err := s.usable(11); err == nil {
		t.Error("11 Hz is outside the table and was accepted")
	}
}
