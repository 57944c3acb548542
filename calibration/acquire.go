package calibration

import (
	"errors"
	"fmt"
	"io"
	"math"
	"slices"

	"plumbline/recording"
	"plumbline/sine"
)

// readFrames is the number of frames read at a time.
const readFrames = 1 << 14

// acquisition is one recording reduced to what the evaluation needs.
type acquisition struct {
	fit               sine.Fit
	ratio             sine.Ratio
	reference, device int   // indices of the channels in the fit
	columns           []int // their numbers in the recording
	impulses          []impulses
	spectra           []*spectrum
	findings          []recording.Finding
	exchanged         []recording.Finding // of the recording with the transducers exchanged
	second            *acquisition        // that recording; nil: not made
	led               bool                // the highest of several lines told the frequency, and whether samples are missing
	whole             *acquisition        // of the recording from its start, for the judge of steadiness; nil: the same as this one
	steps             [2]float64          // quantisation steps of reference and device, V
}

// acquire inspects and approximates a recording in which the reference is at the end of one chain and the device at that of another.
func (j *Job) acquire(p PointPlan, rec recording.Recording, reference, device Chain, orders []int) (acquisition, error) {
	if reference.Column == device.Column {
		return acquisition{}, fmt.Errorf("recording %s: reference and device are both channel %d", rec.Name, device.Column)
	}
	a, err := j.approximate(p, rec, orders, reference, device)
	if err != nil {
		return a, err
	}
	a.reference, a.device = 0, 1
	if a.ratio, err = a.fit.Ratio(a.device, a.reference); err != nil {
		return a, a.failed(rec.Name, err)
	}
	return a, nil
}

// acquireDevice inspects and approximates a recording of the device alone.
func (j *Job) acquireDevice(p PointPlan, orders []int) (acquisition, error) {
	a, err := j.approximate(p, *p.Recording, orders, j.DeviceChain)
	a.steps = [2]float64{0, a.steps[0]}
	return a, err
}

// approximate inspects and approximates the channels at the ends of chains. Samples become volts at the recorder.
func (j *Job) approximate(p PointPlan, rec recording.Recording, orders []int, chains ...Chain) (a acquisition, err error) {
	pass, info := &pass{rec: rec, frequency: p.Frequency, mains: j.Procedure.Mains}, rec.Info
	info.Channels = slices.Clone(info.Channels)
	for i, c := range chains {
		if c.Column < 1 || c.Column > len(rec.Info.Channels) {
			return a, fmt.Errorf("recording %s has %d channels, channel %d is missing", rec.Name, len(rec.Info.Channels), c.Column)
		}
		scale, err := c.scale(rec)
		if err != nil {
			return a, err
		}
		pass.columns, pass.scale = append(pass.columns, c.Column), append(pass.scale, scale)
		a.steps[i] = c.step(rec, scale)
		if ch := &info.Channels[c.Column-1]; c.FullScale() > 0 && (ch.Bits == 0 || ch.Unit.Symbol != "FS") { // where bits are of full scale, they tell it exactly
			ch.FullScale = c.FullScale() / scale
		}
	}
	pass.info, pass.inspector = info, recording.NewInspector(info)
	if err := j.admissible(p, rec); err != nil {
		return a, err
	}
	defer func() { err = errors.Join(err, pass.close()) }()
	a.columns = pass.columns
	fit, err := a.approximateLine(p, rec.Name, pass.open, len(chains), sine.Settings{
		Rate: rec.Info.Rate, Frequency: p.Frequency, Harmonics: j.Procedure.Harmonics, Drift: j.Procedure.Drift,
		Mains: j.Procedure.Mains, Orders: orders, Frames: max(0, rec.Info.Frames), Block: int(math.Round(p.Block * rec.Info.Rate)),
	})
	if err == nil {
		leaveOut(pass.findings, fit)
	} else if pass.inspector != nil { // the approximation gave up before the end: what speaks against the recording may say why
		all, failed := recording.Inspect(rec)
		if failed != nil {
			return a, fmt.Errorf("recording %s: %w", rec.Name, failed)
		}
		pass.keep(all)
	}
	a.fit, a.findings, a.columns, a.impulses, a.spectra = fit, pass.findings, pass.columns, pass.impulses, pass.spectra
	if refused := refusals(pass.findings, rec.Name); refused != nil {
		return a, refused
	}
	if err != nil {
		return a, a.failed(rec.Name, err)
	}
	return a, nil
}

// admissible refuses what no computation can mend: a frequency above the usable band, too few periods.
func (j *Job) admissible(p PointPlan, rec recording.Recording) error {
	info := rec.Info
	if !(info.Rate > 0) {
		return fmt.Errorf("recording %s: the sampling rate is not known: state it with the point", rec.Name)
	}
	if limit := j.Procedure.UsableBand * info.Rate; p.Frequency > limit {
		return fmt.Errorf("recording %s: %g Hz is above the usable band of a recording at %g samples per second, 0 Hz to %g Hz", rec.Name, p.Frequency, info.Rate, limit)
	}
	if info.Frames < 0 {
		return nil // told after reading
	}
	return j.enoughPeriods(p, rec.Name, float64(info.Frames)/info.Rate)
}

func (j *Job) enoughPeriods(p PointPlan, name string, duration float64) error {
	// half a sample of slack, so that a record of whole periods is not refused for its rounding
	if periods := p.Frequency * duration; periods < j.Procedure.LeastPeriods-0.01 {
		return fmt.Errorf("recording %s: %.3g s hold %.3g periods of %g Hz, procedure %q asks for at least %g", name, duration, periods, p.Frequency, j.Procedure.Name, j.Procedure.LeastPeriods)
	}
	return nil
}

// scale is volts per unit of the samples of the chain's column.
func (c Chain) scale(rec recording.Recording) (float64, error) {
	n := c.Column
	u := rec.Info.Channels[n-1].Unit
	switch {
	case u.Symbol == "FS":
		if !(c.FullScale() > 0) {
			return 0, fmt.Errorf("recording %s, channel %d holds fractions of full scale: state the recorder channel's full scale in volts", rec.Name, n)
		}
		return c.FullScale(), nil
	case u.Dim == voltDimension:
		return u.Factor, nil
	case u.Symbol == "":
		return 0, fmt.Errorf("recording %s, channel %d has no unit: state the unit of its columns with the point, V or FS (fraction of full scale)", rec.Name, n)
	}
	return 0, fmt.Errorf("recording %s, channel %d is in %s, allowed are volts and fractions of full scale", rec.Name, n, u.Symbol)
}

// step is the quantisation step in V: the recorder channel's resolution where stated, else from the recording's bits; 0 not known.
func (c Chain) step(rec recording.Recording, scale float64) float64 {
	if len(c.Stages) > 0 && c.Stages[len(c.Stages)-1].Resolution > 0 {
		return c.Stages[len(c.Stages)-1].Resolution
	}
	if bits := rec.Info.Channels[c.Column-1].Bits; bits > 0 {
		return scale * math.Exp2(float64(1-bits))
	}
	return 0
}

// pass reads a recording once for every pass of the approximation, and inspects it on the first whole one.
type pass struct {
	reader    recording.Reader // of the pass under way; nil between passes
	rec       recording.Recording
	info      recording.Info // as the inspector is to take it
	frequency float64        // nominal, Hz
	columns   []int
	scale     []float64
	inspector *recording.Inspector // nil after the first whole pass
	findings  []recording.Finding
	impulses  []impulses // of the columns
	spectra   []*spectrum
	mains     float64 // Hz
}

// open starts one pass; next fills the two channels with volts.
func (p *pass) open() (next func(dst [][]float64) (int, error), err error) {
	if err := p.close(); err != nil {
		return nil, err
	}
	r, err := p.rec.Open()
	if err != nil {
		return nil, err
	}
	p.reader = r
	if p.inspector != nil { // a pass that was broken off does not count
		p.inspector = recording.NewInspector(p.info)
		p.impulses, p.spectra = make([]impulses, len(p.columns)), make([]*spectrum, len(p.columns))
		for i := range p.impulses {
			p.impulses[i], p.spectra[i] = newImpulses(p.frequency, p.info.Rate), newSpectrum(p.frequency, p.mains, p.info.Rate)
		}
	}
	all := make([][]float64, len(p.rec.Info.Channels))
	for c := range all {
		all[c] = make([]float64, readFrames)
	}
	return func(dst [][]float64) (int, error) {
		want := min(len(dst[0]), readFrames)
		part := make([][]float64, len(all))
		for c := range all {
			part[c] = all[c][:want]
		}
		n, err := r.Read(part)
		if err != nil {
			return 0, p.end(err)
		}
		if p.inspector != nil {
			for c := range part {
				part[c] = part[c][:n]
			}
			p.inspector.Add(part)
			for i, column := range p.columns {
				p.impulses[i].add(part[column-1], p.scale[i])
				p.spectra[i].add(part[column-1], p.scale[i])
			}
		}
		for i, column := range p.columns {
			for k, v := range part[column-1][:n] {
				dst[i][k] = v * p.scale[i]
			}
		}
		return n, nil
	}, nil
}

// end closes the reader and keeps what the first pass found.
func (p *pass) end(err error) error {
	if p.inspector != nil && errors.Is(err, io.EOF) {
		p.keep(p.inspector.Findings())
		p.inspector = nil
	}
	if e := p.close(); e != nil && errors.Is(err, io.EOF) {
		return e
	}
	return err
}

// close closes the reader of the pass that is under way, if there is one: a pass may be broken off.
func (p *pass) close() error {
	r := p.reader
	if r == nil {
		return nil
	}
	p.reader = nil
	return r.Close()
}

// keep keeps the findings about the channels used and about all channels.
func (p *pass) keep(findings []recording.Finding) {
	for _, f := range findings {
		if f.Channel == 0 || slices.Contains(p.columns, f.Channel) {
			p.findings = append(p.findings, f)
		}
	}
}

// refusals joins the findings that forbid using a recording; nil where there are none.
func refusals(findings []recording.Finding, name string) error {
	var errs []error
	for _, f := range findings {
		if f.Refuse {
			errs = append(errs, fmt.Errorf("recording %s, %s", name, f.Text))
		}
	}
	return errors.Join(errs...)
}

// leaveOut turns the refusal of samples at full scale into a remark where they lie in a few places that are all in blocks the approximation left
// out as disturbed: a click, not clipping.
func leaveOut(findings []recording.Finding, fit sine.Fit) {
	for i, f := range findings {
		if f.Code != recording.Clipped || len(f.Places) == 0 || slices.ContainsFunc(f.Places, func(p recording.Place) bool { return !disturbed(fit, p) }) {
			continue
		}
		findings[i].Refuse = false
		findings[i].Text += " in blocks that were left out as disturbed"
	}
}

// disturbed reports whether every block that holds a part of the place was rejected.
func disturbed(fit sine.Fit, place recording.Place) bool {
	from, to := float64(place.First-1)/fit.Rate, float64(place.Last)/fit.Rate
	for _, b := range fit.Blocks {
		half := float64(fit.BlockSize) * float64(max(1, b.Weight)) / fit.Rate / 2
		if b.Time-half < to && b.Time+half > from && !b.Rejected {
			return false
		}
	}
	return true
}

// evidence reports what the values of a ratio rest on.
func (a acquisition) evidence() Evidence {
	e, ref := a.evidenceOf(a.device), a.fit.Channels[a.reference]
	e.Ratio, e.LnRatio, e.BlockTime = a.ratio.Value, slices.Clone(a.ratio.Ln), slices.Clone(a.ratio.Time)
	e.StdLnRatio, e.DofLnRatio = [2]float64{a.ratio.StdRe, a.ratio.StdIm}, [2]float64{a.ratio.Dof, a.ratio.Dof}
	for i, lag := range []float64{a.ratio.Lag1Re, a.ratio.Lag1Im} {
		e.StdLnRatio[i], e.DofLnRatio[i] = correlated(e.StdLnRatio[i], e.DofLnRatio[i], lag, a.ratio.N)
	}
	e.TrendLeft = [2]float64{trendLeft(a.ratio.SlopeRe, a.ratio.TrendRe, e.Duration), trendLeft(a.ratio.SlopeIm, a.ratio.TrendIm, e.Duration)}
	if a.ratio.N < leastBlocks { // too few blocks to know their scatter: the residual tells, as far as the noise is white
		e.StdLnRatio = [2]float64{max(a.ratio.Noise, a.ratio.StdRe), max(a.ratio.Noise, a.ratio.StdIm)}
		dof := float64(a.fit.Frames) - float64(2*len(ref.Harmonics)+2*len(ref.Mains)+2)
		e.DofLnRatio = [2]float64{dof, dof}
		e.FromResidual = true
	}
	e.AmplitudeReference, e.StepReference = modulus(ref.Amplitude), a.steps[0]
	e.DistortionReference, e.ResidualReference = ref.Distortion, ref.Residual
	e.HannDifference, e.HannStd = a.ratio.Hann, a.ratio.HannStd
	return e
}
