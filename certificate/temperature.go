package certificate

import "plumbline/calibration"

// corrected reports whether the sensitivities were corrected for temperature: where the procedure says that temperature applies.
func (a *author) corrected() bool {
	in, ok := a.r.Job.Procedure.Influence("temperature")
	return ok && in.NotApplicable == ""
}

// statedTemperature says which temperature the sensitivity is stated for.
func (a *author) statedTemperature() Text {
	d, now := a.r.Job.Device, degreesCelsius(a.r.Job.Conditions.Temperature)
	if !a.corrected() || !d.Temperature.Stated {
		return plain("The sensitivity is stated at the temperature of the calibration, " + now + ".")
	}
	return plain("The sensitivity is stated for " + degreesCelsius(d.ReferenceTemperature) + ": it was corrected from the temperature of the calibration, " + now +
		", with the item's temperature coefficient (see Conditions).")
}

// coefficients is the temperature coefficients that sensitivities were corrected with.
func (a *author) coefficients() (f Facts) {
	if !a.corrected() {
		return nil
	}
	f.add("Temperature coefficients of the sensitivity",
		"item: "+coefficient(a.r.Job.Device.Transducer), "reference: "+coefficient(a.r.Job.Reference.Transducer))
	return f
}

func coefficient(t calibration.Transducer) string {
	if !t.Temperature.Stated {
		return "not stated, not corrected"
	}
	s := signed(short(100*t.Temperature.Value)) + thin + "%/K"
	if t.Temperature.Std > 0 {
		s += ", standard uncertainty " + short(100*t.Temperature.Std) + thin + "%/K"
	}
	return s + ", referred to " + degreesCelsius(t.ReferenceTemperature)
}

func degreesCelsius(t float64) string { return short(t) + thin + "°C" }
