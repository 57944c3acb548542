package calibration

import (
	"fmt"
	"math"
	"math/cmplx"
	"slices"
	"strings"

	"plumbline/quantity"
	"plumbline/recording"
)

// Limits above which something is worth a remark. None of them changes a reported value.
const (
	remarkSigma     = 3.0   // Hann-weighted and plain mean differ by more standard deviations
	remarkTrend     = 4.0   // t value of a linear trend in the block series
	remarkFrequency = 5e-3  // measured against nominal frequency
	remarkLevel     = 0.1   // measured against nominal level
	remarkTolerance = 0.3   // ln of measured over nominal sensitivity that calls for a known factor
	remarkHum       = 0.015 // mains line over the fundamental
	remarkExcess    = 0.005 // harmonics of the device that the reference does not show, over the fundamental
	swapMargin      = 0.25  // ln distance within which a ratio counts as the inverse of the expected one
)

// addRemarks says what has to be known about each point and the whole job.
func (r *Result) addRemarks(acquired, repeated []*acquisition) {
	for i := range r.Points {
		r.Job.remarkPoint(&r.Points[i], acquired[i])
	}
	for i := range r.Repeats {
		r.Job.remarkPoint(&r.Repeats[i].Point, repeated[i])
	}
	r.remarkResponse()
	r.jobRemarks()
	r.methodDeviations()
}

func (j *Job) remarkPoint(p *Point, a *acquisition) {
	if p.Refused != "" {
		return
	}
	if m := p.Method; m.CannotKnow != "" {
		p.remark("method", "%s: this cannot tell %s", m.Name, m.CannotKnow)
	}
	j.remarkReading(p)
	if a != nil {
		j.remarkRecording(p, a)
	}
	p.remarkJudgement()
	j.remarkRanges(p)
	j.remarkNominal(p)
	p.remarkSimulation()
}

// remarkJudgement says where the procedure asked for a judgement and the point could not be judged, or was not steady enough.
func (p *Point) remarkJudgement() {
	switch g := p.Evidence.Judgement; {
	case g.Rule == 0:
	case !g.Judged():
		p.remark("not-judged", "steadiness was not judged: %s; the value is the plain mean", g.Why)
	case !g.Steady():
		var missed []string
		if g.HalfWidth[0] > g.Wanted[0] {
			missed = append(missed, fmt.Sprintf("%.3g %% instead of %.3g %% in modulus", 100*g.HalfWidth[0], 100*g.Wanted[0]))
		}
		if g.Wanted[1] > 0 && g.HalfWidth[1] > g.Wanted[1] {
			missed = append(missed, fmt.Sprintf("%.3g° instead of %.3g° in phase", g.HalfWidth[1]*180/math.Pi, g.Wanted[1]*180/math.Pi))
		}
		p.remark("not-steady", "the recording ended before the half width wanted was reached (95 %%): %s; the value stands with the half width reached", strings.Join(missed, ", "))
	}
}

func (j *Job) remarkReading(p *Point) {
	if p.Plan.Recording == nil {
		typeA := "type A is the standard deviation of a single reading"
		switch {
		case p.Evidence.Judgement.Judged():
			typeA = "type A is that of the judge of steadiness"
		case len(p.Plan.Readings) >= leastForAverage:
			typeA = "type A is that of the mean, the correlation of neighbouring readings estimated from the series"
		}
		p.remark("read-off", "values were read off a display, not recorded; %s (%d readings)", typeA, len(p.Plan.Readings))
		if left := p.Evidence.TrendLeft[0]; left > 0 {
			p.remark("trend", "the readings still moved: half their change, %.2g %%, is in the budget; better wait and read again", 100*left)
		}
		// a display averages over about a second (common practice, no source)
		if k, on := j.Procedure.onMains(p.Plan.Frequency, 1); on {
			p.remark("mains-harmonic", "%g Hz lies on multiple %d of the mains frequency: hum in the display's value cannot be seen; nearest good frequency: %s", p.Plan.Frequency, k, j.goodFrequency(p.Plan.Frequency, 1))
		}
	}
}

