package validation

import (
	"cmp"
	"context"
	"fmt"
	"io"
	"math"
	"slices"
	"sync"

	"plumbline/bench"
	"plumbline/calibration"
	"plumbline/internal/simulator"
	"plumbline/plan"
	"plumbline/recording"
)

// What is aimed at: medians of achieved over predicted within a fifth of 1, and within a factor of half as much for nine points of ten.
const (
	plannedMedian = 0.2
	plannedFactor = 1.5
	plannedShare  = 0.9
)

// plannedBands of the table, lower ends in Hz.
var plannedBands = []float64{0, 1.5, 5, 20, 80}

// carried is one point of a plan that was carried out.
type carried struct {
	name      string
	frequency float64
	u         float64 // achieved over predicted; NaN where there is no value
	time      float64 // NaN where it was not kept
}

// plannedTally is what one job came to.
type plannedTally struct {
	points  []carried
	notKept []string
	beyond  int // points the plan itself says are out of reach within the longest time, which nobody measures
	err     error
}

// memory is an archive that keeps the samples of every recording that was kept, and an operator who skips what is not steady.
type memory struct {
	nowhere
	rate float64
	bits int
	kept map[int]recording.Recording // by step
}

// track is the recording of one attempt.
type track struct {
	m       *memory
	label   string
	samples [2][]float64
}

func (m *memory) Create(s bench.Step, _ int, info recording.Info) (bench.Sink, error) {
	m.rate, m.bits = info.Rate, info.Channels[0].Bits
	return &track{m: m, label: s.Label}, nil
}

func (t *track) Write(block [][]float64) error {
	for c := range t.samples {
		t.samples[c] = append(t.samples[c], block[c]...)
	}
	return nil
}

func (t *track) Keep(o bench.Outcome) (string, error) {
	t.m.kept[o.Step] = simulator.Recording(t.label, t.samples[:], t.m.rate, t.m.bits)
	return t.label, nil
}

func (t *track) Discard(string) error { return nil }

// set is what the bench is told for a job, as a live run of the program tells it.
func (j plannedJob) set(live *simulator.Live, archive *memory, steps []bench.Step) bench.Set {
	reference, device := j.request.Channels()
	pr := j.request.Job.Procedure
	return bench.Set{
		Exciter: live, Digitizer: live, Archive: archive, Operator: archive, Steps: steps, Harmonics: pr.Harmonics, Drift: pr.Drift, Mains: pr.Mains,
		Reference: bench.Input{Column: 1, Scale: 1, Sensitivity: reference.Sensitivity, Limit: reference.Limit},
		Device:    bench.Input{Column: 2, Scale: 1, Sensitivity: device.Sensitivity, Limit: device.Limit},
		Limits: bench.Limits{Drive: drivePlanned, Slew: slewPlanned, Level: func(f float64) float64 {
			highest, _, err := j.request.Highest(f)
			if err != nil {
				return 0
			}
			return highest
		}},
	}
}

// carryOut plans a job, measures it on the simulated bench and evaluates the recordings.
func (j plannedJob) carryOut(seed uint64) (t plannedTally) {
	p, err := plan.Make(j.request)
	if err != nil {
		return plannedTally{err: err}
	}
	live, _, err := simulator.New(j.setup, seed)
	if err != nil {
		return plannedTally{err: err}
	}
	var steps []bench.Step
	var points []plan.Point
	for _, q := range p.Points {
		if !q.MeetsTarget {
			t.beyond++
			continue
		}
		judge, err := j.request.Job.LiveJudge(q.Frequency, q.Block)
		if err != nil {
			return plannedTally{err: err}
		}
		steps = append(steps, bench.Step{Points: []int{len(points)}, Label: j.request.PointText(q), Lines: []bench.Line{{Frequency: q.Frequency, Level: q.Level}}, Repeat: q.Repeat, Judge: judge,
			Block: q.Block, Least: j.request.Job.Procedure.LeastHeld(q.Frequency, q.Block), Longest: j.request.Wish.Longest})
		points = append(points, q)
	}
	t.beyond += len(p.Infeasible)
	if len(steps) == 0 {
		return t
	}
	archive := &memory{kept: map[int]recording.Recording{}}
	report, err := bench.Run(context.Background(), j.set(live, archive, steps))
	for _, i := range report.Skipped {
		t.notKept = append(t.notKept, fmt.Sprintf("%s, %s", j.name, steps[i].Label))
	}
	if err != nil {
		t.err = err
		return t
	}
	t.err = j.compare(&t, points, steps, report.Kept, archive)
	return t
}

