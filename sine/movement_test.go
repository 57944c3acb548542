package sine

import (
	"math"
	"testing"
)

// shifted is a pair of tones of 80 Hz at 1000 samples per second, 10 s, in which channel c has lost one sample at each of the frames lost[c], with white noise.
func shifted(t *testing.T, seed uint64, lost [2][]int) Fit {
	t.Helper()
	r := seeded(t, seed)
	const n, rate, f = 10000, 1000., 80.003
	x := make([][]float64, 2)
	for c := range x {
		ones := make([]int, len(lost[c]))
		for k := range ones {
			ones[k] = 1
		}
		x[c] = dropping(n, rate, f, 0.3, lost[c], ones)
		for i := range x[c] {
			x[c][i] += 1e-4 * r.NormFloat64()
		}
	}
	fit, err := Approximate(source(x, 4096), 2, Settings{Rate: rate, Frequency: 80, Harmonics: 5, Drift: 1, Mains: 50, Frames: n})
	if err != nil {
		t.Fatal(err)
	}
	return fit
}

// Truth: the simulated losses. One sample at 80 Hz and 1000 samples per second is 0.503 rad.
func TestRatioPhase(t *testing.T) {
	sample := 2 * math.Pi * 80.003 / 1000
	m := shifted(t, 51, [2][]int{}).RatioPhase(1, 0)
	if !(m.Range < 10*m.Noise) || !(m.Rough > 1) {
		t.Errorf("undisturbed: %+v", m)
	}
	near(t, "noise of a block", m.Noise, 1e-4*2/math.Sqrt(500), 2e-6) // sqrt(2) sigma sqrt(2/L), L = 500
	var many []int
	for k := range 20 {
		many = append(many, 250+487*k)
	}
	for _, lost := range [][]int{{2345, 5123, 7801}, many} {
		m = shifted(t, 52, [2][]int{nil, lost}).RatioPhase(1, 0)
		near(t, "range", m.Range, float64(len(lost))*sample, 1.6*sample) // the losses in the outer blocks count in part
		if !(m.Rough < 0.5) {
			t.Errorf("%d losses: %+v", len(lost), m)
		}
	}
}

func TestCommonPhase(t *testing.T) {
	lost := []int{1234, 3111, 4950, 6789, 8432}
	for _, c := range []struct {
		name        string
		lost        [2][]int
		least, most int // jumps
	}{
		{"undisturbed", [2][]int{}, 0, 0},
		{"in both channels", [2][]int{lost, lost}, 1, 20},
		{"in one", [2][]int{nil, lost}, 0, 0},
	} {
		fit := shifted(t, 53, c.lost)
		if m := fit.CommonPhase(0); m.Jumps+len(fit.Steps) < c.least || m.Jumps > c.most {
			t.Errorf("%s: %+v, %d steps", c.name, m, len(fit.Steps))
		}
	}
}

// A generator whose phase wanders, by up to some samples, and a knock that both channels see make no jumps.
func TestCommonPhaseOfWander(t *testing.T) {
	r := seeded(t, 54)
	wander := 0.0
	for _, phase := range []func(t float64) float64{
		func(t float64) float64 { return 0.005 * t * t },
		func(t float64) float64 { return 0.5 * math.Exp(-t/5) },
		func(float64) float64 { wander += 2e-3 * r.NormFloat64(); return wander },
	} {
		x := [][]float64{make([]float64, 20000), make([]float64, 20000)}
		for i := range x[0] {
			s := float64(i) / 1000
			v := math.Cos(2*math.Pi*80*s + phase(s))
			if i > 9000 && i < 9100 {
				v += 0.5 * math.Exp(-float64(i-9000)/20)
			}
			x[0][i], x[1][i] = v+1e-4*r.NormFloat64(), 3*v+1e-4*r.NormFloat64()
		}
		f := accumulate(t, x, Settings{Rate: 1000, Frequency: 80, Harmonics: 3, Drift: 1, Frames: 20000}, 5000)
		if m := f.CommonPhase(0); m.Jumps > 0 || !(m.Range > 0.05) {
			t.Errorf("%+v", m)
		}
	}
}

// Truth: the simulated loss, in the first block (500 samples), which is found by its kind; a click there is not taken for one.
func TestEarlyShift(t *testing.T) {
	for _, at := range []int{60, 123, 250, 377} {
		if k := shifted(t, 55, [2][]int{nil, {at}}).EarlyShift(1, 0); k != 1 {
			t.Errorf("at %d in channel 2: %d", at, k)
		}
		if k := shifted(t, 55, [2][]int{{at}, nil}).EarlyShift(1, 0); k != -1 {
			t.Errorf("at %d in channel 1: %d", at, k)
		}
	}
	r := seeded(t, 56)
	for range 20 {
		x := record(10000, 1000, noisy(r, 1e-4, tone(1, 80, 0.2)), noisy(r, 1e-4, tone(1, 80, 0.5)))
		x[1][10+r.IntN(480)] += 3
		f := accumulate(t, x, Settings{Rate: 1000, Frequency: 80, Harmonics: 5, Drift: 1, Frames: 10000}, 5000)
		if k := f.EarlyShift(1, 0); k != 0 || !f.Blocks[0].Rejected || f.Blocks[0].Cause != 1 {
			t.Errorf("a click: %d", k)
		}
	}
}
