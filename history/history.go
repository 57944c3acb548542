// Package history says what the successive calibrations of a sensor tell: drift, agreement, conformity to come, intervals, control charts, the fleet beside it.
package history

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"plumbline/conformity"
)

// year is the length of a year in days, by which rates are stated.
const year = 365.25

// Sensor is one transducer with its results at the frequencies chosen.
type Sensor struct {
	Serial string
	Model  string    // siblings are sensors of the same model; empty: none
	Due    time.Time // of the next calibration; zero: not stated
	At     []Series  // one for each frequency
}

// Series is the results of one sensor at one frequency.
type Series struct {
	Serial    string
	Frequency float64           // Hz
	Tolerance conformity.Limits // coherent SI; a side without a limit is -Inf or +Inf
	Results   []Result          // in any order
}

// Result is one calibration's result at the frequency of its series, as found.
type Result struct {
	Certificate string // its number: a reader finds the calibration by it
	Date        time.Time
	Modulus     float64 // coherent SI
	Std         float64 // standard uncertainty, relative
	K           float64 // coverage factor of the certificate: U = K·Std
	StdCommon   float64 // part of Std that results of the same Shares have in common, relative; 0: none; NaN: the split is not known
	Shares      string  // where the common part comes from: the number of the reference's certificate
}

// split says whether the split of the uncertainty is known.
func (r Result) split() bool { return !math.IsNaN(r.StdCommon) }

// independent is the variance that no other result shares, relative; all of it where the split is not known.
func (r Result) independent() float64 {
	if !r.split() {
		return r.Std * r.Std
	}
	return r.Std*r.Std - r.StdCommon*r.StdCommon
}

// covariance is that of the common parts of two results, relative; of a result with itself the variance of its common part.
func covariance(a, b Result) float64 {
	if !a.split() || !b.split() || a.Shares != b.Shares {
		return 0
	}
	return a.StdCommon * b.StdCommon
}

// name is how messages call the series.
func (s Series) name() string { return fmt.Sprintf("sensor %s at %g Hz", s.Serial, s.Frequency) }

// ordered is the results by date, those of one day by certificate number.
func (s Series) ordered() []Result {
	r := slices.Clone(s.Results)
	slices.SortStableFunc(r, func(a, b Result) int {
		return cmp.Or(a.Date.Compare(b.Date), strings.Compare(a.Certificate, b.Certificate))
	})
	return r
}

// Check is what keeps the series from being evaluated: every fault of every result, named by its certificate.
func (s Series) Check() error {
	var errs []error
	if !positive(s.Frequency) {
		errs = append(errs, fmt.Errorf("%s: the frequency must be above 0", s.name()))
	}
	if !(s.Tolerance.Lower < s.Tolerance.Upper) {
		errs = append(errs, fmt.Errorf("%s: tolerance from %g to %g, the lower limit must be below the upper one (infinite where there is none)", s.name(), s.Tolerance.Lower, s.Tolerance.Upper))
	}
	if len(s.Results) == 0 {
		errs = append(errs, fmt.Errorf("%s: no results", s.name()))
	}
	seen := map[string]bool{}
	for i, r := range s.Results {
		if err := r.check(); err != nil {
			errs = append(errs, fmt.Errorf("%s, result %d, certificate %q: %w", s.name(), i+1, r.Certificate, err))
		}
		if seen[r.Certificate] {
			errs = append(errs, fmt.Errorf("%s, result %d: certificate %q stands there twice", s.name(), i+1, r.Certificate))
		}
		seen[r.Certificate] = true
	}
	return errors.Join(errs...)
}

func (r Result) check() error {
	switch {
	case r.Certificate == "":
		return errors.New("no certificate number")
	case r.Date.IsZero():
		return errors.New("no date")
	case !positive(r.Modulus):
		return fmt.Errorf("modulus %g, allowed are positive numbers", r.Modulus)
	case !positive(r.Std):
		return fmt.Errorf("relative standard uncertainty %g, allowed are positive numbers", r.Std)
	case !positive(r.K):
		return fmt.Errorf("coverage factor %g, allowed are positive numbers", r.K)
	case r.split() && !(r.StdCommon >= 0 && r.StdCommon < r.Std):
		return fmt.Errorf("common part %g of the relative standard uncertainty %g, allowed are 0 to less than the whole, or NaN where it is not known", r.StdCommon, r.Std)
	case r.StdCommon > 0 && r.Shares == "":
		return errors.New("a common part of the uncertainty, but no certificate of a reference it comes from")
	}
	return nil
}

func positive(x float64) bool { return x > 0 && !math.IsInf(x, 1) }

// years is the time from one date to another in years.
func years(from, to time.Time) float64 { return days(from, to) / year }

// days is the time from one date to another in days.
func days(from, to time.Time) float64 { return to.Sub(from).Hours() / 24 }

// after is the date so many days later, to the second.
func after(from time.Time, days float64) time.Time {
	return from.Add(time.Duration(math.Round(days*86400)) * time.Second)
}
