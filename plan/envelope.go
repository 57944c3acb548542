package plan

import (
	"math"
	"slices"

	"plumbline/quantity"
)

// Curve is one limit against frequency.
type Curve struct {
	Name   string
	At     []float64 // Hz, ascending
	Levels []float64 // in the plan's unit of levels, peak; NaN where the limit is not known
}

const envelopeSteps = 96

// Envelope is every limit of the level between two frequencies, for a figure; the curves share their frequencies. Those of the exciter come first.
func (r Request) Envelope(low, high float64) []Curve {
	var curves []Curve
	at := make([]float64, envelopeSteps+1)
	for i := range at {
		at[i] = low * math.Pow(high/low, float64(i)/envelopeSteps)
	}
	for i, f := range at {
		p := Point{Frequency: f}
		_ = r.limits(&p) // where the reference is not calibrated the exciter's limits are there all the same
		for _, l := range p.Limits {
			k := slices.IndexFunc(curves, func(c Curve) bool { return c.Name == l.Name })
			if k < 0 {
				k = len(curves)
				levels := make([]float64, len(at))
				for j := range levels {
					levels[j] = math.NaN()
				}
				curves = append(curves, Curve{l.Name, at, levels})
			}
			curves[k].Levels[i] = r.InUnit(l.Level, f)
		}
	}
	order := []string{Stroke, Velocity, Force, LevelCap, DeviceRange, ReferenceRange, DeviceRecorder, ReferenceRecorder}
	slices.SortStableFunc(curves, func(a, b Curve) int { return slices.Index(order, a.Name) - slices.Index(order, b.Name) })
	return curves
}

// InUnit is a level in m/s² peak at f in the unit of the plan's levels.
func (r Request) InUnit(level, f float64) float64 {
	u, m := r.unit()
	return u.FromSI(quantity.Acceleration.To(m, level, f))
}

// UnitText names the unit of the plan's levels, for example "g peak".
func (r Request) UnitText() string {
	u, _ := r.unit()
	return u.Symbol + " peak"
}
