package jobfile

import (
	"slices"

	"plumbline/calibration"
	"plumbline/conformity"
	"plumbline/quantity"
)

// RuleSpec is the decision rule. Name is empty where nothing is to be decided.
type RuleSpec struct {
	Name string  // one of ruleNames
	R    float64 // length of the guard band in expanded uncertainties; 0 where the rule has none
	Risk float64 // largest specific risk; 0 where the rule has none
}

const (
	simpleAcceptance = "simple acceptance"
	guardBand        = "guard band"
	nonBinary        = "non-binary guard band"
	specificRisk     = "specific risk"
	managedGuardBand = "managed guard band"
)

// ruleNames is the decision rules a job may choose.
var ruleNames = []string{simpleAcceptance, guardBand, nonBinary, specificRisk, managedGuardBand}

// Rule is the decision rule named, nil where nothing is to be decided.
func (s RuleSpec) Rule() conformity.Rule {
	switch s.Name {
	case simpleAcceptance:
		return conformity.SimpleAcceptance{}
	case guardBand:
		return conformity.GuardBand{R: s.R}
	case nonBinary:
		return conformity.NonBinary{R: s.R}
	case specificRisk:
		return conformity.SpecificRisk{Largest: s.Risk}
	case managedGuardBand:
		return conformity.ManagedGuardBand{}
	}
	return nil
}

func readDecision(root *table, device calibration.Device) (r RuleSpec, items conformity.Items) {
	t := root.optionalAsset("decision")
	defer t.close()
	if t.absent() && (device.Tolerance > 0 || device.Flatness > 0 || device.PhaseTolerance > 0 || len(device.Limits) > 0) {
		root.wrong("decision", "missing: the device has a tolerance or a flatness or another limit, so a table [decision] with the rule agreed with the customer is mandatory")
	}
	r.Name = t.choice("rule", ruleNames...)
	hasR, hasRisk := t.has("r"), t.has("risk")
	if r.Name != guardBand && r.Name != nonBinary && hasR {
		t.wrong("r", "only a guard band has a length")
	}
	if r.Name != specificRisk && hasRisk {
		t.wrong("risk", "only the rule %q has a largest risk", specificRisk)
	}
	switch r.Name {
	case guardBand:
		r.R = t.number("r", conformity.SmallestR, conformity.LargestR)
	case nonBinary:
		r.R = t.number("r", 0, conformity.LargestR)
		if hasR && r.R == 0 {
			t.wrong("r", "found 0, allowed are numbers above 0: a guard band without length leaves two verdicts")
		}
	case specificRisk:
		v, ok := t.mustValue("risk", quantity.Relative)
		if ok && !(v.SI > 0 && v.SI <= 0.5) {
			t.wrong("risk", "found %q, allowed are values above 0 %% and up to 50 %%", v.Text)
		}
		r.Risk = v.SI
	}
	return r, readItems(t.optionalTable("items"), device)
}

const fewestEarlier = 3 // results that a distribution can be taken from

// readItems reads what is known of items like the one judged.
func readItems(t *table, device calibration.Device) (i conformity.Items) {
	defer t.close()
	v, ok := t.optional("conforming", quantity.Relative)
	if ok && !(v.SI > 0 && v.SI < 1) {
		t.wrong("conforming", "found %q, allowed are values above 0 %% and below 100 %%", v.Text)
	}
	i.Conforming = v.SI
	for _, text := range t.lines("history") {
		v, err := quantity.Parse(text, quantity.Sensitivity)
		switch {
		case err != nil:
			t.wrong("history", "%v", err)
		case v.Unit.Dim != device.Unit.Dim || !(v.SI > 0):
			t.wrong("history", "found %q, allowed are sensitivities in the unit of the device, above 0", text)
		}
		i.History = append(i.History, v.SI)
	}
	if t.has("history") && (len(i.History) < fewestEarlier || slices.Max(i.History) == slices.Min(i.History)) {
		t.wrong("history", "found %d values, allowed are %d or more that are not all equal", len(i.History), fewestEarlier)
	}
	if !t.absent() && !t.has("conforming") && !t.has("history") {
		t.wrong("conforming", "missing: conforming or history is mandatory")
	}
	i.Source = t.text("source")
	return i
}
