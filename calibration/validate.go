package calibration

import (
	"errors"
	"fmt"
	"math"
	"strings"

	"plumbline/quantity"
	"plumbline/uncertainty"
)

// Validate refuses a job that cannot lead to a defensible result. All that is wrong is reported at once.
func (j *Job) Validate() error {
	var errs []error
	add := func(format string, args ...any) { errs = append(errs, fmt.Errorf(format, args...)) }
	if j.Subject == NoSubject {
		add("job %s: say whether the sensitivity asked for is the transducer's or the whole chain's", j.Number)
	}
	for _, t := range []struct {
		role string
		id   Identity
	}{{"device", j.Device.Identity}, {"reference", j.Reference.Identity}} {
		for _, f := range []struct{ name, value string }{{"kind", t.id.Kind}, {"model", t.id.Model}, {"serial", t.id.Serial}} {
			if strings.TrimSpace(f.value) == "" {
				add("%s: %s is missing: identity is mandatory", t.role, f.name)
			}
		}
	}
	if !(j.Device.Nominal > 0) {
		add("device %s: nominal sensitivity %g, allowed are positive values", j.Device.Serial, j.Device.Nominal)
	}
	if !(j.Device.ReferenceFrequency > 0) {
		add("device %s: reference frequency %g Hz, allowed are positive values", j.Device.Serial, j.Device.ReferenceFrequency)
	}
	errs = append(errs, j.validateReference()...)
	errs = append(errs, j.validateHistory()...)
	errs = append(errs, j.validateProcedure()...)
	errs = append(errs, j.validatePoints()...)
	errs = append(errs, j.validateSettling()...)
	errs = append(errs, j.validateRepeats()...)
	errs = append(errs, j.validateTogether()...)
	errs = append(errs, j.validateUnits()...)
	return errors.Join(errs...)
}

// validateReference checks the certificate's table and its validity on the days of the measurements: the performance date counts, never a clock.
func (j *Job) validateReference() (errs []error) {
	r := j.Reference
	for i, p := range r.Table {
		where := fmt.Sprintf("reference %s, certificate %s, row %d", r.Serial, r.Certificate.Number, i+1)
		if !(p.Frequency > 0) || !(p.Modulus > 0) || !(p.StdModulus >= 0) || math.IsInf(p.Modulus, 0) || math.IsInf(p.StdModulus, 0) {
			errs = append(errs, fmt.Errorf("%s: frequency %g Hz, modulus %g, relative standard uncertainty %g: allowed are positive finite values", where, p.Frequency, p.Modulus, p.StdModulus))
		}
		if i > 0 && p.Frequency <= r.Table[i-1].Frequency {
			errs = append(errs, fmt.Errorf("%s: frequency %g Hz does not follow %g Hz in ascending order", where, p.Frequency, r.Table[i-1].Frequency))
		}
	}
	if !(r.Correlation >= 0 && r.Correlation <= 1) {
		errs = append(errs, fmt.Errorf("reference %s: correlation over frequency %g, allowed 0 to 1", r.Serial, r.Correlation))
	}
	c := r.Certificate
	if c.Date.IsZero() || c.Number == "" || c.Laboratory == "" {
		errs = append(errs, fmt.Errorf("reference %s: its certificate needs number, issuing laboratory and date", r.Serial))
	}
	if j.Performed.IsZero() {
		return append(errs, fmt.Errorf("job %s: the date of performance is missing", j.Number))
	}
	before, after := j.OutsideValidity()
	if strings.TrimSpace(j.ValidityOverride) != "" || !before && !after {
		return errs
	}
	const day = "2006-01-02"
	hint := "refused unless a named person gives a reason in [override]"
	if before {
		errs = append(errs, fmt.Errorf("reference %s: calibrated on %s, after the measurements began on %s (certificate %s): %s", r.Serial, c.Date.Format(day), j.Performed.Format(day), c.Number, hint))
	}
	if after {
		errs = append(errs, fmt.Errorf("reference %s: certificate %s was valid until %s, the measurements lasted until %s: %s", r.Serial, c.Number, c.ValidUntil.Format(day), j.lastDay().Format(day), hint))
	}
	return errs
}

// OutsideValidity reports whether measurements began before the date of the reference's certificate, and whether they lasted beyond its validity. The days
// of the measurements count, never a clock.
func (j Job) OutsideValidity() (before, after bool) {
	c := j.Reference.Certificate
	return j.Performed.Before(c.Date), !c.ValidUntil.IsZero() && j.lastDay().After(c.ValidUntil)
}

