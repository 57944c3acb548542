package resultfile

import (
	"math"
	"time"

	"plumbline/calibration"
	"plumbline/conformity"
	"plumbline/quantity"
	"plumbline/uncertainty"
)

const degree = 180 / math.Pi

// Header is what the domain's result does not know.
type Header struct {
	Version     string
	Certificate string
	Invented    bool
	Files       []File
}

// New makes the file of a result.
func New(h Header, r calibration.Result, statements []conformity.Statement, overall conformity.Verdict) Result {
	j := r.Job
	out := Result{
		Schema: Schema, Program: Program{Name: "plumbline", Version: h.Version},
		Job: Job{Number: j.Number, Certificate: h.Certificate, Performed: day(j.Performed), Until: day(j.Until), SensitivityOf: subject(j.Subject),
			Source: source(j), ValidityReason: j.ValidityOverride, Invented: h.Invented},
		Device:    asset(j.Device.Transducer),
		Reference: Reference{Asset: asset(j.Reference.Transducer), Certificate: j.Reference.Certificate.Number, Laboratory: j.Reference.Certificate.Laboratory, Date: day(j.Reference.Certificate.Date), ValidUntil: day(j.Reference.Certificate.ValidUntil), Correlation: j.Reference.Correlation},
		Procedure: procedure(j.Procedure),
		Points:    []Point{}, Conformity: []Statement{}, Overall: overall.String(),
		Remarks: remarks(r.Remarks), Deviations: remarks(r.Deviations), Files: append([]File{}, h.Files...),
	}
	for _, p := range r.Points {
		out.Points = append(out.Points, point(j, p))
	}
	out.Repeats = repeats(r)
	for _, s := range statements {
		out.Conformity = append(out.Conformity, statement(j, s))
	}
	return out
}

func day(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.Format("2006-01-02")
}

func subject(s calibration.Subject) string {
	if s == calibration.OfChain {
		return "chain"
	}
	return "transducer"
}

func source(j calibration.Job) string {
	if len(j.Points) > 0 && j.Points[0].Recording == nil {
		return "readings"
	}
	return "recordings"
}

func asset(t calibration.Transducer) Asset {
	a := Asset{Kind: t.Kind, Maker: t.Maker, Model: t.Model, Serial: t.Serial, Unit: t.Unit.UCUM()}
	if t.Nominal > 0 {
		a.Nominal = number(t.Unit.FromSI(t.Nominal))
	}
	if t.ReferenceFrequency > 0 {
		a.ReferenceFrequency = number(t.ReferenceFrequency)
	}
	return a
}

func procedure(p calibration.Procedure) Procedure {
	out := Procedure{Name: p.Name, Revision: p.Revision, Method: p.Method, Probability: p.Probability, Trials: p.Trials, Digits: p.Digits, Influences: []Influence{}}
	for _, in := range p.Influences {
		i := Influence{Key: in.Key, NotApplicable: in.NotApplicable, Distribution: in.Distribution, Top: in.Form.Top, Limit: in.Form.Limit, K: in.Form.K, Source: in.Source}
		if in.Form.Factors != [2]string{} {
			i.Factors = in.Form.Factors[:]
		}
		if in.NotApplicable == "" {
			i.Dof = number(in.Dof)
		}
		out.Influences = append(out.Influences, i)
	}
	out.Settling = settling(p.Settling)
	return out
}

func remarks(in []calibration.Remark) []Remark {
	out := []Remark{}
	for _, r := range in {
		out = append(out, Remark(r))
	}
	return out
}

// number is nil for what does not exist: NaN and infinities are not in JSON.
func number(x float64) *float64 {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return nil
	}
	return &x
}

func scaled(x, by float64) *float64 { return number(x * by) }

