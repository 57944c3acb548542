package history

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"plumbline/conformity"
)

// world is how histories are simulated: a true line with the sensor's own changes about it, and calibrations with common and independent errors.
type world struct {
	n, references int     // calibrations, and reference certificates that take turns over them
	common        float64 // standard uncertainties stated, relative
	independent   float64
	true          float64 // independent errors over what is stated
	own           float64 // the sensor's own changes from day to day about its line
	still         bool    // no drift
	unsplit       bool    // certificates that do not state the split
}

// draw is one history with the true ln modulus on a day after its last calibration.
func (w world) draw(r *rand.Rand, day time.Time) (Series, float64) {
	level, rate := 0.02*r.NormFloat64(), 0.003*r.NormFloat64()
	if w.still {
		rate = 0
	}
	at := func(t time.Time) float64 { return level + rate*years(day, t) + w.own*r.NormFloat64() }
	reference := make([]float64, w.references)
	for i := range reference {
		reference[i] = w.common * r.NormFloat64()
	}
	s := Series{Serial: "A-0401", Frequency: 100, Tolerance: conformity.Limits{Lower: 0.9, Upper: 1.1}}
	for i := range w.n {
		date := day.AddDate(0, 0, -360*(w.n-i)+r.IntN(120))
		g := i * w.references / w.n
		y := at(date) + reference[g] + w.true*w.independent*r.NormFloat64()
		q := Result{Certificate: fmt.Sprint(i), Date: date, Modulus: math.Exp(y), K: 2, Std: math.Hypot(w.common, w.independent), StdCommon: w.common, Shares: fmt.Sprint("R-201/", g)}
		if w.unsplit {
			q.StdCommon = math.NaN()
		}
		s.Results = append(s.Results, q)
	}
	return s, at(day)
}

// TestCoverage draws 2000 histories for each kind of world and basis, and compares the share of true values within the 95 % interval on a day one year after the last
// calibration, and the share within tolerance with the sum of the probabilities stated, for limits that lie anywhere near. Exact ones have to hold within three
// standard deviations of their share; the others have to be on the safe side, as far as the doc comments claim.
//
// Verifies: GUM H.3.4
// Verifies: JCGM 106 7
func TestCoverage(t *testing.T) {
	histories := 2000
	if soak() {
		histories = 20000
	}
	for _, c := range []struct {
		name  string
		w     world
		basis Basis
		low   float64 // coverage at least and at most
		high  float64
	}{
		{"two, stated, one reference", world{n: 2, references: 1, common: 2e-3, independent: 1e-3, true: 1}, Stated, 0.95, 0.95},
		{"three, stated, two references", world{n: 3, references: 2, common: 2e-3, independent: 1e-3, true: 1}, Stated, 0.95, 0.95},
		{"six, stated, two references", world{n: 6, references: 2, common: 2e-3, independent: 1e-3, true: 1}, Stated, 0.95, 0.95},
		{"three, scatter, no common part", world{n: 3, references: 1, common: 0, independent: 1e-3, true: 1}, Scatter, 0.95, 0.98},
		{"five, scatter, independent stated far too large", world{n: 5, references: 1, common: 0, independent: 1e-3, true: 0.1}, Scatter, 0.95, 0.95},
		{"five, scatter, common part", world{n: 5, references: 1, common: 2e-3, independent: 1e-3, true: 1}, Scatter, 0.95, 0.98},
		{"six, scatter, the sensor moves by itself", world{n: 6, references: 1, common: 1e-3, independent: 0.5e-3, true: 1, own: 3e-3}, Scatter, 0.95, 0.98},
		{"six, larger, the sensor moves by itself", world{n: 6, references: 1, common: 1e-3, independent: 0.5e-3, true: 1, own: 3e-3}, Larger, 0.95, 0.98},
		{"six, larger, stated right", world{n: 6, references: 2, common: 2e-3, independent: 1e-3, true: 1}, Larger, 0.95, 0.99},
		{"four, stated, split not known", world{n: 4, references: 1, common: 2e-3, independent: 1e-3, true: 1, unsplit: true}, Stated, 0.97, 1},
		{"four, scatter, split not known", world{n: 4, references: 2, common: 2e-3, independent: 1e-3, true: 1, unsplit: true}, Scatter, 0.95, 1},
	} {
		t.Run(c.name, func(t *testing.T) {
			const seed = 20261125
			r := rand.New(rand.NewPCG(seed, 1))
			day := on("2026-11-25")
			set := Settings{Basis: c.basis, Probability: 0.95, Significance: 0.05}
			inside := 0
			bins := []bin{{from: 0.05, to: 0.5}, {from: 0.5, to: 0.9}, {from: 0.9, to: 0.99}}
			for range histories {
				s, truth := c.w.draw(r, day)
				l, err := Fit(s, set)
				if err != nil {
					t.Fatal(err)
				}
				p := l.Predict(day)
				if math.Exp(truth) >= p.Low && math.Exp(truth) <= p.High {
					inside++
				}
				for range 2 {
					limits := limitsNear(r, truth, c.w)
					for i := range bins {
						bins[i].add(p.Within(limits), math.Exp(truth) >= limits.Lower && math.Exp(truth) <= limits.Upper)
					}
				}
			}
			n := float64(histories)
			share, sd := float64(inside)/n, 3*math.Sqrt(0.95*0.05/n)
			t.Logf("%d histories, seed %d: %.4f within the interval; probability within tolerance stated and found: %v", histories, seed, share, bins)
			if share < c.low-sd || share > c.high+sd {
				t.Errorf("%.4f of the true values within the interval of 0.95, want %.2f to %.2f ± %.4f", share, c.low, c.high, sd)
			}
			for _, b := range bins {
				if c.low == c.high && math.Abs(b.z()) > 4 || b.from >= 0.5 && b.z() < -4 {
					t.Errorf("within tolerance: %v, too far apart", b)
				}
				if b.n < 50 {
					t.Errorf("within tolerance: %v, too few to tell", b)
				}
			}
		})
	}
}

