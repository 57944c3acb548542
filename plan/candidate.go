package plan

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"plumbline/calibration"
	"plumbline/quantity"
)

// candidate is a point that can be measured, with what its time buys.
type candidate struct {
	point  Point
	ladder []Look
	stdB   float64 // what no measuring time reduces, relative
	k      float64
}

// candidate looks at one frequency. Where it is not feasible the point says why.
func (r Request) candidate(f float64) candidate {
	c := candidate{point: Point{Frequency: f, Wanted: f}}
	p := &c.point
	if p.Reason = r.reachable(p); p.Reason != "" {
		return c
	}
	r.clearMains(p)
	if err := r.limits(p); err != nil {
		p.Reason = err.Error()
		return c
	}
	r.chooseRate(p)
	if p.Reason != "" {
		return c
	}
	r.chooseLevel(p)
	if !(p.Level > 0) {
		p.Reason = fmt.Sprintf("no level is admissible: the %s leaves none", p.Binding)
		r.stretch(p, r.Wish.Motion.To(quantity.Acceleration, r.Wish.Level, f))
		return c
	}
	if err := r.climb(&c); err != nil {
		p.Reason = err.Error()
		return c
	}
	r.raise(&c)
	r.describe(p)
	return c
}

// reachable says why a frequency is out of reach of exciter, reference or channels; empty: it is not.
func (r Request) reachable(p *Point) string {
	f, e := p.Frequency, r.Exciter
	if f < e.FrequencyRange[0]*(1-edge) || f > e.FrequencyRange[1]*(1+edge) {
		p.remedy("an exciter for %.4g Hz; exciter %s is for %g Hz to %g Hz", f, e.Serial, e.FrequencyRange[0], e.FrequencyRange[1])
		return "outside the range of exciter " + e.Serial
	}
	if _, _, err := r.Job.Reference.Sensitivity(f); err != nil {
		p.remedy("a reference calibrated at %.4g Hz, or an extension of the calibration of %s", f, r.Job.Reference.Serial)
		return err.Error()
	}
	return ""
}

// expectedDuration is how long, in s, the record of a point is about: the first look of the judge.
func expectedDuration(f, mains float64) float64 { return leastKept * BlockLength(f, mains) }

// clearMains moves a point off the mains, or says that it is on it.
func (r Request) clearMains(p *Point) {
	good, k, on := offMains(p.Frequency, r.Job.Procedure.Mains, expectedDuration(p.Frequency, r.Job.Procedure.Mains))
	if !on {
		r.besideMains(p)
		return
	}
	if r.Wish.MoveOffMains && r.movable(p.Frequency) {
		p.remark("mains-harmonic", "moved from %.4g Hz, which lies on multiple %d of the mains frequency, to the nearest good frequency", p.Frequency, k)
		p.Frequency = good
		return
	}
	p.remark("mains-harmonic", "%.4g Hz lies on multiple %d of the mains frequency: hum there cannot be seen in the recording of the point and becomes an influence, which is not predicted here; nearest good frequency: %.4g Hz", p.Frequency, k, good)
}

// besideMains says where a harmonic of the point lies so near to a multiple of the mains that a block cannot tell them apart: then the evaluation does not
// fit the line, and hum beats with the harmonic. A harmonic right on the line takes the hum with it.
func (r Request) besideMains(p *Point) {
	pr, f := r.Job.Procedure, p.Frequency
	for h := 2; h <= pr.Harmonics && pr.Mains > 0; h++ {
		k := math.Round(float64(h) * f / pr.Mains)
		away := math.Abs(float64(h)*f - k*pr.Mains)
		if k < 1 || away*BlockLength(f, pr.Mains) >= 1 || away*expectedDuration(f, pr.Mains) < onLine {
			continue
		}
		p.remark("mains-beside", "harmonic %d of %.4g Hz is %.2g Hz from multiple %.0f of the mains frequency, too near to be told apart in a block: hum adds to type A, which is not predicted here; nearest good frequency: %.4g Hz",
			h, f, away, k, k*pr.Mains/float64(h))
		return
	}
}

// onLine is how many cycles a harmonic may slip against a mains line within a record and still lie on it.
const onLine = 0.25

// movable says whether a frequency may be moved: the reference frequency is the device's own.
func (r Request) movable(f float64) bool {
	return math.Abs(f/r.Job.Device.ReferenceFrequency-1) > sameFrequency
}

// payload is the mass on the table besides the armature, kg.
func (r Request) payload() float64 {
	return r.Exciter.Fixture + r.Job.Device.Mass + r.Job.Reference.Mass
}

