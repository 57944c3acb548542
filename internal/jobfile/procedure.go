package jobfile

import (
	"math"
	"slices"
	"strings"

	"plumbline/calibration"
	"plumbline/quantity"
	"plumbline/uncertainty"
)

// openQuestions are the places of a procedure that only the reference decides about.
type openQuestions struct {
	phaseless []spot // influences without phase
	settling  *spot  // the half width of the phase that the judge of steadiness lacks
	history   []spot // influences sized by the reference's history
}

// readProcedure reads the laboratory's procedure.
func readProcedure(t *table) (p calibration.Procedure, open openQuestions) {
	defer t.close()
	p.Name, p.Revision, p.Method = t.text("name"), t.text("revision"), t.text("method")
	p.Probability = t.positive("probability", quantity.Relative)
	if p.Probability != 0 && !(p.Probability > 0.5 && p.Probability < 1) {
		t.wrong("probability", "allowed are coverage probabilities above 50 %% and below 100 %%")
	}
	p.Trials, p.Digits = readTrials(t)
	p.Harmonics = int(t.whole("harmonics", 1, 50))
	p.Drift = int(t.whole("drift", 0, 6))
	p.Mains = t.notNegative("mains", quantity.Frequency)
	p.LeastPoints = int(t.whole("least_points", 1, 1000))
	p.LeastPeriods = t.number("least_periods", 1, 1e6)
	p.FrequencyRange = t.mustPair("frequency_range", quantity.Frequency)
	p.LevelRange = t.mustPair("level_range", quantity.AccelerationLevel)
	p.UsableBand = t.positive("usable_band", quantity.Relative)
	if p.UsableBand >= 0.5 {
		t.wrong("usable_band", "allowed are fractions of the sampling rate below 50 %%")
	}
	p.Influences = collect(t, "influence", false, func(t *table) calibration.Influence {
		in, gaps := readInfluence(t)
		open.phaseless = append(open.phaseless, gaps...)
		if in.FromHistory {
			open.history = append(open.history, t.spot("from_history"))
		}
		return in
	})
	checkInfluences(t, p.Influences)
	p.Settling, open.settling = readSettling(t.optionalTable("settling"))
	return p, open
}

const mostTrials = 100_000_000

// readTrials reads the number of Monte Carlo trials: exactly so many, or a table that says which digits shall be stable and how many trials may be drawn at
// most.
func readTrials(t *table) (trials, digits int) {
	what := "a whole number from 10000 to 100000000, or { digits = 2, most = 2000000 }"
	f, there := t.need("trials", what)
	if there && f.value.kind != kindTable {
		if f.value.kind != kindInteger {
			t.wrong("trials", "found %s, allowed is %s", f.value.describe(), what)
		} else {
			n, _ := t.optionalWhole("trials", 10_000, mostTrials)
			trials = int(n)
		}
		t.child("trials", 0, nil).adaptive()
		return trials, 0
	}
	if !there {
		t.child("trials", 0, nil).adaptive()
		return 0, 0
	}
	return t.child("trials", 0, f.value).adaptive()
}

// adaptive reads the table of trials drawn until digits are stable.
func (t *table) adaptive() (most, digits int) {
	defer t.close()
	digits = int(t.whole("digits", 1, 2))
	most = int(t.whole("most", uncertainty.LeastTrials, mostTrials))
	return most, digits
}

// settle records what the procedure lacks for the reference.
func (o openQuestions) settle(d *decoder, r calibration.Reference) {
	if hasPhase(r) {
		for _, s := range o.phaseless {
			d.wrong(s.at, s.key, "missing: the reference certificate states phase, so the phase of this influence is mandatory, for example %q", "0.1°")
		}
	}
	if o.settling != nil && hasPhase(r) && !r.StatesLevel {
		d.wrong(o.settling.at, o.settling.key, "missing: the reference certificate states phase, so the half width wanted of the phase is mandatory, for example %q", "0.05°")
	}
	if len(r.History) == 0 {
		for _, s := range o.history {
			d.wrong(s.at, s.key, "the reference has no earlier calibrations: list them in [[reference.history]], or state the drift in bands")
		}
	}
}

func hasPhase(r calibration.Reference) bool {
	return slices.ContainsFunc(r.Table, func(p calibration.CalibratedPoint) bool { return !math.IsNaN(p.Phase) })
}

