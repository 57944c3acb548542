package certificate

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"plumbline/calibration"
)

// uncertainty says what U is and which evaluation it comes from.
func (a *author) uncertainty() Section {
	pr := a.r.Job.Procedure
	blocks := []Block{Paragraph{Text: rich("The stated uncertainty *U* is the combined standard uncertainty *u*~c~ multiplied by the coverage factor *k* printed beside it; "+
		"the interval of ±*U* about a value holds the true value with a probability of {}"+thin+"%. *U* of the modulus is relative to the modulus. "+
		"*U* holds for the time of the calibration and includes no later drift of the item.", probability(pr.Probability))}}
	first, simulated := a.split()
	switch {
	case len(simulated) == 0:
		blocks = append(blocks, Paragraph{Text: rich("All uncertainties were evaluated to first order (JCGM 100, GUM): *k* is the quantile of Student's *t* for the effective degrees of freedom.")})
	case len(first) == 0:
		blocks = append(blocks, Paragraph{Text: rich("All uncertainties come from a Monte Carlo evaluation (JCGM 101): *U* is half the width of the interval about the value that holds the coverage probability, *k* its ratio to the combined standard uncertainty *u*~c~.")})
	default:
		one, other := strings.Join(simulated, "; "), strings.Join(first, "; ")
		if len(one) <= len(other) {
			blocks = append(blocks, Paragraph{Text: rich("By Monte Carlo (JCGM 101; *U* is half the width of the interval about the value that holds the coverage probability, *k* its ratio to *u*~c~): {}. "+
				"All others to first order (JCGM 100, GUM; *k* from Student's *t* with the effective degrees of freedom).", one)})
			break
		}
		blocks = append(blocks, Paragraph{Text: rich("To first order (JCGM 100, GUM; *k* from Student's *t* with the effective degrees of freedom): {}. "+
			"All others by Monte Carlo (JCGM 101; *U* is half the width of the interval about the value that holds the coverage probability, *k* its ratio to *u*~c~).", other)})
	}
	if seeds := a.seeds(); seeds != "" {
		blocks = append(blocks, Paragraph{Text: rich("Both evaluations were made everywhere; they stand beside each other in the annex, with the reason for the choice. The Monte Carlo evaluation took {} trials for each value{}, {}.",
			a.trials(), a.untilStable(), seeds)})
	}
	return Section{Heading: "Uncertainty", Blocks: blocks}
}

// split lists the stated uncertainties by the evaluation they come from.
func (a *author) split() (first, simulated []string) {
	by := map[calibration.Evaluation]map[string][]string{}
	note := func(what string, e calibration.Evaluation, f float64) {
		if by[e] == nil {
			by[e] = map[string][]string{}
		}
		by[e][what] = append(by[e][what], hertz(f))
	}
	what := []string{"modulus", "deviation", "phase"}
	for _, i := range a.valued() {
		p := a.r.Points[i]
		note(what[0], p.Reported.Evaluation, p.StatedFrequency())
		if p.Deviation != nil && i != a.reference {
			note(what[1], p.Deviation.Reported.Evaluation, p.StatedFrequency())
		}
		if p.HasPhase {
			note(what[2], p.Reported.EvaluationPhase, p.StatedFrequency())
		}
	}
	list := func(e calibration.Evaluation) (out []string) {
		for _, w := range what {
			fs := by[e][w]
			all := len(fs) == len(by[calibration.FirstOrder][w])+len(by[calibration.MonteCarlo][w])
			switch {
			case len(fs) == 0:
			case all:
				out = append(out, w+" at all frequencies")
			default:
				out = append(out, w+" at "+strings.Join(fs, ", ")+thin+"Hz")
			}
		}
		return out
	}
	return list(calibration.FirstOrder), list(calibration.MonteCarlo)
}

// trials is the number of trials of the values in words.
func (a *author) trials() string {
	least, most := math.MaxInt, 0
	for _, i := range a.valued() {
		if n := a.r.Points[i].Simulation.Trials; n > 0 {
			least, most = min(least, n), max(most, n)
		}
	}
	if least >= most {
		return count(uint64(most))
	}
	return count(uint64(least)) + " to " + count(uint64(most))
}