// validateProcedure refuses a procedure that leaves out a number.
func (j *Job) validateProcedure() (errs []error) {
	p := j.Procedure
	need := func(ok bool, name string, value any, allowed string) {
		if !ok {
			errs = append(errs, fmt.Errorf("procedure %q: %s is %v, allowed %s", p.Name, name, value, allowed))
		}
	}
	need(p.Method != "", "method", `""`, "a standard or a description")
	need(p.Probability > 0.5 && p.Probability < 1, "coverage probability", p.Probability, "between 50 % and 100 %")
	need(p.Trials >= 10000, "number of Monte Carlo trials", p.Trials, "10 000 or more")
	need(p.Digits >= 0 && p.Digits <= 2, "number of digits that shall be stable", p.Digits, "1 or 2, or 0 for exactly the stated number of trials")
	need(p.Digits == 0 || p.Trials >= uncertainty.LeastTrials, "largest number of Monte Carlo trials", p.Trials, fmt.Sprintf("%d or more where digits shall be stable", uncertainty.LeastTrials))
	need(p.Digits == 0 || p.Probability <= uncertainty.LargestStop, "coverage probability", p.Probability, fmt.Sprintf("up to %g where digits shall be stable", uncertainty.LargestStop))
	need(p.Harmonics >= 1, "number of harmonics", p.Harmonics, "1 or more")
	need(p.Drift >= 0 && p.Drift <= 6, "drift order", p.Drift, "0 to 6")
	need(p.Mains >= 0, "mains frequency", p.Mains, "0 Hz (none) or more")
	need(p.UsableBand > 0 && p.UsableBand < 0.5, "usable band", p.UsableBand, "a fraction of the sampling rate between 0 and 0.5")
	need(p.LeastPeriods > 0, "least number of periods", p.LeastPeriods, "above 0")
	need(p.FrequencyRange[1] > p.FrequencyRange[0], "range of frequency", p.FrequencyRange, "two frequencies, lower first")
	need(p.LevelRange[1] > p.LevelRange[0], "range of level", p.LevelRange, "two levels, lower first")
	for _, key := range InfluenceKeys() {
		if _, ok := p.Influence(key); !ok {
			errs = append(errs, fmt.Errorf("procedure %q says nothing of influence %q: state its size, or not_applicable with the reason", p.Name, key))
		}
	}
	return errs
}

func (j *Job) validatePoints() (errs []error) {
	if len(j.Points) == 0 {
		errs = append(errs, fmt.Errorf("job %s has no points", j.Number))
	}
	recorded, read := 0, 0
	for _, p := range j.Points {
		if !(p.Frequency > 0) || math.IsInf(p.Frequency, 0) {
			errs = append(errs, fmt.Errorf("%s: frequency %g Hz, allowed are positive values", p.Label, p.Frequency))
		}
		if p.Exchanged != nil && (p.Recording == nil || p.Exchanged.ID != "" && p.Exchanged.ID == p.Recording.ID) {
			errs = append(errs, fmt.Errorf("%s: recording %s, made with the channels exchanged, needs another one made without beside it", p.Label, p.Exchanged.Name))
		}
		switch {
		case p.Recording != nil && len(p.Readings) > 0:
			errs = append(errs, fmt.Errorf("%s has a recording and readings, allowed is one of them", p.Label))
		case p.Recording != nil:
			recorded++
		case len(p.Readings) > 0:
			read++
		default:
			errs = append(errs, fmt.Errorf("%s has neither recording nor readings", p.Label))
		}
	}
	if recorded > 0 && read > 0 {
		errs = append(errs, fmt.Errorf("job %s mixes recordings (%d points) and values read off a display (%d points): their references differ, make two jobs", j.Number, recorded, read))
	}
	return errs
}

// validateUnits checks that transducers, gains and recorder fit together dimensionally.
func (j *Job) validateUnits() (errs []error) {
	if len(j.Points) == 0 || j.Points[0].Recording == nil || j.Reference.StatesLevel {
		if j.Reference.Unit.Dim != (quantity.Dimension{}) {
			errs = append(errs, fmt.Errorf("reference %s: values are read off its display, so its certificate states the factor true to displayed (unit 1), found %s", j.Reference.Serial, j.Reference.Unit.Symbol))
		}
		if !j.Reference.StatesLevel {
			return errs
		}
	}
	check := func(role string, t Transducer, c Chain, throughChain bool) {
		d := t.Unit.Dim
		d.Metre++ // times the input quantity gives the output
		d.Second -= int8(derivative(t))
		if throughChain {
			for _, s := range c.Stages {
				d = add(d, s.GainUnit.Dim)
			}
		}
		if d != voltDimension {
			errs = append(errs, fmt.Errorf("%s %s: sensitivity in %s and the gains of its channel (%s) do not lead to volts at the recorder", role, t.Serial, t.Unit.Symbol, c.gainUnits()))
		}
	}
	if !j.Reference.StatesLevel {
		check("reference", j.Reference.Transducer, j.ReferenceChain, true)
	}
	check("device", j.Device.Transducer, j.DeviceChain, j.Subject != OfChain)
	return errs
}

func (c Chain) gainUnits() string {
	var units []string
	for _, s := range c.Stages {
		units = append(units, s.GainUnit.Symbol)
	}
	if len(units) == 0 {
		return "none"
	}
	return strings.Join(units, ", ")
}

func add(a, b quantity.Dimension) quantity.Dimension {
	return quantity.Dimension{Metre: a.Metre + b.Metre, Kilogram: a.Kilogram + b.Kilogram, Second: a.Second + b.Second, Ampere: a.Ampere + b.Ampere, Kelvin: a.Kelvin + b.Kelvin}
}
