package plan

import (
	"math"
	"math/rand/v2"
	"testing"
)

// TestAllocate compares the sharing of time with every possible one: on the hull no other sharing of the time it spends is better.
func TestAllocate(t *testing.T) {
	const seed = 11
	t.Logf("seed %d", seed)
	rng := rand.New(rand.NewPCG(seed, 0))
	for run := range 50 {
		var cs []candidate
		for _, f := range []float64{10, 3, 1} {
			e := math.Pow(10, -4+1.5*rng.Float64())
			cs = append(cs, candidate{point: Point{Frequency: f}, ladder: looks(BlockLength(f, 0), e, leastTau)[:6]})
		}
		pl := Plan{Request: Request{Wish: Wish{Time: 100 + 200*rng.Float64(), Longest: 600}}}
		pl.Request.Job.Device.ReferenceFrequency = 10
		pl.allocate(cs)
		times := pl.Request.multiplicity(cs)
		spent, value := 0.0, 0.0
		for i, c := range cs {
			spent += times[i] * c.point.Bench
			value += c.point.Claim * c.point.Claim
		}
		if spent > pl.Request.Wish.Time {
			continue // too short for the least, which is remarked
		}
		for _, a := range cs[0].ladder {
			for _, b := range cs[1].ladder {
				for _, c := range cs[2].ladder {
					other := a.Claim*a.Claim + b.Claim*b.Claim + c.Claim*c.Claim
					if cost := times[0]*a.Time + times[1]*b.Time + times[2]*c.Time; cost <= spent*(1-1e-9) && other < value*(1-1e-9) {
						// a cheaper and better one would mean the steps were not the steepest
						t.Fatalf("run %d: %.6g in %.3g s, but %.6g in %.3g s is possible", run, value, spent, other, cost)
					}
				}
			}
		}
	}
}

// TestInterceptVariance: without transients the variance of a mean of n is 1/n; with them it is more, and falls with n.
func TestInterceptVariance(t *testing.T) {
	last := math.Inf(1)
	for _, n := range []int{12, 20, 40, 80, 160} {
		v := interceptVariance(n, leastTau)
		if v < 1/float64(n) || v > last {
			t.Errorf("n = %d: %g, want above 1/n and below %g", n, v, last)
		}
		last = v
	}
	// n large against the time constants: the exponentials cost nothing (closed form limit)
	if v := interceptVariance(100000, leastTau); math.Abs(v*100000-1) > 0.01 {
		t.Errorf("limit %g, want 1/n", v*100000)
	}
}
