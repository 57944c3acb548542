// Package plan says, before anything is mounted, which frequencies, levels and durations of a calibration are feasible.
package plan

import (
	"errors"
	"fmt"
	"math"

	"plumbline/calibration"
	"plumbline/quantity"
)

// Request is everything a plan follows from. The job's points are not looked at.
type Request struct {
	Job            calibration.Job
	Exciter        Exciter
	Site           Site
	DeviceNoise    Density   // self-noise of the device in its own quantity of motion, unit/√Hz
	ReferenceNoise Density   // the same of the reference
	RecorderNoise  Density   // V/√Hz, of each channel of the recorder
	Rates          []float64 // sampling rates the recorder offers, ascending
	Wish           Wish
}

// Wish is what is wanted of the set.
type Wish struct {
	Frequencies   []float64       // Hz; the reference frequency is added where it is not among them
	Level         float64         // coherent SI peak of Motion; 0: the highest that UseOfLimit admits
	Motion        quantity.Motion // of Level
	LevelUnit     quantity.Unit   // levels are rounded down to two digits in it
	UseOfLimit    float64         // share of the highest admissible level that is used, 0..1
	TypeA         float64         // largest type A uncertainty wanted, expanded, relative; 0 not stated
	U             float64         // largest full uncertainty wanted, expanded, relative; 0 not stated
	Time          float64         // s for the whole set: then the least uncertainty it allows is planned; 0 none
	Longest       float64         // s, longest time for one point
	MultisineFrom float64         // Hz: the points below it are measured together; 0 none
	LongestPeriod float64         // s, of a multisine
	MoveOffMains  bool            // points on a multiple of the mains frequency are moved to the nearest good one
	Seed          uint64          // of the search for the phases of a multisine
	Workers       int             // goroutines of the Monte Carlo evaluation; no effect on the result
}

// Plan is what is feasible, point by point in the order of measuring.
type Plan struct {
	Request     Request
	Points      []Point // in the order of measuring, without those that are not feasible
	Infeasible  []Point // wishes that cannot be met, with what would make them feasible
	Multisine   *Multisine
	WarmUp      float64 // s, from switching on the supply to the first point
	WarmUpFrom  string  // what it follows from
	Bench       float64 // s, all points with repeats, without change-over and warm-up
	ChangeOver  float64 // s, between points
	Total       float64 // s, with everything
	Distinct    int     // different frequencies that have a value
	Enough      bool    // the procedure's least number of points is met
	WorstU      float64 // largest predicted U
	WorstTypeA  float64 // largest claim of type A, expanded
	MeetsTarget bool    // every point meets what was wanted of it
	Remarks     []calibration.Remark
	Deviations  []calibration.Remark // points outside the method's range
}

// Point is one frequency of a plan. Levels are accelerations in m/s² peak whatever the transducers sense.
type Point struct {
	Frequency    float64 // Hz
	Wanted       float64 // Hz, as it was asked for
	Limits       []Limit // every limit of the level, the lowest first
	Highest      float64 // m/s² peak, highest admissible level
	Binding      string  // the limit that sets it
	Level        float64 // m/s² peak, chosen
	LevelFrom    string  // what set it: "wish", "signal-to-noise", or the binding limit
	Velocity     float64 // m/s peak at Level
	Displacement float64 // m peak at Level
	Noise        Noise
	TauMax       float64 // blocks, as the judge is told
	Block        float64 // s
	Blocks       int     // from the start of the drive
	Settling     float64 // s from the start of the drive that the value does not rest on
	Measuring    float64 // s
	Cycles       float64 // within Measuring
	Bench        float64 // s, Settling and Measuring
	Rate         float64 // samples per second
	Claim        float64 // type A claim of the judge, expanded, relative
	StdTypeA     float64 // e/√T, relative
	U, K         float64 // predicted expanded uncertainty of the modulus, relative, and its coverage factor
	UPhase       float64 // rad; NaN without phase
	Evaluation   calibration.Evaluation
	Largest      string  // influence with the largest share of the variance
	LargestShare float64 // 0..1
	MeetsTarget  bool
	Together     bool   // measured in the multisine
	Repeat       bool   // a repeat of an earlier point
	Reason       string // not empty: not feasible, and why
	Remedies     []string
	Remarks      []calibration.Remark
}

