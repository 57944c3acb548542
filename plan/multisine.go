package plan

import (
	"fmt"
	"math"
	"math/rand/v2"

	"plumbline/calibration"
	"plumbline/quantity"
	"plumbline/uncertainty"
)

// Multisine is several slow points measured together.
type Multisine struct {
	Lines     []Line // ascending frequency
	Period    float64
	Periods   int
	Settling  float64 // s
	Measuring float64 // s, whole periods
	Bench     float64 // s
	Std       float64 // type A standard uncertainty of every line, relative
	Odd       bool    // every line is an odd multiple of 1/Period
	Binding   string  // what limits the levels
	Crest     float64 // peak of the binding motion over the sum of its lines' peaks
	Stepped   float64 // s, the same points one after the other by the judge
	Fixed     float64 // s, the same with a fixed settling of 12 cycles
	Seed      uint64
}

// Line is one sine of a multisine.
type Line struct {
	Frequency float64 // Hz, an odd multiple of 1/Period
	Wanted    float64 // Hz
	Level     float64 // m/s² peak
	Phase     float64 // rad, of the acceleration as a cosine
}

const (
	settlingCycles = 12   // of the slowest line, judged on the ratio (own study of the project)
	leastSettling  = 1.0  // s
	fixedCycles    = 10   // least measured cycles of a stepped point
	lineShift      = 0.02 // largest relative shift of a point onto a line
	phaseTrials    = 300
	phaseDescents  = 400
	perCycle       = 24 // samples of the highest line in the search for the crest
)

// together replaces the candidates below the wish's frequency by one multisine where that is quicker.
func (pl *Plan) together(cs []candidate) []candidate {
	r := pl.Request
	from := len(cs)
	for from > 0 && cs[from-1].point.Frequency < r.Wish.MultisineFrom {
		from--
	}
	slow := cs[from:]
	if len(slow) < 2 {
		pl.remark("multisine", "fewer than two points lie below %g Hz: there is nothing to measure together", r.Wish.MultisineFrom)
		return cs
	}
	m, err := r.multisine(slow)
	if err != nil {
		pl.remark("multisine", "%v: the points are planned one by one", err)
		return cs
	}
	if m.Bench >= m.Stepped {
		pl.remark("multisine", "the %d points below %g Hz take %.0f s together and %.0f s one by one: they are planned one by one", len(slow), r.Wish.MultisineFrom, m.Bench, m.Stepped)
		return cs
	}
	pl.Multisine = &m
	for i := range slow {
		line := m.Lines[len(slow)-1-i]
		p := &slow[i].point
		p.Frequency, p.Level, p.LevelFrom, p.Together = line.Frequency, line.Level, "multisine", true
		p.Settling, p.Measuring, p.Bench = m.Settling, m.Measuring, m.Bench
		p.Cycles, p.StdTypeA = m.Measuring*line.Frequency, m.Std
		p.Blocks = int(math.Round(m.Measuring/BlockLength(line.Frequency, r.Job.Procedure.Mains))) + dropped
		p.Claim = m.Std * uncertainty.Coverage(r.Job.Procedure.Probability, math.Inf(1))
		p.Noise, _ = r.noise(line.Frequency, line.Level) // it could be found at the frequency beside it
		p.Remarks, p.Remedies = nil, nil                 // those of the point on its own
		r.describe(p)
		p.remark("multisine", "measured together with others: the level of a line is no evidence of linearity, and its margin against hum is smaller")
	}
	if !m.Odd {
		pl.remark("multisine", "no period up to %g s puts every line on an odd multiple: even harmonics of the exciter fall on lines; they are real motion and cancel in the ratio, a line's own distortion cannot be told", r.Wish.LongestPeriod)
	}
	pl.remark("multisine", "%d points together in %.0f s instead of %.0f s one by one", len(slow), m.Bench, m.Stepped)
	return cs
}

