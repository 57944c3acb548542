package quantity

import (
	"fmt"
	"math"
	"strings"
)

// String is the wording of the amplitude as printed behind a unit.
func (a Amplitude) String() string {
	switch a {
	case Peak:
		return "peak"
	case RMS:
		return "rms"
	case PeakToPeak:
		return "peak-to-peak"
	}
	return ""
}

// Peak converts the size of a sine stated as a to its peak value. The factors hold for a sine alone.
func (a Amplitude) Peak(x float64) float64 {
	switch a {
	case RMS:
		return x * math.Sqrt2
	case PeakToPeak:
		return x / 2
	}
	return x
}

// FromPeak converts the peak value of a sine to the statement a.
func (a Amplitude) FromPeak(x float64) float64 {
	switch a {
	case RMS:
		return x / math.Sqrt2
	case PeakToPeak:
		return x * 2
	}
	return x
}

// ParseAmplitude reads peak, rms or peak-to-peak, or one of their usual short forms.
func ParseAmplitude(text string) (Amplitude, error) {
	switch strings.ToLower(strings.TrimSpace(text)) {
	case "peak", "pk", "p", "0-p", "0-pk":
		return Peak, nil
	case "rms":
		return RMS, nil
	case "peak-to-peak", "p-p", "pk-pk", "pp", "pk-to-pk":
		return PeakToPeak, nil
	}
	return NotStated, fmt.Errorf("amplitude %.20q: allowed are peak, rms and peak-to-peak", text)
}
