package conformity

import (
	"fmt"
	"math"

	"plumbline/uncertainty"
)

// Items is what is known of items like the one judged before it is measured: the prior of the global risk. The zero value states nothing.
type Items struct {
	Conforming float64   // fraction of them within the tolerance, distributed normally about its middle; 0: not stated
	History    []float64 // earlier sensitivities of the device at its reference frequency, coherent SI; empty: not stated
	Source     string    // where the fraction or the history comes from
}

// ItemRisk is the global risk of one statement with the prior it rests on.
type ItemRisk struct {
	GlobalRisk
	Prior string // in words
}

// states says whether anything is stated.
func (i Items) states() bool { return i.Conforming > 0 || len(i.History) > 0 }

// prior is the prior of one question, in words as well; ok is false where nothing is stated that fits it. AtReference says that the question is about the sensitivity at
// the reference frequency, which a history is of.
func (i Items) prior(q Question, atReference bool) (p Prior, words string, ok bool, err error) {
	source := ""
	if i.Source != "" {
		source = " (" + i.Source + ")"
	}
	switch {
	case atReference && len(i.History) > 0:
		p, err = PriorFromHistory(i.History)
		return p, fmt.Sprintf("true values as the device's %d earlier results show them%s", len(i.History), source), true, err
	case i.Conforming > 0 && !math.IsInf(q.Tolerance.Lower, 0) && !math.IsInf(q.Tolerance.Upper, 0):
		p, err = PriorWithin(q.Tolerance, i.Conforming)
		return p, fmt.Sprintf("items of which %.4g %% lie within the tolerance, normally distributed about its middle%s", 100*i.Conforming, source), true, err
	}
	return p, "", false, nil
}

// addGlobal adds the global risk of accepting values within the acceptance limits of the statement, for items as stated measured as the evidence says.
//
// Clause: JCGM 106 9.5
func (s *Statement) addGlobal(items Items, q Question, e Evidence, atReference bool) error {
	if !items.states() {
		return nil
	}
	prior, words, ok, err := items.prior(q, atReference)
	if err != nil {
		return fmt.Errorf("%s: %w", q.Subject, err)
	}
	if !ok {
		s.Remarks = append(s.Remarks, "no global risk: what is stated of such items does not fit this requirement")
		return nil
	}
	mean, errors, err := errorsOf(e)
	if err != nil {
		return fmt.Errorf("%s: %w", q.Subject, err)
	}
	acceptance := Limits{s.Acceptance.Lower - mean, s.Acceptance.Upper - mean}
	risk, err := Global(prior, errors, s.Tolerance, acceptance)
	if err != nil {
		return fmt.Errorf("%s: %w", q.Subject, err)
	}
	s.Global = &ItemRisk{GlobalRisk: risk, Prior: words}
	return nil
}

// errorsOf is how measured values are distributed about the true one: their mean difference and the distribution about it.
func errorsOf(e Evidence) (mean float64, d uncertainty.Shape, err error) {
	switch e := e.(type) {
	case FirstOrder:
		if math.IsInf(e.Dof, 1) {
			return 0, uncertainty.Normal{Sigma: e.U / e.K}, nil
		}
		return 0, uncertainty.StudentT{Scale: e.U / e.K, Dof: e.Dof}, nil
	case MonteCarlo:
		errors := make([]float64, len(e.Sample))
		for i, s := range e.Sample {
			errors[i] = e.Value - (e.Offset + e.Scale*s)
		}
		return uncertainty.NewEmpirical(errors)
	}
	return 0, nil, fmt.Errorf("global risk: the evidence (%s) says nothing of the errors of measurement", e)
}
