package plan

import (
	"cmp"
	"math"
	"slices"

	"plumbline/calibration"
)

// meetTarget takes the first look that meets what is wanted, or the last one within the longest time.
func (c *candidate) meetTarget(r Request) {
	if c.point.Together {
		return
	}
	want := c.claimWanted(r.Wish)
	for _, l := range c.ladder {
		if l.Time > r.Wish.Longest && l.Time > c.ladder[0].Time {
			break
		}
		c.take(l)
		if l.Claim <= want {
			return
		}
	}
}

// purchase is one step of a point from a look to a later one.
type purchase struct {
	point, to int     // index of the candidate and of the look
	cost      float64 // s
	slope     float64 // claim squared gained for each second
}

// allocate shares the time of the set out so that the sum of the squared claims is least. For each point what time buys is reduced to its lower convex
// hull; then the steepest step anywhere is always the best next one. A repeat costs its point's time again.
func (pl *Plan) allocate(cs []candidate) {
	r := pl.Request
	left := r.Wish.Time - r.Exciter.ChangeOver*float64(pl.items(len(cs)))
	times := r.multiplicity(cs)
	var steps []purchase
	for i := range cs {
		cs[i].take(cs[i].ladder[0])
		left -= times[i] * cs[i].ladder[0].Time
		steps = append(steps, hull(i, times[i], cs[i].ladder, r.Wish.Longest)...)
	}
	if left < 0 {
		pl.Remarks = append(pl.Remarks, calibration.Remark{Code: "time", Text: "the time for the set is too short for these points: the least is planned; leave points out, the slowest first"})
		return
	}
	slices.SortStableFunc(steps, func(a, b purchase) int { return cmp.Compare(b.slope, a.slope) })
	stopped := make([]bool, len(cs)) // a point whose next step is too dear takes no later one
	for _, s := range steps {
		if stopped[s.point] {
			continue
		}
		if s.cost > left {
			stopped[s.point] = true
			continue
		}
		left -= s.cost
		cs[s.point].take(cs[s.point].ladder[s.to])
	}
}

// hull is the steps along the lower convex hull of claim squared against time, for a point that is measured times over.
func hull(point int, times float64, ladder []Look, longest float64) []purchase {
	var steps []purchase
	for at := 0; ; {
		best := purchase{to: -1}
		for j := at + 1; j < len(ladder) && ladder[j].Time <= longest; j++ {
			cost := times * (ladder[j].Time - ladder[at].Time)
			slope := (ladder[at].Claim*ladder[at].Claim - ladder[j].Claim*ladder[j].Claim) / cost
			if slope > best.slope {
				best = purchase{point, j, cost, slope}
			}
		}
		if best.to < 0 {
			return steps
		}
		steps = append(steps, best)
		at = best.to
	}
}

// multiplicity is how often each candidate is measured: the first and the slowest are repeated.
func (r Request) multiplicity(cs []candidate) []float64 {
	times := make([]float64, len(cs))
	for i := range times {
		times[i] = 1
	}
	first, slowest := firstOf(cs, r.Job.Device.ReferenceFrequency), len(cs)-1
	times[first]++
	if slowest != first {
		times[slowest]++
	}
	return times
}

// firstOf is the candidate at the reference frequency, else the one of the highest frequency.
func firstOf(cs []candidate, reference float64) int {
	return max(0, slices.IndexFunc(cs, func(c candidate) bool {
		return !c.point.Together && math.Abs(c.point.Frequency/reference-1) <= sameFrequency
	}))
}

// items is how many times the drive is started for n distinct points, repeats included.
func (pl *Plan) items(n int) int {
	return n + min(n, 2)
}
