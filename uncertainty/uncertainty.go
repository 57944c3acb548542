// Package uncertainty evaluates a measurement model: inputs and their distributions, first-order propagation, budget, coverage, Monte Carlo, consensus of results.
package uncertainty

import "math/rand/v2"

// Distribution is the zero-mean distribution of an input about its value. Its dynamic type must be comparable.
type Distribution interface {
	Std() float64                // standard uncertainty assigned in first-order propagation
	Sample(r *rand.Rand) float64 // one draw about zero
	String() string              // its name, for example "rectangular"
}

// Input is one input quantity of a measurement model (VIM 2.50), here with dispersion.
type Input struct {
	ID        string       // unique in a Set; the same source of uncertainty has the same ID wherever it acts
	Influence string       // the influence quantity it belongs to: the row of the budget
	Value     float64      // estimate
	Dist      Distribution // dispersion about Value
	Dof       float64      // degrees of freedom of its standard uncertainty, +Inf when known exactly
	Joint     string       // not empty: inputs of the same Joint come from the same readings and share their degrees of freedom
}

// Model is the measurement model (VIM 2.48): x holds the value of every input of a Set, in the order of their indices.
// It must not keep or write x, and must be safe to call from several goroutines.
type Model func(x []float64) complex128

// Set is the inputs of all results of one job. Results that share an input are correlated through it.
type Set struct {
	inputs []Input
	index  map[string]int
}

// Contribution is the effect of one input on a complex result: half the difference of the model at Value ± Std, divided by the result.
// Its real part is the relative contribution to the modulus, its imaginary part the contribution to the phase in rad.
type Contribution struct {
	Input int // index in the Set
	C     complex128
}

// Row is one influence quantity in the budget: its inputs combined.
type Row struct {
	Influence     string
	Distribution  string  // of its dominant input
	Modulus       float64 // standard uncertainty, relative
	Phase         float64 // standard uncertainty, rad
	DofModulus    float64
	DofPhase      float64
	ShareModulus  float64 // of the variance of the modulus, 0..1
	SharePhase    float64
	Contributions []Contribution
}

// Combined is the combined uncertainty of one component of a result.
type Combined struct {
	Std      float64 // combined standard uncertainty: relative for a modulus, rad for a phase
	Dof      float64 // effective degrees of freedom (Welch-Satterthwaite), not truncated
	K        float64 // coverage factor for the stated probability
	Expanded float64 // K * Std
}

// Budget is the uncertainty budget of one complex result.
type Budget struct {
	Value       complex128
	Probability float64
	Rows        []Row
	Modulus     Combined
	Phase       Combined
	Correlation float64 // between ln modulus and phase
	SecondOrder SecondOrder
}

// SecondOrder is what first order leaves out: the terms of next higher order in the variance, and the shift of the expectation.
// It is for reporting and for the choice of evaluation; Budget.Modulus and Budget.Phase do not contain it.
type SecondOrder struct {
	StdModulus, StdPhase   float64 // combined standard uncertainty with the terms of second order, relative and rad
	BiasModulus, BiasPhase float64 // expectation minus the value at the estimates, relative and rad
	Terms                  []Term  // terms above 1 % of the combined standard uncertainty, in order of the inputs
}

// Term is one term of second order: of one input (I == J) or of the product of two.
type Term struct {
	I, J           int // indices in the Set
	Modulus, Phase float64
}

// Interval summarises the Monte Carlo sample of one component. Symmetric means equal tail probabilities.
type Interval struct {
	Mean, Std                 float64 // NaN where an input has no finite mean or variance (Student's t with too few degrees of freedom)
	Low, High                 float64 // probabilistically symmetric coverage interval
	ShortestLow, ShortestHigh float64
	Half                      float64 // half width of the interval about the value at the estimates (modulus 1, phase 0) that holds the coverage probability
}

// Simulation is the result of propagating distributions (JCGM 101). Modulus is relative to the first-order value (1 = equal), Phase in rad about it.
type Simulation struct {
	Trials        int // drawn and used
	Seed          uint64
	Probability   float64
	Stable        bool    // the digits asked for are stable (SimulationSettings.Digits)
	Correlation   float64 // of modulus and phase; NaN where an input has no finite variance
	Modulus       Interval
	Phase         Interval
	ModulusSample []float64 // in order of the trials; nil unless kept
	PhaseSample   []float64
}

// SimulationSettings say how to propagate distributions. Only Seed, Workers, Keep and Digits may be zero.
type SimulationSettings struct {
	Trials      int     // at least 100/(1-Probability), so that the tails hold something; JCGM 101 7.2.2 suggests 10000/(1-Probability)
	Digits      int     // significant digits of u and U that shall be stable, 1 or 2: trials are drawn until they are, Trials at most; 0: exactly Trials
	Seed        uint64  // reported with the result
	Probability float64 // of the coverage intervals
	Workers     int     // goroutines, without effect on the result; 0: one
	Keep        bool    // return the sample
}
