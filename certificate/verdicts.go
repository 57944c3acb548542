package certificate

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"plumbline/calibration"
	"plumbline/conformity"
	"plumbline/quantity"
)

// group is the statements about one requirement of one quantity under one rule.
type group struct{ statements []conformity.Statement }

// groups gathers the statements in the order of their first appearance.
func (a *author) groups() []group {
	type key struct {
		requirement, rule string
		relative, phase   bool
	}
	var out []group
	index := map[key]int{}
	for _, s := range a.statements {
		k := key{s.Requirement, s.Rule, s.Relative, s.Phase}
		i, ok := index[k]
		if !ok {
			i = len(out)
			index[k] = i
			out = append(out, group{})
		}
		out[i].statements = append(out[i].statements, s)
	}
	return out
}

// requirement is what the group was judged by: of what, within which limits, in which band.
func (a *author) requirement(g group) string {
	s := g.statements[0]
	if len(g.statements) == 1 {
		return capital(s.Subject) + " " + s.Requirement
	}
	of := "Sensitivity "
	switch {
	case s.Relative:
		of = "Deviation from " + hertz(a.r.Job.Device.ReferenceFrequency) + thin + "Hz "
	case s.Phase:
		of = "Phase "
	}
	band := ""
	if !strings.Contains(s.Requirement, " from ") && !strings.Contains(s.Requirement, " at ") { // the limits do not name their band themselves
		band = " from " + a.judgedBand(g)
	}
	return of + s.Requirement + band
}

// judgedBand is the band in which a group was judged, which the point at the reference frequency belongs to although its deviation is 0.
func (a *author) judgedBand(g group) string {
	low, high := math.Inf(1), math.Inf(-1)
	for _, s := range g.statements {
		low, high = min(low, s.Frequency), max(high, s.Frequency)
	}
	if band := a.r.Job.Device.FlatnessBand; g.statements[0].Relative && a.reference >= 0 {
		if f := a.r.Points[a.reference].StatedFrequency(); band == [2]float64{} || f >= band[0] && f <= band[1] {
			low, high = min(low, f), max(high, f)
		}
	}
	return hertz(low) + thin + "Hz to " + hertz(high) + thin + "Hz"
}

// summary is the verdict about the group in words: every verdict with the number of its frequencies.
func (g group) summary() string {
	n := map[string]int{}
	for _, s := range g.statements {
		n[s.Verdict.String()]++
	}
	if first := g.statements[0].Verdict.String(); n[first] == len(g.statements) {
		if len(g.statements) == 1 {
			return first
		}
		return fmt.Sprintf("%s at all %d frequencies", first, n[first])
	}
	var parts []string
	for _, v := range conformity.Verdicts() {
		if k := n[v.String()]; k > 0 {
			parts = append(parts, fmt.Sprintf("%s at %d", v, k))
		}
	}
	return fmt.Sprintf("%s of %d frequencies", strings.Join(parts, ", "), len(g.statements))
}

// conformity is the statements of conformity with the numbers they were taken on.
func (a *author) conformity() Section {
	s := Section{Heading: "Conformity"}
	if len(a.statements) == 0 {
		s.Blocks = []Block{Paragraph{Text: plain("No statement of conformity is made.")}}
		return s
	}
	s.Blocks = append(s.Blocks, Paragraph{Text: rich("A value conforms where it lies within the acceptance limits, which follow from the tolerance limits by the decision rule. " +
		"Verdicts were taken on unrounded numbers. *p* is the probability, given the measurement alone, that the true value lies outside the tolerance: " +
		"for an accepted value the risk that this acceptance is wrong, for a rejected one its complement is the risk that the rejection is wrong.")})
	for _, g := range a.groups() {
		s.Blocks = append(s.Blocks, a.verdicts(g))
	}
	return s
}

func (a *author) verdicts(g group) Table {
	first := g.statements[0]
	unit := first.Unit(a.r.Job.Device.Unit)
	tolerance, acceptance := plain("Tolerance limits"), plain("Acceptance limits")
	symbol := plain(unit.Symbol)
	t := Table{
		Caption: rich("#{}# Decision rule: {}{}{}", strings.TrimRight(a.requirement(g), ".")+".", sentence(first.Rule), g.evaluation(), g.global()),
		Columns: []Column{
			{Head: plain("Judged"), Kind: Words, Share: 1},
			{Head: plain("Value"), Unit: symbol, Kind: Number},
			{Head: rich("*U*"), Unit: symbol, Kind: Number},
			{Group: tolerance, Head: plain("lower"), Unit: symbol, Kind: Number},
			{Group: tolerance, Head: plain("upper"), Unit: symbol, Kind: Number},
			{Group: acceptance, Head: plain("lower"), Unit: symbol, Kind: Number},
			{Group: acceptance, Head: plain("upper"), Unit: symbol, Kind: Number},
			{Head: rich("*p*"), Unit: plain("%"), Kind: Number},
			{Head: plain("Verdict"), Kind: g.verdictKind(), Share: g.verdictShare()},
			{Head: plain("Notes"), Kind: Marks},
		},
	}
	var n notes
	for _, s := range g.statements {
		if g.evaluation() == "" && s.Evaluation != "" {
			s.Remarks = append([]string{evaluatedBy(s.Evaluation)}, s.Remarks...)
		}
		t.Rows = append(t.Rows, Row{Cells: a.verdictCells(s, unit, &n)})
	}
	t.Notes = n.list
	t.dropUnused()
	return t
}

