package jobfile

import (
	"fmt"
	"path"
	"strings"

	"plumbline/calibration"
	"plumbline/plan"
	"plumbline/quantity"
)

// LoadPlan reads a job file for planning: it holds [exciter] and [plan] as well, and need not hold points; those it holds need no recordings or readings.
// The error is a Problems with everything that is wrong in the files.
func LoadPlan(open Opener, name string) (*Job, plan.Request, error) {
	d := newDecoder(open)
	d.planning = true
	job := d.load(path.Clean(name))
	if err := d.err(); err != nil {
		return nil, plan.Request{}, err
	}
	return job, job.plan, nil
}

// readPlan reads what planning needs besides the job itself. Without [plan] it only registers the keys.
func readPlan(root *table, c *calibration.Job, b Bench) (r plan.Request) {
	e, w, s := root.optionalAsset("exciter"), root.optionalAsset("plan"), root.optionalAsset("site")
	if root.d.planning && (!root.d.measuring || b.Drives()) {
		root.need("exciter", "the table [exciter]")
		root.need("plan", "the table [plan]")
	}
	r.Exciter, r.Site = readExciter(e), readSite(s)
	r.Wish = readWish(w, c)
	device, reference, recorder := root.again("device"), root.again("reference"), root.again("recorder")
	r.DeviceNoise = readNoise(device.optionalTable("noise"), c.Device.Unit)
	r.ReferenceNoise = readNoise(reference.optionalTable("noise"), c.Reference.Unit)
	r.RecorderNoise = readNoise(recorder.optionalTable("noise"), quantity.Unit{})
	r.Rates = recorder.frequencies("rates")
	if !e.absent() {
		c.Loop = r.Exciter.Loop()
	}
	r.Job = *c
	return r
}

// again is a table that another reader has read and closed, for keys of its own that the other one knows by name only.
func (t *table) again(key string) *table {
	c := t.optionalTable(key)
	c.include()
	return c
}

// frequencies reads an optional list of frequencies above zero.
func (t *table) frequencies(key string) (out []float64) {
	n, ok := t.one(key, kindArray, `a list of frequencies, as in ["1 Hz", "2 Hz"]`)
	if !ok {
		return nil
	}
	for _, item := range n.items {
		v, err := parseValue(item, quantity.Frequency)
		if err == nil && !(v.SI > 0) {
			err = fmt.Errorf("found %q, allowed are values above zero", v.Text)
		}
		if err != nil {
			t.d.wrong(item.at, t.key(key), "%v", err)
			continue
		}
		out = append(out, v.SI)
	}
	return out
}

// names of the steps of a band.
const (
	thirdOctaves = "third octave"
	decades      = "decade"
	oneTwoFive   = "1-2-5"
	fewest       = "fewest"
)

// readWish reads the table [plan].
func readWish(t *table, c *calibration.Job) (w plan.Wish) {
	defer t.close()
	w.Frequencies = readWanted(t, c)
	if v, ok := t.optional("level", quantity.Level); ok {
		w.Level, w.LevelUnit = v.SI, v.Unit
		w.Motion, _ = quantity.MotionOf(v.Unit)
		if !(v.SI > 0) {
			t.wrong("level", "found %q, allowed are values above zero", v.Text)
		}
	}
	w.UseOfLimit = t.positive("use_of_limit", quantity.Relative)
	if w.UseOfLimit > 1 {
		t.wrong("use_of_limit", "above 100 %%")
	}
	targets := 0
	target := func(key string, k quantity.Kind) (x float64) {
		if t.has(key) {
			targets++
			x = t.positive(key, k)
		}
		return x
	}
	w.TypeA, w.U = target("type_a", quantity.Relative), target("U", quantity.Relative)
	uncertainties := targets
	w.Time = target("time", quantity.Time)
	if targets == 0 {
		t.wrong("U", "missing: state the uncertainty wanted, as U or type_a, or the time for the whole set")
	} else if w.Time > 0 && uncertainties > 0 {
		t.wrong("time", "stated with an uncertainty: one follows from the other, allowed is one of them")
	}
	w.Longest = t.positive("longest_point", quantity.Time)
	w.MoveOffMains = t.flag("move_off_mains")
	readMultisine(t, &w)
	return w
}

// readMultisine reads what belongs to measuring the slow points together.
func readMultisine(t *table, w *plan.Wish) {
	if !t.has("multisine_below") {
		for _, key := range []string{"longest_period", "seed"} {
			if t.has(key) {
				t.wrong(key, "stated without multisine_below")
			}
		}
		return
	}
	w.MultisineFrom, w.LongestPeriod = t.positive("multisine_below", quantity.Frequency), t.positive("longest_period", quantity.Time)
	w.Seed = uint64(t.whole("seed", 0, 1<<62))
	if w.Time > 0 {
		t.wrong("multisine_below", "a time for the set cannot be shared out to a multisine: state an uncertainty instead of time")
	}
}

