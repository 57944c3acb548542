package uncertainty

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Group is the readings of one group in short: of one mounting, of one day.
type Group struct {
	N    int     // readings
	Mean float64 // of them
	S    float64 // their experimental standard deviation; not used where N is 1
}

// AnalysisOfVariance is that of readings in groups (one way, random effects): x = mean + effect of the group + residual.
type AnalysisOfVariance struct {
	Groups, Readings           int
	Mean                       float64 // of all readings
	MeanOfMeans                float64 // of the group means
	SquaresBetween, DofBetween float64 // sums of squares with degrees of freedom
	SquaresWithin, DofWithin   float64
	F                          float64 // ratio of the mean squares
	P                          float64 // probability of an F as large as this or larger without effects of the groups
	StdMeans                   float64 // experimental standard deviation of the group means
	sizes                      []float64
}

// Estimate is an estimated standard deviation with its degrees of freedom.
type Estimate struct{ Std, Dof float64 }

// OneWay analyses readings in groups, as many in each or not. It is an error to give fewer than two groups, an empty one, a reading that is not finite, or no
// group of two or more.
//
// Clause: GUM H.5.2
func OneWay(groups ...[]float64) (AnalysisOfVariance, error) {
	parts := make([]groupSums, len(groups))
	for i, g := range groups {
		if len(g) == 0 {
			return AnalysisOfVariance{}, fmt.Errorf("analysis of variance: group %d holds no reading", i+1)
		}
		p := groupSums{n: len(g)}
		for _, x := range g { // about the first reading of all, so that a large common part costs no digits
			p.shift += x - groups[0][0]
		}
		p.shift /= float64(len(g))
		if len(g) > 1 {
			p.squares = squares(g)
		}
		parts[i] = p
	}
	if len(groups) == 0 {
		return analyse(0, nil)
	}
	return analyse(groups[0][0], parts)
}

// OneWayOf is OneWay for groups of which only number, mean and standard deviation are at hand.
func OneWayOf(groups []Group) (AnalysisOfVariance, error) {
	parts := make([]groupSums, len(groups))
	for i, g := range groups {
		parts[i] = groupSums{n: g.N, shift: g.Mean - groups[0].Mean}
		switch {
		case g.N < 1:
			return AnalysisOfVariance{}, fmt.Errorf("analysis of variance: group %d holds %d readings, want at least 1", i+1, g.N)
		case g.N > 1 && !(g.S >= 0):
			return AnalysisOfVariance{}, fmt.Errorf("analysis of variance: group %d has a standard deviation of %g, want 0 or more", i+1, g.S)
		case g.N > 1:
			parts[i].squares = g.S * g.S * float64(g.N-1)
		}
	}
	if len(groups) == 0 {
		return analyse(0, nil)
	}
	return analyse(groups[0].Mean, parts)
}

// groupSums is a group's number of readings, the difference of its mean from a common origin, and its sum of squared deviations.
type groupSums struct {
	n              int
	shift, squares float64
}

func analyse(origin float64, groups []groupSums) (AnalysisOfVariance, error) {
	a := AnalysisOfVariance{Groups: len(groups)}
	var shifts []float64
	var shift float64
	for i, g := range groups {
		if !finite(origin+g.shift) || !finite(g.squares) {
			return AnalysisOfVariance{}, fmt.Errorf("analysis of variance: group %d has mean %g and sum of squares %g, want finite numbers", i+1, origin+g.shift, g.squares)
		}
		a.Readings += g.n
		a.SquaresWithin += g.squares
		a.sizes = append(a.sizes, float64(g.n))
		shifts = append(shifts, g.shift)
		shift += float64(g.n) * g.shift
	}
	a.DofBetween, a.DofWithin = float64(a.Groups-1), float64(a.Readings-a.Groups)
	if a.Groups < 2 || a.DofWithin < 1 {
		return AnalysisOfVariance{}, fmt.Errorf("analysis of variance: %d groups of %d readings in all, want at least 2 groups and one of more than 1 reading", a.Groups, a.Readings)
	}
	shift /= float64(a.Readings)
	a.Mean = origin + shift
	var rest float64
	for i, n := range a.sizes {
		d := shifts[i] - shift
		a.SquaresBetween += n * d * d
		rest += n * d // zero but for rounding of the mean
	}
	a.SquaresBetween = math.Max(0, a.SquaresBetween-rest*rest/float64(a.Readings))
	a.MeanOfMeans, a.StdMeans = origin+Mean(shifts), StdDev(shifts)
	a.F = a.meanBetween() / a.meanWithin()
	switch {
	case math.IsNaN(a.F): // no scatter at all
		a.P = 1
	case math.IsInf(a.F, 1):
		a.P = 0
	default:
		a.P = distuv.F{D1: a.DofBetween, D2: a.DofWithin}.Survival(a.F)
	}
	return a, nil
}

