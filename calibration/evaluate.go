package calibration

import (
	"errors"
	"math"
	"math/cmplx"

	"plumbline/quantity"
	"plumbline/uncertainty"
)

var voltDimension = quantity.Dimension{Metre: 2, Kilogram: 1, Second: -3, Ampere: -1}

// referenceMatch is how far a point's frequency may be from the device's reference frequency and still be the point at it (nominal against
// exact third octaves differ by up to 0.95 %).
const referenceMatch = 0.01

// Evaluate computes the complex sensitivity with its uncertainty at every point of a job. Workers is the number of goroutines of the
// Monte Carlo evaluation and has no effect on the result. What forbids the whole calibration is an error; what forbids one point is that
// point's Refused.
// Clause: ISO 16063-21:2003 calibration by comparison to a reference transducer
func Evaluate(job Job, workers int) (Result, error) {
	if err := job.Validate(); err != nil {
		return Result{}, err
	}
	res := Result{Job: job, Set: uncertainty.NewSet()}
	all, acquired := make([]Point, len(job.Points)), make([]*acquisition, len(job.Points))
	orders, so := job.mainsOrders(), &run{}
	for i, plan := range job.Points {
		all[i], acquired[i] = job.measure(plan, orders)
		job.judge(&all[i], acquired[i], so)
	}
	job.addHumEvidence(all, acquired)
	points, repeats := res.separate(all, acquired)
	for i := range res.Points {
		res.Points[i].evaluate(&job, res.Set, i, workers)
	}
	res.addDeviations(workers)
	for k := range res.Repeats {
		res.Repeats[k].Point.evaluate(&job, res.Set, 2*len(res.Points)+k, workers)
	}
	res.addRemarks(points, repeats)
	return res, nil
}

// flatten writes a joined error on one line.
func flatten(err error) string {
	var joined interface{ Unwrap() []error }
	if errors.As(err, &joined) {
		text := ""
		for i, e := range joined.Unwrap() {
			if i > 0 {
				text += "; "
			}
			text += e.Error()
		}
		return text
	}
	return err.Error()
}

// hasPhase says whether the reference's certificate gives the phase at every frequency.
func (r Reference) hasPhase() bool {
	for _, p := range r.Table {
		if math.IsNaN(p.Phase) || math.IsNaN(p.StdPhase) {
			return false
		}
	}
	return len(r.Table) > 0
}

// level computes the level of the reference's input quantity, expressed in the device's quantity of motion.
func (j *Job) level(p *Point) error {
	s, _, err := j.Reference.Sensitivity(p.Frequency)
	if err != nil {
		return err
	}
	omega := 2 * math.Pi * p.Frequency
	order := derivative(j.Device.Transducer) - derivative(j.Reference.Transducer)
	p.Level = p.Evidence.AmplitudeReference / (s * j.ReferenceChain.gainAt(p.Frequency)) * math.Pow(omega, float64(order))
	return nil
}

// gainAt is the modulus of the chain's transfer at f.
func (c Chain) gainAt(f float64) float64 {
	g := 1.0
	for _, s := range c.Stages {
		g *= s.Gain
		for _, corner := range s.Corners {
			g *= modulus(firstOrder(f, corner.Frequency, corner.LowPass))
		}
		if len(s.Table) > 0 {
			g *= s.transferAt(f).Modulus
		}
	}
	return g
}

func modulus(z complex128) float64 { return cmplx.Abs(z) }

// evaluate builds the point's model, propagates it to first order and by Monte Carlo, and chooses what is reported.
func (p *Point) evaluate(job *Job, set *uncertainty.Set, n, workers int) {
	if p.Refused != "" {
		return
	}
	b := &builder{job: job, set: set, point: p, n: n}
	if err := b.build(); err != nil {
		p.Refused = flatten(err)
		return
	}
	p.Model, p.Uses = b.model(), b.uses
	budget, err := uncertainty.Propagate(set, p.Model, p.Uses, job.Procedure.Probability)
	if err != nil {
		p.Refused = flatten(err)
		return
	}
	sim, err := uncertainty.Simulate(set, p.Model, p.Uses, job.simulation(n, workers))
	if err != nil {
		p.Refused = flatten(err)
		return
	}
	p.Budget, p.Simulation, p.Sensitivity = budget, sim, budget.Value
	p.Reported = report(set, budget, sim, p.HasPhase)
	p.remarkUnstable("value", sim, job.Procedure)
	p.applyScope(job.Scope)
}

