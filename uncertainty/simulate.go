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
// that the result does not depend on the number of workers. The model sees every input of the Set, the unused ones at their values. It is
// an error if a setting or an input is unusable, or a trial is not finite.
//
// Clause: JCGM 101 7.3
// Clause: JCGM 101 7.4
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
	modulus, phase := make([]float64, settings.Trials), make([]float64, settings.Trials)
	run(set, uses, settings, func(x []float64, trial int) {
		q := model(x) * inverse
		modulus[trial] = math.Sqrt(real(q)*real(q) + imag(q)*imag(q))
		phase[trial] = argument(q)
	})
	s := Simulation{Trials: settings.Trials, Seed: settings.Seed, Probability: settings.Probability}
	if settings.Keep {
		s.ModulusSample, s.PhaseSample = modulus, phase
	}
	existing := momentsOf(set, uses)
	var errs [2]error
	both(settings.Workers > 1,
		func() { s.Modulus, errs[0] = summarise(modulus, settings, existing) },
		func() { s.Phase, errs[1] = summarise(phase, settings, existing) })
	for _, err := range errs {
		if err != nil {
			return Simulation{}, err
		}
	}
	return s, nil
}

// SimulateReal propagates distributions through a real-valued model, as Simulate does but in the unit of the output. The sample, in order of the
// trials, is nil unless kept.
//
// Clause: JCGM 101 7.3
// Clause: JCGM 101 7.4
func SimulateReal(set *Set, f RealModel, uses []int, settings SimulationSettings) (Interval, []float64, error) {
	uses, err := checkSimulation(set, uses, settings)
	if err != nil {
		return Interval{}, nil, err
	}
	sample := make([]float64, settings.Trials)
	run(set, uses, settings, func(x []float64, trial int) { sample[trial] = f(x) })
	in, err := summarise(sample, settings, momentsOf(set, uses))
	if err != nil || !settings.Keep {
		return in, nil, err
	}
	return in, sample, nil
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
	return uses, nil
}

// run draws all trials block by block and hands each to evaluate. Blocks are spread over the workers; evaluate must touch nothing but its trial.
func run(set *Set, uses []int, s SimulationSettings, evaluate func(x []float64, trial int)) {
	blocks := (s.Trials + block - 1) / block
	var next atomic.Int64
	work := func() {
		d := newDrawing(set, uses)
		for {
			b := int(next.Add(1)) - 1
			if b >= blocks {
				return
			}
			d.block(s.Seed, b, min(block, s.Trials-b*block), evaluate)
		}
	}
	if s.Workers <= 1 {
		work()
		return
	}
	var group sync.WaitGroup
	for range min(s.Workers, blocks) {
		group.Go(work)
	}
	group.Wait()
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

// block draws and evaluates the trials of one block. Chunks are drawn whole, so that a trial does not depend on how many follow.
func (d *drawing) block(seed uint64, b, trials int, evaluate func(x []float64, trial int)) {
	s := newSource(seed, b)
	for done := 0; done < trials; done += chunk {
		for k, i := range d.uses {
			d.inputs[k].fill(s, d.rows, i, d.width, d.set.inputs[i].Value)
		}
		first := b*block + done
		for t := range min(chunk, trials-done) {
			evaluate(d.rows[t*d.width:(t+1)*d.width:(t+1)*d.width], first+t)
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
