package validation

import (
	"fmt"
	"io"
	"slices"

	"plumbline/steady"
	"plumbline/steady/study"
)

// Largest shares of false acceptances, with tau_max told right: the scenario with autocorrelation 0.8 is allowed more.
const (
	falseLimit      = 0.05
	falseLimitAR    = 0.085
	leftLimit       = 0.055 // with the time constant told half, after the repetition
	correlatedLabel = "F "
)

// toldHalf are the scenarios in which tau_max is told half of what is true and the limit holds: for the wary rule all of them, for the averaged one the
// one it was published with.
var toldHalf = map[steady.Rule][]string{steady.Averaged: {"exp 20", "up to twice"}, steady.Wary: {"exp 20", "exp 40", "up to twice"}}

// settling runs the study of the settling rules: how often a point is accepted with a value further from the truth than claimed, how long
// the rules wait against one who knows the transient and the noise, and what repeating a point at the end finds.
func settling(s Settings, w io.Writer) (misses []string, err error) {
	r := study.Run(s.runs(200, 2000), s.Seed)
	fmt.Fprintf(w, "Rules: *skip* leaves out five tau_max and takes batch means; *averaged* fits a constant with exponentials and correlated noise, told twice the time constant believed; "+
		"*wary* does the same with slower exponentials in its prior, told the time constant believed. A minus at the end counts runs not accepted within 800 blocks.\n\n```\n%s```\n\n", r)
	for _, row := range r.Rows {
		for _, o := range row.Outcomes {
			if o.Rule == steady.Skip {
				continue // the fall-back, for comparison
			}
			misses = append(misses, settlingMisses(row, o)...)
		}
	}
	return misses, nil
}

func settlingMisses(row study.Row, o study.Outcome) (misses []string) {
	limit := falseLimit
	if len(row.Scenario) > 1 && row.Scenario[:2] == correlatedLabel {
		limit = falseLimitAR
	}
	share := func(n int) float64 { return float64(n) / float64(row.Runs) }
	if (row.Kind == study.Design || row.Kind == study.HoldOut) && share(o.False) > limit+binomial(limit, row.Runs) {
		misses = append(misses, fmt.Sprintf("settling, rule %v, %s: %s false acceptances", o.Rule, row.Scenario, percent(share(o.False), 1)))
	}
	if row.Kind == study.TooSmall && slices.Contains(toldHalf[o.Rule], row.Scenario) && share(o.Left) > leftLimit+binomial(leftLimit, row.Runs) {
		misses = append(misses, fmt.Sprintf("settling, rule %v, %s told half: %s left after the repetition", o.Rule, row.Scenario, percent(share(o.Left), 1)))
	}
	return misses
}