// remarkUnstable says that the most trials allowed did not make the digits stable that the procedure asks for.
func (p *Point) remarkUnstable(of string, sim uncertainty.Simulation, procedure Procedure) {
	if procedure.Digits > 0 && !sim.Stable {
		p.remark("trials-not-stable", "Monte Carlo evaluation of the %s at %g Hz: %d significant digits of u and U are not stable after %d trials, the most procedure %q allows",
			of, p.StatedFrequency(), procedure.Digits, sim.Trials, procedure.Name)
	}
}

// simulation is the settings of the Monte Carlo evaluation number n of the job: seeds are consecutive from the job's seed.
func (j *Job) simulation(n, workers int) uncertainty.SimulationSettings {
	return uncertainty.SimulationSettings{Trials: j.Procedure.Trials, Digits: j.Procedure.Digits, Seed: j.Seed + uint64(n), Probability: j.Procedure.Probability, Workers: workers}
}

// ReferencePoint is the index of the point at the device's reference frequency, -1 where there is none with a value.
func (r *Result) ReferencePoint() int {
	best, distance := -1, referenceMatch
	for i, p := range r.Points {
		if d := math.Abs(p.StatedFrequency()/r.Job.Device.ReferenceFrequency - 1); p.Refused == "" && d <= distance {
			if best < 0 || d < distance {
				best, distance = i, d
			}
		}
	}
	return best
}

// addDeviations computes every point's deviation from the value at the reference frequency as one model over the inputs of both points, so
// that what they share cancels.
func (r *Result) addDeviations(workers int) {
	if r.ReferencePoint() < 0 {
		return
	}
	for i := range r.Points {
		p := &r.Points[i]
		if p.Refused != "" {
			continue
		}
		model, uses := r.deviationModel(i)
		budget, err := uncertainty.Propagate(r.Set, model, uses, r.Job.Procedure.Probability)
		if err != nil {
			p.remark("no-deviation", "the deviation from the value at the reference frequency could not be evaluated: %v", err)
			continue
		}
		if i == r.ReferencePoint() { // against itself: nothing to simulate
			p.Deviation = &Deviation{Value: modulus(budget.Value) - 1, Budget: budget, Reported: report(r.Set, budget, uncertainty.Simulation{}, false)}
			continue
		}
		sim, err := uncertainty.Simulate(r.Set, model, uses, r.Job.simulation(len(r.Points)+i, workers))
		if err != nil {
			p.remark("no-deviation", "the deviation from the value at the reference frequency could not be evaluated: %v", err)
			continue
		}
		p.Deviation = &Deviation{Value: modulus(budget.Value) - 1, Budget: budget, Simulation: sim, Reported: report(r.Set, budget, sim, false)}
		p.remarkUnstable("deviation from the value at the reference frequency", sim, r.Job.Procedure)
	}
}

func union(a, b []int) []int {
	seen := map[int]bool{}
	var all []int
	for _, list := range [][]int{a, b} {
		for _, i := range list {
			if !seen[i] {
				seen[i] = true
				all = append(all, i)
			}
		}
	}
	return all
}

// ModulusSample is the Monte Carlo sample behind point i, relative to its value (or behind its deviation: relative to the ratio of the two
// moduli), drawn again with the seed that was reported, as many trials as were used. Every block of trials has its own stream and a simulation that stops by
// itself uses whole blocks, so these are the very trials of the result. Statements about several points are models over the inputs of all of them and
// are drawn as one.
func (r *Result) ModulusSample(i int, deviation bool, workers int) ([]float64, error) {
	p := r.Points[i]
	model, uses, n, drawn := p.Model, p.Uses, i, p.Simulation.Trials
	if deviation {
		model, uses = r.deviationModel(i)
		n, drawn = n+len(r.Points), 0
		if p.Deviation != nil {
			drawn = p.Deviation.Simulation.Trials
		}
	}
	settings := r.Job.simulation(n, workers)
	settings.Keep = true
	if drawn > 0 {
		settings.Trials, settings.Digits = drawn, 0
	}
	s, err := uncertainty.Simulate(r.Set, model, uses, settings)
	return s.ModulusSample, err
}

// deviationModel is the model of the ratio of point i to the point at the reference frequency.
func (r *Result) deviationModel(i int) (uncertainty.Model, []int) {
	p, base := r.Points[i], r.Points[r.ReferencePoint()]
	return func(x []float64) complex128 { return p.Model(x) / base.Model(x) }, union(base.Uses, p.Uses)
}
