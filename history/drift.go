package history

import (
	"errors"
	"fmt"
	"math"
	"time"

	"plumbline/uncertainty"
)

// Basis is what the uncertainty of a drift line rests on. The zero value is none and is refused.
type Basis uint8

// The bases. The common part of the results' uncertainties comes from their statements under every one of them.
const (
	NoBasis Basis = iota
	Stated        // the uncertainties the certificates state: right where nothing else moves the results, valid from two calibrations on
	Scatter       // the scatter of the results about the line, with n-2 degrees of freedom (GUM H.3): right whatever moves them, needs three, and is wide with few
	Larger        // the stated ones, or the scatter with n-2 degrees of freedom where that is larger
)

// Bases is all bases.
func Bases() []Basis { return []Basis{Stated, Scatter, Larger} }

// String is the name of the basis.
func (b Basis) String() string {
	switch b {
	case Stated:
		return "stated uncertainties"
	case Scatter:
		return "scatter"
	case Larger:
		return "larger of stated uncertainties and scatter"
	}
	return "none"
}

// Settings say how a series is evaluated. Nothing has a default.
type Settings struct {
	Basis        Basis
	Probability  float64     // of coverage intervals, for example 0.95
	Significance float64     // probability of calling a drift significant where there is none, for example 0.05
	Assumed      *Assumption // what is known of the drift of such sensors, used while a sensor has one calibration; nil: nothing
}

// Assumption is a drift about zero that such sensors are known to have.
type Assumption struct {
	Std    float64 // standard deviation of the yearly relative change
	Source string  // where it comes from
}

func (s Settings) check() error {
	var errs []error
	if s.Basis == NoBasis || s.Basis > Larger {
		errs = append(errs, fmt.Errorf("drift line: no basis for its uncertainty, allowed are: %s, %s, %s", Stated, Scatter, Larger))
	}
	if !(s.Probability > 0 && s.Probability < 1) {
		errs = append(errs, fmt.Errorf("drift line: coverage probability %g, allowed are numbers between 0 and 1", s.Probability))
	}
	if !(s.Significance > 0 && s.Significance < 1) {
		errs = append(errs, fmt.Errorf("drift line: significance %g, allowed are numbers between 0 and 1", s.Significance))
	}
	if a := s.Assumed; a != nil && (!positive(a.Std) || a.Source == "") {
		errs = append(errs, fmt.Errorf("drift line: assumed drift of %g a year from %q, want a positive number and its source", a.Std, a.Source))
	}
	return errors.Join(errs...)
}

// Line is the drift line of a series: ln of the modulus against time, so that rates are relative. Its rate in time and its value at any date have distributions.
type Line struct {
	Results     []Result  // by date
	Basis       Basis     // as asked for
	Origin      time.Time // of the last calibration, which Modulus refers to
	Modulus     float64   // of the line at Origin, coherent SI
	Rate        float64   // relative change a year; NaN where the results tell none
	Std         float64   // standard uncertainty of Rate; NaN where it is not known
	U           float64   // half the width of the interval of Settings.Probability of Rate
	Dof         float64   // degrees of freedom of the part of Std that comes from scatter, +Inf where none does
	P           float64   // probability of a rate as far from zero as this or farther without any drift; NaN where it is not known
	Significant bool      // P is below Settings.Significance
	Detectable  float64   // the smallest rate, either way, that these calibrations would have shown as significant
	Factor      float64   // scatter about the line over what the stated uncertainties explain (Birge ratio); NaN below three results
	PScatter    float64   // probability of a scatter as large as this or larger where the stated uncertainties explain it; NaN below three results
	Remarks     []string  // what these calibrations can and cannot say
	Unknown     string    // why nothing can be said about other days than those of the calibrations; empty where it can

	set     Settings
	fit     uncertainty.CorrelatedLine
	scale   float64 // factor on the independent parts that the basis takes
	scatter bool    // the independent parts come from scatter
	excess  float64 // variance of the sensor's own changes that no line follows, relative
}

// Fit is the drift line of a series: a straight line by generalised least squares through ln of the moduli, weighted with the independent parts of their
// uncertainties and correlated through the common ones. Where the split of an uncertainty is not known, the largest value that any correlation gives is taken:
// (Σ|w|u)² for those results. One calibration has no line, two have one that nothing tests; Remarks says so. An error is one of the settings or of the series.
//
// Clause: GUM H.3.2
func Fit(s Series, set Settings) (Line, error) {
	if err := errors.Join(set.check(), s.Check()); err != nil {
		return Line{}, err
	}
	nan := math.NaN()
	r := s.ordered()
	last := r[len(r)-1]
	l := Line{Results: r, Basis: set.Basis, Origin: last.Date, Modulus: last.Modulus, Rate: nan, Std: nan, U: nan, Dof: math.Inf(1), P: nan, Detectable: nan,
		Factor: nan, PScatter: nan, set: set, scale: 1}
	switch {
	case len(r) == 1:
		l.single()
		return l, nil
	case !r[0].Date.Before(last.Date):
		l.Unknown = fmt.Sprintf("all %d calibrations are of one day, %s: they tell no drift", len(r), last.Date.Format(time.DateOnly))
		l.remark("%s", l.Unknown)
		return l, nil
	}
	if err := l.line(); err != nil {
		return Line{}, fmt.Errorf("%s: %w", s.name(), err)
	}
	return l, nil
}

func (l *Line) remark(format string, arguments ...any) {
	l.Remarks = append(l.Remarks, fmt.Sprintf(format, arguments...))
}

