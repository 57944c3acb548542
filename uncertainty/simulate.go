package uncertainty

import (
	"fmt"
	"math"
	"sync"
	"sync/atomic"
)

const (
	block = 1 << 14 // trials drawn from one random stream: the unit of work, whatever the number of workers
	chunk = 1 << 7  // trials drawn and evaluated together, small enough for the fastest cache
)

// Simulate propagates distributions through a complex model. Every block of 16384 trials has its own PCG stream (Seed, number of the block), so
// that the result does not depend on the number of workers. The model sees every input of the Set, the unused ones at their values. Unless the
// sample is kept, memory holds its tails alone. It is an error if a setting or an input is unusable, or a trial is not finite.
//
// Clause: JCGM 101 7.3
// Clause: JCGM 101 7.4
// Clause: JCGM 102 7.6
func Simulate(set *Set, model Model, uses []int, settings SimulationSettings) (Simulation, error) {
	uses, err := checkSimulation(set, uses, settings)
	if err != nil {
		return Simulation{}, err
	}
	value := model(set.Values())
	if value == 0 || !finite(real(value)) || !finite(imag(value)) {
		return Simulation{}, fmt.Errorf("model at the estimates is %g, want a finite value other than zero", value)
	}
	inverse := 1 / value
	r, err := simulate(&trials{set: set, uses: uses, settings: settings, columns: 2, centre: [2]float64{1, 0}, evaluate: func(x []float64) (float64, float64) {
		q := model(x) * inverse
		return math.Sqrt(real(q)*real(q) + imag(q)*imag(q)), argument(q)
	}})
	if err != nil {
		return Simulation{}, err
	}
	return Simulation{
		Trials: r.trials, Seed: settings.Seed, Probability: settings.Probability, Stable: r.stable, Correlation: r.correlation,
		Modulus: r.intervals[0], Phase: r.intervals[1], ModulusSample: r.sample[0], PhaseSample: r.sample[1],
	}, nil
}

// SimulateReal propagates distributions through a real-valued model, as Simulate does but in the unit of the output. The sample, in order of the
// trials, is nil unless kept. It is an error, too, if the digits asked for do not become stable.
//
// Clause: JCGM 101 7.3
// Clause: JCGM 101 7.4
func SimulateReal(set *Set, f RealModel, uses []int, settings SimulationSettings) (Interval, []float64, error) {
	uses, err := checkSimulation(set, uses, settings)
	if err != nil {
		return Interval{}, nil, err
	}
	r, err := simulate(&trials{set: set, uses: uses, settings: settings, columns: 1, centre: [2]float64{f(set.Values()), 0},
		evaluate: func(x []float64) (float64, float64) { return f(x), 0 }})
	if err == nil && settings.Digits > 0 && !r.stable {
		err = fmt.Errorf("simulation of %d trials (seed %d): %d digits are not stable yet", r.trials, settings.Seed, settings.Digits)
	}
	if err != nil {
		return Interval{}, nil, err
	}
	return r.intervals[0], r.sample[0], nil
}

// checkSimulation returns the used inputs without repetition, or what makes the simulation impossible.
func checkSimulation(set *Set, uses []int, s SimulationSettings) ([]int, error) {
	uses, err := checkUses(set, uses, s.Probability)
	if err != nil {
		return nil, err
	}
	if least := int(math.Ceil(100 / (1 - s.Probability))); s.Trials < least {
		return nil, fmt.Errorf("simulation of %d trials, want at least %d for a coverage probability of %g", s.Trials, least, s.Probability)
	}
	if s.Workers < 0 {
		return nil, fmt.Errorf("simulation by %d workers, want none stated (0) or more", s.Workers)
	}
	return uses, s.checkDigits()
}

// trials is the propagation of distributions through one model of one or two components.
type trials struct {
	set      *Set
	uses     []int
	settings SimulationSettings
	columns  int
	evaluate func(x []float64) (first, second float64)
	centre   [2]float64 // value at the estimates
	limits   [2]tailLimits
	parts    []part // by block
	sample   [2][]float64
}

// outcome is what the trials of one model come to.
type outcome struct {
	trials      int
	stable      bool
	intervals   [2]Interval
	correlation float64
	sample      [2][]float64
}

// simulate draws all blocks and summarises them. The first block says which trials can be ends of an interval; should it have said so wrongly,
// which is all but impossible, everything is drawn again and kept.
func simulate(g *trials) (outcome, error) {
	for _, limits := range []func(part, int) tailLimits{g.tailsOf, everything} {
		r, complete, err := g.all(limits)
		if complete || err != nil {
			return r, err
		}
	}
	panic("uncertainty: the whole sample lacks a tail")
}

