package validation

import (
	"context"
	"fmt"
	"io"
	"math"
	"math/cmplx"
	"sync"

	"plumbline/bench"
	"plumbline/internal/simulator"
	"plumbline/plan"
	"plumbline/quantity"
	"plumbline/recording"
	"plumbline/steady"
)

// The set of ten points of the study, Hz, and what is wanted of each.
var tenPoints = []float64{97, 53, 31, 17, 9.9, 5.1, 3.1, 1.9, 1.1, 0.7}

const (
	liveModulus  = 1e-3                // half width at 95 %
	livePhase    = 0.1 * math.Pi / 180 // rad
	liveChange   = 5.0                 // s from one point to the next on a bench with people, shown apart
	liveTimes    = 0.15                // share by which times may be off
	fewLive      = 20                  // runs of a case at least
	liveFalse    = 0.02                // false acceptances at most
	liveTogether = 0.25
)

// liveCase is one bench and one belief about what is slow.
type liveCase struct {
	name      string
	reference string // of the scene
	rule      steady.Rule
	tau       float64 // blocks, as the judge is told
	warming   float64 // s, time constant of warming on a bench just switched on, told to the judge as it is; 0: warm for hours
	together  float64 // Hz: points below are measured in one multisine; 0 none
	atMost    float64 // s, bench time of the set; 0 no target
}

func liveCases() []liveCase {
	const quiet, noisy = "1 V/g", "100 mV/g"
	return []liveCase{
		{"1 V/g reference, wary, 2.5 blocks believed", quiet, steady.Wary, 4, 0, 0, 131},
		{"1 V/g reference, wary, 5 blocks believed", quiet, steady.Wary, 5, 0, 0, 190},
		{"100 mV/g reference, wary, 2.5 blocks believed", noisy, steady.Wary, 4, 0, 0, 234},
		{"100 mV/g reference, wary, 5 blocks believed", noisy, steady.Wary, 5, 0, 0, 280},
		{"1 V/g reference, averaged, 2.5 blocks believed", quiet, steady.Averaged, 5, 0, 0, 0},
		{"1 V/g reference, averaged, 5 blocks believed", quiet, steady.Averaged, 10, 0, 0, 0},
		{"100 mV/g reference, averaged, 2.5 blocks believed", noisy, steady.Averaged, 5, 0, 0, 0},
		{"100 mV/g reference, averaged, 5 blocks believed", noisy, steady.Averaged, 10, 0, 0, 0},
		{"1 V/g reference, wary, the four slowest points in a multisine", quiet, steady.Wary, 4, 0, 4, 0},
		{"1 V/g reference, just switched on, wary, 15 s believed", quiet, steady.Wary, 4, 15, 0, 0},
	}
}

// liveLevel is the level in m/s² peak: 10 mm peak to peak, at most 0.3 g.
func liveLevel(f float64) float64 {
	w := 2 * math.Pi * f
	return min(5e-3*w*w, 0.3*quantity.StandardGravity)
}

// liveLimit is what the exciter's stroke of 25 mm and the device allow.
func liveLimit(f float64) float64 {
	w := 2 * math.Pi * f
	return min(12.5e-3*w*w, 0.5*quantity.StandardGravity)
}

// steps are the points of a case, one by one or the slow ones together.
func (c liveCase) steps() (steps []bench.Step) {
	judge := steady.Settings{Rule: c.rule, Modulus: liveModulus, Phase: livePhase, TauMax: c.tau}
	var slow bench.Step
	for i, f := range tenPoints {
		line := bench.Line{Frequency: f, Level: liveLevel(f)}
		if f < c.together {
			slow.Points, slow.Lines = append(slow.Points, i), append(slow.Lines, line)
			continue
		}
		told := judge
		told.TauMax = max(c.tau, c.warming/plan.BlockLength(f, 50))
		steps = append(steps, bench.Step{Points: []int{i}, Label: fmt.Sprintf("%g Hz", f), Lines: []bench.Line{line}, Judge: told, Block: plan.BlockLength(f, 50), Longest: 600})
	}
	if len(slow.Lines) > 0 { // odd multiples of 0.1 Hz: blocks of half the common period; the stroke holds all of them at once
		slow.Block, slow.Label, slow.Longest, slow.Judge = 5, "together", 600, judge
		for i := range slow.Lines {
			l := &slow.Lines[i]
			l.Level = liveTogether * liveLimit(l.Frequency) / float64(len(slow.Lines))
			l.Phase = math.Pi * float64(i*i) / float64(len(slow.Lines))
		}
		steps = append(steps, slow)
	}
	return steps
}

