package steady

import (
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"testing"
)

// Fewest and Longest agree with what Evaluate can judge: d0 = 2 blocks and a window of max(12, least·tau_max), or 5 tau_max and 8 blocks (study of the settling rules).
func TestFewest(t *testing.T) {
	for _, r := range []Rule{Skip, Averaged, Wary} {
		for _, tau := range []float64{4, 7, 20} {
			n := r.Fewest(tau)
			for _, blocks := range []int{n - 1, n} {
				a, err := Evaluate(Settings{Rule: r, Modulus: 1, TauMax: tau}, asBlocks(gaussian(3, blocks, 0.1)))
				if err != nil {
					t.Fatal(err)
				}
				if judged := a.Modulus.HalfWidth > 0; judged != (blocks == n) {
					t.Errorf("rule %v, tau_max %g: %d blocks, judged %v, Fewest %d", r, tau, blocks, judged, n)
				}
			}
			if l := r.Longest(n); l < tau || r.Fewest(l) > n {
				t.Errorf("rule %v: %d blocks, longest tau_max %g, of which %d blocks are the fewest", r, n, l, r.Fewest(l))
			}
		}
		if r.Longest(7) != 0 {
			t.Errorf("rule %v: 7 blocks, longest tau_max %g, want 0", r, r.Longest(7))
		}
	}
}

func asBlocks(x []float64) []Block {
	b := make([]Block, len(x))
	for k, v := range x {
		b[k].LnRatio = complex(v, 0)
	}
	return b
}

// A time constant of 40 blocks is seen as one between 25 and 80 (the steps are 1.25, and a slower one is taken in doubt), in ln|r| and in arg r; noise shows none.
func TestSeen(t *testing.T) {
	s := Settings{Rule: Wary, Modulus: 0.1, Phase: 0.1, TauMax: 5}
	x := plus(gaussian(5, 150, 0.02), decaying(1, 40))
	blocks := asBlocks(x)
	turned := asBlocks(x)
	for k := range turned {
		turned[k].LnRatio *= 1i
	}
	for name, b := range map[string][]Block{"modulus": blocks, "phase": turned} {
		if tau, err := Seen(s, b); err != nil || tau < 25 || tau > 80 {
			t.Errorf("%s: %g blocks seen (%v), 40 are true", name, tau, err)
		}
	}
	for seed := range uint64(50) {
		if tau, err := Seen(s, asBlocks(gaussian(seed, 60, 0.05))); err != nil || tau != 0 {
			t.Errorf("seed %d: %g blocks seen in noise (%v)", seed, tau, err)
		}
	}
	if tau, err := Seen(s, blocks[:10]); tau != 0 || err != nil {
		t.Errorf("10 blocks: %g blocks seen, %v", tau, err)
	}
	if _, err := Seen(Settings{}, blocks); err == nil {
		t.Error("no settings are accepted")
	}
}

// TestSeenHelpsLaterPoints: a gain warms with a time constant that is two and four times the one told. The first point ends where the judge is content; a second
// begins where the first ended. What the first has shown makes the second wrong less often.
func TestSeenHelpsLaterPoints(t *testing.T) {
	runs := 200
	if os.Getenv("PLUMBLINE_SOAK") != "" {
		runs = 2000
	}
	const tau, sd, target = 40.0, 0.1, 0.1
	for _, part := range []float64{2, 4} {
		s := Settings{Rule: Wary, Modulus: target, TauMax: tau / part}
		var wrong [3]int // at the first point, at the second as told, at the second with what was seen
		for run := range runs {
			r := rand.New(rand.NewPCG(20261125, uint64(run)))
			amplitude := 0.5 + r.Float64()
			point := func(start float64, s Settings) (Answer, []Block) {
				j := mustJudge(t, s)
				var blocks []Block
				for k := start; len(blocks) < 800; k++ {
					b := Block{LnRatio: complex(amplitude*math.Exp(-(k+0.5)/tau)+sd*r.NormFloat64(), 0)}
					blocks = append(blocks, b)
					if j.Add(b).State == Steady {
						break
					}
				}
				return j.Answer(), blocks
			}
			count := func(i int, a Answer) {
				if math.Abs(a.Modulus.Mean) > a.Modulus.HalfWidth {
					wrong[i]++
				}
			}
			first, blocks := point(0, s)
			count(0, first)
			start := float64(len(blocks))
			a, _ := point(start, s)
			count(1, a)
			seen, err := Seen(s, blocks)
			if err != nil {
				t.Fatal(err)
			}
			informed := s
			informed.TauMax = min(max(s.TauMax, seen*s.Rule.Caution()), slowest)
			a, _ = point(start, informed)
			count(2, a)
		}
		share := func(i int) float64 { return 100 * float64(wrong[i]) / float64(runs) }
		t.Logf("told 1/%g of the time constant (seed 20261125, %d runs): wrong at the first point %.1f %%, at the second %.1f %%, with what was seen %.1f %%", part, runs, share(0), share(1), share(2))
		if wrong[2] > wrong[1] {
			t.Errorf("told 1/%g: what was seen makes the second point worse: %d runs against %d", part, wrong[2], wrong[1])
		}
	}
}

// TestDenser: a transient of 100 standard deviations of a block whose time constant of 16 blocks lies between two that a live judge tries. Looking once, the wary
// rule claims 95 % and holds the truth in at least nine of ten runs.
func TestDenser(t *testing.T) {
	const runs = 60
	within := 0
	for seed := range uint64(runs) {
		a, err := Evaluate(Settings{Rule: Wary, Modulus: 1e-3, TauMax: 16}, asBlocks(plus(gaussian(seed, 90, 1e-4), decaying(1e-2, 16))))
		if err != nil {
			t.Fatal(err)
		}
		if a.Modulus.Own != a.Modulus.HalfWidth && a.Modulus.HalfWidth != 1e-3/Floor {
			t.Errorf("seed %d: own half width %g, claimed %g", seed, a.Modulus.Own, a.Modulus.HalfWidth)
		}
		if math.Abs(a.Modulus.Mean) <= a.Modulus.Own {
			within++
		}
	}
	if within < runs*9/10 {
		t.Errorf("within the claim in %d of %d runs", within, runs)
	}
}

// A healthy series does not lose much from being judged where it is long: the standard uncertainty over that of the plain mean, median of 60 runs, with tau_max four
// blocks, is about 11 for 15 blocks, 1.7 for 60 and 1.1 for 300 (own study; a short series cannot show that nothing is settling).
func TestHealthySeries(t *testing.T) {
	for _, c := range []struct {
		n         int
		low, high float64
	}{{15, 8, 15}, {60, 1.3, 2}, {300, 0.95, 1.3}} {
		var ratios []float64
		for seed := range uint64(60) {
			x := gaussian(seed, c.n, 1e-4)
			a, err := Evaluate(Settings{Rule: Wary, Modulus: 1e-2, TauMax: 4}, asBlocks(x))
			if err != nil {
				t.Fatal(err)
			}
			ratios = append(ratios, a.Modulus.TypeA()/math.Sqrt(experimental(x)/float64(c.n)))
		}
		slices.Sort(ratios)
		median := ratios[len(ratios)/2]
		t.Logf("%d blocks: %.2f", c.n, median)
		if median < c.low || median > c.high {
			t.Errorf("%d blocks: standard uncertainty %.2f of that of the plain mean, expected %g to %g", c.n, median, c.low, c.high)
		}
	}
	if e := (Estimate{Own: 0}); e.TypeA() != 0 {
		t.Errorf("no half width gives %g", e.TypeA())
	}
}
