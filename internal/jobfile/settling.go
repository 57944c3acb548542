package jobfile

import (
	"plumbline/calibration"
	"plumbline/quantity"
	"plumbline/steady"
)

// settlingRules are the rules of the judge of steadiness by name.
var settlingRules = map[string]steady.Rule{steady.Wary.String(): steady.Wary, steady.Averaged.String(): steady.Averaged, steady.Skip.String(): steady.Skip}

// settlingNumbers are the keys that say how steadiness is judged.
var settlingNumbers = []string{"rule", "modulus", "phase", "level", "time_constant"}

// readSettling reads how the steadiness of the points is judged; lacking is where the half width of the phase would stand.
func readSettling(t *table) (s calibration.Settling, lacking *spot) {
	defer t.close()
	s.NotApplicable = t.optionalText("not_applicable")
	numbers := t
	if t.has("not_applicable") {
		numbers = &table{d: t.d, path: t.path, label: t.label, known: t.known} // read for its keys only
		for _, key := range settlingNumbers {
			if t.has(key) {
				t.wrong(key, "not_applicable says that steadiness is not judged: allowed is one of them")
			}
		}
	}
	s.Rule = settlingRules[numbers.choice("rule", steady.Wary.String(), steady.Averaged.String(), steady.Skip.String())]
	s.Modulus = numbers.positive("modulus", quantity.Relative)
	if numbers.has("phase") {
		s.Phase = numbers.positive("phase", quantity.Angle)
	} else if !numbers.absent() {
		place := numbers.spot("phase")
		lacking = &place
	}
	numbers.need("level", "true where the level of the reference is looked at, else false,")
	s.Level = numbers.flag("level")
	s.Slow = collect(numbers, "time_constant", false, func(t *table) steady.TimeConstant {
		defer t.close()
		return steady.TimeConstant{Source: t.text("source"), Seconds: t.positive("time", quantity.Time)}
	})
	return s, lacking
}
