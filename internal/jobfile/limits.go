package jobfile

import (
	"math"

	"plumbline/calibration"
	"plumbline/quantity"
)

// readLimits reads what a device's specification says of its phase, and its table of limits.
func readLimits(t *table, d *calibration.Device) {
	tolerance, ok := t.optional("phase_tolerance", quantity.Angle)
	limited := t.has("phase_tolerance")
	if ok && !(tolerance.SI > 0 && tolerance.SI < math.Pi) {
		t.wrong("phase_tolerance", "found %q, allowed are values above 0° and below 180°", tolerance.Text)
	}
	d.PhaseTolerance = tolerance.SI
	if band, ok := t.pair("phase_band", quantity.Frequency); ok {
		d.PhaseBand = band
		if !limited {
			t.wrong("phase_band", "stated without phase_tolerance")
		}
	}
	d.Limits = collect(t, "limit", false, readLimitLine)
	for _, l := range d.Limits {
		limited = limited || l.Of == calibration.LimitedPhase
	}
	nominal, stated := t.optional("phase_nominal", quantity.Angle)
	d.PhaseNominal = nominal.SI
	switch {
	case limited && !t.has("phase_nominal"):
		t.wrong("phase_nominal", "missing: the phase has a limit, so the phase it is counted from is mandatory, \"0°\" or, for inverted polarity, \"180°\"")
	case stated && !limited:
		t.wrong("phase_nominal", "stated without a limit of the phase")
	case stated && !(math.Abs(nominal.SI) <= math.Pi):
		t.wrong("phase_nominal", "found %q, allowed are values from -180° to 180°", nominal.Text)
	}
}

const (
	limitSensitivity = "sensitivity"
	limitDeviation   = "deviation"
	limitPhase       = "phase"
)

// readLimitLine reads one line of the table of limits.
func readLimitLine(t *table) (l calibration.FrequencyLimit) {
	defer t.close()
	kind := quantity.Relative
	switch t.choice("of", limitSensitivity, limitDeviation, limitPhase) {
	case limitSensitivity:
		l.Of = calibration.LimitedSensitivity
	case limitDeviation:
		l.Of = calibration.LimitedDeviation
	case limitPhase:
		l.Of, kind = calibration.LimitedPhase, quantity.Angle
	}
	single, from, to := t.has("frequency"), t.has("from"), t.has("to")
	switch {
	case single && (from || to):
		t.wrong("frequency", "frequency, and from with to, are the same fact: allowed is one of them")
	case !single && !from && !to && !t.absent():
		t.wrong("frequency", "missing: frequency, or from and to, is mandatory")
	case single || t.absent():
		l.From = t.positive("frequency", quantity.Frequency)
		l.To = l.From
	default:
		l.From, l.To = t.positive("from", quantity.Frequency), t.positive("to", quantity.Frequency)
		if l.To > 0 && !(l.From < l.To) {
			t.wrong("to", "does not lie above from")
		}
	}
	readLimitsOf(t, kind, &l)
	return l
}

// readLimitsOf reads tolerance, or lower or upper limit or both.
func readLimitsOf(t *table, kind quantity.Kind, l *calibration.FrequencyLimit) {
	l.Lower, l.Upper = math.Inf(-1), math.Inf(1)
	least, most := -1.0, 1.0
	if kind == quantity.Angle {
		least, most = -math.Pi, math.Pi
	}
	tolerance, symmetric := t.optional("tolerance", kind)
	lower, below := t.optional("lower", kind)
	upper, above := t.optional("upper", kind)
	if symmetric {
		l.Lower, l.Upper = -tolerance.SI, tolerance.SI
	}
	if below {
		l.Lower = lower.SI
	}
	if above {
		l.Upper = upper.SI
	}
	switch {
	case t.has("tolerance") && (t.has("lower") || t.has("upper")):
		t.wrong("tolerance", "tolerance, and lower or upper, are the same fact: allowed is one of them")
	case !t.has("tolerance") && !t.has("lower") && !t.has("upper"):
		t.wrong("tolerance", "missing: tolerance, or lower or upper or both, is mandatory, for example %q", "±5 %")
	case symmetric && !(tolerance.SI > 0 && tolerance.SI < most):
		t.wrong("tolerance", "found %q, allowed are values above zero and below 100 %% (180° of a phase)", tolerance.Text)
	case below && !(lower.SI > least && lower.SI < most):
		t.wrong("lower", "found %q, allowed are values within ±100 %% (±180° of a phase)", lower.Text)
	case above && !(upper.SI > least && upper.SI < most):
		t.wrong("upper", "found %q, allowed are values within ±100 %% (±180° of a phase)", upper.Text)
	case below && above && !(lower.SI < upper.SI):
		t.wrong("upper", "does not lie above lower")
	}
}