// checkInfluences refuses an influence that is stated twice or not at all.
func checkInfluences(t *table, list []calibration.Influence) {
	for _, key := range calibration.InfluenceKeys() {
		n := 0
		for _, in := range list {
			if in.Key == key {
				n++
			}
		}
		switch {
		case n == 0:
			t.wrong("influence", "nothing is said of %q: state its size, or not_applicable with the reason", key)
		case n > 1:
			t.wrong("influence", "%q stands %d times: allowed is once", key, n)
		}
	}
}

// sizedBy says how the size of an influence is stated.
type sizedBy uint8

const (
	byBands         sizedBy = iota // distribution and bands
	byTemperature                  // nothing: conditions and transducers state it
	byMotion                       // bands of the transverse motion
	byResonance                    // limits of the mounted resonance
	byRepeatability                // bands of a standard deviation with its degrees of freedom
	byHistory                      // the reference's earlier calibrations; bands of the phase alone
)

func sizeOf(key string) sizedBy {
	switch key {
	case "temperature":
		return byTemperature
	case "transverse":
		return byMotion
	case "mounting":
		return byResonance
	case "repeatability":
		return byRepeatability
	}
	return byBands
}

func readInfluence(t *table) (in calibration.Influence, phaseless []spot) {
	defer t.close()
	in.Key = t.choice("key", calibration.InfluenceKeys()...)
	in.NotApplicable = t.optionalText("not_applicable")
	in.Dof = math.Inf(1)
	applies := !t.has("not_applicable")
	if !applies {
		in.Source = t.optionalText("source")
		for _, key := range details {
			if t.has(key) {
				t.wrong(key, "not_applicable says that %q has no size: allowed is one of them", in.Key)
			}
		}
	}
	size := t
	if !applies {
		size = &table{d: t.d, path: t.path, label: t.label, known: t.known} // read for its keys only
	} else {
		in.Source = t.text("source")
	}
	by := sizeOf(in.Key)
	if in.FromHistory = size.flag("from_history") && in.Key == drift; in.FromHistory {
		by = byHistory
	}
	in.Distribution = readDistribution(size, by)
	in.Form = readForm(size, by, in.Distribution)
	var bands []band
	bands, phaseless = readBands(size, by, in.Key)
	for _, b := range bands {
		in.Bands = append(in.Bands, b.Band)
	}
	in.Resonance, in.Mountings, in.Dof = readSpecial(size, by)
	t.known = size.known
	t.permit(by, applies)
	if t.has("from_history") && applies && in.Key != drift {
		t.wrong("from_history", "has no meaning for this influence: only %q can come from the reference's history", drift)
	}
	return in, phaseless
}

// drift is the key of the influence that may come from the reference's history.
const drift = "drift"

// details are the keys that say how large an influence is.
var details = []string{"distribution", "top", "limit_half_width", "factors", "k", "band", "dof", "mountings", "resonance", "from_history"}

// permit refuses the details that an influence of this sort does not have.
func (t *table) permit(by sizedBy, applies bool) {
	if !applies {
		return
	}
	allowed := map[sizedBy][]string{
		byBands: {"distribution", "top", "limit_half_width", "factors", "k", "band", "dof"}, byTemperature: nil, byMotion: {"band"}, byResonance: {"resonance", "band"},
		byRepeatability: {"band", "dof", "mountings"}, byHistory: {"band"},
	}[by]
	for _, key := range details {
		if key != "from_history" && t.has(key) && !slices.Contains(allowed, key) {
			t.wrong(key, "has no meaning for this influence")
		}
	}
}

// readDistribution reads the distribution, or names the one an influence always has.
func readDistribution(t *table, by sizedBy) string {
	names := uncertainty.FormNames()
	switch by {
	case byTemperature, byResonance:
		t.look("distribution")
		return "rectangular"
	case byMotion:
		t.look("distribution")
		return "arcsine"
	case byRepeatability:
		t.look("distribution")
		return "normal"
	case byHistory:
		t.look("distribution")
		return uncertainty.Normal{}.String() + " and " + uncertainty.StudentT{}.String()
	}
	return t.choice("distribution", names...)
}

