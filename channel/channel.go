// Package channel finds full scale, low-frequency corners and delay of a recorder's channels from recordings of a known sinusoidal voltage.
package channel

import (
	"fmt"
	"math"
)

// Source is the known voltage. It is the same at every frequency, as far as Flatness says.
type Source struct {
	Amplitude float64 // V peak
	Std       float64 // relative standard uncertainty, the same error at every frequency
	Flatness  float64 // relative standard uncertainty by which one frequency may differ from another, each by itself
}

func (s Source) check() error {
	switch {
	case !(s.Amplitude > 0) || math.IsInf(s.Amplitude, 1):
		return fmt.Errorf("voltage of %g V peak, allowed are values above zero", s.Amplitude)
	case !(s.Std >= 0) || !(s.Flatness >= 0) || math.IsInf(s.Std+s.Flatness, 1):
		return fmt.Errorf("voltage uncertain by %g, and by %g between frequencies, allowed are zero and above", s.Std, s.Flatness)
	}
	return nil
}

// Reading is what one channel shows of the voltage at one frequency.
type Reading struct {
	Frequency float64 // Hz
	Amplitude float64 // peak, fraction of full scale
	Std       float64 // type A standard uncertainty of it, relative
	Phase     float64 // rad, of this channel less that of the first; positive: this one leads
	StdPhase  float64 // type A standard uncertainty of it, rad
}

// Corner is one first-order high-pass.
type Corner struct {
	Frequency float64 // Hz, -3 dB
	Std       float64 // standard uncertainty, relative
}

// transfer is Π 1/(1 - j·fc/f), a high-pass of first order for every corner.
func transfer(corners []Corner, f float64) (z complex128) {
	z = 1
	for _, c := range corners {
		z /= complex(1, -c.Frequency/f)
	}
	return z
}

// Response is what a channel makes of a voltage.
type Response struct {
	FullScale        float64 // V: what a sample of 1 stands for, far above the corners
	StdType          float64 // relative standard uncertainty of it without that of the source
	StdSource        float64 // and of the source alone
	Corners          []Corner
	LargestPlausible float64   // Hz, where a corner was asked for and the readings show none: two standard deviations above what they show; 0 otherwise
	Residuals        []float64 // of each reading, relative: shown over fitted, less one
	Delay            float64   // s against the first channel; positive: this one is later
	StdDelay         float64   // s
}

// check refuses readings that cannot be fitted.
func check(readings []Reading, flatness float64) error {
	seen := map[float64]bool{}
	for _, r := range readings {
		switch {
		case !(r.Frequency > 0) || math.IsInf(r.Frequency, 1):
			return fmt.Errorf("frequency of %g Hz, allowed are values above zero", r.Frequency)
		case !(r.Amplitude > 0) || math.IsInf(r.Amplitude, 1):
			return fmt.Errorf("amplitude of %g of full scale at %g Hz, allowed are values above zero", r.Amplitude, r.Frequency)
		case !(math.Hypot(r.Std, flatness) > 0):
			return fmt.Errorf("the amplitude at %g Hz has no uncertainty, neither by its scatter nor by the voltage's between frequencies", r.Frequency)
		case seen[r.Frequency]:
			return fmt.Errorf("%g Hz stands twice", r.Frequency)
		}
		seen[r.Frequency] = true
	}
	return nil
}