// bin compares the probabilities of conformity stated between two numbers with how often it came true.
type bin struct {
	from, to                float64
	n                       int
	stated, found, variance float64
}

func (b *bin) add(p float64, true bool) {
	if p < b.from || p >= b.to {
		return
	}
	b.n++
	b.stated += p
	b.variance += p * (1 - p)
	if true {
		b.found++
	}
}

// z is the difference in standard deviations; the two tolerances of one history share its error, which makes it up to √2 as large.
func (b bin) z() float64 { return (b.found - b.stated) / math.Sqrt(b.variance) }

func (b bin) String() string {
	return fmt.Sprintf("%.3f %.3f (n = %d, z = %.1f)", b.stated/float64(b.n), b.found/float64(b.n), b.n, b.z())
}

// limitsNear is a tolerance of random width whose middle lies anywhere about the truth, so that a probability of conformity may be held to account.
func limitsNear(r *rand.Rand, truth float64, w world) conformity.Limits {
	u := math.Hypot(w.common, w.independent*w.true) + w.own
	half := u * (1 + 15*r.Float64())
	middle := truth + 80*u*(r.Float64()-0.5)
	return conformity.Limits{Lower: math.Exp(middle - half), Upper: math.Exp(middle + half)}
}

// TestFalseDrifts: of 2000 histories without drift as many are called significant as the significance says, fewer where the uncertainty is on the safe side.
func TestFalseDrifts(t *testing.T) {
	const histories, seed = 2000, 20261126
	for _, c := range []struct {
		name      string
		w         world
		basis     Basis
		low, high float64
	}{
		{"two, stated", world{n: 2, references: 2, common: 2e-3, independent: 1e-3, true: 1, still: true}, Stated, 0.05, 0.05},
		{"four, stated", world{n: 4, references: 2, common: 2e-3, independent: 1e-3, true: 1, still: true}, Stated, 0.05, 0.05},
		{"four, scatter", world{n: 4, references: 1, common: 2e-3, independent: 1e-3, true: 2, still: true}, Scatter, 0.05, 0.05},
		{"four, larger", world{n: 4, references: 1, common: 2e-3, independent: 1e-3, true: 1, still: true}, Larger, 0.01, 0.05},
	} {
		r := rand.New(rand.NewPCG(seed, 2))
		day := on("2026-11-25")
		wrong := 0
		for range histories {
			s, _ := c.w.draw(r, day)
			l, err := Fit(s, Settings{Basis: c.basis, Probability: 0.95, Significance: 0.05})
			if err != nil {
				t.Fatal(err)
			}
			if l.Significant {
				wrong++
			}
			if l.Significant != (math.Abs(l.Rate) > l.Detectable) {
				t.Errorf("%s: rate %g with P %g, but %g would have been detected", c.name, l.Rate, l.P, l.Detectable)
			}
		}
		share, sd := float64(wrong)/histories, 3*math.Sqrt(0.05*0.95/histories)
		t.Logf("%s: seed %d, %.4f called significant", c.name, seed, share)
		if share < c.low-sd || share > c.high+sd {
			t.Errorf("%s: %.4f called significant, want %.2f to %.2f ± %.4f", c.name, share, c.low, c.high, sd)
		}
	}
}
