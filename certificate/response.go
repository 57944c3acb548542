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
	if a.r.Job.Device.Flatness > 0 {
		t = append(t, rich(" The scale follows the tolerance, not the data; a point beyond it is an arrow with its value.")...)
	}
	return t
}
