package calibration

import (
	"math"
	"strings"
	"testing"
	"time"

	"plumbline/uncertainty"
)

// years is a day a number of years after (before, negative) the certificate in use of bareJob.
func years(x float64) time.Time {
	return day("2026-02-01").Add(time.Duration(x * year * 24 * float64(time.Hour)))
}

// history is earlier calibrations at f whose ln modulus over that of the certificate in use (0.01) is y at x years.
func history(f, std float64, x, y []float64) (h []HistoryPoint) {
	for i := range x {
		h = append(h, HistoryPoint{Date: years(x[i]), Frequency: f, Modulus: 0.01 * math.Exp(y[i]), StdModulus: std})
	}
	return h
}

// steadyDrift is five calibrations a year apart, the last the certificate in use, without scatter about a drift of -0.1 % a year.
func steadyDrift(f float64) []HistoryPoint {
	return history(f, 0.0025, []float64{-4, -3, -2, -1}, []float64{0.004, 0.003, 0.002, 0.001})
}

func fromHistory() Influence {
	return Influence{Key: "drift", FromHistory: true, Dof: math.Inf(1), Bands: everywhere(0, 0.001), Source: "calibrations of the reference"}
}

// The thermometer of GUM H.3 as a reference: kelvins are years, the last reading (26.511, -0.160) is the certificate in use. The published line has
// slope 0.00218 and, at 30, the standard uncertainty 0.0041 with 9 degrees of freedom (recomputed to more digits: 0.0021827 and 0.0041386). The degrees
// of freedom of the sum of both are those of Welch and Satterthwaite, with infinitely many for the change.
func TestDriftIsTheLineOfTheGUM(t *testing.T) {
	temperature := []float64{21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010}
	correction := []float64{-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161}
	for i := range temperature {
		temperature[i] -= 26.511
		correction[i] += 0.160
	}
	j := bareJob(t)
	j.state(fromHistory())
	j.Reference.History = history(80, 0.0025, temperature, correction)
	j.Performed = years(30 - 26.511)
	j.Until = j.Performed
	change := 0.0021827 * (30 - 26.511)
	r := row(t, evaluated(t, j, 80).Budget, "reference drift")
	if want := math.Hypot(change, 0.0041386); math.Abs(r.Modulus/want-1) > 1e-4 {
		t.Errorf("u = %g, want %g: a change of %g and the line's 0.0041386", r.Modulus, want, change)
	}
	if want := 9 * math.Pow(r.Modulus/0.0041386, 4); math.Abs(r.DofModulus/want-1) > 1e-3 {
		t.Errorf("%g degrees of freedom, want %g", r.DofModulus, want)
	}
}

// Without scatter the standard uncertainty is the change itself, 0.1 % a year, counted to the last day of the measurements.
func TestDriftOfALine(t *testing.T) {
	j := bareJob(t)
	j.state(fromHistory())
	j.Reference.History = steadyDrift(80)
	j.Performed, j.Until = years(0.5), years(0.8)
	p := evaluated(t, j, 80)
	r := row(t, p.Budget, "reference drift")
	if math.Abs(r.Modulus-0.0008) > 1e-6 || r.DofModulus < 1e6 {
		t.Errorf("u = %g with %g degrees of freedom, want 0.0008 with ever so many", r.Modulus, r.DofModulus)
	}
	if want := 0.001 / math.Sqrt(3); math.Abs(r.Phase-want) > 1e-7 {
		t.Errorf("u of the phase %g, want %g from the procedure's bands", r.Phase, want)
	}
	if math.Abs(real(p.Sensitivity)-1) > 1e-12 {
		t.Errorf("sensitivity %v, want 1: the drift is not corrected", p.Sensitivity)
	}
	text := remarkText(p, "reference-drift")
	for _, want := range []string{"R-201", "5 calibrations at 80 Hz since 2022-02-01", "-0.1 % a year", "-0.08 % from the certificate to"} {
		if !strings.Contains(text, want) {
			t.Errorf("remark %q does not say %q", text, want)
		}
	}
	if remarkText(p, "reference-unsteady") != "" {
		t.Error("a reference on its line is called unsteady")
	}
}

