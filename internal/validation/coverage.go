package validation

import (
	"fmt"
	"io"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"sync"

	"plumbline/calibration"
	"plumbline/internal/simulator"
)

// told is a way to state the budget, right or somewhat wrong.
type told struct {
	name   string
	change func(*calibration.Job)
	right  bool
}

func scale(key string, by float64) func(*calibration.Job) {
	return func(j *calibration.Job) {
		for i, in := range j.Procedure.Influences {
			if in.Key == key {
				for b := range in.Bands {
					j.Procedure.Influences[i].Bands[b].Modulus *= by
					j.Procedure.Influences[i].Bands[b].Phase *= by
				}
			}
		}
	}
}

var tellings = []told{
	{"as nature is", func(*calibration.Job) {}, true},
	{"certificate's U half of what it is", func(j *calibration.Job) {
		for i := range j.Reference.Table {
			j.Reference.Table[i].StdModulus /= 2
			j.Reference.Table[i].StdPhase /= 2
		}
	}, false},
	{"certificate's correlation over frequency told 1 instead of 0.8", func(j *calibration.Job) { j.Reference.Correlation = 1 }, false},
	{"drift told a third", scale("drift", 1./3), false},
	{"transverse motion told a third", scale("transverse", 1./3), false},
	{"every stated influence told 1.5 times", func(j *calibration.Job) {
		for _, key := range []string{"drift", "linearity", "settling", "base-strain", "transverse", "repeatability"} {
			scale(key, 1.5)(j)
		}
	}, false},
}

// tally counts, for each spot, the runs whose stated interval held the truth.
type tally struct {
	runs                   int
	modulus, phase         [4]int
	flatness               [4]int
	meanU, meanDeviationU  [4]float64
	firstOrder, monteCarlo [4]int // of the modulus, whatever is stated
	refused                int
	reason                 string
}

// wrongEvery: one run in so many is evaluated with the wrong budgets too.
const wrongEvery = 20

// calibrate makes one complete simulated calibration at all spots and counts into the tallies of all tellings.
func calibrate(seed uint64, run int, tallies []tally) error {
	rng := rand.New(rand.NewPCG(seed, uint64(run)))
	n := newNature(rng)
	var rows []calibration.CalibratedPoint
	var points []calibration.PointPlan
	var truth []complex128
	for _, s := range spots {
		samples, device, row, level := n.measure(s)
		rec := simulator.Recording(fmt.Sprintf("%g Hz", s.frequency), samples, s.rate, 24)
		rows, truth = append(rows, row), append(truth, device)
		points = append(points, calibration.PointPlan{Label: rec.Name, Frequency: s.frequency, Level: level, Recording: &rec})
	}
	for k, telling := range tellings {
		if k > 0 && run%wrongEvery != 0 {
			break
		}
		stated := rand.New(rand.NewPCG(seed^0x5bd1e995, uint64(run))) // the laboratory's own draws are the same for every telling
		view := n
		view.rng = stated
		j := view.job(append([]calibration.CalibratedPoint{}, rows...), points)
		telling.change(&j)
		r, err := calibration.Evaluate(j, 1)
		if err != nil {
			return err
		}
		tallies[k].count(r, truth)
	}
	return nil
}

func (t *tally) count(r calibration.Result, truth []complex128) {
	t.runs++
	ref := r.ReferencePoint()
	for i, p := range r.Points {
		if p.Refused != "" {
			t.refused++
			t.reason = p.Refused
			continue
		}
		d := truth[i] / p.Sensitivity // the truth relative to the stated value
		modulus := cmplx.Abs(d) - 1
		hit(&t.modulus[i], math.Abs(modulus) <= p.Reported.UModulus)
		hit(&t.phase[i], math.Abs(cmplx.Phase(d)) <= p.Reported.UPhase)
		hit(&t.firstOrder[i], math.Abs(modulus) <= p.Budget.Modulus.Expanded)
		hit(&t.monteCarlo[i], 1+modulus >= p.Simulation.Modulus.Low && 1+modulus <= p.Simulation.Modulus.High)
		t.meanU[i] += p.Reported.UModulus
		if i != ref && p.Deviation != nil && ref >= 0 {
			true_ := cmplx.Abs(truth[i])/cmplx.Abs(truth[ref]) - 1
			hit(&t.flatness[i], math.Abs(p.Deviation.Value-true_) <= p.Deviation.Expanded())
			t.meanDeviationU[i] += p.Deviation.Expanded()
		}
	}
}

func hit(counter *int, in bool) {
	if in {
		*counter++
	}
}