// remarkRecording passes on what the inspection and the approximation noticed.
func (j *Job) remarkRecording(p *Point, a *acquisition) {
	for _, r := range []*recording.Recording{p.Plan.Recording, p.Plan.Exchanged} {
		if r == nil {
			continue
		}
		for _, note := range r.Info.Notes {
			p.remark("import", "recording %s: %s", r.Name, note)
		}
	}
	for _, f := range a.findings {
		p.remark(string(f.Code), "recording %s, %s", p.Plan.Recording.Name, f.Text)
	}
	for _, f := range a.exchanged {
		p.remark(string(f.Code), "recording %s, %s", p.Plan.Exchanged.Name, f.Text)
	}
	if n := p.Evidence.Rejected; n > 0 {
		p.remark("blocks-rejected", "%d of %d blocks were disturbed and left out%s", n, n+p.Evidence.Blocks, a.rejectedBlocks())
	}
	p.remarkPhase(a)
	p.remarkImpulses(a)
	p.remarkForeign(a)
	p.remarkTogether(a)
	p.cutHarmonics(a, j.Procedure.Harmonics)
	if p.Evidence.FromResidual {
		p.remark("few-blocks", "the recording holds only %d blocks: type A comes from the residual of the approximation, which takes the noise as white", len(p.Evidence.LnRatio))
	}
	if math.Abs(p.Frequency/p.Plan.Frequency-1) > remarkFrequency {
		p.remark("frequency", "frequency found %.6g Hz, nominal %g Hz", p.Frequency, p.Plan.Frequency)
	}
	if !math.IsNaN(p.Plan.Level) && math.Abs(p.Level/p.Plan.Level-1) > remarkLevel {
		p.remark("level", "level found %s, nominal %s", j.levelText(p.Level), j.levelText(p.Plan.Level))
	}
	e := p.Evidence
	j.remarkSteadiness(p, a)
	j.remarkSignals(p, a)
	for _, s := range []struct {
		name string
		step float64
	}{{"reference", e.StepReference}, {"device", e.StepDevice}} {
		if s.step == 0 && !(p.Method.statedLevel && s.name == "reference") {
			p.remark("resolution", "the quantisation step of the %s channel is not known; it acts within the noise", s.name)
		}
	}
	if !p.HasPhase && !p.Method.withoutPhase {
		p.remark("no-phase", "the reference's certificate gives no phase: none is reported")
	}
}

// remarkSignals looks for hum, for harmonics that only the device shows, and for a reversed polarity.
func (j *Job) remarkSignals(p *Point, a *acquisition) {
	for _, c := range []struct {
		name  string
		index int
	}{{"reference", a.reference}, {"device", a.device}} {
		if p.Method.statedLevel && c.name == "reference" {
			continue // only the device was recorded
		}
		ch := a.fit.Channels[c.index]
		for _, line := range ch.Mains {
			if r := modulus(line.Amplitude) / modulus(ch.Amplitude); r > remarkHum {
				p.remark("hum", "hum at %g Hz is %.2g %% of the signal of the %s channel; it was separated from the signal, its cause was not removed", line.Frequency, 100*r, c.name)
				break
			}
		}
	}
	ref, dev := a.fit.Channels[a.reference].Harmonics, a.fit.Channels[a.device].Harmonics
	for h := 1; h < min(len(ref), len(dev)); h++ {
		if _, onMains := j.Procedure.onMains(float64(h+1)*p.Frequency, p.Evidence.Duration); onMains {
			continue // hum is in both, to different parts of their signals
		}
		if slices.Contains(a.fit.Shared, h+1) {
			continue // another line of the recording
		}
		inReference := modulus(ref[h] / ref[0])
		if excess := math.Abs(modulus(dev[h]/dev[0]) - inReference); excess > remarkExcess+inReference/5 { // the responses at the two frequencies differ too
			p.remark("excess-harmonics", "harmonic %d of the device differs from that of the reference by %.2g %% of the fundamental: check for a saturated or wrongly biased device, or a loose mounting", h+1, 100*excess)
			break
		}
	}
	if phase := cmplx.Phase(p.Sensitivity); p.HasPhase && math.Abs(phase) > 3*math.Pi/4 && j.nearReference(p) {
		p.remark("polarity", "the phase is near 180°: polarity or direction of the axis is reversed; nothing was corrected")
	}
}

// remarkSteadiness looks for a ratio that moved during the recording. On a mains line hum beats with the signal, which its own term covers.
func (j *Job) remarkSteadiness(p *Point, a *acquisition) {
	e := p.Evidence
	if e.HumFrom != "" || e.Judgement.Judged() { // the judge has taken off what is settling, and its half width holds what is not
		return
	}
	if d := e.HannDifference; e.HannStd > 0 && max(math.Abs(real(d)), math.Abs(imag(d))) > remarkSigma*e.HannStd {
		p.remark("drift", "the Hann-weighted mean differs from the plain one by %.2g %% and %.2g°, more than noise explains: the point may not have been steady", 100*real(d), imag(d)*180/math.Pi)
	}
	if re, im := a.ratio.TrendRe, a.ratio.TrendIm; max(math.Abs(re), math.Abs(im)) > remarkTrend {
		p.remark("trend", "the ratio still moved during the recording (trend %.1f standard deviations in modulus, %.1f in phase): half its change is in the budget; better wait and record again", re, im)
	}
}