// single says what one calibration can: its value on its day.
func (l *Line) single() {
	l.remark("one calibration: it tells the sensitivity on its day and nothing of drift")
	if a := l.set.Assumed; a != nil {
		l.remark("later days rest on an assumed drift of 0 ± %.2g %% a year (standard deviation; %s)", 100*a.Std, a.Source)
		return
	}
	l.Unknown = "one calibration and no assumed drift: nothing is known of other days"
}

// line fits the line, and takes the scatter where the basis asks for it.
func (l *Line) line() error {
	n := len(l.Results)
	if err := l.fitScaled(1); err != nil {
		return err
	}
	if n > 2 {
		l.PScatter = l.fit.Probability()
		squared := l.birge(float64(n - 2))
		l.Factor = math.Sqrt(squared)
		if l.Basis == Scatter || l.Basis == Larger && squared > 1 {
			l.scale, l.scatter, l.Dof = squared, true, float64(n-2)
			l.excess = math.Max(0, squared-1) * l.meanIndependent()
		}
		if err := l.fitScaled(l.scale); err != nil { // birge has fitted with other scales
			return err
		}
	}
	l.Modulus = l.Results[0].Modulus * math.Exp(l.fit.A)
	l.Rate = l.fit.B
	if l.Basis == Scatter && n == 2 {
		l.Unknown = "two calibrations: nothing tells how far they scatter about a line, for which three are needed"
		l.remark("two calibrations: the line goes through both, and the basis %q needs three", l.Basis)
		return nil
	}
	rate := l.spreadOf(l.fit.SlopeWeights())
	l.Std, l.U = rate.std(), rate.half(l.set.Probability)
	l.P = 2 * rate.cdf(-math.Abs(l.Rate))
	l.Significant = l.P < l.set.Significance
	l.Detectable = rate.half(1 - l.set.Significance)
	l.say()
	return nil
}

// fitScaled fits the line with the independent variances times a factor. Time runs in years from Origin.
func (l *Line) fitScaled(factor float64) (err error) {
	n := len(l.Results)
	x, y, v := make([]float64, n), make([]float64, n), make([][]float64, n)
	for i, r := range l.Results {
		x[i], y[i] = years(l.Origin, r.Date), math.Log(r.Modulus/l.Results[0].Modulus)
		v[i] = make([]float64, n)
		for k, q := range l.Results {
			v[i][k] = covariance(r, q)
		}
		v[i][i] += factor * r.independent()
	}
	l.fit, err = uncertainty.FitCorrelatedLine(x, y, v, 0)
	return err
}

// Scales between which the scatter is looked for: variances over those the stated uncertainties explain.
const (
	leastScale   = 1e-4
	largestScale = 1e8
)

// birge is the factor on the independent variances for which chi-squared is its degrees of freedom: the Birge ratio squared or, where calibrations with several
// references are among the results, what Mandel and Paule's condition makes of it. It is not below leastScale.
func (l *Line) birge(dof float64) float64 {
	f := func(ln float64) float64 {
		if err := l.fitScaled(math.Exp(ln)); err != nil {
			return math.NaN()
		}
		return l.fit.ChiSquare - dof
	}
	low, high := math.Log(leastScale), math.Log(largestScale)
	switch {
	case !(f(low) > 0):
		return leastScale
	case !(f(high) < 0):
		return largestScale
	}
	return math.Exp(root(f, low, high, 1e-11))
}

// meanIndependent is the harmonic mean of the independent variances, the one that counts in a weighted fit.
func (l *Line) meanIndependent() float64 {
	var sum float64
	for _, r := range l.Results {
		sum += 1 / r.independent()
	}
	return float64(len(l.Results)) / sum
}

// spreadOf is the distribution of a sum of the results with weights w: independent parts in quadrature, common ones of one reference linearly first, those
// whose split is not known linearly all together.
func (l *Line) spreadOf(w []float64) spread {
	var independent, common, unknown float64
	for i, r := range l.Results {
		if !r.split() {
			unknown += math.Abs(w[i]) * r.Std
		}
		if r.split() || l.scatter {
			independent += w[i] * w[i] * r.independent() * l.scale
		}
		for k, q := range l.Results {
			common += w[i] * w[k] * covariance(r, q)
		}
	}
	common = math.Max(common, 0) // rounding, where it cancels
	s := spread{normal: math.Sqrt(common + unknown*unknown + independent), dof: math.Inf(1)}
	if l.scatter {
		s = spread{normal: math.Sqrt(common + unknown*unknown), scale: math.Sqrt(independent), dof: l.Dof}
	}
	return s
}

// say puts into words how far the number of calibrations carries.
func (l *Line) say() {
	n := len(l.Results)
	unsplit := 0
	for _, r := range l.Results {
		if !r.split() {
			unsplit++
		}
	}
	switch {
	case n == 2:
		l.remark("two calibrations: the line goes through both and nothing tests whether it is one; its uncertainty is what the certificates state")
	case n == 3 && l.scatter:
		l.remark("three calibrations: one degree of freedom, so that Student's t makes every interval very wide")
	case n == 3:
		l.remark("three calibrations: the test of the scatter has one degree of freedom and misses all but gross changes")
	}
	if unsplit > 0 {
		l.remark("%d of %d certificates do not tell which part of the uncertainty they have in common with others: the largest uncertainty that any correlation gives is stated", unsplit, n)
	}
	if l.PScatter < l.set.Significance {
		l.remark("the results scatter about the line %.2g times as far as their independent uncertainties explain (probability %.2g): steps, a mounting that differs, or an uncertainty stated too small", l.Factor, l.PScatter)
		if l.Basis == Stated {
			l.remark("the basis %q does not hold for this series: intervals and probabilities are too favourable", l.Basis)
		}
	}
}
