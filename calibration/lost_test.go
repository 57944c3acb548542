package calibration

import (
	"errors"
	"fmt"
	"math/cmplx"
	"strings"
	"testing"

	"plumbline/sine"
)

// phases is an acquisition of 80 Hz at 1000 samples per second whose blocks have the given phases, rad, and residuals over the amplitude.
func phases(reference, device, residual []float64) acquisition {
	fit := sine.Fit{Rate: 1000, Frequency: 80, BlockSize: 500, Channels: make([]sine.Channel, 2)}
	for k := range reference {
		b := sine.Block{Time: 0.25 + 0.5*float64(k), Weight: 1}
		for _, p := range []float64{reference[k], device[k]} {
			b.Z, b.Variance = append(b.Z, cmplx.Rect(1, p)), append(b.Variance, residual[k]*residual[k])
		}
		fit.Blocks = append(fit.Blocks, b)
	}
	return acquisition{fit: fit, reference: 0, device: 1, columns: []int{4, 2}}
}

// One sample at 80 Hz and 1000 samples per second is 0.503 rad.
func TestLostSamples(t *testing.T) {
	still, calm := make([]float64, 8), []float64{1e-4, 1e-4, 1e-4, 1e-4, 1e-4, 1e-4, 1e-4, 1e-4}
	jumping := []float64{0, 0.25, 0.5, 0.5, 0.75, 1, 1, 1}
	once := []float64{0, 0, 0, 0.25, 0.5, 0.5, 0.5, 0.5}
	torn := []float64{1e-4, 1e-4, 1e-4, 0.25, 1e-4, 1e-4, 1e-4, 1e-4}
	rough := []float64{0.1, 0.1, 0.1, 0.1, 0.1, 0.1, 0.1, 0.1}
	wandering := []float64{0, 0.2, 0.5, 0.9, 1.4, 2, 2.6, 3.2}
	stepped := phases(still, still, calm)
	stepped.fit.Steps = []sine.Step{{Sample: 1234, Lost: 4e-4}}
	for _, c := range []struct {
		name    string
		a       acquisition
		nominal float64
		want    string
	}{
		{"steady", phases(still, still, calm), 80, ""},
		{"a part of a sample, where the mean of channels tells it", stepped, 80, "near sample 1234, where the phase steps by 0.4 ms (0.4 samples"},
		{"one channel", phases(still, jumping, calm), 80, "ratio of channels 2 and 4 moves by 57.3° (2 samples)"},
		{"both channels", phases(once, once, torn), 80, "all channels together jumps"},
		{"a generator that wanders", phases(wandering, wandering, calm), 80, ""},
		{"everywhere", phases(still, still, rough), 79.8, "the frequency found is 80 Hz, not 79.8 Hz"},
		{"a disturbed motion", phases(still, still, rough), 80, ""},
	} {
		err := c.a.lostSamples("x.wav", c.nominal)
		if (err != nil) != (c.want != "") || err != nil && !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q", c.name, err, c.want)
		}
	}
	var p Point
	a := phases(wandering, wandering, calm)
	p.remarkPhase(&a)
	a = phases(still, still, rough)
	p.remarkPhase(&a)
	if len(p.Remarks) != 2 || p.Remarks[0].Code != "phase-wanders" || p.Remarks[1].Code != "common-disturbance" {
		t.Errorf("remarks %+v", p.Remarks)
	}
}

// Errors give the recording's own channel and no name of a package, and can still be told.
func TestFailedNamesTheChannel(t *testing.T) {
	a := acquisition{columns: []int{4, 2}}
	err := a.failed("x.wav", fmt.Errorf("sine: ratio: %w", sine.ChannelError{Channel: 1, Err: fmt.Errorf("%w: too weak", sine.ErrNoLine)}))
	if err.Error() != "recording x.wav, channel 2: no line: too weak" || !errors.Is(err, sine.ErrNoLine) {
		t.Error(err)
	}
	err = a.failed("x.wav", fmt.Errorf("sine: %w within 3 %% of 49.6 Hz", sine.ErrNoLine))
	if err.Error() != "recording x.wav: no line within 3 % of 49.6 Hz" || !errors.Is(err, sine.ErrNoLine) {
		t.Error(err)
	}
}