// multisine plans the candidates, which descend in frequency, as one signal: levels in proportion to the noise, so that every line gets the same type A
// uncertainty, phases by random search and descent, the scale from the limit that binds.
func (r Request) multisine(cs []candidate) (m Multisine, err error) {
	m.Seed = r.Wish.Seed
	std := math.Inf(1)
	for i := range cs {
		c := cs[len(cs)-1-i]
		m.Lines = append(m.Lines, Line{Wanted: c.point.Frequency})
		std = min(std, c.claimWanted(r.Wish)/uncertainty.Coverage(r.Job.Procedure.Probability, math.Inf(1)))
		c.meetTarget(r)
		m.Stepped += c.point.Bench + r.Exciter.ChangeOver
		m.Fixed += max(settlingCycles/c.point.Frequency, leastSettling) + max(c.point.Noise.TimeFor(std), fixedCycles/c.point.Frequency, leastSettling)
	}
	if !(std > 0) || math.IsInf(std, 1) {
		return m, fmt.Errorf("multisine: no measuring time reaches the target at every line")
	}
	if m.Period, err = m.place(r.Wish.LongestPeriod); err != nil {
		return m, err
	}
	for i := range m.Lines {
		n, err := r.noise(m.Lines[i].Frequency, 1)
		if err != nil {
			return m, err
		}
		m.Lines[i].Level = n.Total()
	}
	scale := m.fit(r)
	time := 1 / (scale * std * scale * std)
	m.Periods = max(1, int(math.Ceil(time/m.Period-1e-9)))
	m.Measuring = float64(m.Periods) * m.Period
	m.Settling = max(settlingCycles/m.Lines[0].Frequency, leastSettling)
	m.Bench = m.Settling + m.Measuring
	m.Std = 1 / (scale * math.Sqrt(m.Measuring))
	for i := range m.Lines {
		m.Lines[i].Level *= scale
	}
	return m, nil
}

// place puts every line on a multiple of 1/period, the shortest that moves none by more than 2 % and keeps them apart: odd multiples of a period of whole
// seconds, else of tenths of a second, so that the even harmonics of a line fall on no other; else any multiples.
func (m *Multisine) place(longest float64) (float64, error) {
	for _, grid := range []struct {
		step float64
		odd  bool
	}{{1, true}, {0.1, true}, {1, false}} {
		m.Odd = grid.odd
		for n := 1; float64(n)*grid.step <= longest*(1+1e-9); n++ {
			if period := float64(n) * grid.step; m.onMultiples(period) {
				return period, nil
			}
		}
	}
	return 0, fmt.Errorf("multisine: no period up to %g s puts every point within %g %% of a multiple of its frequency", longest, 100*lineShift)
}

// onMultiples moves every line onto the nearest multiple of 1/period and reports whether they stay apart and near.
func (m *Multisine) onMultiples(period float64) bool {
	last, ok := 0.0, true
	for i := range m.Lines {
		cycles := m.Lines[i].Wanted * period
		k := math.Round(cycles)
		if m.Odd {
			k = 2*math.Round((cycles-1)/2) + 1
		}
		m.Lines[i].Frequency = k / period
		ok = ok && k > last && math.Abs(m.Lines[i].Frequency/m.Lines[i].Wanted-1) <= lineShift
		last = k
	}
	return ok
}

// bound is a motion of the multisine with its limit: weight of each line and the largest peak, in the same unit.
type bound struct {
	name   string
	weight []float64
	limit  float64
}

// bounds are the limits a multisine has to stay within.
func (m *Multisine) bounds(r Request) []bound {
	var all []bound
	add := func(name string, limit float64, weight func(f float64) float64) {
		b := bound{name: name, limit: r.Wish.UseOfLimit * limit}
		for _, l := range m.Lines {
			b.weight = append(b.weight, weight(l.Frequency))
		}
		all = append(all, b)
	}
	to := func(q quantity.Motion) func(float64) float64 {
		return func(f float64) float64 { return quantity.Acceleration.To(q, 1, f) }
	}
	e, load := r.Exciter, r.payload()
	add(Stroke, max(0, e.Stroke/2-e.Sag(load)), to(quantity.Displacement))
	if e.Velocity > 0 {
		add(Velocity, e.Velocity, to(quantity.Velocity))
	}
	if e.Force > 0 {
		add(Force, e.Force, func(f float64) float64 { return e.forcePerLevel(load, f) })
	}
	if e.Cap > 0 {
		add(LevelCap, e.Cap, to(quantity.Acceleration))
	}
	crest := 1.0
	for _, l := range m.Lines {
		crest = max(crest, e.crest(l.Frequency))
	}
	side := func(span, recorder string, t calibration.Transducer, c calibration.Chain, volts func(f float64) float64) {
		if t.Range > 0 {
			add(span, t.Range/crest, to(motionOf(t)))
		}
		if s := c.FullScale(); s > 0 {
			add(recorder, s/crest, volts)
		}
	}
	side(DeviceRange, DeviceRecorder, r.Job.Device.Transducer, r.Job.DeviceChain, func(f float64) float64 { _, d, _ := r.signals(f); return d })
	if !r.Job.Reference.StatesLevel {
		side(ReferenceRange, ReferenceRecorder, r.Job.Reference.Transducer, r.Job.ReferenceChain, func(f float64) float64 { s, _, _ := r.signals(f); return s })
	}
	return all
}