// compare evaluates the job with the recordings that were kept, and sets what came out against the plan.
func (j plannedJob) compare(t *plannedTally, points []plan.Point, steps []bench.Step, kept []bench.Kept, archive *memory) error {
	job := j.request.Job
	slices.SortStableFunc(kept, func(a, b bench.Kept) int { return a.Step - b.Step })
	first := map[string]int{} // number of the point in t.points, by its label in the job
	for _, k := range kept {
		rec, q := archive.kept[k.Step], points[k.Step]
		c := carried{name: fmt.Sprintf("%s, %s", j.name, steps[k.Step].Label), frequency: q.Frequency, u: math.NaN(), time: k.Seconds / q.Bench}
		job.Points = append(job.Points, calibration.PointPlan{Label: steps[k.Step].Label, Frequency: q.Frequency, Level: q.Level, Recording: &rec, Block: q.Block, Held: k.Held, Repeat: q.Repeat})
		first[steps[k.Step].Label] = len(t.points)
		t.points = append(t.points, c)
	}
	if len(job.Points) == 0 {
		return nil
	}
	r, err := calibration.Evaluate(job, 1)
	if err != nil {
		return err
	}
	for _, p := range r.Points {
		i := first[p.Plan.Label]
		if p.Refused != "" {
			t.notKept = append(t.notKept, fmt.Sprintf("%s: refused: %s", t.points[i].name, p.Refused))
			continue
		}
		q := points[slices.IndexFunc(steps, func(s bench.Step) bool { return s.Label == p.Plan.Label })]
		t.points[i].u = p.Reported.UModulus / q.U
	}
	return nil
}

// planned plans jobs, carries the plans out on the simulated bench and compares U and time with what was predicted.
func planned(s Settings, w io.Writer) (misses []string, err error) {
	runs := max(1, s.runs(5, 100))
	tallies, err := carryOutAll(s, runs)
	if err != nil {
		return nil, err
	}
	fmt.Fprintf(w, "%d jobs drawn (seed %d): exciter X-03 or X-12, reference of 100 mV/g or 1 V/g, device of 1 V/g to 10 V/g, 0.2 to 3 times the ground motion of the laboratory, five to eight points from %g Hz to %g Hz off the mains, "+
		"levels up to 0.03 g to 0.3 g, 0.05 %% to 0.3 %% of type A wanted, rule wary. Each is planned by what the simulated bench is, measured by a live run as planned, repeats included, and its recordings evaluated. "+
		"Achieved over predicted: U of the modulus of each point, and bench time from the start of the drive, low-level check and approach included, of each recording.\n\n", runs, s.Seed, lowestPlanned, highestPlanned)
	var all []carried
	var notKept []string
	beyond := 0
	for i, t := range tallies {
		if t.err != nil {
			misses = append(misses, fmt.Sprintf("plan, job %d: %v", i, t.err))
		}
		all, notKept, beyond = append(all, t.points...), append(notKept, t.notKept...), beyond+t.beyond
	}
	ratios := []struct {
		name string
		of   func(carried) float64
	}{{"U", func(c carried) float64 { return c.u }}, {"time", func(c carried) float64 { return c.time }}}
	var rows, worst [][]string
	for _, x := range ratios {
		for b := range len(plannedBands) + 1 {
			rows = append(rows, bandRow(x.name, b, all, x.of))
		}
		worst = append(worst, worstRows(x.name, all, x.of)...)
		misses = append(misses, plannedMisses(x.name, known(all, x.of))...)
	}
	table(w, []string{"achieved over predicted", "Hz", "points", "median", "5 %", "95 %", "within a factor 1.5, %"}, rows)
	fmt.Fprint(w, "The largest and the smallest:\n\n")
	table(w, []string{"", "ratio", "point"}, worst)
	fmt.Fprintf(w, "%d points the plan itself says are out of reach were not measured. Not kept or refused: %d.\n\n", beyond, len(notKept))
	for _, n := range notKept {
		fmt.Fprintf(w, "- %s\n", n)
	}
	if n := len(all) + len(notKept); float64(len(notKept)) > (1-plannedShare)*float64(n) {
		misses = append(misses, fmt.Sprintf("plan: %d of %d points planned as within reach have no value", len(notKept), n))
	}
	return misses, nil
}

