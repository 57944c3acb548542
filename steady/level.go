package steady

import "math"

const (
	levelSpacing = 1.25 // ratio of neighbouring time constants tried on the level
	levelFastest = 2.0  // held blocks
	levelMost    = 4    // the level raises tau_max at most so many times
	levelSure    = 4    // the transient is at least so many of its standard deviations
	levelMatters = 10   // and at least so many times the target: a level that is still moving disturbs the ratio by a small share of that
	levelDoubt   = 2    // a slower time constant is taken where its ln weight is at most so much less
)

// slowness is the memory of the fit of the level.
type slowness struct {
	columns columns
	series  series
	y       []float64
	decay   decay
}

func newSlowness(longest int) *slowness {
	return &slowness{columns: newColumns(longest), series: newSeries(longest), y: make([]float64, longest), decay: newDecay(1, longest)}
}

// fromLevel is the tau_max in blocks the level of the reference asks for, 0 where it shows no transient that matters. The level is known some hundred times
// better than the disturbance it leaves in the ratio, and both fall with the same time constants: those of the level control and of the exciter's warming.
func (j *Judge) fromLevel(n int) float64 {
	start := n / 4 // past the faster parts
	if n-start < fewest || j.present(level, start) < fewest {
		return 0
	}
	target := math.Inf(1)
	for _, u := range j.target {
		if u > 0 {
			target = min(target, u)
		}
	}
	scale := float64(int(1) << j.merges)
	slow := levelMost * j.settings.TauMax / j.settings.Rule.Caution() / scale
	t := j.spectrum.slowest(j.values[level][start:n], slow, levelMatters*target)
	return min(t*j.settings.Rule.Caution()*scale, levelMost*j.settings.TauMax)
}

// slowest fits x with a constant and one exponential, over time constants up to limit and over phi, and returns the largest time constant whose
// ln weight lw = -(N-2)/2·ln(rss/(N-2)) + ln(1-phi²)/2 - Σ ln|R_ii| is within levelDoubt of the best; 0 where the amplitude at the best is not sure or does
// not matter.
func (s *slowness) slowest(x []float64, limit, matters float64) float64 {
	n := len(x)
	s.y = s.y[:n]
	for k, v := range x {
		s.y[k] = v - x[n-1]
	}
	best, found := math.Inf(-1), 0.0
	for t := levelFastest; t <= limit*levelSpacing; t *= levelSpacing {
		lw, b, std := s.weigh(t, n)
		if math.IsInf(lw, -1) {
			continue
		}
		significant := math.Abs(b) > levelSure*std && math.Abs(b) > matters
		switch {
		case lw > best:
			best, found = lw, 0
			if significant {
				found = t
			}
		case lw > best-levelDoubt && found > 0:
			found = t
		}
	}
	return found
}

// weigh is the best ln weight over phi of the time constant t, with the amplitude at the first block and its standard deviation.
func (s *slowness) weigh(t float64, n int) (lw, b, std float64) {
	s.decay.t, s.decay.step, s.decay.e = t, math.Exp(1/t), s.decay.e[:0]
	s.decay.extend(n)
	s.columns.begin(n)
	lw = math.Inf(-1)
	if !s.columns.add(1, &s.decay) {
		return lw, 0, 0
	}
	s.series.project(&s.columns, s.y)
	for _, phi := range phis {
		problem := s.series.whiten(&s.columns, phi)
		x, _, product, ok := problem.solve()
		if !ok {
			continue
		}
		noise := max(problem.rss/float64(n-2), nothing)
		if l := -float64(n-2)/2*math.Log(noise) + math.Log(1-phi*phi)/2 - math.Log(product); l > lw {
			lw, b, std = l, x[1], math.Sqrt(noise)/math.Abs(problem.r[1][1])
		}
	}
	return lw, b, std
}
