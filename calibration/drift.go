package calibration

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"time"

	"plumbline/uncertainty"
)

// HistoryPoint is the reference's sensitivity at one frequency as an earlier calibration found it.
type HistoryPoint struct {
	Date       time.Time // before that of the certificate in use
	Frequency  float64   // Hz
	Modulus    float64   // coherent SI, or the factor the certificate in use states
	StdModulus float64   // U/k, relative
}

const (
	leastCalibrations = 3      // of a drift line, the certificate in use among them: with two, nothing tells how far to trust it
	driftReach        = 2      // an octave: the drift at one frequency stands for frequencies up to this factor away
	year              = 365.25 // days
	remarkScatter     = 2      // scatter about the drift line over the calibrations' own standard uncertainty that is worth a remark
)

// driftLine is the straight line through the reference's calibrations at one frequency.
type driftLine struct {
	frequency float64 // Hz, of the calibrations
	n         int     // calibrations, the certificate in use among them
	first     time.Time
	line      uncertainty.Line // ln of modulus over that of the certificate in use, against years since its date
	stated    float64          // root mean square of the calibrations' standard uncertainties, relative
}

// after is the change of the line in t years from the date of the certificate in use, and the standard uncertainty of the line at their end, the larger
// the farther it is extrapolated (GUM H.3). The latter holds the scatter of the calibrations, so that a reference that changes in steps
// shows though the steps are no line.
func (d driftLine) after(t float64) (change, std float64) {
	_, std = d.line.At(t)
	return d.line.B * t, std
}

// drift fits the line to the calibrations at the frequency nearest to f, within driftReach, that has leastCalibrations of them.
func (r Reference) drift(f float64) (driftLine, error) {
	best := 0
	for _, h := range r.historyFrequencies(f) {
		present, _, err := r.Sensitivity(h)
		if err != nil {
			continue // the certificate in use says nothing there to compare with
		}
		at := slices.DeleteFunc(slices.Clone(r.History), func(p HistoryPoint) bool { return math.Abs(p.Frequency/h-1) > referenceMatch })
		if n := len(at) + 1; n < leastCalibrations {
			best = max(best, n)
			continue
		}
		return r.fitDrift(h, present, at)
	}
	return driftLine{}, fmt.Errorf("reference %s: %d calibrations within a factor of %d of %.4g Hz (the certificate in use among them), its drift line needs %d: add earlier ones to its history, or state the drift in bands",
		r.Serial, best, driftReach, f, leastCalibrations)
}

// historyFrequencies are the frequencies of the history within driftReach of f, the nearest first.
func (r Reference) historyFrequencies(f float64) []float64 {
	var all []float64
	for _, p := range r.History {
		if away := math.Abs(math.Log(p.Frequency / f)); away <= math.Log(driftReach)+edge && !slices.Contains(all, p.Frequency) {
			all = append(all, p.Frequency)
		}
	}
	slices.SortFunc(all, func(a, b float64) int {
		return cmp.Or(cmp.Compare(math.Abs(math.Log(a/f)), math.Abs(math.Log(b/f))), cmp.Compare(a, b))
	})
	return all
}

// fitDrift fits the line to calibrations at frequency h, where the certificate in use states the modulus present.
func (r Reference) fitDrift(h, present float64, at []HistoryPoint) (driftLine, error) {
	slices.SortStableFunc(at, func(a, b HistoryPoint) int { return a.Date.Compare(b.Date) })
	ip, err := r.interpolate(h)
	if err != nil {
		return driftLine{}, err
	}
	u := max(r.Table[ip.lo].StdModulus, r.Table[ip.hi].StdModulus)
	x, y, squares := []float64{0}, []float64{0}, u*u
	for _, p := range at {
		x = append(x, p.Date.Sub(r.Certificate.Date).Hours()/24/year)
		y = append(y, math.Log(p.Modulus/present))
		squares += p.StdModulus * p.StdModulus
	}
	line, err := uncertainty.FitLine(x, y, 0)
	if err != nil {
		return driftLine{}, fmt.Errorf("reference %s: calibrations at %g Hz: %w", r.Serial, h, err)
	}
	return driftLine{frequency: h, n: len(x), first: at[0].Date, line: line, stated: math.Sqrt(squares / float64(len(x)))}, nil
}