func point(j calibration.Job, p calibration.Point) Point {
	out := Point{Nominal: p.Plan.Frequency, Refused: p.Refused, Readings: len(p.Plan.Readings), OutOfScope: p.OutOfScope}
	if r := p.Plan.Recording; r != nil {
		out.Recording = &File{Name: r.Name, SHA256: r.ID}
	}
	if r := p.Plan.Exchanged; r != nil {
		out.Exchanged = &File{Name: r.Name, SHA256: r.ID}
	}
	if p.Refused != "" {
		return out
	}
	out.Method, out.Remarks = p.Method.Name, remarks(p.Remarks)
	out.Frequency = number(p.Frequency)
	if p.Plan.Recording != nil {
		out.FrequencyStd = number(p.Evidence.FrequencyStd)
	}
	if !math.IsNaN(p.Level) {
		out.Level = &Quantity{Value: p.Level, Unit: inputUnit(j.Device.Transducer)}
	}
	out.Sensitivity = sensitivity(j.Device.Unit, p)
	out.FirstOrder = firstOrder(p)
	out.MonteCarlo = simulation(p.Simulation, j.Procedure.Digits, p.HasPhase)
	out.Budget = rows(p.Budget.Rows, p.HasPhase)
	out.Evidence = evidence(p)
	if d := p.Deviation; d != nil {
		out.Deviation = &Deviation{Value: d.Value, Uncertainty: expanded(d.Expanded(), d.Reported.KModulus, d.Reported.Evaluation, d.Reported.Reason, false, compared(d.Reported.AgreementModulus, 1+d.Value))}
	}
	return out
}

// inputUnit is the coherent SI unit of the input quantity, in UCUM.
func inputUnit(t calibration.Transducer) string {
	if _, input, ok := t.Unit.Per(); ok {
		if m, ok := quantity.MotionOf(input); ok {
			return m.Unit().UCUM()
		}
	}
	return ""
}

// siUnit is the coherent SI unit of a sensitivity, in UCUM.
func siUnit(u quantity.Unit) string {
	output, input, ok := u.Per()
	if !ok {
		return u.UCUM()
	}
	m, _ := quantity.MotionOf(input)
	return base(output) + "/(" + m.Unit().UCUM() + ")"
}

// base is the unit without its prefix.
func base(u quantity.Unit) string {
	s := u.UCUM()
	return s[len(s)-1:]
}

func sensitivity(u quantity.Unit, p calibration.Point) *Sensitivity {
	modulus := math.Hypot(real(p.Sensitivity), imag(p.Sensitivity))
	r := p.Reported
	s := &Sensitivity{
		SI: Quantity{modulus, siUnit(u)}, Modulus: Quantity{u.FromSI(modulus), u.UCUM()},
		ModulusU: expanded(r.UModulus, r.KModulus, r.Evaluation, r.Reason, r.RaisedModulus, compared(r.AgreementModulus, 1)),
	}
	if p.HasPhase {
		s.Phase = number(math.Atan2(imag(p.Sensitivity), real(p.Sensitivity)) * degree)
		e := expanded(r.UPhase*degree, r.KPhase, r.EvaluationPhase, r.ReasonPhase, r.RaisedPhase, compared(r.AgreementPhase, degree))
		s.PhaseU = &e
	}
	return s
}

func expanded(u, k float64, e calibration.Evaluation, reason string, raised bool, c *Compared) Expanded {
	return Expanded{U: u, K: number(k), Evaluation: string(e), Reason: reason, Raised: raised, Compared: c}
}

// compared is nil where nothing was compared.
func compared(a calibration.Agreement, by float64) *Compared {
	if a.Outcome == calibration.NotCompared {
		return nil
	}
	return &Compared{Outcome: string(a.Outcome), Low: a.Low * by, High: a.High * by, Tolerance: a.Tolerance * by}
}

func firstOrder(p calibration.Point) *Evaluation {
	m, q := p.Budget.Modulus, p.Budget.Phase
	e := &Evaluation{StdModulus: m.Std, DofModulus: number(m.Dof), KModulus: m.K, UModulus: m.Expanded}
	if p.HasPhase {
		e.StdPhase, e.DofPhase, e.KPhase, e.UPhase = scaled(q.Std, degree), number(q.Dof), number(q.K), scaled(q.Expanded, degree)
		e.Correlation = number(p.Budget.Correlation)
	}
	return e
}