func (p *Point) remark(code, format string, args ...any) {
	p.Remarks = append(p.Remarks, calibration.Remark{Code: code, Text: fmt.Sprintf(format, args...)})
}

func (p *Point) remedy(format string, args ...any) {
	p.Remedies = append(p.Remedies, fmt.Sprintf(format, args...))
}

// Make plans a calibration. What cannot be met is an infeasible point with its remedy, not an error; the error is for a request that is not complete.
func Make(r Request) (Plan, error) {
	if err := r.validate(); err != nil {
		return Plan{}, err
	}
	frequencies, err := wanted(r.Wish.Frequencies, r.Job.Device.ReferenceFrequency)
	if err != nil {
		return Plan{}, err
	}
	pl := Plan{Request: r}
	var candidates []candidate
	for _, f := range frequencies {
		c := r.candidate(f)
		if c.point.Reason != "" {
			pl.Infeasible = append(pl.Infeasible, c.point)
			continue
		}
		candidates = append(candidates, c)
	}
	if len(candidates) == 0 {
		pl.finish()
		return pl, nil
	}
	if r.Wish.MultisineFrom > 0 {
		candidates = pl.together(candidates)
	}
	if r.Wish.Time > 0 {
		pl.allocate(candidates)
	} else {
		for i := range candidates {
			candidates[i].meetTarget(r)
		}
	}
	for _, c := range candidates {
		pl.Points = append(pl.Points, c.point)
	}
	pl.order()
	pl.predict()
	pl.finish()
	return pl, nil
}

// validate refuses a request that leaves out what a plan rests on. All that is wrong is reported at once.
func (r Request) validate() error {
	errs := []error{r.Job.ValidateSetup(), r.Exciter.validate()}
	for _, d := range []struct {
		name    string
		density Density
		needed  bool
	}{
		{"self-noise of device " + r.Job.Device.Serial, r.DeviceNoise, true},
		{"self-noise of reference " + r.Job.Reference.Serial, r.ReferenceNoise, !r.Job.Reference.StatesLevel},
		{"noise of the recorder", r.RecorderNoise, true},
		{"ground motion", r.Site.Density, false},
	} {
		if d.needed && !d.density.Stated() {
			errs = append(errs, fmt.Errorf("%s is not stated: without it no uncertainty can be predicted", d.name))
		}
		errs = append(errs, d.density.validate(d.name))
	}
	w := r.Wish
	need := func(ok bool, format string, args ...any) {
		if !ok {
			errs = append(errs, fmt.Errorf(format, args...))
		}
	}
	need(r.Job.Procedure.DisplayResolution[0] == 0, "reference %s is read off a display: how its display averages is not known, so noise and time cannot be planned", r.Job.Reference.Serial)
	need(len(r.Rates) > 0, "the recorder's sampling rates are not stated")
	need(r.Site.NotCommon >= 0 && r.Site.NotCommon <= 1, "share of the ground motion that is not common to the transducers: %g, allowed are 0 to 1", r.Site.NotCommon)
	need(r.Site.Model == NoModel || r.Site.Factor > 0, "factor on the noise model: %g, allowed are values above zero", r.Site.Factor)
	need(w.UseOfLimit > 0 && w.UseOfLimit <= 1, "share of the highest level that is used: %g, allowed are values above 0 to 1", w.UseOfLimit)
	need(w.Level >= 0 && !math.IsInf(w.Level, 0), "level wanted: %g, allowed are values above zero", w.Level)
	need(w.TypeA > 0 || w.U > 0 || w.Time > 0, "nothing is wanted of the uncertainty: state a type A uncertainty, a full one, or a time for the set")
	need(w.Time == 0 || w.TypeA == 0 && w.U == 0, "both a target uncertainty and a time for the set are stated: one follows from the other")
	need(w.Time == 0 || w.MultisineFrom == 0, "a time for the set cannot be shared out between stepped points and a multisine: state a target uncertainty")
	need(w.MultisineFrom == 0 || w.LongestPeriod > 0, "the longest period of the multisine is not stated")
	need(w.Longest > 0, "the longest time for one point is %g s, allowed are values above zero", w.Longest)
	return errors.Join(errs...)
}