// untilStable says when the trials of a value were enough, where that was not a fixed number.
func (a *author) untilStable() string {
	switch a.r.Job.Procedure.Digits {
	case 0:
		return ""
	case 1:
		return " (until one significant digit of the uncertainty was stable)"
	}
	return " (until two significant digits of the uncertainty were stable)"
}

// seeds is the seeds of the Monte Carlo evaluations in words.
func (a *author) seeds() string {
	var values, deviations []uint64
	for _, i := range a.valued() {
		p := a.r.Points[i]
		if p.Simulation.Trials > 0 {
			values = append(values, p.Simulation.Seed)
		}
		if p.Deviation != nil && p.Deviation.Simulation.Trials > 0 {
			deviations = append(deviations, p.Deviation.Simulation.Seed)
		}
	}
	if len(values) == 0 {
		return ""
	}
	s := "seeds in the order of the table " + listSeeds(values)
	if len(deviations) > 0 {
		s += ", of the deviations " + listSeeds(deviations)
	}
	return s
}

// listSeeds lists seeds in their order, runs of consecutive ones as from and to.
func listSeeds(seeds []uint64) string {
	var parts []string
	for i := 0; i < len(seeds); {
		j := i + 1
		for j < len(seeds) && seeds[j] == seeds[j-1]+1 {
			j++
		}
		part := strconv.FormatUint(seeds[i], 10)
		if j-i > 1 {
			part += " to " + strconv.FormatUint(seeds[j-1], 10)
		}
		parts = append(parts, part)
		i = j
	}
	return strings.Join(parts, ", ")
}

// conditions is the environment and the mounting.
func (a *author) conditions() Section {
	c := a.r.Job.Conditions
	var f Facts
	f.add("Temperature", fmt.Sprintf("%s%s°C; of the transducers within ±%s%sK of it", short(c.Temperature), thin, short(c.TemperatureHalfWidth), thin))
	if !math.IsNaN(c.Humidity) {
		f.add("Relative humidity", percent(c.Humidity)+thin+"%")
	}
	if !math.IsNaN(c.Pressure) {
		f.add("Air pressure", short(c.Pressure/100)+thin+"hPa")
	}
	f = append(f, a.coefficients()...)
	f.add("Mounting", a.p.Mounting)
	return Section{Heading: "Conditions", Blocks: []Block{f}}
}

// deviations lists additions to, deviations and exclusions from the method.
func (a *author) deviations() Section {
	var l List
	for _, d := range a.p.Deviations {
		l = append(l, plain(sentence(d)))
	}
	for _, d := range a.r.Deviations {
		l = append(l, plain(sentence(d.Text)))
	}
	if outside := a.outsideValidity(); outside != "" {
		l = append(l, plain(sentence(outside+"; the reason stands under Equipment")))
	}
	if len(l) == 0 {
		return Section{Heading: "Deviations from the method", Blocks: []Block{Paragraph{Text: plain("None.")}}}
	}
	return Section{Heading: "Deviations from the method", Blocks: []Block{l}}
}

func (a *author) traceability() Section {
	text := sentence(a.p.Traceability)
	if strings.EqualFold(strings.Trim(a.p.Traceability, " ."), "none") {
		text = "The laboratory makes no claim of metrological traceability."
	}
	return Section{Heading: "Traceability", Blocks: []Block{Paragraph{Text: plain(text)}}}
}

// further is what else the laboratory has to say.
func (a *author) further() Section {
	var l List
	for _, s := range a.p.Statements {
		l = append(l, plain(sentence(s)))
	}
	if len(l) == 0 {
		return Section{}
	}
	return Section{Heading: "Statements of the laboratory", Blocks: []Block{l}}
}

// limits says what the certificate does not say.
func (a *author) limits() Section {
	l := List{
		plain("A calibration says nothing about the safety of a structure or a machine; that judgement belongs to the engineer who is responsible for it."),
		plain("The certificate makes no recommendation about the interval to the next calibration."),
		plain("The program that wrote it prints no accreditation mark and adds no claim of accreditation or traceability to what the laboratory entered."),
	}
	if a.p.Invented {
		l = append(List{strong("The data of this document are invented. It shows how a certificate looks and certifies nothing.")}, l...)
	}
	return Section{Heading: "What this certificate does not say", Blocks: []Block{l}}
}