func simulation(s uncertainty.Simulation, digits int, phase bool) *Simulation {
	out := &Simulation{Trials: s.Trials, Seed: s.Seed, Modulus: interval(s.Modulus, 1)}
	if digits > 0 {
		out.Stable = &s.Stable
	}
	if phase {
		i := interval(s.Phase, degree)
		out.Phase = &i
	}
	return out
}

func interval(i uncertainty.Interval, by float64) Interval {
	return Interval{Mean: scaled(i.Mean, by), Std: scaled(i.Std, by), Low: i.Low * by, High: i.High * by, ShortestLow: i.ShortestLow * by, ShortestHigh: i.ShortestHigh * by}
}

func rows(in []uncertainty.Row, phase bool) []Row {
	var out []Row
	for _, r := range in {
		row := Row{Influence: r.Influence, Distribution: r.Distribution, UModulus: r.Modulus, DofModulus: number(r.DofModulus), ShareModulus: r.ShareModulus}
		if phase {
			row.UPhase, row.DofPhase, row.SharePhase = scaled(r.Phase, degree), number(r.DofPhase), number(r.SharePhase)
		}
		out = append(out, row)
	}
	return out
}

func evidence(p calibration.Point) *Evidence {
	e := p.Evidence
	out := &Evidence{Blocks: e.Blocks, Rejected: e.Rejected, Duration: number(e.Duration), BlockTime: e.BlockTime, Steadiness: steadiness(e.Judgement)}
	for _, l := range e.LnRatio {
		out.BlockLnModulus = append(out.BlockLnModulus, real(l))
	}
	if p.Plan.Recording == nil {
		return out
	}
	for _, l := range e.LnRatio {
		out.BlockPhase = append(out.BlockPhase, imag(l))
	}
	out.Rate, out.Frames, out.Periods = number(e.Rate), e.Frames, number(e.Periods)
	out.AmplitudeReference, out.AmplitudeDevice = number(e.AmplitudeReference), number(e.AmplitudeDevice)
	out.DistortionReference, out.DistortionDevice = number(e.DistortionReference), number(e.DistortionDevice)
	out.ResidualReference, out.ResidualDevice = number(e.ResidualReference), number(e.ResidualDevice)
	out.HannModulus, out.HannPhase = number(real(e.HannDifference)), scaled(imag(e.HannDifference), degree)
	if e.HumFrom != "" {
		out.HumReference, out.HumDevice, out.HumFrom = number(e.HumReference), number(e.HumDevice), e.HumFrom
	}
	return out
}

func statement(j calibration.Job, s conformity.Statement) Statement {
	unit := s.Unit(j.Device.Unit)
	if s.Relative {
		unit = quantity.Unit{Symbol: "1", Factor: 1} // in the file as a ratio
	}
	limit := func(x float64) *float64 { return number(unit.FromSI(x)) }
	var global *Global
	if g := s.Global; g != nil {
		global = &Global{Prior: g.Prior, Conforming: g.Conforming, Accepted: g.Accepted, Consumer: g.Consumer, Producer: g.Producer}
	}
	return Statement{
		Subject: s.Subject, Requirement: s.Requirement, Frequency: s.Frequency, Value: limit(s.Value), U: limit(s.U), Unit: ucum(unit),
		Lower: limit(s.Tolerance.Lower), Upper: limit(s.Tolerance.Upper), AcceptLower: limit(s.Acceptance.Lower), AcceptUpper: limit(s.Acceptance.Upper),
		Rule: s.Rule, Evaluation: s.Evaluation, Trials: s.Trials, Verdict: s.Verdict.String(), Risk: number(s.Risk), Global: global, Remarks: s.Remarks,
	}
}

// ucum is the unit in UCUM, 1 for a ratio.
func ucum(u quantity.Unit) string {
	if u.Symbol == "1" {
		return "1"
	}
	return u.UCUM()
}