// readWanted reads which frequencies are wanted: a list, a band with its steps, or the points the job has already.
func readWanted(t *table, c *calibration.Job) (all []float64) {
	all = t.frequencies("frequencies")
	band, banded := t.pair("band", quantity.Frequency)
	step := t.optionalChoice("step", thirdOctaves, decades, oneTwoFive, fewest)
	switch {
	case t.has("frequencies") && t.has("band"):
		t.wrong("band", "stated with frequencies: allowed is one of them")
	case t.has("band") != t.has("step"):
		t.wrong("band", "band and step belong together: the steps are %s", quoted([]string{thirdOctaves, decades, oneTwoFive, fewest}))
	case banded && !(band[0] > 0):
		t.wrong("band", "must begin above 0 Hz")
	case banded && step == thirdOctaves:
		return plan.ThirdOctaves(band[0], band[1])
	case banded && step == decades:
		return plan.Decades(band[0], band[1], 1)
	case banded && step == oneTwoFive:
		return plan.Decades(band[0], band[1], 1, 2, 5)
	case banded && step == fewest:
		return plan.Band(band[0], band[1], c.Procedure.LeastPoints)
	case !t.has("frequencies") && !t.has("band"):
		for _, p := range c.Points {
			if p.Repeat {
				continue
			}
			all = append(all, p.Frequency)
		}
		if len(all) == 0 {
			t.wrong("frequencies", "missing: state frequencies, a band with its step, or points [[point]]")
		}
	}
	return all
}

// readSite reads the motion of the ground.
func readSite(t *table) (s plan.Site) {
	defer t.close()
	if name := t.optionalChoice("model", plan.LowNoise.String(), plan.HighNoise.String()); name != "" {
		s.Model, _ = plan.ParseModel(name)
		s.Factor = t.number("factor", 1e-6, 1e6)
	} else if t.has("factor") {
		t.wrong("factor", "stated without model")
	}
	s.Density.Table = readDensities(t, "density", quantity.Acceleration.Unit())
	if t.has("model") == t.has("density") {
		t.wrong("model", "the motion of the ground is either a model or a list of densities from the quiet check, found %s", map[bool]string{true: "both", false: "neither"}[t.has("model")])
	}
	s.NotCommon = t.notNegative("not_common", quantity.Relative)
	s.Source = t.text("source")
	return s
}

// readNoise reads a self-noise: white with its corner, or a table. The unit is that of a sensitivity, for its input; without one it is volts.
func readNoise(t *table, sensitivity quantity.Unit) (d plan.Density) {
	defer t.close()
	_, input, known := sensitivity.Per()
	if sensitivity.Symbol == "" {
		input, known = quantity.Unit{}, false
	}
	if t.has("white") {
		n, ok := t.one("white", kindText, "a density as a text with its unit, for example "+densityExample(known))
		if ok {
			d.White = t.densityOf("white", n, input, known)
		}
		d.Corner = t.notNegative("corner", quantity.Frequency)
	} else if t.has("corner") {
		t.wrong("corner", "stated without white")
	}
	d.Table = readDensities(t, "density", input)
	if t.has("white") == t.has("density") {
		t.wrong("white", "a self-noise is either white with its corner or a list of densities, found %s", map[bool]string{true: "both", false: "neither"}[t.has("white")])
	}
	return d
}

// readDensities reads a list of densities against frequency.
func readDensities(t *table, key string, input quantity.Unit) []plan.DensityRow {
	last := 0.0
	return collect(t, key, false, func(t *table) (r plan.DensityRow) {
		defer t.close()
		r.Frequency = t.positive("frequency", quantity.Frequency)
		if n, ok := t.need("density", "a density, for example "+densityExample(input.Symbol != "")); ok {
			r.Density = t.densityOf("density", n.value, input, input.Symbol != "")
		}
		if !t.absent() && r.Frequency > 0 {
			if r.Frequency <= last {
				t.wrong("frequency", "does not ascend")
			}
			last = r.Frequency
		}
		return r
	})
}

func densityExample(motion bool) string {
	if motion {
		return `"1.5 µg/√Hz"`
	}
	return `"0.1 µV/√Hz"`
}

// densityOf reads an amplitude density: a level or a voltage, effective value, with /√Hz behind it.
func (t *table) densityOf(key string, n *node, input quantity.Unit, motion bool) float64 {
	text := strings.TrimSpace(n.text)
	number, found := "", false
	for _, root := range []string{"/√Hz", "/sqrt(Hz)"} {
		if before, ok := strings.CutSuffix(text, root); ok {
			number, found = strings.TrimSpace(before), true
		}
	}
	if n.kind != kindText || !found {
		t.d.wrong(n.at, t.key(key), "found %s, allowed is an amplitude density, for example %s", n.describe(), densityExample(motion))
		return 0
	}
	kind := quantity.Voltage
	if motion {
		kind, number = quantity.Level, number+" peak" // effective values convert by the same factor
	}
	v, err := quantity.Parse(number, kind)
	switch {
	case err != nil:
		t.d.wrong(n.at, t.key(key), "%v", err)
	case motion && v.Unit.Dim != input.Dim:
		t.d.wrong(n.at, t.key(key), "found %q, allowed is a density of the quantity of motion that is sensed", n.text)
	case !(v.SI > 0):
		t.d.wrong(n.at, t.key(key), "found %q, allowed are values above zero", n.text)
	}
	return v.SI
}
