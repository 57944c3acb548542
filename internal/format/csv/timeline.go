package csv

import (
	"fmt"
	"math"
	"slices"

	"plumbline/recording"
)

// headTimesKept is how many times are kept to learn the step before steps are judged.
const headTimesKept = 2048

// timeline follows a column of times from row to row, in memory that does not grow: are the steps equal, and what is the rate?
type timeline struct {
	head []stamp
	step float64 // s, learned from the head; 0 not yet

	counter bool    // the column counts the rows: steps are exactly 1
	least   float64 // smallest last digit written, s
	digits  int     // most digits written
	single  bool    // all times are single-precision numbers

	rows    int64 // rows followed
	first   stamp
	last    stamp
	lastRow int64
	sums    regression
	steps   [3]irregularity // gap, duplicate, jitter
	missing int64           // times that are not there
	lost    int64           // rows that fit into the gaps
	worst   float64         // largest deviation of a step from the others, s
}

// stamp is the time of one row.
type stamp struct {
	seconds float64 // NaN where none is written
	line    int
	digits  int     // significant digits written
	least   float64 // last digit written, s
}

// irregularity counts steps of one kind.
type irregularity struct {
	count, first int64 // number of the row behind the first
	line         int
}

const (
	gap = iota
	duplicate
	jitter
)

func newTimeline(counter bool) *timeline {
	return &timeline{least: math.Inf(1), single: true, counter: counter}
}

// add follows the next row.
func (t *timeline) add(s stamp) {
	if s.least > 0 && s.seconds != 0 {
		t.least = min(t.least, s.least)
	}
	t.digits = max(t.digits, s.digits)
	if x := s.seconds; !math.IsNaN(x) && math.Abs(x-float64(float32(x))) > 6e-9*math.Abs(x) {
		t.single = false
	}
	if t.step == 0 {
		if t.head = append(t.head, s); len(t.head) < headTimesKept {
			return
		}
		t.learn()
		return
	}
	t.follow(s)
}

// learn takes the step from the head, and follows it.
func (t *timeline) learn() {
	head := t.head
	t.head = nil
	var d []float64
	var before []float64
	for _, s := range head {
		if math.IsNaN(s.seconds) {
			continue
		}
		if len(before) > 0 {
			d = append(d, s.seconds-before[len(before)-1])
		}
		before = append(before, s.seconds)
	}
	switch {
	case len(d) == 0:
		t.step = math.NaN()
	case t.counter:
		t.step = 1
	default:
		t.step = typical(d, t.resolution(before[len(before)-1]), (before[len(before)-1]-before[0])/float64(len(d)))
	}
	for _, s := range head {
		t.follow(s)
	}
}

// typical is the mean of the steps that are near the median; where times are written more coarsely than they step, the mean.
func typical(d []float64, resolution, mean float64) float64 {
	sorted := slices.Clone(d)
	slices.Sort(sorted)
	median := sorted[len(sorted)/2]
	if median < 2*resolution {
		return mean
	}
	sum, n := 0.0, 0
	for _, x := range d {
		if math.Abs(x-median) <= median/2 {
			sum, n = sum+x, n+1
		}
	}
	return sum / float64(n)
}

// resolution is what rounding leaves of a time, s: the last digit of the column at this size, or single precision.
func (t *timeline) resolution(seconds float64) float64 {
	if t.counter {
		return 0
	}
	r := math.Abs(seconds) * 0x1p-52
	if t.least < math.Inf(1) {
		r = max(r, t.least)
	}
	if seconds != 0 && t.digits > 0 {
		r = max(r, math.Pow(10, math.Floor(math.Log10(math.Abs(seconds)))+1-float64(t.digits)))
	}
	if t.single {
		r = max(r, math.Abs(seconds)*0x1p-23)
	}
	return r
}

func (t *timeline) follow(s stamp) {
	row := t.rows
	t.rows++
	if math.IsNaN(s.seconds) {
		t.missing++
		return
	}
	if row == t.missing { // the first that is written
		t.first, t.last, t.lastRow = s, s, row
		t.sums.add(float64(row), 0)
		return
	}
	k := float64(row - t.lastRow)
	d := s.seconds - t.last.seconds
	rounding := 1.001 * t.resolution(s.seconds)
	if e := d - k*t.step; math.Abs(e) > 0.01*t.step+rounding {
		t.irregular(d, k, rounding, s, row)
	}
	t.sums.add(float64(row), s.seconds-t.first.seconds-float64(row)*t.step)
	t.last, t.lastRow = s, row
}

