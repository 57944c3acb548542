package calibration

import (
	"math"
	"math/cmplx"
	"strings"
	"testing"
)

// Two equal first-order high-passes in cascade (sensor and conditioner) square the gain and double the phase (closed form; gain and lead of
// one stage at f/fc = 1, 2, 5, 10 as tabulated: 0.707107 45°, 0.894427 26.565°, 0.980581 11.310°, 0.995037 5.711°).
func TestFirstOrderHighPass(t *testing.T) {
	for _, c := range []struct{ ratio, gain, lead float64 }{{1, 0.707107, 45}, {2, 0.894427, 26.565}, {5, 0.980581, 11.310}, {10, 0.995037, 5.711}} {
		h := firstOrder(c.ratio, 1, false)
		if math.Abs(cmplx.Abs(h)-c.gain) > 5e-7 || math.Abs(cmplx.Phase(h)*180/math.Pi-c.lead) > 5e-4 {
			t.Errorf("f/fc %g: %g at %g°, want %g at %g°", c.ratio, cmplx.Abs(h), cmplx.Phase(h)*180/math.Pi, c.gain, c.lead)
		}
		if two := h * h; math.Abs(cmplx.Abs(two)-c.gain*c.gain) > 2e-6 || math.Abs(cmplx.Phase(two)-2*cmplx.Phase(h)) > 1e-12 {
			t.Errorf("f/fc %g: two stages give %g at %g rad", c.ratio, cmplx.Abs(two), cmplx.Phase(two))
		}
	}
	// -5 % at 3.0424 fc with 18.19° lead (closed form)
	if h := firstOrder(3.0424, 1, false); math.Abs(cmplx.Abs(h)-0.95) > 1e-5 || math.Abs(cmplx.Phase(h)*180/math.Pi-18.19) > 0.006 {
		t.Errorf("3.0424 fc: %g at %g°, want 0.95 at 18.19°", cmplx.Abs(h), cmplx.Phase(h)*180/math.Pi)
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
