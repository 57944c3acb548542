package history

import (
	"errors"
	"fmt"
	"math"
	"time"

	"plumbline/uncertainty"
)

// Comparison is the change from one calibration to the next.
type Comparison struct {
	Before, After Result
	Change        float64 // of the modulus, relative to Before
	U             float64 // expanded uncertainty of Change
	Correlation   float64 // of both results, from what they share
	En            float64 // Change over U
	Agree         bool    // |En| is at most 1: the certificates explain the change
	Remark        string  // what the number rests on, where something is not known
}

// Successive compares every calibration with the one before: En = (S₂ - S₁)/√(U₁² + U₂² - 2rU₁U₂), all relative, with U = k u of the certificates and
// r = c₁c₂/(u₁u₂) where both share the reference's certificate, c the common parts. What is shared cancels: without r the change would look
// smaller against its uncertainty than it is. Where a split is not known r is 0 and Remark says what that means. A change beyond U says that the sensor, its mounting
// or one of the calibrations changed, not which.
func Successive(s Series) ([]Comparison, error) {
	if err := s.Check(); err != nil {
		return nil, err
	}
	r := s.ordered()
	var all []Comparison
	for i := 1; i < len(r); i++ {
		all = append(all, compare(r[i-1], r[i]))
	}
	return all, nil
}

func compare(a, b Result) Comparison {
	c := Comparison{Before: a, After: b, Change: b.Modulus/a.Modulus - 1, Correlation: covariance(a, b) / (a.Std * b.Std)}
	u, v := a.K*a.Std, b.K*b.Std*b.Modulus/a.Modulus
	c.En = uncertainty.En(c.Change, v, 0, u, c.Correlation)
	c.U = math.Sqrt(u*u + v*v - 2*c.Correlation*u*v)
	c.Agree = uncertainty.Satisfactory(c.En)
	if !a.split() || !b.split() {
		c.Remark = fmt.Sprintf("certificates %s and %s: what their uncertainties have in common is not known and taken as nothing; if they share a reference, En is larger than stated", a.Certificate, b.Certificate)
	}
	return c
}

// Examination is what a sensor's history says at one frequency, as of a day.
type Examination struct {
	Series       Series
	Line         Line
	Successive   []Comparison
	Today, AtDue Prediction // AtDue is that of the due date, unknown where none is stated
	WithinToday  float64    // probability that the sensor is within its tolerance; NaN where it is not known
	WithinAtDue  float64
}

// Examine evaluates every series of a sensor. The day is an argument; errors are those of all series.
func Examine(sensor Sensor, set Settings, today time.Time) ([]Examination, error) {
	var all []Examination
	var errs []error
	for _, s := range sensor.At {
		line, err := Fit(s, set)
		if err != nil {
			errs = append(errs, err)
			continue
		}
		e := Examination{Series: s, Line: line, Today: line.Predict(today)}
		for i := 1; i < len(line.Results); i++ {
			e.Successive = append(e.Successive, compare(line.Results[i-1], line.Results[i]))
		}
		if sensor.Due.IsZero() {
			nan := math.NaN()
			e.AtDue = Prediction{Modulus: nan, Std: nan, U: nan, Low: nan, High: nan, Probability: set.Probability, Unknown: "no due date is stated"}
		} else {
			e.AtDue = line.Predict(sensor.Due)
		}
		e.WithinToday, e.WithinAtDue = e.Today.Within(s.Tolerance), e.AtDue.Within(s.Tolerance)
		all = append(all, e)
	}
	return all, errors.Join(errs...)
}