// carryOutAll works the jobs off in parallel; each has its own place.
func carryOutAll(s Settings, runs int) ([]plannedTally, error) {
	all, errs := make([]plannedTally, runs), make([]error, runs)
	var group sync.WaitGroup
	workers := max(1, s.Workers)
	for k := range workers {
		group.Go(func() {
			for i := k; i < runs; i += workers {
				j, err := drawJob(s.Seed, i)
				if errs[i] = err; err == nil {
					all[i] = j.carryOut(s.Seed + uint64(i))
				}
			}
		})
	}
	group.Wait()
	for _, err := range errs {
		if err != nil {
			return nil, err
		}
	}
	return all, nil
}

// known are the ratios there are, ascending.
func known(all []carried, of func(carried) float64) (x []float64) {
	for _, c := range all {
		if v := of(c); !math.IsNaN(v) {
			x = append(x, v)
		}
	}
	slices.Sort(x)
	return x
}

// quantile of sorted x.
func quantile(x []float64, p float64) float64 {
	at := p * float64(len(x)-1)
	i := int(at)
	return x[i] + (at-float64(i))*(x[min(i+1, len(x)-1)]-x[i])
}

// within is the share of ratios within the factor.
func within(x []float64) float64 {
	n := 0
	for _, v := range x {
		hit(&n, v <= plannedFactor && v >= 1/plannedFactor)
	}
	return float64(n) / float64(max(1, len(x)))
}

// bandRow is the row of one band; the one after the last is that of all points.
func bandRow(name string, band int, all []carried, of func(carried) float64) []string {
	low, high, label := 0.0, math.Inf(1), "all"
	if band < len(plannedBands) {
		low, label = plannedBands[band], fmt.Sprintf("from %g", plannedBands[band])
		if band+1 < len(plannedBands) {
			high = plannedBands[band+1]
		}
		if band == 0 {
			label = fmt.Sprintf("below %g", high)
		}
	}
	x := known(slices.DeleteFunc(slices.Clone(all), func(c carried) bool { return c.frequency < low || c.frequency >= high }), of)
	row := []string{name, label, fmt.Sprint(len(x)), "", "", "", ""}
	if len(x) > 0 {
		for i, p := range []float64{0.5, 0.05, 0.95} {
			row[3+i] = fmt.Sprintf("%.2f", quantile(x, p))
		}
		row[6] = fmt.Sprintf("%.0f", 100*within(x))
	}
	return row
}

// worstRows name the two largest and the two smallest ratios.
func worstRows(name string, all []carried, of func(carried) float64) (rows [][]string) {
	sorted := slices.DeleteFunc(slices.Clone(all), func(c carried) bool { return math.IsNaN(of(c)) })
	slices.SortStableFunc(sorted, func(a, b carried) int { return cmp.Compare(of(b), of(a)) })
	const few = 2
	for i, c := range sorted {
		if i < few || i >= len(sorted)-few {
			rows = append(rows, []string{name, fmt.Sprintf("%.2f", of(c)), c.name})
		}
	}
	return rows
}

// plannedMisses says what of the aim is missed by ratios in ascending order, within what their number can tell.
func plannedMisses(name string, x []float64) (misses []string) {
	if len(x) == 0 {
		return []string{fmt.Sprintf("plan: no %s to compare", name)}
	}
	// order statistics between which the median of all jobs lies, three standard deviations of a count of halves either way
	n := float64(len(x))
	half := 1.5 / math.Sqrt(n)
	low, high := quantile(x, max(0, 0.5-half)), quantile(x, min(1, 0.5+half))
	if low > 1+plannedMedian || high < 1-plannedMedian {
		misses = append(misses, fmt.Sprintf("plan: the median of %s achieved over predicted is %.2f (%.2f to %.2f), aimed at is 1 within %.0f %%", name, quantile(x, 0.5), low, high, 100*plannedMedian))
	}
	if s := within(x); s < plannedShare-binomial(plannedShare, len(x)) {
		misses = append(misses, fmt.Sprintf("plan: %s of %.0f %% of %d points is within a factor %g of what was predicted, aimed at are %.0f %%", name, 100*s, len(x), plannedFactor, 100*plannedShare))
	}
	return misses
}