// A reference that jumped by 3 % two years ago: the scatter about the line enters u, and a remark says that no line explains it.
func TestDriftInSteps(t *testing.T) {
	j := bareJob(t)
	j.state(fromHistory())
	x, y := []float64{-4, -3, -2, -1}, []float64{0.03, 0.03, 0, 0}
	j.Reference.History = history(80, 0.0025, x, y)
	line, err := uncertainty.FitLine(append(x, 0), append(y, 0), 0)
	if err != nil {
		t.Fatal(err)
	}
	p := evaluated(t, j, 80)
	r := row(t, p.Budget, "reference drift")
	if r.Modulus < line.S {
		t.Errorf("u = %g is below the scatter %g about the line", r.Modulus, line.S)
	}
	change := line.B * (292 / year) // 2026-02-01 to 2026-11-20
	if scatter := math.Sqrt(r.Modulus*r.Modulus - change*change); math.Abs(r.DofModulus/(3*math.Pow(r.Modulus/scatter, 4))-1) > 1e-3 {
		t.Errorf("%g degrees of freedom for u = %g of which %g is scatter with 3", r.DofModulus, r.Modulus, scatter)
	}
	if text := remarkText(p, "reference-unsteady"); !strings.Contains(text, "steps") {
		t.Errorf("remark %q, want one that the reference may have changed in steps", text)
	}
}

func remarkText(p Point, code string) string {
	for _, r := range p.Remarks {
		if r.Code == code {
			return r.Text
		}
	}
	return ""
}

// The nearest frequency within an octave that has three calibrations counts; points that rest on the same ones share the input, so that the
// drift cancels in their ratio.
func TestDriftFrequency(t *testing.T) {
	j := bareJob(t)
	j.state(fromHistory())
	j.Reference.History = append(steadyDrift(80), history(20, 0.0025, []float64{-1}, []float64{0})...)
	for _, c := range []struct {
		f  float64
		ok bool
	}{{40, true}, {39, false}, {60, true}, {160, true}, {161, false}, {20, false}} {
		p := pointAt(c.f)
		p.evaluate(&j, uncertainty.NewSet(), 0, 1)
		if (p.Refused == "") != c.ok {
			t.Errorf("%g Hz with calibrations at 80 Hz: refused %q, want accepted %v", c.f, p.Refused, c.ok)
		}
		if !c.ok && !strings.Contains(p.Refused, "R-201") {
			t.Errorf("%q does not name the reference", p.Refused)
		}
	}
	set := uncertainty.NewSet()
	p, q := pointAt(80), pointAt(100)
	p.evaluate(&j, set, 0, 1)
	q.evaluate(&j, set, 1, 1)
	res := Result{Job: j, Set: set, Points: []Point{p, q}}
	res.addDeviations(1)
	if u := row(t, res.Points[1].Deviation.Budget, "reference drift").Modulus; u > 1e-12 {
		t.Errorf("u of the deviation from drift %g, want 0", u)
	}
}

// Two calibrations are no line, and the message counts them.
func TestDriftNeedsThree(t *testing.T) {
	j := bareJob(t)
	j.state(fromHistory())
	j.Reference.History = steadyDrift(80)[3:]
	p := pointAt(80)
	p.evaluate(&j, uncertainty.NewSet(), 0, 1)
	if !strings.Contains(p.Refused, "2 calibrations within a factor of 2 of 80 Hz") || !strings.Contains(p.Refused, "needs 3") {
		t.Errorf("%q, want a refusal that counts two calibrations", p.Refused)
	}
	in := fromHistory()
	in.Bands = everywhere(0, math.NaN())
	j.state(in)
	j.Reference.History = steadyDrift(80)
	p = pointAt(80)
	p.evaluate(&j, uncertainty.NewSet(), 0, 1)
	if !strings.Contains(p.Refused, "no phase") {
		t.Errorf("%q, want a refusal: nothing states the drift of the phase", p.Refused)
	}
}

func TestHistoryIsChecked(t *testing.T) {
	good := func() Job {
		j := bareJob(t)
		j.Points = []PointPlan{pointAt(80).Plan}
		j.state(fromHistory())
		j.Reference.History = steadyDrift(80)
		return j
	}
	j := good()
	if err := j.Validate(); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		change func(*Job)
		want   string
	}{
		{func(j *Job) { j.Reference.History[1].Modulus = 0 }, "row 2: frequency 80 Hz, modulus 0"},
		{func(j *Job) { j.Reference.History[1].Date = day("2026-02-01") }, "row 2: date 2026-02-01, allowed are days before"},
		{func(j *Job) { j.Reference.History[1].Date = j.Reference.History[0].Date }, "at 80 Hz stands in row 1 already"},
		{func(j *Job) {
			j.state(Influence{Key: "settling", FromHistory: true, Distribution: "normal", Bands: everywhere(0, 0)})
		}, `"settling" cannot come from the reference's history`},
	} {
		j := good()
		c.change(&j)
		if err := j.Validate(); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%v, want %q", err, c.want)
		}
	}
}