func (t *timeline) irregular(d, k, rounding float64, s stamp, row int64) {
	kind := jitter
	switch {
	case d <= rounding/2 || d < 0.01*t.step:
		kind = duplicate
	case d > (k+0.5)*t.step:
		kind = gap
		t.lost += int64(math.Round(d/t.step - k))
	}
	if i := &t.steps[kind]; i.count == 0 {
		*i = irregularity{first: row + 1, line: s.line}
	}
	t.steps[kind].count++
	t.worst = max(t.worst, math.Abs(d-k*t.step))
}

// regression is the straight line through points, from sums.
type regression struct{ n, x, y, xx, xy, yy float64 }

func (r *regression) add(x, y float64) {
	r.n++
	r.x += x
	r.y += y
	r.xx += x * x
	r.xy += x * y
	r.yy += y * y
}

// fit returns the slope and the rms deviation from the line.
func (r *regression) fit() (slope, rms float64) {
	sxx, sxy, syy := r.xx-r.x*r.x/r.n, r.xy-r.x*r.y/r.n, r.yy-r.y*r.y/r.n
	if !(sxx > 0) {
		return 0, 0
	}
	slope = sxy / sxx
	return slope, math.Sqrt(max(syy-slope*sxy, 0) / r.n)
}

// result is what a column of times says.
type result struct {
	rate     float64 // samples per second; NaN where the times do not rise
	relative float64 // what rounding of the times leaves of the rate, relative
	findings []recording.Finding
}

// result ends the following. With trusted the rate was stated by someone, and what speaks against the times is a remark.
func (t *timeline) result(title string, trusted bool) result {
	if t.step == 0 {
		t.learn()
	}
	slope, rms := t.sums.fit()
	step := t.step + slope
	if t.steps[gap].count+t.steps[duplicate].count > 0 {
		step = t.step
	}
	r := result{rate: 1 / step, relative: math.NaN()}
	if !(step > 0) || math.IsInf(r.rate, 0) {
		r.rate = math.NaN()
	}
	last := t.resolution(t.last.seconds)
	if span := t.last.seconds - t.first.seconds; span > 0 { // the ends are known to a digit; the line through all averages over as many as there are
		r.relative = last / span / math.Sqrt(max(1, min(float64(t.rows), span/last)))
	}
	t.irregularities(&r)
	if limit := 0.01*step + last; rms > limit && len(r.findings) == 0 {
		r.add(recording.Drift, rms > step+last, irregularity{}, t.rows, "the times depart from a straight line by %.3g s (rms), %.2g of a step", rms, rms/step)
	}
	if t.missing > 0 {
		r.add(recording.CoarseTime, false, irregularity{}, t.missing, "%d of %d times are not written", t.missing, t.rows)
	}
	if last > 0.98*step {
		r.add(recording.CoarseTime, r.relative > 1e-4, irregularity{}, t.rows,
			"times are written to %.2g s and step by %.3g s: single missing samples do not show, and the rate is known to about %.2g only", last, step, r.relative)
	}
	for i := range r.findings {
		f := &r.findings[i]
		f.Of, f.Refuse, f.Text = t.rows, f.Refuse && !trusted, "all channels: "+title+": "+f.Text
	}
	return r
}

func (r *result) add(code recording.Code, refuse bool, i irregularity, count int64, text string, a ...any) {
	r.findings = append(r.findings, recording.Finding{Code: code, First: i.first, Count: count, Refuse: refuse, Text: fmt.Sprintf(text, a...)})
}

// irregularities adds what is wrong with single steps.
func (t *timeline) irregularities(r *result) {
	noun := "times"
	if t.counter {
		noun = "numbers"
	}
	if i := t.steps[gap]; i.count > 0 {
		r.add(recording.Gap, true, i, t.lost, "%d gaps in %d %s, %d samples missing in all, first before sample %d (line %d)",
			i.count, t.rows, noun, t.lost, i.first, i.line)
	}
	if i := t.steps[duplicate]; i.count > 0 {
		r.add(recording.Duplicate, true, i, i.count, "%d of %d %s repeat the one before or go back, first at sample %d (line %d)",
			i.count, t.rows, noun, i.first, i.line)
	}
	if i := t.steps[jitter]; i.count > 0 {
		r.add(recording.Jitter, true, i, i.count, "%d of %d steps of time differ from the others by more than 1 %%, by %.3g s at most, first at sample %d (line %d)",
			i.count, t.rows, t.worst, i.first, i.line)
	}
}