// limits finds every limit of the level at the point's frequency.
func (r Request) limits(p *Point) error {
	f, crest := p.Frequency, r.Exciter.crest(p.Frequency)
	p.Limits = r.Exciter.limits(r.payload(), f)
	reference, device, err := r.signals(f)
	if err != nil {
		return err
	}
	transducer := func(name string, t calibration.Transducer) {
		if t.Range > 0 {
			p.Limits = append(p.Limits, Limit{name, motionOf(t).To(quantity.Acceleration, t.Range, f) / crest})
		}
	}
	channel := func(name string, c calibration.Chain, volts float64) {
		if s := c.FullScale(); s > 0 {
			p.Limits = append(p.Limits, Limit{name, s / volts / crest})
		}
	}
	transducer(DeviceRange, r.Job.Device.Transducer)
	channel(DeviceRecorder, r.Job.DeviceChain, device)
	if !r.Job.Reference.StatesLevel {
		transducer(ReferenceRange, r.Job.Reference.Transducer)
		channel(ReferenceRecorder, r.Job.ReferenceChain, reference)
	}
	slices.SortStableFunc(p.Limits, func(a, b Limit) int { return cmp.Compare(a.Level, b.Level) })
	p.Highest, p.Binding = p.Limits[0].Level, p.Limits[0].Name
	return nil
}

// chooseRate takes the lowest sampling rate that holds the harmonics of the point and of the mains, or the highest there is.
func (r Request) chooseRate(p *Point) {
	pr, rates := r.Job.Procedure, slices.Sorted(slices.Values(r.Rates))
	const mainsHarmonics = 3 // the ones that matter (assumption)
	need := max(float64(pr.Harmonics)*p.Frequency, mainsHarmonics*pr.Mains) / pr.UsableBand
	p.Rate = rates[len(rates)-1]
	if i := slices.IndexFunc(rates, func(x float64) bool { return x >= need }); i >= 0 {
		p.Rate = rates[i]
		return
	}
	if p.Frequency > pr.UsableBand*p.Rate {
		p.Reason = fmt.Sprintf("%.4g Hz is above the usable band of the recorder, %.4g Hz at %g samples per second", p.Frequency, pr.UsableBand*p.Rate, p.Rate)
		p.remedy("a recorder with at least %.4g samples per second", p.Frequency/pr.UsableBand)
		return
	}
	p.remark("harmonics", "at %g samples per second %d of the %d harmonics of the procedure can be told", p.Rate, int(pr.UsableBand*p.Rate/p.Frequency), pr.Harmonics)
}

// chooseLevel takes the level wanted, or the share of the highest that is used where that is lower.
func (r Request) chooseLevel(p *Point) {
	w := r.Wish
	p.Level, p.LevelFrom = w.UseOfLimit*p.Highest, p.Binding
	if wish := w.Motion.To(quantity.Acceleration, w.Level, p.Frequency); w.Level > 0 && wish <= p.Level*(1+1e-9) {
		p.Level, p.LevelFrom = wish, "wish"
		return
	} else if w.Level > 0 {
		p.remark("level", "%s is wanted, %s is reached: the %s binds", r.LevelText(wish, p.Frequency), r.LevelText(r.roundDown(p.Level, p.Frequency), p.Frequency), p.Binding)
		r.stretch(p, wish)
	}
	p.Level = r.roundDown(p.Level, p.Frequency)
}

// stretch says what would make a level in m/s² feasible: everything together, since each limit alone would still bind.
func (r Request) stretch(p *Point, level float64) {
	w, e, f := r.Wish, r.Exciter, p.Frequency
	var needs []string
	need := func(format string, args ...any) { needs = append(needs, fmt.Sprintf(format, args...)) }
	for _, l := range p.Limits {
		if !(level > w.UseOfLimit*l.Level*(1+1e-9)) {
			continue
		}
		more := level / (w.UseOfLimit * l.Level)
		switch l.Name {
		case Stroke:
			x := 2 * (quantity.Acceleration.To(quantity.Displacement, level, f)/w.UseOfLimit + e.Sag(r.payload()))
			need("a stroke of %.3g mm peak-to-peak instead of %.3g mm", 1e3*x, 1e3*e.Stroke)
		case Velocity:
			need("a velocity of %.3g m/s peak instead of %.3g m/s", e.Velocity*more, e.Velocity)
		case Force:
			need("a force of %.3g N peak instead of %.3g N (or a lighter payload)", e.Force*more, e.Force)
		case LevelCap:
			need("an exciter for %s", r.LevelText(level/w.UseOfLimit, f))
		case DeviceRange:
			p.remedy("no higher level: the range of device %s ends at %s", r.Job.Device.Serial, r.LevelText(l.Level, f))
			return
		case ReferenceRange:
			need("a reference for %s", r.LevelText(level/w.UseOfLimit, f))
		default:
			need("a %s %.3g times as wide (or less gain)", l.Name, more)
		}
	}
	if len(needs) > 0 {
		p.Remedies = append(p.Remedies, strings.Join(needs, " and "))
	}
}

