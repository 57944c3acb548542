package calibration

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

func series(n int, of func(i int) float64) PointPlan {
	p := PointPlan{Label: "point 1 (10 Hz)", Frequency: 10, Level: 1}
	for i := range n {
		p.Readings = append(p.Readings, Reading{Time: 5 * float64(i), Level: math.NaN(), Sensitivity: of(i), Temperature: math.NaN()})
	}
	return p
}

// The mean of many readings is known better than a single one, but never as well as independent readings would make it where neighbours hang together.
func TestReadingsTypeA(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 3))
	v := 0.0
	alike, _, why := readingEvidence(series(40, func(int) float64 {
		v = 0.8*v + rng.NormFloat64()
		return 1 + 1e-3*v
	}))
	if why != "" {
		t.Fatal(why)
	}
	single := 0.0
	for _, l := range alike.LnRatio {
		single += real(l) * real(l)
	}
	single = math.Sqrt(single / 39)
	if u := alike.StdLnRatio[0]; u > single || u < 1.5*single/math.Sqrt(40) {
		t.Errorf("u %.3g, want between %.3g (1.5 times independent) and %.3g (a single reading): autocorrelation is 0.8", u, 1.5*single/math.Sqrt(40), single)
	}
	few, _, _ := readingEvidence(series(5, func(i int) float64 { return 1 + 1e-3*float64(i%2) }))
	if want := 1e-3 * math.Sqrt(0.3); math.Abs(few.StdLnRatio[0]/want-1) > 0.01 {
		t.Errorf("five readings: u %.4g, want that of a single reading, %.4g", few.StdLnRatio[0], want)
	}
	if _, _, why := readingEvidence(series(3, func(int) float64 { return 1 })); !strings.Contains(why, "3 readings") {
		t.Errorf("three readings: %q, want a refusal", why)
	}
}

// Readings that still climb are said to, and half the climb is in the budget.
func TestReadingsThatClimb(t *testing.T) {
	e, _, _ := readingEvidence(series(20, func(i int) float64 { return 1 + 1e-3*float64(i)/19 + 1e-5*float64(i%2) }))
	if math.Abs(e.TrendLeft[0]-0.5e-3) > 2e-5 {
		t.Errorf("climb of 0.1 %%: %.3g left, want half of it", e.TrendLeft[0])
	}
}