func (a AnalysisOfVariance) meanBetween() float64 { return a.SquaresBetween / a.DofBetween }
func (a AnalysisOfVariance) meanWithin() float64  { return a.SquaresWithin / a.DofWithin }

// Size is the effective number of readings in a group: (N - Σn²/N)/(J-1), the number itself where all groups have as many.
func (a AnalysisOfVariance) Size() float64 {
	var squares float64
	for _, n := range a.sizes {
		squares += n * n
	}
	total := float64(a.Readings)
	return (total - squares/total) / a.DofBetween
}

// Within is the standard deviation of single readings within a group: the repeatability.
func (a AnalysisOfVariance) Within() Estimate {
	return Estimate{math.Sqrt(a.meanWithin()), a.DofWithin}
}

// Between is the standard deviation of the groups' effects: √((MS_between - MS_within)/n). Where the estimate of the variance is negative it is 0 and has no
// degrees of freedom: nothing shows that the groups differ.
//
// Clause: GUM H.5.2
func (a AnalysisOfVariance) Between() Estimate {
	n := a.Size()
	return satterthwaite([2]float64{a.meanBetween() / n, a.DofBetween}, [2]float64{-a.meanWithin() / n, a.DofWithin})
}

// Next is the standard deviation of the mean of so many readings in one further group, about the mean of all groups: repeatability and reproducibility of a
// mounting together. It is what the result of a single mounting has to carry.
func (a AnalysisOfVariance) Next(readings int) Estimate {
	n := a.Size()
	if a.meanBetween() < a.meanWithin() { // no effect of the groups to be seen
		return Estimate{math.Sqrt(a.meanWithin() / float64(readings)), a.DofWithin}
	}
	return satterthwaite([2]float64{a.meanBetween() / n, a.DofBetween}, [2]float64{a.meanWithin() * (1/float64(readings) - 1/n), a.DofWithin})
}

// satterthwaite is the root of a sum of mean squares with its degrees of freedom; each part is a mean square times its coefficient, and its dof.
func satterthwaite(parts ...[2]float64) Estimate {
	var sum, fourth float64
	for _, p := range parts {
		sum += p[0]
		fourth += p[0] * p[0] / p[1]
	}
	if !(sum > 0) {
		return Estimate{}
	}
	return Estimate{math.Sqrt(sum), sum * sum / fourth}
}

// StdOfMean is the standard deviation of MeanOfMeans: that of the group means over √J, with J-1 degrees of freedom. It holds both components as they are, for
// groups of equal and of different sizes.
//
// Clause: GUM H.5.2
func (a AnalysisOfVariance) StdOfMean() Estimate {
	return Estimate{a.StdMeans / math.Sqrt(float64(a.Groups)), a.DofBetween}
}

// Input is the input for the mean of the groups, each counting once.
func (a AnalysisOfVariance) Input(id, influence string) Input {
	e := a.StdOfMean()
	return TypeA(id, influence, a.MeanOfMeans, e.Std, e.Dof)
}

// PooledOf pools standard deviations that are stated with their degrees of freedom, as a laboratory's record of earlier calibrations holds them. It is an error
// if one is unusable.
//
// Clause: GUM 4.2.4
func PooledOf(estimates ...Estimate) (Estimate, error) {
	var sum, dof float64
	for i, e := range estimates {
		if !(e.Std >= 0) || math.IsInf(e.Std, 1) || !(e.Dof > 0) || math.IsInf(e.Dof, 1) {
			return Estimate{}, fmt.Errorf("pooled standard deviation: estimate %d is %g with %g degrees of freedom, want a finite number not below 0 with a finite number above 0", i+1, e.Std, e.Dof)
		}
		sum += e.Std * e.Std * e.Dof
		dof += e.Dof
	}
	if dof == 0 {
		return Estimate{}, fmt.Errorf("pooled standard deviation of nothing, want at least one estimate")
	}
	return Estimate{math.Sqrt(sum / dof), dof}, nil
}
