package scpi

import (
	"encoding/binary"
	"fmt"
	"math"
	"math/cmplx"

	"plumbline/bench"
)

// mostParts is how many times lower than the lowest tone the common fundamental of a sum may lie.
const mostParts = 64

// sum makes one period of a sum of tones that are multiples of one frequency, and its amplitude in V peak.
func (d Generator) sum(s bench.Signal) (wave, float64, error) {
	if d.Arbitrary == "" {
		return wave{}, 0, fmt.Errorf("drive of %d tones: %w: the dialect of the generator states no arbitrary waveform", len(s), bench.ErrTones)
	}
	fundamental, highest := common(s)
	if fundamental == 0 {
		return wave{}, 0, fmt.Errorf("drive of %d tones: %w: they are not multiples of one frequency", len(s), bench.ErrTones)
	}
	const fewest = 16 // points of a period of the highest tone
	if fewest*highest > d.ArbitraryPoints {
		return wave{}, 0, fmt.Errorf("drive of %d tones, the highest the multiple %d of %g Hz: %w: the period has %d points, needed are %d", len(s), highest, fundamental, bench.ErrTones, d.ArbitraryPoints, fewest*highest)
	}
	shape := make([]float64, d.ArbitraryPoints)
	level := 0.0
	for i := range shape {
		for _, t := range s {
			k := int(math.Round(t.Frequency / fundamental))
			turn := float64(k*i%len(shape)) / float64(len(shape))
			shape[i] += real(t.Amplitude * cmplx.Rect(1, 2*math.Pi*turn))
		}
		level = max(level, math.Abs(shape[i]))
	}
	for i := range shape {
		shape[i] /= level
	}
	return wave{fundamental, shape}, level, nil
}

// common finds the highest frequency that all tones are multiples of, and the highest multiple; zero where there is none.
func common(s bench.Signal) (fundamental float64, highest int) {
	lowest := math.Inf(1)
	for _, t := range s {
		lowest = min(lowest, t.Frequency)
	}
	for parts := 1; parts <= mostParts; parts++ {
		f, top := lowest/float64(parts), 0
		for _, t := range s {
			k := math.Round(t.Frequency / f)
			if math.Abs(t.Frequency-k*f) > 1e-9*t.Frequency || k > 1<<20 {
				top = 0
				break
			}
			top = max(top, int(k))
		}
		if top > 0 {
			return f, top
		}
	}
	return 0, 0
}

// blockOf writes numbers as a definite length block of REAL,32, most significant byte first.
func blockOf(numbers []float64) string {
	var b []byte
	for _, x := range numbers {
		b = binary.BigEndian.AppendUint32(b, math.Float32bits(float32(x)))
	}
	digits := fmt.Sprint(len(b))
	return fmt.Sprintf("#%d%s%s", len(digits), digits, b)
}