// addDrift adds the change of the reference since its calibration: from the procedure's bands, or from the reference's own calibrations. Then it is two
// inputs of value 0, whose squares add: the change of the drift line, which is not corrected, and the uncertainty of the line, of n-2 degrees
// of freedom. One input of both would give the change the wide tails of the few degrees of freedom that only the scatter has.
func addDrift(b *builder) error {
	in, ok, err := b.require("drift")
	if err != nil || !ok {
		return err
	}
	if !in.FromHistory {
		return stated(in.Key, shared)(b)
	}
	d, err := b.job.Reference.drift(b.point.Frequency)
	if err != nil {
		return err
	}
	name, t := nameOf(in.Key), b.job.lastDay().Sub(b.job.Reference.Certificate.Date).Hours()/24/year
	change, std := d.after(t)
	id := fmt.Sprintf("drift.history.%g Hz", d.frequency) // points that rest on the same calibrations share the inputs
	b.effect(name, id+".change", Band{Modulus: math.Abs(change), Phase: math.NaN()}, normal, math.Inf(1))
	b.effect(name, id+".line", Band{Modulus: std, Phase: math.NaN()}, func(s float64) uncertainty.Distribution { return typeA(s, d.line.Dof) }, d.line.Dof)
	b.point.remark("reference-drift", "drift of reference %s from its %d calibrations at %g Hz since %s: %+.2g %% a year; %+.2g %% from the certificate to %s, the line known to %.2g %% (standard uncertainty); not corrected",
		b.job.Reference.Serial, d.n, d.frequency, d.first.Format(time.DateOnly), 100*d.line.B, 100*change, b.job.lastDay().Format(time.DateOnly), 100*std)
	if d.line.S > remarkScatter*d.stated {
		b.point.remark("reference-unsteady", "the calibrations of reference %s at %g Hz scatter about their drift line by %.2g %%, more than their standard uncertainty of %.2g %% explains: it may have changed in steps",
			b.job.Reference.Serial, d.frequency, 100*d.line.S, 100*d.stated)
	}
	return b.addDriftOfPhase(in)
}

func normal(sigma float64) uncertainty.Distribution { return uncertainty.Normal{Sigma: sigma} }

// addDriftOfPhase adds the drift of the phase, of which a history says nothing: the procedure's bands state it as a half-width.
func (b *builder) addDriftOfPhase(in Influence) error {
	if !b.point.HasPhase {
		return nil
	}
	band, err := b.band(in)
	if err != nil {
		return err
	}
	if !(band.Phase >= 0) {
		return fmt.Errorf("procedure %q: drift from the history has no phase: state its half-width in bands", b.job.Procedure.Name)
	}
	b.effect(nameOf(in.Key), in.Key, Band{Phase: band.Phase}, rectangular, math.Inf(1))
	return nil
}

// lastDay is the last day of the measurements.
func (j Job) lastDay() time.Time {
	if j.Until.After(j.Performed) {
		return j.Until
	}
	return j.Performed
}

// validateHistory checks the reference's earlier calibrations.
func (j *Job) validateHistory() (errs []error) {
	r := j.Reference
	for i, p := range r.History {
		where := fmt.Sprintf("reference %s, history, row %d", r.Serial, i+1)
		if !(p.Frequency > 0) || !(p.Modulus > 0) || !(p.StdModulus >= 0) || math.IsInf(p.Frequency, 0) || math.IsInf(p.Modulus, 0) || math.IsInf(p.StdModulus, 0) {
			errs = append(errs, fmt.Errorf("%s: frequency %g Hz, modulus %g, relative standard uncertainty %g: allowed are positive finite values", where, p.Frequency, p.Modulus, p.StdModulus))
		}
		if p.Date.IsZero() || !p.Date.Before(r.Certificate.Date) {
			errs = append(errs, fmt.Errorf("%s: date %s, allowed are days before the certificate in use, %s", where, p.Date.Format(time.DateOnly), r.Certificate.Date.Format(time.DateOnly)))
		}
		same := func(q HistoryPoint) bool {
			return q.Date.Equal(p.Date) && math.Abs(q.Frequency/p.Frequency-1) <= referenceMatch
		}
		if k := slices.IndexFunc(r.History[:i], same); k >= 0 {
			errs = append(errs, fmt.Errorf("%s: %s at %g Hz stands in row %d already", where, p.Date.Format(time.DateOnly), p.Frequency, k+1))
		}
	}
	for _, in := range j.Procedure.Influences {
		if in.FromHistory && in.Key != "drift" {
			errs = append(errs, fmt.Errorf("procedure %q: %q cannot come from the reference's history, only \"drift\" can", j.Procedure.Name, in.Key))
		}
	}
	return errs
}
