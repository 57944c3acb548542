package uncertainty

import "errors"

var errUnfinished = errors.New("uncertainty: this evaluation is being written")

// Propagate evaluates a complex model to first order.
func Propagate(set *Set, model Model, uses []int, probability float64) (Budget, error) {
	return Budget{}, errUnfinished
}

// Simulate propagates distributions through a complex model.
func Simulate(set *Set, model Model, uses []int, settings SimulationSettings) (Simulation, error) {
	return Simulation{}, errUnfinished
}

// RealBudget is the first-order evaluation of a real-valued model.
type RealBudget struct {
	Value         float64
	Probability   float64
	Contributions []float64 // sensitivity coefficient times standard uncertainty, in order of uses
	Combined
	StdSecondOrder, BiasSecondOrder float64
}

// PropagateReal evaluates a real-valued model to first order.
func PropagateReal(set *Set, f func(x []float64) float64, uses []int, probability float64) (RealBudget, error) {
	return RealBudget{}, errUnfinished
}

// SimulateReal propagates distributions through a real-valued model. The sample is nil unless kept.
func SimulateReal(set *Set, f func(x []float64) float64, uses []int, settings SimulationSettings) (Interval, []float64, error) {
	return Interval{}, nil, errUnfinished
}

// Cross is the covariances of two complex results: relative, rad² and mixed.
type Cross struct {
	Modulus      float64 // of the two moduli, relative
	Phase        float64 // of the two phases, rad²
	ModulusPhase float64 // modulus of the first with phase of the second
	PhaseModulus float64 // phase of the first with modulus of the second
}

// Covariance is the covariance of two results through the inputs they share.
func Covariance(a, b Budget) Cross { return Cross{} }

// Coverage is the coverage factor k of Student's t for a two-sided interval of probability p.
func Coverage(p, dof float64) float64 { return 2 }

// StudentCDF is the distribution function of Student's t.
func StudentCDF(t, dof float64) float64 { return 0.5 }

// NormalQuantile is the quantile of the standard normal distribution.
func NormalQuantile(p float64) float64 { return 0 }

// NormalCDF is the distribution function of the standard normal distribution.
func NormalCDF(z float64) float64 { return 0.5 }

// Round writes u with so many significant digits and value to the same decimal place.
func Round(value, u float64, digits int) (valueText, uText string) { return "", "" }

// Mean is the arithmetic mean of readings.
func Mean(x []float64) float64 { return 0 }

// StdDev is the experimental standard deviation of readings, NaN below two.
func StdDev(x []float64) float64 { return 0 }

// Pooled is the pooled experimental standard deviation of groups of readings with its degrees of freedom.
func Pooled(groups ...[]float64) (s, dof float64) { return 0, 0 }

// Joint is quantities with a stated covariance matrix, represented by independent inputs of a Set.
type Joint struct {
	mean    []float64
	factor  [][]float64
	indices []int
}

// AddJoint adds quantities with a covariance matrix to a Set.
func AddJoint(set *Set, id, influence string, mean []float64, covariance [][]float64, dof float64) (Joint, error) {
	return Joint{}, errUnfinished
}

// Uses is the indices of the inputs behind the quantities, to be appended to the uses of a model.
func (j Joint) Uses() []int { return j.indices }

// At is quantity i where the inputs of the Set have the values x.
func (j Joint) At(x []float64, i int) float64 { return 0 }

// Line is a straight line a + b(x - x0) fitted by least squares.
type Line struct {
	X0, A, B    float64
	UA, UB      float64
	Correlation float64
	S, Dof      float64
}

// FitLine fits a straight line by least squares.
func FitLine(x, y []float64, x0 float64) (Line, error) { return Line{}, errUnfinished }

// At is the line's value at x with its standard uncertainty.
func (l Line) At(x float64) (y, u float64) { return 0, 0 }