// global is the largest global risks of a group in words, for every prior one of its statements rests on; nothing where none is stated.
func (g group) global() string {
	type risks struct {
		n                  int
		consumer, producer float64
	}
	var priors []string
	by := map[string]risks{}
	for _, s := range g.statements {
		if s.Global == nil {
			continue
		}
		r, known := by[s.Global.Prior]
		if !known {
			priors = append(priors, s.Global.Prior)
		}
		by[s.Global.Prior] = risks{r.n + 1, max(r.consumer, s.Global.Consumer), max(r.producer, s.Global.Producer)}
	}
	text := ""
	for _, prior := range priors {
		r, upTo := by[prior], ""
		if r.n > 1 {
			upTo = "up to "
		}
		text += " Global risk, for " + prior + ": accepted though outside the tolerance " + upTo + probability(r.consumer) + thin + "%, rejected though within it " + upTo + probability(r.producer) + thin + "%."
	}
	return text
}

// conditional reports whether a verdict of the group has a condition: those words are too long for one line of a column.
func (g group) conditional() bool {
	return slices.ContainsFunc(g.statements, func(s conformity.Statement) bool {
		return s.Verdict == conformity.ConditionallyConforms || s.Verdict == conformity.ConditionallyDoesNotConform
	})
}

func (g group) verdictKind() Kind {
	if g.conditional() {
		return Words
	}
	return Fixed
}

func (g group) verdictShare() float64 {
	if g.conditional() {
		return 1
	}
	return 0
}

// evaluation says how the probabilities of a group were evaluated, nothing where that differs.
func (g group) evaluation() string {
	first := g.statements[0].Evaluation
	for _, s := range g.statements {
		if s.Evaluation != first {
			return ""
		}
	}
	if first == "" {
		return ""
	}
	return " " + evaluatedBy(first)
}

func evaluatedBy(evaluation string) string {
	if evaluation == string(calibration.MonteCarlo) {
		return "Probability by Monte Carlo."
	}
	return "Probability to " + evaluation + "."
}

// risk is the probability of a statement in percent. Where no trial, or every one, lies outside the tolerance, that is known no better than to 3 over
// the number of trials, with a confidence of 95 % (closed form: (1 - 3/N)^N = 0.05).
func (a *author) risk(s conformity.Statement) string {
	if s.Trials > 0 {
		bound := 3 / float64(s.Trials)
		switch s.Risk {
		case 0:
			return "<" + thin + significant(100*bound, 2)
		case 1:
			return ">" + thin + fixed(100-100*bound, quantity.Decimals(100*bound, 2))
		}
	}
	return probability(s.Risk)
}

// judgedOf is what a row of statements was about; what the caption says is left out.
func judgedOf(s conformity.Statement) string {
	subject, _, _ := strings.Cut(s.Subject, " from the sensitivity at ")
	return capital(subject)
}

func (a *author) verdictCells(s conformity.Statement, unit quantity.Unit, n *notes) []Text {
	value, u := unit.FromSI(s.Value), unit.FromSI(s.U)
	v, w := dash, dash
	decimals := 3
	if positive(u) {
		v, w = rounded(value, u)
		decimals = quantity.Decimals(u, digitsOfU) + 1
	}
	if s.Relative {
		v = signed(v)
	}
	limit := func(x float64, exact bool) Text {
		x = unit.FromSI(x)
		text := fixed(x, decimals)
		switch {
		case math.IsInf(x, 0) || math.IsNaN(x):
			return plain(dash)
		case exact:
			text = short(x)
		}
		if s.Relative {
			return plain(signed(text))
		}
		return plain(minus(text))
	}
	var marks []string
	for _, r := range s.Remarks {
		marks = append(marks, n.of(r))
	}
	word := plain(s.Verdict.String())
	if s.Verdict != conformity.Conforms {
		word = strong(s.Verdict.String())
	}
	return []Text{
		plain(judgedOf(s)), plain(v), plain(w),
		limit(s.Tolerance.Lower, true), limit(s.Tolerance.Upper, true), limit(s.Acceptance.Lower, false), limit(s.Acceptance.Upper, false),
		plain(a.risk(s)), word, plain(strings.Join(slices.Compact(marks), ", ")),
	}
}