// nowhere is an archive that keeps nothing, and an operator who skips what is not steady.
type nowhere struct{}

func (nowhere) Create(bench.Step, int, recording.Info) (bench.Sink, error) { return nowhere{}, nil }
func (nowhere) Note(bench.Entry) error                                     { return nil }
func (nowhere) Write([][]float64) error                                    { return nil }
func (nowhere) Keep(bench.Outcome) (string, error)                         { return "kept", nil }
func (nowhere) Discard(string) error                                       { return nil }
func (nowhere) Decide(context.Context, bench.Question) (bench.Decision, error) {
	return bench.Decision{Choice: bench.Skip}, nil
}

// liveTally is what the runs of a case came to, by line.
type liveTally struct {
	runs      int
	kept      []int
	wrong     []int // |error| above the half width claimed, modulus or phase
	wait      []float64
	bench     float64 // s, whole sets
	failures  int
	reason    string
	eyeKept   []int
	eyeWrong  []int
	eyeWait   []float64
	fixedKept []int
	fixedBad  []int
	fixedWait []float64
}

func newLiveTally(n int) liveTally {
	return liveTally{kept: make([]int, n), wrong: make([]int, n), wait: make([]float64, n), eyeKept: make([]int, n), eyeWrong: make([]int, n), eyeWait: make([]float64, n),
		fixedKept: make([]int, n), fixedBad: make([]int, n), fixedWait: make([]float64, n)}
}

// run is one set on one simulated bench.
func (c liveCase) run(seed uint64, t *liveTally) error {
	setup, err := simulator.Scene{Exciter: "X-12", Reference: c.reference, Site: 1, Warm: c.warming == 0}.Setup()
	if err != nil {
		return err
	}
	live, witness, err := simulator.New(setup, seed)
	if err != nil {
		return err
	}
	steps := c.steps()
	series := make([][]seenBlock, len(steps))
	set := bench.Set{
		Exciter: live, Digitizer: live, Archive: nowhere{}, Operator: nowhere{}, Steps: steps, Harmonics: 5, Drift: 1, Mains: 50,
		Reference: bench.Input{Column: 1, Scale: 1, Sensitivity: witness.Reference, Limit: 9.9},
		Device:    bench.Input{Column: 2, Scale: 1, Sensitivity: witness.Device, Limit: 9.9},
		Limits:    bench.Limits{Drive: 3, Slew: 6, Level: liveLimit},
		Watch: func(e bench.Event) {
			if e.Kind == "block" && len(e.Block.LnRatio) == 1 {
				series[e.Step] = append(series[e.Step], seenBlock{e.Block.LnRatio[0], e.Seconds})
			}
		},
	}
	t.runs++
	report, err := bench.Run(context.Background(), set)
	t.bench += report.Seconds
	if err != nil {
		t.failures++
		t.reason = err.Error()
		return nil
	}
	for _, k := range report.Kept {
		step := steps[k.Step]
		for i, p := range step.Points {
			truth := cmplx.Log(witness.Ratio(step.Lines[i].Frequency))
			a := k.Answers[i]
			t.kept[p]++
			t.wait[p] += k.Seconds
			hit(&t.wrong[p], off(a.LnRatio(), truth, a.Modulus.HalfWidth, a.Phase.HalfWidth))
			if len(step.Points) == 1 {
				t.sideBySide(p, step, series[k.Step], truth)
			}
		}
	}
	return nil
}

// seenBlock is a block as the run told it.
type seenBlock struct {
	ln      complex128
	seconds float64
}

// off reports whether a value is further from the truth than its half widths.
func off(value, truth complex128, modulus, phase float64) bool {
	return math.Abs(real(value-truth)) > modulus || math.Abs(math.Remainder(imag(value-truth), 2*math.Pi)) > phase
}

