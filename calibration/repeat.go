package calibration

import (
	"fmt"
	"math"
	"math/cmplx"

	"plumbline/steady"
	"plumbline/uncertainty"
)

// Repetition is a point that was measured again, compared with the first time. It is how something slow that nobody told the judge of shows itself.
type Repetition struct {
	Of      int          // index of the first time in Result.Points
	Point   Point        // the second time
	Refused string       // why nothing could be compared; empty otherwise
	Modulus steady.Check // first less again, relative
	Phase   steady.Check // and in rad; zero without phase
}

// Flagged reports whether the half widths do not explain the difference.
func (r Repetition) Flagged() bool { return r.Modulus.Flagged || r.Phase.Flagged }

// rowRepeated is the budget's name of what a repeated point showed.
const rowRepeated = "repeated point"

// addUnrepeated adds the difference from the repeated point where its half widths do not explain it.
func addUnrepeated(b *builder) error {
	d := b.point.Evidence.Unrepeated
	if d == [2]float64{} {
		return nil
	}
	b.effect(rowRepeated, b.own("repeated"), Band{Modulus: d[0], Phase: d[1]}, rectangular, math.Inf(1))
	return nil
}

// firstOf is the index of the point that point i repeats, -1 where there is none before it.
func (j *Job) firstOf(i int) int {
	for k, p := range j.Points[:i] {
		if !p.Repeat && p.Frequency == j.Points[i].Frequency {
			return k
		}
	}
	return -1
}

// validateRepeats refuses a repeated point without a first one made the same way.
func (j *Job) validateRepeats() (errs []error) {
	for i, p := range j.Points {
		k := j.firstOf(i)
		switch {
		case p.Repeat && k < 0:
			errs = append(errs, fmt.Errorf("%s repeats a point, but none at this frequency stands before it", p.Label))
		case p.Repeat && p.Recording != nil && p.Recording.ID != "" && j.Points[k].Recording != nil && p.Recording.ID == j.Points[k].Recording.ID:
			errs = append(errs, fmt.Errorf("%s repeats %s, but recording %s is the same as %s: it must be another one", p.Label, j.Points[k].Label, p.Recording.Name, j.Points[k].Recording.Name))
		case p.Repeat && (p.Exchanged == nil) != (j.Points[k].Exchanged == nil):
			errs = append(errs, fmt.Errorf("%s repeats %s: channels are exchanged in one of them only, allowed are both or neither", p.Label, j.Points[k].Label))
		}
	}
	return errs
}

// separate puts the points to be reported into the result and compares those that were repeated; it returns the acquisitions in the order of the points and, after
// them, of the repetitions.
func (r *Result) separate(all []Point, acquired []*acquisition) (points, repeats []*acquisition) {
	place := make([]int, len(all))
	for i, p := range all {
		if !p.Plan.Repeat {
			place[i] = len(r.Points)
			r.Points, points = append(r.Points, p), append(points, acquired[i])
		}
	}
	for i, p := range all {
		if p.Plan.Repeat {
			of := place[r.Job.firstOf(i)]
			r.Repeats, repeats = append(r.Repeats, repetition(of, &r.Points[of], p)), append(repeats, acquired[i])
		}
	}
	return points, repeats
}

// repetition compares a point with the first time and, where the difference is not explained, leaves it in the evidence of the first.
func repetition(of int, first *Point, again Point) Repetition {
	r := Repetition{Of: of, Point: again}
	switch {
	case again.Refused != "":
		r.Refused = again.Refused
	case first.Refused != "":
		r.Refused = "the first time gave no value"
	}
	if r.Refused != "" {
		first.remark("repeat-refused", "%g Hz was measured again, but not to be compared: %s", first.Plan.Frequency, r.Refused)
		return r
	}
	r.Modulus, r.Phase = steady.Repeat(first.answer(), again.answer())
	for i, c := range []steady.Check{r.Modulus, r.Phase} {
		if c.Flagged {
			first.Evidence.Unrepeated[i] = max(first.Evidence.Unrepeated[i], math.Abs(c.Difference))
		}
	}
	if r.Flagged() {
		text := fmt.Sprintf("by %.2g %% (at most %.2g %% is explained)", 100*math.Abs(r.Modulus.Difference), 100*r.Modulus.Allowed)
		if first.HasPhase && again.HasPhase {
			text += fmt.Sprintf(" and %.2g° (at most %.2g°)", math.Abs(r.Phase.Difference)*180/math.Pi, r.Phase.Allowed*180/math.Pi)
		}
		first.remark("not-repeated", "measured again at the end, the point differed %s: something moved slower than was known; the difference is in the budget as a half-width", text)
	}
	return r
}

// answer is what is known of the point's ratio in the form a judge gives it: by its half widths where it was judged, else t·Std.
func (p *Point) answer() (a steady.Answer) {
	e := p.Evidence
	ln := cmplx.Log(e.Ratio)
	for i, mean := range []float64{real(ln), imag(ln)} {
		if i == 1 && !p.HasPhase {
			continue
		}
		half := e.StdLnRatio[i] * uncertainty.Coverage(steady.Coverage, e.DofLnRatio[i])
		if g := e.Judgement; g.Judged() && g.Wanted[i] > 0 {
			half = max(g.HalfWidth[i], g.Wanted[i]/steady.Floor)
		}
		x := steady.Estimate{Judged: true, Mean: mean, HalfWidth: half}
		if i == 0 {
			a.Modulus = x
		} else {
			a.Phase = x
		}
	}
	return a
}