// readForm reads what a distribution needs beside its size.
func readForm(t *table, by sizedBy, distribution string) (f uncertainty.Form) {
	if by != byBands {
		return f
	}
	switch distribution {
	case "trapezoidal":
		f.Top = t.notNegative("top", quantity.Relative)
		if f.Top > 1 {
			t.wrong("top", "allowed are 0 %% to 100 %% of the base")
		}
	case "curvilinear trapezoid":
		f.Limit = t.positive("limit_half_width", quantity.Relative)
		if f.Limit >= 1 {
			t.wrong("limit_half_width", "allowed are values above 0 %% and below 100 %% of the half-width")
		}
	case "product":
		factors := t.mustLines("factors")
		bounded := uncertainty.FactorNames()
		if t.has("factors") && (len(factors) != 2 || !slices.Contains(bounded, factors[0]) || !slices.Contains(bounded, factors[1])) {
			t.wrong("factors", "allowed are two of %s", quoted(bounded))
		}
		copy(f.Factors[:], factors)
	case "normal", "Student t":
		if t.has("k") {
			f.K = t.number("k", 0.1, 1000)
		}
	}
	if distribution == "Student t" && !t.has("dof") {
		t.wrong("dof", "missing: Student's t has degrees of freedom")
	}
	for _, key := range []struct{ name, of string }{{"top", "trapezoidal"}, {"limit_half_width", "curvilinear trapezoid"}, {"factors", "product"}, {"k", "normal or Student t"}} {
		if t.has(key.name) && !strings.Contains(key.of, distribution) {
			t.wrong(key.name, "only the distribution %s has it", key.of)
		}
	}
	return f
}

// readSpecial reads what single influences need beside bands.
func readSpecial(t *table, by sizedBy) (resonance [2]float64, mountings int, dof float64) {
	dof = math.Inf(1)
	switch by {
	case byResonance:
		resonance = t.mustPair("resonance", quantity.Frequency)
	case byRepeatability:
		dof = t.number("dof", 1, 1e9)
		mountings = int(t.whole("mountings", 1, 1000))
	default:
		if t.has("dof") {
			dof = t.optionalNumber("dof", 1, 1e9)
		}
	}
	for _, key := range []string{"resonance", "mountings", "dof"} {
		t.look(key)
	}
	return resonance, mountings, dof
}

// onlySize refuses numbers in a band that the influence does not take.
func (t *table) onlySize(by sizedBy) {
	allowed := []string{"modulus", "phase"}
	switch by {
	case byMotion:
		allowed = []string{"motion"}
	case byResonance, byHistory:
		allowed = []string{"phase"}
	}
	for _, k := range []string{"motion", "modulus", "phase"} {
		if t.has(k) && !slices.Contains(allowed, k) {
			t.wrong(k, "has no meaning in a band of this influence: allowed are from, to and %s", strings.Join(allowed, ", "))
		}
	}
}

type band struct {
	calibration.Band
	at position
}

func readBands(t *table, by sizedBy, key string) (bands []band, phaseless []spot) {
	switch {
	case by == byHistory && !t.has("band") && !t.absent():
		phaseless = append(phaseless, spot{t.place(), t.key("band")})
	case by != byTemperature && by != byResonance && by != byHistory:
		t.need("band", "a list of tables band with from, to and the size")
	}
	bands = collect(t, "band", false, func(t *table) (b band) {
		defer t.close()
		b.From, b.To = t.value("from", quantity.Frequency).SI, t.positive("to", quantity.Frequency)
		b.Modulus, b.Phase, b.at = 0, math.NaN(), t.place()
		switch by {
		case byMotion:
			b.Modulus = t.notNegative("motion", quantity.Relative)
		case byResonance, byHistory:
			b.Phase = t.notNegative("phase", quantity.Angle)
		default:
			b.Modulus = t.notNegative("modulus", quantity.Relative)
			b.Phase = t.si("phase", quantity.Angle, math.NaN())
			if !t.has("phase") && !t.absent() {
				phaseless = append(phaseless, spot{b.at, t.key("phase")})
			}
			if b.Phase < 0 {
				t.wrong("phase", "allowed are values of zero or above")
			}
		}
		t.onlySize(by)
		return b
	})
	for i, b := range bands {
		if b.To > 0 && b.To <= b.From {
			t.d.wrong(b.at, t.key("band"), "band of %q from %g Hz to %g Hz: the lower end stands first", key, b.From, b.To)
		}
		if i > 0 && b.From < bands[i-1].To {
			t.d.wrong(b.at, t.key("band"), "band of %q from %g Hz overlaps the one to %g Hz before it: bands ascend", key, b.From, bands[i-1].To)
		}
	}
	return bands, phaseless
}