const (
	eyeReadings = 5   // that lie within twice the half width of each other, and then the last is taken
	fixedCycles = 12  // waited before measuring, at least a second
	fixedBlocks = 5.0 // measured then
)

// sideBySide applies two rules of the trade to the same blocks: by eye (common practice, no source) and a fixed wait.
func (t *liveTally) sideBySide(p int, s bench.Step, blocks []seenBlock, truth complex128) {
	for k := eyeReadings; k <= len(blocks); k++ {
		low, high := math.Inf(1), math.Inf(-1)
		for _, b := range blocks[k-eyeReadings : k] {
			low, high = min(low, real(b.ln)), max(high, real(b.ln))
		}
		if high-low <= 2*liveModulus {
			t.eyeKept[p]++
			t.eyeWait[p] += float64(k) * s.Block
			hit(&t.eyeWrong[p], math.Abs(real(blocks[k-1].ln-truth)) > liveModulus)
			break
		}
	}
	from := int(math.Ceil(max(fixedCycles/s.Lines[0].Frequency, 1) / s.Block))
	if to := from + fixedBlocks; to <= len(blocks) {
		mean := 0.0
		for _, b := range blocks[from:to] {
			mean += real(b.ln) / fixedBlocks
		}
		t.fixedKept[p]++
		t.fixedWait[p] += float64(to) * s.Block
		hit(&t.fixedBad[p], math.Abs(mean-real(truth)) > liveModulus)
	}
}

// live is the study of whole sets on the simulated bench.
func live(s Settings, w io.Writer) (misses []string, err error) {
	runs := s.runs(20, 2000)
	fmt.Fprintf(w, "Sets of ten points, 97 Hz to 0.7 Hz, on the simulated bench whose motion is integrated in time (exciter of 25 mm used to 10 mm, device of 10 V/g; %d runs each, seed %d; a tenth of them where no time is aimed at): "+
		"half widths of %.2g %% and %.2g° at 95 %% asked for. Bench time is the digitizer's, low-level check and approach of every point included; %g s from one point to the next, "+
		"as people need, would come on top and are shown apart. False: further from the truth than the half width claimed, in modulus or phase.\n\n",
		runs, s.Seed, 100*liveModulus, livePhase*180/math.Pi, liveChange)
	var rows, beside [][]string
	for _, c := range liveCases() {
		n := runs
		if c.atMost == 0 && runs > fewLive {
			n = max(fewLive, runs/10)
		}
		total, err := c.many(s, n)
		if err != nil {
			return nil, err
		}
		row, missed := c.summary(total)
		rows, misses = append(rows, row), append(misses, missed...)
		if c.together == 0 {
			beside = append(beside, c.beside(total))
		}
	}
	table(w, []string{"set", "bench time, s", "aimed at, s", "change-over, s", "false, %", "most at one point, %", "not kept"}, rows)
	fmt.Fprintf(w, "The same recordings judged otherwise, modulus alone: *by eye*, the last of %d readings of a block each that lie within twice the half width of each other (common practice, no source); "+
		"*fixed*, %d cycles, at least 1 s, waited and %g blocks averaged. Time: recordings only. Where the judge had kept the point before a rule had decided, the run does not count for the rule.\n\n",
		eyeReadings, fixedCycles, fixedBlocks)
	table(w, []string{"set", "judge, s", "false, %", "by eye, s", "false, %", "worst point, %", "fixed, s", "false, %", "worst point, %"}, beside)
	return misses, nil
}

// many runs a case in parallel; the sums are made in the order of the runs.
func (c liveCase) many(s Settings, runs int) (liveTally, error) {
	workers := max(1, s.Workers)
	all := make([]liveTally, runs)
	errs := make([]error, runs)
	var wg sync.WaitGroup
	for first := range workers {
		wg.Add(1)
		go func() {
			defer wg.Done()
			for i := first; i < runs; i += workers {
				all[i] = newLiveTally(len(tenPoints))
				errs[i] = c.run(s.Seed+uint64(i), &all[i])
			}
		}()
	}
	wg.Wait()
	total := newLiveTally(len(tenPoints))
	for i := range all {
		if errs[i] != nil {
			return total, errs[i]
		}
		total.add(all[i])
	}
	return total, nil
}