// all draws the blocks once. It is not complete where the tails kept are too short.
func (g *trials) all(limits func(part, int) tailLimits) (r outcome, complete bool, err error) {
	n := (g.settings.Trials + block - 1) / block
	g.parts = make([]part, n)
	if g.settings.Keep {
		for k := range g.columns {
			g.sample[k] = make([]float64, g.settings.Trials)
		}
	}
	g.limits = [2]tailLimits{everything(part{}, 0), everything(part{}, 0)}
	g.worker()(0)
	for k := range g.columns {
		g.limits[k] = limits(g.parts[0], k)
		g.parts[0].columns[k].narrow(g.limits[k])
	}
	if err := g.parts[0].err; err != nil {
		return r, true, err
	}
	used, stable := n, false
	if g.settings.Digits > 0 {
		used, stable = g.untilStable()
	} else {
		g.spread(1, n)
	}
	g.parts = g.parts[:used]
	r, complete, err = g.combine()
	r.stable = stable
	return r, complete, err
}

// spread hands the blocks from..to-1 to the workers. A block writes to nothing but its own part and its own trials of the sample.
func (g *trials) spread(from, to int) {
	if g.settings.Workers <= 1 {
		work := g.worker()
		for b := from; b < to; b++ {
			work(b)
		}
		return
	}
	var next atomic.Int64
	next.Store(int64(from))
	var group sync.WaitGroup
	for range min(g.settings.Workers, to-from) {
		group.Go(func() {
			work := g.worker()
			for b := int(next.Add(1)) - 1; b < to; b = int(next.Add(1)) - 1 {
				work(b)
			}
		})
	}
	group.Wait()
}

// worker has buffers of its own; the function it returns draws, evaluates and summarises one block.
func (g *trials) worker() func(b int) {
	d := newDrawing(g.set, g.uses)
	var buffers [2][]float64
	for k := range g.columns {
		buffers[k] = make([]float64, block)
	}
	return func(b int) {
		n := min(block, g.settings.Trials-b*block)
		columns := buffers
		for k := range g.columns {
			columns[k] = columns[k][:n]
		}
		d.block(g.settings.Seed, b, g.evaluate, columns)
		g.parts[b] = g.summarise(b, columns)
		for k := range g.columns {
			if g.settings.Keep {
				copy(g.sample[k][b*block:], columns[k])
			}
		}
	}
}

// both runs two functions, at the same time if wanted.
func both(together bool, f, g func()) {
	if !together {
		f()
		g()
		return
	}
	var group sync.WaitGroup
	group.Go(f)
	g()
	group.Wait()
}

// drawing holds one chunk of trials of one worker: rows of all inputs, one row a trial.
type drawing struct {
	set    *Set
	uses   []int
	width  int
	rows   []float64
	inputs []filler
}

func newDrawing(set *Set, uses []int) *drawing {
	d := &drawing{set: set, uses: uses, width: set.Len(), rows: make([]float64, chunk*set.Len())}
	values := set.Values()
	for t := range chunk {
		copy(d.rows[t*d.width:], values)
	}
	for _, i := range uses {
		d.inputs = append(d.inputs, fillerOf(set.inputs[i].Dist))
	}
	return d
}

// block draws and evaluates the trials of one block, as many as the first column holds; the second column is nil where the model has one component.
// Chunks are drawn whole, so that a trial does not depend on how many follow.
func (d *drawing) block(seed uint64, b int, evaluate func(x []float64) (first, second float64), columns [2][]float64) {
	s := newSource(seed, b)
	first, second := columns[0], columns[1]
	for done := 0; done < len(first); done += chunk {
		for k, i := range d.uses {
			d.inputs[k].fill(s, d.rows, i, d.width, d.set.inputs[i].Value)
		}
		for t := range min(chunk, len(first)-done) {
			a, b := evaluate(d.rows[t*d.width : (t+1)*d.width : (t+1)*d.width])
			first[done+t] = a
			if second != nil {
				second[done+t] = b
			}
		}
	}
}

// argument is the phase of q in rad. Near the positive real axis, where all but wild trials lie, the series of the arc tangent is exact to the last digit.
func argument(q complex128) float64 {
	if math.Abs(imag(q)) < 0.03*real(q) {
		t := imag(q) / real(q)
		s := t * t
		return t * (1 - s*(1.0/3-s*(1.0/5-s*(1.0/7-s*(1.0/9)))))
	}
	return math.Atan2(imag(q), real(q))
}

func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }
