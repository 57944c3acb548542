package certificate

import (
	"math"
	"math/cmplx"

	"plumbline/figure"
)

// scaleOverTolerance is the height of the figure's scale over the flatness tolerance, so that the same figure always looks the same.
const scaleOverTolerance = 1.6

// plainScale is the height of the scale, relative, where the device has neither flatness nor tolerance.
const plainScale = 0.1

// response is the figure of the results.
func (a *author) response() figure.Response {
	d := a.r.Job.Device
	f := figure.Response{Title: "Frequency response of " + d.Model + ", serial number " + d.Serial, Reference: d.ReferenceFrequency,
		Flatness: d.Flatness, Band: d.FlatnessBand, Span: plainScale}
	switch {
	case d.Flatness > 0:
		f.Span = scaleOverTolerance * d.Flatness
	case d.Tolerance > 0:
		f.Span = scaleOverTolerance * d.Tolerance
	}
	if a.reference < 0 {
		return figure.Response{}
	}
	if d.Flatness == 0 && d.Tolerance > 0 && d.Nominal > 0 {
		nominal := d.Nominal / cmplx.Abs(a.r.Points[a.reference].Sensitivity)
		f.Tolerance = [2]float64{nominal*(1-d.Tolerance) - 1, nominal*(1+d.Tolerance) - 1}
		f.Limits = "tolerance ±" + percent(d.Tolerance) + thin + "% of " + short(d.Unit.FromSI(d.Nominal)) + thin + d.Unit.Symbol
	}
	for _, i := range a.valued() {
		p := a.r.Points[i]
		q := figure.ResponsePoint{Frequency: p.StatedFrequency(), Deviation: math.NaN(), Phase: math.NaN(), UPhase: math.NaN()}
		switch {
		case i == a.reference:
			q.Deviation, q.U, q.Reference = 0, 0, true
		case p.Deviation != nil:
			q.Deviation, q.U = p.Deviation.Value, p.Deviation.Expanded()
		}
		v, _, _ := a.deviation(i, p)
		q.Label = v + thin + "%"
		if p.HasPhase {
			q.Phase, q.UPhase = cmplx.Phase(p.Sensitivity), p.Reported.UPhase
		}
		f.Points = append(f.Points, q)
	}
	return f
}

func (a *author) plotCaption() Text {
	t := rich("Bars are ±*U*.")
	if d := a.r.Job.Device; d.Flatness > 0 || d.Tolerance > 0 {
		t = append(t, rich(" The scale of the deviation follows the tolerance, not the data; a deviation beyond it is an arrow with its value.")...)
	} else {
		t = append(t, rich(" The scale of the deviation does not follow the data; a deviation beyond it is an arrow with its value.")...)
	}
	if a.anyPhase() {
		t = append(t, rich(" The scale of the phase follows the data.")...)
	}
	return t
}