func (t *liveTally) add(o liveTally) {
	t.runs, t.failures, t.bench = t.runs+o.runs, t.failures+o.failures, t.bench+o.bench
	if o.reason != "" {
		t.reason = o.reason
	}
	for p := range t.kept {
		t.kept[p], t.wrong[p], t.wait[p] = t.kept[p]+o.kept[p], t.wrong[p]+o.wrong[p], t.wait[p]+o.wait[p]
		t.eyeKept[p], t.eyeWrong[p], t.eyeWait[p] = t.eyeKept[p]+o.eyeKept[p], t.eyeWrong[p]+o.eyeWrong[p], t.eyeWait[p]+o.eyeWait[p]
		t.fixedKept[p], t.fixedBad[p], t.fixedWait[p] = t.fixedKept[p]+o.fixedKept[p], t.fixedBad[p]+o.fixedBad[p], t.fixedWait[p]+o.fixedWait[p]
	}
}

// rates are the share of wrong ones of all that were kept, and the largest share at one point, in %.
func rates(wrong, kept []int) (all, worst float64) {
	w, k := 0, 0
	for p := range kept {
		w, k = w+wrong[p], k+kept[p]
		if kept[p] > 0 {
			worst = max(worst, 100*float64(wrong[p])/float64(kept[p]))
		}
	}
	return 100 * float64(w) / float64(max(1, k)), worst
}

// total is the sum over the points of the mean times.
func totalTime(wait []float64, kept []int) (s float64) {
	for p, n := range kept {
		if n > 0 {
			s += wait[p] / float64(n)
		}
	}
	return s
}

// summary is the row of a case, and what it misses.
func (c liveCase) summary(t liveTally) (row, misses []string) {
	missed := 0
	for _, n := range t.kept {
		missed += t.runs - n
	}
	set := t.bench / float64(t.runs)
	wrong, worst := rates(t.wrong, t.kept)
	aim := ""
	if c.atMost > 0 {
		aim = fmt.Sprintf("%.0f", c.atMost)
	}
	row = []string{c.name, fmt.Sprintf("%.0f", set), aim, fmt.Sprintf("%.0f", liveChange*float64(len(c.steps()))), fmt.Sprintf("%.2f", wrong), fmt.Sprintf("%.1f", worst), fmt.Sprintf("%d of %d", missed, t.runs*len(tenPoints))}
	miss := func(format string, args ...any) {
		misses = append(misses, fmt.Sprintf("live, %s: ", c.name)+fmt.Sprintf(format, args...))
	}
	if t.failures > 0 {
		miss("%d of %d runs ended early, for example: %s", t.failures, t.runs, t.reason)
	}
	if c.atMost > 0 && set > c.atMost*(1+liveTimes) {
		miss("%.0f s, aimed at were %.0f s within %.0f %%", set, c.atMost, 100*liveTimes)
	}
	if slack := 100 * binomial(liveFalse, t.runs*len(tenPoints)); wrong > 100*liveFalse+slack {
		miss("%.2f %% false acceptances, allowed are %.0f %% (±%.2f %%)", wrong, 100*liveFalse, slack)
	}
	return row, misses
}

// beside is the row that compares the rules.
func (c liveCase) beside(t liveTally) []string {
	row := []string{c.name}
	wrong, _ := rates(t.wrong, t.kept)
	row = append(row, fmt.Sprintf("%.0f", totalTime(t.wait, t.kept)), fmt.Sprintf("%.2f", wrong))
	for _, r := range []struct {
		wait        []float64
		wrong, kept []int
	}{{t.eyeWait, t.eyeWrong, t.eyeKept}, {t.fixedWait, t.fixedBad, t.fixedKept}} {
		wrong, worst := rates(r.wrong, r.kept)
		row = append(row, fmt.Sprintf("%.0f", totalTime(r.wait, r.kept)), fmt.Sprintf("%.1f", wrong), fmt.Sprintf("%.0f", worst))
	}
	return row
}
