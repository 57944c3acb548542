package calibration

import (
	"fmt"
	"math"
	"math/cmplx"

	"plumbline/steady"
)

// uneven is how much longer than the shortest the longest interval between readings may be where they are to be blocks of one length.
const uneven = 2.0

// series is what a judge looks at: the blocks of the recording, or of both, or the readings. Why is not empty where there is no such series.
func (p *Point) series(a *acquisition) (all []blockSeries, why string) {
	switch {
	case p.Method.display:
		return p.readingSeries()
	case a == nil || len(a.fit.Blocks) == 0:
		return nil, "the approximation gave no blocks"
	case p.Method.statedLevel:
		s := a.series(0, func(z []complex128) (ratio, level complex128) { return z[a.device], 0 })
		s.offset = math.Log(p.Plan.Level)
		return []blockSeries{s}, ""
	}
	for _, x := range []*acquisition{a, a.second} {
		if x != nil {
			led := 0.0
			if x.whole != nil {
				x, led = x.whole, p.Plan.Held
			}
			all = append(all, x.series(led, func(z []complex128) (ratio, level complex128) { return z[x.device] / z[x.reference], z[x.reference] }))
		}
	}
	return all, ""
}

// series is the blocks of a fit, those rejected as dropped; one within the time in which the level was led to its value was not disturbed but moved, and has a value. A block is as long as the longest: where blocks were merged the last may be shorter.
func (a *acquisition) series(led float64, of func(z []complex128) (ratio, level complex128)) (s blockSeries) {
	merged := 1
	for _, b := range a.fit.Blocks {
		block := steady.Block{Dropped: b.Rejected && (b.Time > led || cmplx.IsNaN(b.Z[a.device]))}
		if !block.Dropped {
			ratio, level := of(b.Z)
			block.LnRatio, block.LnLevel = cmplx.Log(ratio), math.Log(modulus(level))
		}
		s.blocks = append(s.blocks, block)
		merged = max(merged, b.Weight)
	}
	s.length = float64(a.fit.BlockSize*merged) / a.fit.Rate
	return s
}

// readingSeries is the values read off a display, each a block.
func (p *Point) readingSeries() ([]blockSeries, string) {
	r := p.Plan.Readings
	shortest, longest := math.Inf(1), 0.0
	for i := 1; i < len(r); i++ {
		d := r[i].Time - r[i-1].Time
		shortest, longest = min(shortest, d), max(longest, d)
	}
	if !(shortest > 0) || longest > uneven*shortest {
		return nil, fmt.Sprintf("the readings are %.3g s to %.3g s apart: a judge needs equal intervals, within a factor of %g", shortest, longest, uneven)
	}
	s := blockSeries{length: (r[len(r)-1].Time - r[0].Time) / float64(len(r)-1)}
	for _, x := range r {
		s.blocks = append(s.blocks, steady.Block{LnRatio: complex(math.Log(x.Sensitivity), 0), LnLevel: math.Log(x.Level)})
	}
	return []blockSeries{s}, ""
}