// levelText prints a level of the device's quantity of motion in SI, peak.
func (j *Job) levelText(level float64) string {
	unit := [...]string{"m", "m/s", "m/s²"}[derivative(j.Device.Transducer)]
	return fmt.Sprintf("%.4g %s peak", level, unit)
}

// acceleration is a level of the device's quantity of motion as acceleration in m/s².
func (j *Job) acceleration(level, f float64) float64 {
	return level * math.Pow(2*math.Pi*f, float64(2-derivative(j.Device.Transducer)))
}

// remarkRanges compares the level with the ranges of both transducers.
func (j *Job) remarkRanges(p *Point) {
	if r := j.Device.Range; r > 0 && p.Level > r {
		p.remark("range", "level %s is above the device's range, %s", j.levelText(p.Level), j.levelText(r))
	}
	omega := 2 * math.Pi * p.Frequency
	ref := p.Level * math.Pow(omega, float64(derivative(j.Reference.Transducer)-derivative(j.Device.Transducer)))
	if r := j.Reference.Range; r > 0 && !p.Method.withoutPhase && ref > r {
		p.remark("range", "level is above the range of reference %s", j.Reference.Serial)
	}
}

// knownFactors are the mistakes that multiply a sensitivity by a known number (ISO 2041 peak, rms, peak-to-peak; units; amplifier gain steps).
var knownFactors = []struct {
	factor float64
	name   string
}{
	{1 / math.Sqrt2, "rms taken for peak"}, {math.Sqrt2, "peak taken for rms"}, {0.5, "peak taken for peak-to-peak"}, {2, "peak-to-peak taken for peak"},
	{1 / (2 * math.Sqrt2), "rms taken for peak-to-peak"}, {2 * math.Sqrt2, "peak-to-peak taken for rms"},
	{1 / quantity.StandardGravity, "g and m/s² mixed up"}, {quantity.StandardGravity, "g and m/s² mixed up"},
	{0.1, "gain step of 10"}, {10, "gain step of 10"}, {0.01, "gain step of 100"}, {100, "gain step of 100"},
}

// remarkNominal compares the sensitivity with the device's nominal one and asks about known factors; nothing is corrected.
func (j *Job) remarkNominal(p *Point) {
	off := math.Log(modulus(p.Sensitivity) / j.Device.Nominal)
	if math.Abs(off) < remarkTolerance || !j.nearReference(p) {
		return
	}
	text := fmt.Sprintf("the sensitivity is %.4g times the nominal one", math.Exp(off))
	var near []string
	for _, k := range knownFactors {
		if math.Abs(off-math.Log(k.factor)) < 0.06 {
			near = append(near, k.name)
		}
	}
	for i, n := range near {
		if i == 0 {
			text += "; check for: " + n
		} else {
			text += " or " + n
		}
	}
	p.remark("nominal", "%s; nothing was corrected", text)
}

// nearReference limits comparisons with the nominal sensitivity to the middle of the range, where the response is flat.
func (j *Job) nearReference(p *Point) bool {
	f0 := j.Device.ReferenceFrequency
	return p.Frequency > f0/10 && p.Frequency < 3*f0
}

// swapped compares the ratio of the channels with the expected one and with its inverse.
func (j *Job) swapped(p Point) error {
	s, _, err := j.Reference.Sensitivity(p.Frequency)
	if err != nil {
		return err
	}
	order := derivative(j.Device.Transducer) - derivative(j.Reference.Transducer)
	expected := j.Device.Nominal * math.Pow(2*math.Pi*p.Frequency, float64(order)) / (s * j.ReferenceChain.gainAt(p.Frequency))
	if j.Subject == OfTransducer {
		expected *= j.DeviceChain.gainAt(p.Frequency)
	}
	measured := modulus(p.Evidence.Ratio)
	off, inverse := math.Log(measured/expected), math.Log(measured*expected)
	if math.Abs(inverse) < swapMargin && math.Abs(off) > 4*swapMargin {
		return fmt.Errorf("recording %s: channels %d (reference) and %d (device) look swapped: ratio device to reference %.4g, expected about %.4g", p.Plan.Recording.Name, j.ReferenceChain.Column, j.DeviceChain.Column, measured, expected)
	}
	return nil
}

// remarkSimulation says where first order and Monte Carlo differ by more than the two digits U is stated with.
func (p *Point) remarkSimulation() {
	compare := func(what, unit string, scale, gum, mc float64, stated Evaluation, why string) {
		if math.Abs(mc-gum) > max(numericalTolerance(gum), 0.02*gum) {
			p.remark("evaluations-differ", "U of the %s is %.2g%s to first order and %.2g%s by Monte Carlo; %s is stated: %s", what, scale*gum, unit, scale*mc, unit, stated, why)
		}
	}
	compare("modulus", " %", 100, p.Budget.Modulus.Expanded, p.Simulation.Modulus.Half, p.Reported.Evaluation, p.Reported.Reason)
	if p.HasPhase {
		compare("phase", "°", 180/math.Pi, p.Budget.Phase.Expanded, p.Simulation.Phase.Half, p.Reported.EvaluationPhase, p.Reported.ReasonPhase)
	}
	if d := p.Deviation; d != nil && d.Budget.Modulus.Std > 0 {
		compare("deviation", " %", 100, d.Budget.Modulus.Expanded, d.Simulation.Modulus.Half, d.Reported.Evaluation, d.Reported.Reason)
	}
}