// fit finds phases of low crest and returns the factor on the lines' levels that takes the binding limit to its end.
func (m *Multisine) fit(r Request) float64 {
	s := m.searcher(m.bounds(r))
	rng := rand.New(rand.NewPCG(m.Seed, 0))
	phases := make([]float64, len(m.Lines))
	best := math.Inf(1)
	try := func(candidate []float64) {
		if use, by, crest := s.use(candidate); use < best {
			best, m.Binding, m.Crest = use, by, crest
			copy(phases, candidate)
		}
	}
	trial := make([]float64, len(m.Lines))
	for range phaseTrials {
		for i := range trial {
			trial[i] = 2 * math.Pi * rng.Float64()
		}
		try(trial)
	}
	for i := range phaseDescents {
		copy(trial, phases)
		trial[i%len(trial)] += 2 * math.Pi * (rng.Float64() - 0.5) * (1 - float64(i)/phaseDescents)
		try(trial)
	}
	for i := range m.Lines {
		m.Lines[i].Phase = phases[i]
	}
	return 1 / best
}

// searcher finds peaks for many sets of phases.
type searcher struct {
	bounds []bound      // those that can bind; weight times level over limit
	waves  [][2]float64 // cosine and sine of every line at every sample, line after line
	n      int          // samples in a period
}

// searcher drops the limits that cannot bind: those whose lines, all at their peaks at once, use less than the effective value of another uses.
func (m *Multisine) searcher(all []bound) searcher {
	s := searcher{n: int(math.Ceil(perCycle * m.Lines[len(m.Lines)-1].Frequency * m.Period))}
	least := 0.0
	for b := range all {
		square := 0.0
		for i, l := range m.Lines {
			all[b].weight[i] *= l.Level / all[b].limit
			square += all[b].weight[i] * all[b].weight[i]
		}
		least = max(least, math.Sqrt(square/2))
	}
	for _, b := range all {
		if b.sum() >= least {
			s.bounds = append(s.bounds, b)
		}
	}
	for _, l := range m.Lines {
		k := math.Round(l.Frequency * m.Period)
		for n := range s.n {
			cycles := k * float64(n) / float64(s.n)
			sin, cos := math.Sincos(2 * math.Pi * (cycles - math.Floor(cycles)))
			s.waves = append(s.waves, [2]float64{cos, sin})
		}
	}
	return s
}

func (b bound) sum() float64 {
	sum := 0.0
	for _, w := range b.weight {
		sum += w
	}
	return sum
}

// use is the largest share of any limit that the lines use at these phases, whose limit it is, and the peak there over the sum of the lines.
func (s searcher) use(phases []float64) (use float64, name string, crest float64) {
	sums := make([]float64, s.n)
	for _, b := range s.bounds {
		clear(sums)
		for i, w := range b.weight {
			sin, cos := math.Sincos(phases[i])
			sin, cos = w*sin, w*cos
			for n, wave := range s.waves[i*s.n : (i+1)*s.n] {
				sums[n] += cos*wave[0] - sin*wave[1]
			}
		}
		peak := 0.0
		for _, v := range sums {
			peak = max(peak, math.Abs(v))
		}
		if peak > use {
			use, name, crest = peak, b.name, peak/b.sum()
		}
	}
	return use, name, crest
}