// coverage counts how often stated intervals hold the truth, with budgets told as nature is and told somewhat wrong.
func coverage(s Settings, w io.Writer) (misses []string, err error) {
	runs := s.runs(2000, 20000)
	total, err := manyRuns(runs, s.Workers, func(run int, t []tally) error { return calibrate(s.Seed, run, t) })
	if err != nil {
		return nil, err
	}
	fmt.Fprintf(w, "%d complete simulated calibrations at %d frequencies (seed %d): certificate, drift, temperature, gains, delays, distortion, transverse motion, base strain, mounting, hum, ground motion, "+
		"noise, quantisation, clock, repeated mounting act forwards on the recordings, each of which begins while the device's sensitivity still is up to 0.1 %% off and settling (2 s); the laboratory's side is the program as it is, steadiness judged by rule wary. Coverage of the stated intervals in %%; "+
		"%.2f %% are stated, three standard deviations of a count are ±%.2f %%.\n\n", runs, len(spots), s.Seed, 100*probability, 100*binomial(probability, runs))
	for k, t := range total {
		if t.refused > 0 {
			misses = append(misses, fmt.Sprintf("coverage, budget told %s: %d points refused, for example: %s", tellings[k].name, t.refused, t.reason))
		}
		misses = append(misses, t.misses(tellings[k])...)
	}
	writeRight(w, total[0])
	fmt.Fprintf(w, "One in %d of the same recordings with budgets told somewhat wrong (±%.1f %%):\n\n", wrongEvery, 100*binomial(probability, total[1].runs))
	var rows [][]string
	for k, t := range total[1:] {
		row := []string{tellings[k+1].name}
		for i := range spots {
			row = append(row, fmt.Sprintf("%.1f", share(t.modulus[i], t.runs)))
		}
		for i := range spots {
			if spots[i].frequency != referenceOfStudy {
				row = append(row, fmt.Sprintf("%.1f", share(t.flatness[i], t.runs)))
			}
		}
		rows = append(rows, row)
	}
	table(w, []string{"budget told", "modulus 1 Hz", "10 Hz", "97 Hz", "1 kHz", "flatness 1 Hz", "10 Hz", "1 kHz"}, rows)
	return misses, nil
}

func share(n, of int) float64 { return 100 * float64(n) / float64(of) }

// misses names the coverages of a right budget that are not what is stated.
func (t tally) misses(k told) (misses []string) {
	if !k.right {
		return nil
	}
	check := func(what string, i, n int) {
		found := float64(n) / float64(t.runs)
		// The stated probability must be kept, within what a count can tell.
		if off := found - probability; math.Abs(off) > binomial(probability, t.runs) {
			misses = append(misses, fmt.Sprintf("coverage of the %s at %g Hz: %.2f %%, stated %.2f %%", what, spots[i].frequency, 100*found, 100*probability))
		}
	}
	for i := range spots {
		check("modulus", i, t.modulus[i])
		check("phase", i, t.phase[i])
		if spots[i].frequency != referenceOfStudy {
			check("flatness", i, t.flatness[i])
		}
	}
	return misses
}

func writeRight(w io.Writer, t tally) {
	var rows [][]string
	for i, s := range spots {
		row := []string{fmt.Sprintf("%g", s.frequency), fmt.Sprintf("%.2f", share(t.modulus[i], t.runs)), percent(t.meanU[i]/float64(t.runs), 2), fmt.Sprintf("%.2f", share(t.phase[i], t.runs))}
		if s.frequency == referenceOfStudy {
			row = append(row, "", "")
		} else {
			row = append(row, fmt.Sprintf("%.2f", share(t.flatness[i], t.runs)), percent(t.meanDeviationU[i]/float64(t.runs), 2))
		}
		rows = append(rows, append(row, fmt.Sprintf("%.2f", share(t.firstOrder[i], t.runs)), fmt.Sprintf("%.2f", share(t.monteCarlo[i], t.runs))))
	}
	table(w, []string{"Hz", "modulus", "mean U", "phase", "flatness to 97 Hz", "mean U", "modulus, first order", "modulus, Monte Carlo"}, rows)
}

// manyRuns spreads runs over workers; each counts into tallies of its own, which are added in a fixed order.
func manyRuns(runs, workers int, do func(run int, t []tally) error) ([]tally, error) {
	workers = max(1, workers)
	parts := make([][]tally, workers)
	errs := make([]error, workers)
	var group sync.WaitGroup
	for k := range workers {
		parts[k] = make([]tally, len(tellings))
		group.Go(func() {
			for run := k; run < runs && errs[k] == nil; run += workers {
				errs[k] = do(run, parts[k])
			}
		})
	}
	group.Wait()
	total := make([]tally, len(tellings))
	for k := range workers {
		if errs[k] != nil {
			return nil, errs[k]
		}
		for i := range total {
			total[i].add(parts[k][i])
		}
	}
	return total, nil
}

func (t *tally) add(o tally) {
	t.runs, t.refused = t.runs+o.runs, t.refused+o.refused
	if o.reason != "" {
		t.reason = o.reason
	}
	for i := range spots {
		t.modulus[i] += o.modulus[i]
		t.phase[i] += o.phase[i]
		t.flatness[i] += o.flatness[i]
		t.firstOrder[i] += o.firstOrder[i]
		t.monteCarlo[i] += o.monteCarlo[i]
		t.meanU[i] += o.meanU[i]
		t.meanDeviationU[i] += o.meanDeviationU[i]
	}
}
