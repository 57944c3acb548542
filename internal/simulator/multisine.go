package simulator

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
)

// Line is one sine of a multisine: acceleration Level cos(2πft + Phase).
type Line struct {
	Frequency float64 // Hz
	Level     float64 // m/s² peak
	Phase     float64 // rad, at the first sample
}

// Multisine measures several lines at once for so many seconds. What it returns is as for Record, with the truth of every line in the order of the lines; clicks
// are as high as the first one makes them.
func (b Bench) Multisine(lines []Line, duration float64, rng *rand.Rand) (samples [][]float64, truths []Truth) {
	lost := max(b.Faults.Dropped, 0)
	n := int(math.Round(duration*b.Recorder.Rate)) + lost
	rate := b.Recorder.Rate * (1 + b.Recorder.Clock) // true samples per second
	samples = b.noise(n, rate, rng)
	level := b.Exciter.envelope(n, rate)
	for _, l := range lines {
		truth := b.truth(Point{Frequency: l.Frequency, Level: l.Level})
		truths = append(truths, truth)
		for c := range samples {
			b.addHarmonics(samples[c], c, truth, l.Phase/(2*math.Pi), rate, level)
		}
	}
	for c, t := range [channels]Transducer{b.Reference, b.Device} {
		addDrift(samples[c], t, rate)
	}
	return b.finish(samples, truths[0], rate, lost, rng), truths
}

// addHarmonics adds the fundamental and the harmonics of the motion to channel c; start is the phase of the fundamental at the first sample in cycles.
func (b Bench) addHarmonics(x []float64, c int, truth Truth, start, rate float64, envelope []float64) {
	for h, size := range [3]float64{1, truth.Second, truth.Third} {
		f := truth.Frequency * float64(h+1)
		a := complex(truth.Level*size, 0) * b.transfer(c, f)
		if f >= rate/2 || size == 0 {
			continue // the recorder's filter removes what it cannot represent
		}
		addLine(x, a*cmplx.Rect(1, 2*math.Pi*start*float64(h+1)), f/rate, envelope)
	}
}
