package simulator

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"slices"
)

const channels = 2 // reference, device

// Record measures one point. samples[0] is the reference channel and samples[1] the device channel in V as the recorder would have written them;
// the same bench, point and generator state give the same bits.
func (b Bench) Record(p Point, rng *rand.Rand) (samples [][]float64, truth Truth) {
	truth = b.truth(p)
	lost := max(b.Faults.Dropped, 0)
	n := int(math.Round(p.Duration*b.Recorder.Rate)) + lost
	rate := b.Recorder.Rate * (1 + b.Recorder.Clock) // true samples per second
	start := rng.Float64()                           // phase of the exciter at the first sample, cycles

	samples = b.noise(n, rate, rng)
	level := b.Exciter.envelope(n, rate)
	transducers := [channels]Transducer{b.Reference, b.Device}
	for c := range samples {
		b.addHarmonics(samples[c], c, truth, start, rate, transducers[c].warming(level, n, rate, p.Warm))
		addDrift(samples[c], transducers[c], rate)
	}
	return b.finish(samples, truth, rate, lost, rng), truth
}

// finish adds what no transducer senses and what spoils a recording, and has it recorded.
func (b Bench) finish(samples [][]float64, truth Truth, rate float64, lost int, rng *rand.Rand) [][]float64 {
	b.addMachines(samples, rate, rng)
	b.addHum(samples, rate, rng)
	b.spoil(samples, truth, rng)
	for c := range samples {
		b.Recorder.quantise(samples[c])
		samples[c] = b.Faults.drop(samples[c], c, lost)
	}
	if b.Faults.Swapped {
		slices.Reverse(samples)
	}
	return samples
}

// transfer is acceleration to volts of a channel at f in Hz.
func (b Bench) transfer(channel int, f float64) complex128 {
	s := b.Reference.Sensitivity(f)
	if channel == 1 {
		s = b.Device.Sensitivity(f)
	}
	return s * b.Recorder.transfer(channel, f)
}

func (b Bench) truth(p Point) Truth {
	level := math.Min(p.Level, b.Exciter.Reach(p.Frequency))
	h := b.Exciter.harmonics(p.Frequency, level)
	return Truth{
		Frequency:         p.Frequency,
		RecordedFrequency: p.Frequency / (1 + b.Recorder.Clock),
		Level:             level,
		Reference:         b.Reference.Sensitivity(p.Frequency),
		Device:            b.Device.Sensitivity(p.Frequency),
		Ratio:             b.transfer(1, p.Frequency) / b.transfer(0, p.Frequency),
		Second:            h[0],
		Third:             h[1],
	}
}

// envelope is the level over time relative to the settled one; nil where the loop had settled.
func (e Exciter) envelope(n int, rate float64) []float64 {
	if e.Settling <= 0 {
		return nil
	}
	env := make([]float64, n)
	for i := range env {
		env[i] = 1 - e.Start*math.Exp(-float64(i)/(rate*e.Settling))
	}
	return env
}

// warming is the level's envelope (nil: 1) times the sensitivity over its warm one, first sample so many seconds after switching on.
func (t Transducer) warming(level []float64, n int, rate, warm float64) []float64 {
	if t.Warming == 0 || t.WarmTime <= 0 {
		return level
	}
	env := make([]float64, n)
	for i := range env {
		env[i] = 1 + t.Warming*math.Exp(-(warm+float64(i)/rate)/t.WarmTime)
		if level != nil {
			env[i] *= level[i]
		}
	}
	return env
}

// addLine adds Re(a exp(j 2 pi cycles i)) times the envelope. The rotation restarts from the exact phase every block, so rounding cannot build up.
func addLine(x []float64, a complex128, cycles float64, envelope []float64) {
	const block = 512
	step := cmplx.Rect(1, 2*math.Pi*cycles)
	for first := 0; first < len(x); first += block {
		_, turn := math.Modf(cycles * float64(first))
		z := a * cmplx.Rect(1, 2*math.Pi*turn)
		for i := first; i < min(first+block, len(x)); i++ {
			v := real(z)
			if envelope != nil {
				v *= envelope[i]
			}
			x[i] += v
			z *= step
		}
	}
}

// addDrift adds bias, creep and thermal drift.
func addDrift(x []float64, t Transducer, rate float64) {
	decay, creep := 1.0, t.Creep
	if t.CreepTime > 0 {
		decay = math.Exp(-1 / (rate * t.CreepTime))
	} else {
		creep = 0
	}
	for i := range x {
		x[i] += t.Bias + creep + t.Drift*float64(i)/rate
		creep *= decay
	}
}

func (b Bench) addMachines(samples [][]float64, rate float64, rng *rand.Rand) {
	for _, m := range b.Ground.Machines {
		phase := cmplx.Rect(m.Level, 2*math.Pi*rng.Float64())
		for c := range samples {
			addLine(samples[c], phase*b.transfer(c, m.Frequency), m.Frequency/rate, nil)
		}
	}
}

func (b Bench) addHum(samples [][]float64, rate float64, rng *rand.Rand) {
	if b.Hum.Frequency <= 0 {
		return
	}
	size := [channels]float64{b.Hum.Reference, b.Hum.Device + b.Faults.Hum}
	for h, relative := range append([]float64{1}, b.Hum.Harmonics...) {
		cycles := b.Hum.Frequency * float64(h+1) / rate
		phase := 2 * math.Pi * rng.Float64()
		for c := range samples {
			if a := size[c] * relative; a != 0 && cycles < 0.5 {
				addLine(samples[c], cmplx.Rect(a, phase+float64(c)), cycles, nil)
			}
		}
	}
}

// spoil applies the faults that act before the recorder's converter.
func (b Bench) spoil(samples [][]float64, truth Truth, rng *rand.Rand) {
	device := samples[1]
	if g := b.Faults.GainFactor; g != 0 {
		for i := range device {
			device[i] *= g
		}
	}
	burst := 20 * truth.Level * cmplx.Abs(truth.Device)
	for range b.Faults.Clicks {
		if len(device) < 3 {
			break
		}
		at := rng.IntN(len(device) - 2)
		for i := range 3 {
			device[at+i] += burst
		}
	}
	if limit := b.Faults.ClipAt; limit > 0 {
		for c := range samples {
			for i, v := range samples[c] {
				samples[c][i] = math.Max(-limit, math.Min(limit, v))
			}
		}
	}
	if c := b.Faults.Flat; c >= 1 && c <= channels {
		flat := samples[c-1]
		for i := range flat {
			flat[i] = flat[0]
		}
	}
}

// quantise rounds to whole steps and holds at both ends of the range, as a converter with two's complement codes does.
func (r Recorder) quantise(x []float64) {
	step := r.Step()
	if step == 0 {
		return
	}
	low, high := -math.Ldexp(1, r.Bits-1), math.Ldexp(1, r.Bits-1)-1
	for i, v := range x {
		x[i] = step * math.Max(low, math.Min(high, math.RoundToEven(v/step)))
	}
}

// drop removes the lost samples from the middle of the channel, or from the end of one that did not lose any.
func (f Faults) drop(x []float64, channel, lost int) []float64 {
	at := (len(x) - lost) / 2
	if f.DroppedChannel != 0 && f.DroppedChannel != channel+1 {
		at = len(x) - lost
	}
	return slices.Delete(x, at, at+lost)
}
