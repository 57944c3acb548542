package jobfile

import (
	"plumbline/plan"
	"plumbline/quantity"
)

// readExciter reads the table [exciter].
func readExciter(t *table) (e plan.Exciter) {
	defer t.close()
	e.Identity = readIdentity(t)
	e.Stroke = 2 * t.motion("stroke", quantity.Displacement, true)
	e.Velocity = t.motion("velocity", quantity.Velocity, false)
	e.Cap = t.motion("level_cap", quantity.Acceleration, false)
	if t.has("force") {
		e.Force = t.positive("force", quantity.Force)
	}
	if t.has("suspension_resonance") {
		e.Suspension = t.positive("suspension_resonance", quantity.Frequency)
	}
	if e.Force > 0 || e.Suspension > 0 || t.has("armature_mass") {
		e.Armature = t.positive("armature_mass", quantity.Mass)
	}
	e.Fixture = t.notNegative("fixture_mass", quantity.Mass)
	e.Vertical = t.choice("axis", "vertical", "horizontal") == "vertical"
	e.Centred = t.flag("centred")
	e.FrequencyRange = t.mustPair("frequency_range", quantity.Frequency)
	e.Distortion, e.Transverse = readShares(t, "distortion"), readShares(t, "transverse")
	if t.has("loop_time") {
		e.LoopTime = t.positive("loop_time", quantity.Time)
	}
	if x := t.optionalNumber("loop_cycles", 0, 1000); t.has("loop_cycles") {
		e.LoopCycles = x
	}
	if !t.has("loop_time") && !t.has("loop_cycles") {
		t.wrong("loop_time", "missing: state the time constant of the level loop, as a time, as loop_cycles, or both, which add")
	}
	e.ChangeOver = t.notNegative("change_over", quantity.Time)
	if t.has("warm_up") {
		e.WarmUp = t.positive("warm_up", quantity.Time)
	}
	return e
}

// motion reads a level of one quantity of motion, above zero, coherent SI peak; 0 where it may be and is left out.
func (t *table) motion(key string, want quantity.Motion, mandatory bool) float64 {
	if mandatory {
		t.need(key, "a "+want.String()+" with peak or peak-to-peak")
	}
	v, ok := t.optional(key, quantity.Level)
	if !ok {
		return 0
	}
	if m, known := quantity.MotionOf(v.Unit); !known || m != want || !(v.SI > 0) {
		t.wrong(key, "found %q, allowed is a %s above zero", v.Text, want)
	}
	return v.SI
}

// readShares reads a table of relative size against frequency.
func readShares(t *table, key string) []plan.Share {
	last := 0.0
	return collect(t, key, false, func(t *table) (s plan.Share) {
		defer t.close()
		s = plan.Share{Frequency: t.positive("frequency", quantity.Frequency), Value: t.notNegative("value", quantity.Relative)}
		if !t.absent() && s.Frequency > 0 {
			if s.Frequency <= last {
				t.wrong("frequency", "does not ascend")
			}
			last = s.Frequency
		}
		return s
	})
}