// numericalTolerance is half a unit of the second significant digit of u (JCGM 101 7.9.2).
func numericalTolerance(u float64) float64 {
	if !(u > 0) {
		return 0
	}
	return 0.5 * math.Pow(10, math.Floor(math.Log10(u))-1)
}

// jobRemarks are about the whole job.
func (r *Result) jobRemarks() {
	add := func(code, format string, args ...any) {
		r.Remarks = append(r.Remarks, Remark{Code: code, Text: fmt.Sprintf(format, args...)})
	}
	j := r.Job
	ref := r.ReferencePoint()
	switch {
	case ref < 0:
		add("no-reference-point", "no point with a value at the reference frequency %g Hz: no deviations and no statement of conformity", j.Device.ReferenceFrequency)
	case r.Points[ref].Plan.Recording == nil:
		if k, on := j.Procedure.onMains(r.Points[ref].Plan.Frequency, 1); on {
			add("reference-on-mains", "the reference frequency %g Hz lies on multiple %d of the mains frequency: hum in the display's value there, which cannot be seen, enters every deviation from the value at the reference frequency and every flatness statement", j.Device.ReferenceFrequency, k)
		}
	case r.Points[ref].Evidence.HumFrom != "":
		add("reference-on-mains", "the reference frequency %g Hz lies on a multiple of the mains frequency: its hum term enters every deviation from the value at the reference frequency and every flatness statement", j.Device.ReferenceFrequency)
	}
	if n := len(r.Points); n < j.Procedure.LeastPoints {
		add("few-points", "%d points, procedure %q asks for at least %d for a frequency response", n, j.Procedure.Name, j.Procedure.LeastPoints)
	}
	switch s := j.Procedure.Settling; {
	case s.NotApplicable != "":
		add("settling-not-applicable", "whether the points had settled was not judged: %s", s.NotApplicable)
	case s.Rule == 0:
		add("settling-not-judged", "whether the points had settled was not judged: procedure %q says nothing of it", j.Procedure.Name)
	}
	switch before, after := j.OutsideValidity(); {
	case before || after:
		add("validity-override", "performed %s of reference certificate %s, allowed because: %s", map[bool]string{true: "before the date", false: "after the validity"}[before], j.Reference.Certificate.Number, j.ValidityOverride)
	case j.ValidityOverride != "":
		add("override-unused", "a reason was entered for using the reference outside its validity, but the measurements lie within it: %s", j.ValidityOverride)
	}
	if in, ok := j.Procedure.Influence("temperature"); ok && in.NotApplicable == "" && !j.Device.Temperature.Stated {
		add("device-temperature", "the device's temperature coefficient is not known: its sensitivity is stated at the temperature of the calibration, uncorrected")
	}
	for _, s := range append(append([]Stage{}, j.ReferenceChain.Stages...), j.DeviceChain.Stages...) {
		if c := s.Certificate; !c.ValidUntil.IsZero() && j.Until.After(c.ValidUntil) {
			add("equipment-expired", "certificate %s of %s was valid until %s", c.Number, s.ID(), c.ValidUntil.Format("2006-01-02"))
		}
	}
}

// methodDeviations lists points outside the method's range of frequency and level.
func (r *Result) methodDeviations() {
	p := r.Job.Procedure
	for i := range r.Points {
		q := &r.Points[i]
		if q.Refused != "" {
			continue
		}
		f := q.Plan.Frequency
		if lo, hi := p.FrequencyRange[0], p.FrequencyRange[1]; f < lo*(1-edge) || f > hi*(1+edge) {
			r.deviate(q, "frequency-range", "%g Hz is outside the method's range of frequency, %g Hz to %g Hz", f, lo, hi)
		}
		a := r.Job.acceleration(q.Level, f)
		if lo, hi := p.LevelRange[0], p.LevelRange[1]; a < lo || a > hi {
			r.deviate(q, "level-range", "at %g Hz the level of %.3g m/s² is outside the method's range, %g m/s² to %g m/s²", f, a, lo, hi)
		}
	}
}

func (r *Result) deviate(p *Point, code, format string, args ...any) {
	p.remark(code, format, args...)
	r.Deviations = append(r.Deviations, Remark{Code: code, Text: fmt.Sprintf(format, args...)})
}
