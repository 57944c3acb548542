package calibration

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"plumbline/sine"
)

// approximateLine approximates the channels of a recording at the point's frequency. Where the recording holds further lines, all of them share the generator's clock: the
// highest one, which tells it best, is approximated first, and the point's frequency follows from it. A recording that has lost samples is found by it too.
func (a *acquisition) approximateLine(p PointPlan, name string, open sine.Source, channels int, s sine.Settings) (sine.Fit, error) {
	if len(p.Together) == 0 {
		return sine.Approximate(open, channels, s)
	}
	clock := slices.Max(p.Together)
	s.Frequency, s.Beside = clock, over(clock, p.Together)
	top, err := sine.Approximate(open, channels, s)
	if err != nil || p.Frequency == clock {
		return top, err
	}
	whole := acquisition{fit: top, device: channels - 1, columns: a.columns}
	if err := whole.lostSamples(name, clock); err != nil {
		return top, errors.New(strings.TrimPrefix(err.Error(), "recording "+name+": "))
	}
	s.Frequency, s.Beside, s.Known = p.Frequency*top.Frequency/clock, over(p.Frequency, p.Together), true
	fit, err := sine.Approximate(open, channels, s)
	a.led, fit.FrequencyStd = true, top.FrequencyStd*p.Frequency/clock
	return fit, err
}

// over is the lines other than f, over f.
func over(f float64, lines []float64) (multiples []float64) {
	for _, g := range lines {
		if g != f {
			multiples = append(multiples, g/f)
		}
	}
	return multiples
}

// validateTogether refuses lines of a recording that do not fit the points that name it.
func (j *Job) validateTogether() (errs []error) {
	for i, p := range j.Points {
		lines := slices.Sorted(slices.Values(p.Together))
		switch {
		case len(lines) == 0:
		case len(lines) == 1 || len(slices.Compact(slices.Clone(lines))) < len(lines) || !(lines[0] > 0) || math.IsInf(lines[len(lines)-1], 1):
			errs = append(errs, fmt.Errorf("%s: measured together at %g Hz, allowed are two or more different positive frequencies", p.Label, p.Together))
		case !slices.Contains(lines, p.Frequency):
			errs = append(errs, fmt.Errorf("%s: measured together at %g Hz, which must name every line of the recording, %g Hz too", p.Label, p.Together, p.Frequency))
		case p.Recording == nil:
			errs = append(errs, fmt.Errorf("%s: measured together with others, which needs a recording", p.Label))
		}
		for k, q := range j.Points[:i] {
			if p.Recording == nil || q.Recording == nil || p.Recording.ID == "" || p.Recording.ID != q.Recording.ID {
				continue
			}
			if !slices.Equal(lines, slices.Sorted(slices.Values(q.Together))) {
				errs = append(errs, fmt.Errorf("%s and %s name the same recording %s with different lines: measured together at %g Hz and %g Hz", j.Points[k].Label, p.Label, p.Recording.Name, q.Together, p.Together))
			}
		}
	}
	return errs
}

// remarkTogether says what a point measured together with others cannot tell.
func (p *Point) remarkTogether(a *acquisition) {
	n := len(p.Plan.Together)
	if n == 0 {
		return
	}
	p.remark("together", "measured together with %d other lines in one recording, the frequency told by the line at %g Hz: the level of a line is no evidence of linearity, its margin against hum is smaller, and foreign lines were not looked for",
		n-1, slices.Max(p.Plan.Together))
	if h := a.fit.Shared; len(h) > 0 {
		p.remark("shared-harmonics", "harmonics %v fall on other lines of the recording: they are not counted as distortion and were not looked at", h)
	}
}

// cutHarmonics says that fewer harmonics were fitted than the procedure asks for, because one cannot be told from another line.
func (p *Point) cutHarmonics(a *acquisition, asked int) {
	if len(p.Plan.Together) == 0 {
		return
	}
	fitted := len(a.fit.Channels[a.device].Harmonics)
	if f := p.Frequency * float64(fitted+1); fitted < asked && f < a.fit.Rate/2*0.9 {
		p.remark("harmonics-left-out", "harmonics from number %d (%.4g Hz) on were not fitted: it lies too near another line of the recording to be told from it", fitted+1, f)
	}
}