// climb finds what measuring time buys at the chosen level.
func (r Request) climb(c *candidate) error {
	p := &c.point
	var err error
	if p.Noise, err = r.noise(p.Frequency, p.Level); err != nil {
		return err
	}
	p.Block = BlockLength(p.Frequency, r.Job.Procedure.Mains)
	told, allowed := r.tauMax(p.Frequency, p.Block)
	p.TauMax = told
	c.ladder = slices.DeleteFunc(looks(p.Block, p.Noise.Total(), allowed), func(l Look) bool {
		return l.Kept*p.Frequency < r.Job.Procedure.LeastPeriods
	})
	if len(c.ladder) == 0 {
		return fmt.Errorf("no record of a sensible length holds the %g periods of the procedure", r.Job.Procedure.LeastPeriods)
	}
	steady, err := r.predicted(p, 0, c.ladder[0], false)
	if err != nil {
		return err
	}
	c.stdB, c.k = steady.Budget.Modulus.Std, steady.Budget.Modulus.K
	return nil
}

// negligible is the part of U without noise that the type A claim is planned to where no claim reaches the U wanted: it then adds 5 % to U.
const negligible = 1. / 3

// claimWanted is the largest type A claim that meets what is wanted; where U is out of reach at any claim, one that adds next to nothing.
func (c *candidate) claimWanted(w Wish) float64 {
	claim := math.Inf(1)
	if w.TypeA > 0 {
		claim = w.TypeA
	}
	if w.U > 0 {
		rest := c.k * c.stdB
		if left := math.Sqrt(max(0, w.U*w.U-rest*rest)); left > 0 {
			claim = min(claim, left)
		} else {
			claim = min(claim, negligible*rest)
		}
	}
	return claim
}

// raise raises the level where the noise would otherwise keep the point from what is wanted of it within the longest time.
func (r Request) raise(c *candidate) {
	p, want := &c.point, c.claimWanted(r.Wish)
	if math.IsInf(want, 1) {
		return
	}
	last := c.longest(r.Wish.Longest)
	highest := r.roundDown(r.Wish.UseOfLimit*p.Highest, p.Frequency)
	if last.Claim <= want || p.Level >= highest {
		return
	}
	old := p.Level
	p.Level = min(highest, r.roundDown(p.Level*last.Claim/want*1.1, p.Frequency))
	if err := r.climb(c); err != nil || p.Level <= old {
		p.Level = old
		_ = r.climb(c) // it could be climbed before
		return
	}
	p.LevelFrom = "signal-to-noise"
	p.remark("signal-to-noise", "the level is raised from %s: at that the noise would not let the target be met within %g s", r.LevelText(old, p.Frequency), r.Wish.Longest)
}

// longest is the last look within a time, the first where none is.
func (c *candidate) longest(time float64) Look {
	best := c.ladder[0]
	for _, l := range c.ladder {
		if l.Time <= time {
			best = l
		}
	}
	return best
}

// take makes a look the point's.
func (c *candidate) take(l Look) {
	p := &c.point
	p.Blocks, p.Bench, p.Measuring, p.Settling = l.Blocks, l.Time, l.Kept, l.Time-l.Kept
	p.Cycles, p.Claim, p.StdTypeA = l.Kept*p.Frequency, l.Claim, l.Std
}

// roundDown rounds a level in m/s² down to two digits in the unit of the plan's levels.
func (r Request) roundDown(level, f float64) float64 {
	u, m := r.unit()
	x := u.FromSI(quantity.Acceleration.To(m, level, f))
	if !(x > 0) {
		return 0
	}
	step := math.Pow(10, math.Floor(math.Log10(x))-1)
	return m.To(quantity.Acceleration, u.Factor*decimal(math.Floor(x/step+1e-6), step), f)
}

// decimal is n times a power of ten, as it would be written.
func decimal(n, step float64) float64 {
	v, _ := strconv.ParseFloat(strconv.FormatFloat(n*step, 'g', 6, 64), 64)
	return v
}

// unit is the unit the plan's levels are stated in, and its quantity of motion.
func (r Request) unit() (quantity.Unit, quantity.Motion) {
	if m, ok := quantity.MotionOf(r.Wish.LevelUnit); ok {
		return r.Wish.LevelUnit, m
	}
	if _, input, ok := r.Job.Device.Unit.Per(); ok {
		if m, known := quantity.MotionOf(input); known {
			return input, m
		}
	}
	return quantity.Acceleration.Unit(), quantity.Acceleration
}

// LevelText prints a level in m/s² peak at f in the unit of the plan's levels, for example "0.018 g peak".
func (r Request) LevelText(level, f float64) string {
	return strconv.FormatFloat(r.InUnit(level, f), 'g', 3, 64) + " " + r.UnitText()
}

// PointText names a point of the plan with its level, for example "1 Hz at 0.018 g peak".
func (r Request) PointText(p Point) string {
	text := fmt.Sprintf("%.4g Hz at %s", p.Frequency, r.LevelText(p.Level, p.Frequency))
	if p.Repeat {
		text += ", repeated"
	}
	return text
}
