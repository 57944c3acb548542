package jobfile

import (
	"fmt"
	"math"
	"path"
	"slices"

	"plumbline/calibration"
	"plumbline/quantity"
)

// readPoints reads the points with the evidence for each: one recording, or two with the channels exchanged, or readings of a display.
func readPoints(root *table, j *Job, by standard) {
	c := &j.Calibration
	sheets := map[*sheet]position{}
	var places []position
	c.Points = collect(root, "point", false, func(t *table) calibration.PointPlan {
		defer t.close()
		p := calibration.PointPlan{Frequency: t.positive("frequency", quantity.Frequency)}
		p.Label = fmt.Sprintf("point %d (%g Hz)", len(places)+1, p.Frequency)
		p.Level = readLevel(t, by, c.Device.Unit, p.Frequency)
		first, second := readRecording(t, "recording"), readRecording(t, "exchanged")
		p.Together = t.frequencies("together")
		p.Readings = readReadings(t, c.Device.Unit, p.Frequency, sheets)
		if t.has("block") {
			p.Block = t.positive("block", quantity.Time)
			if cycles := p.Block * p.Frequency; p.Frequency > 0 && cycles < leastCycles {
				t.wrong("block", "%g s hold %.3g cycles of %g Hz, allowed are blocks of %g cycles and more", p.Block, cycles, p.Frequency, leastCycles)
			}
		}
		if t.has("held_from") {
			p.Held = t.positive("held_from", quantity.Time)
			if by != transducer {
				t.wrong("held_from", "belongs to a recording of reference and device, made while the level was led to its value")
			}
		}
		if p.Repeat = t.flag("repeat"); p.Repeat {
			p.Label = fmt.Sprintf("point %d (%g Hz, repeated)", len(places)+1, p.Frequency)
		}
		if t.absent() {
			return p
		}
		places = append(places, t.n.at)
		if root.d.planning {
			return p
		}
		checkTogether(t, p, first)
		if !fitting(t, by) || !exchangeable(t, by, c, first, second) {
			return p
		}
		first.Point, second.Point, second.Exchanged = len(places)-1, len(places)-1, true
		if t.has("recording") {
			j.Recordings = append(j.Recordings, first)
		}
		if t.has("exchanged") {
			j.Recordings = append(j.Recordings, second)
		}
		return p
	})
	if !root.d.planning {
		root.need("point", "a list of tables [[point]]")
	}
	checkRepeats(root.d, c.Points, places)
	checkShared(root.d, j, places)
	reportUnused(root.d, sheets)
}

// leastCycles is the least number of cycles in a block of the approximation.
const leastCycles = 1.9

// checkRepeats refuses a frequency that stands twice without being repeated, and a repetition of nothing.
func checkRepeats(d *decoder, points []calibration.PointPlan, places []position) {
	for i, p := range points {
		k := slices.IndexFunc(points[:i], func(q calibration.PointPlan) bool { return q.Frequency == p.Frequency && !q.Repeat })
		key := fmt.Sprintf("point[%d]", i+1)
		switch {
		case !(p.Frequency > 0):
		case p.Repeat && k < 0:
			d.wrong(places[i], key+".repeat", "repeats %g Hz, but no point at this frequency stands before it", p.Frequency)
		case !p.Repeat && k >= 0:
			d.wrong(places[i], key, "%g Hz stands twice: it is the frequency of point %d too; a point measured again at the end says repeat = true", p.Frequency, k+1)
		}
	}
}

// readLevel reads the nominal level of a point, NaN where there is none, in the device's quantity of motion; against an exciter that states its
// level it is the value stated.
func readLevel(t *table, by standard, device quantity.Unit, f float64) float64 {
	if by == statedLevel {
		return readOwnLevel(t, "level", device)
	}
	if level, ok := t.optional("level", quantity.Level); ok {
		return inputLevel(device, level, f)
	}
	return math.NaN()
}

// fitting refuses evidence that does not fit the reference.
func fitting(t *table, by standard) bool {
	recorded, read, readings := t.has("recording"), t.has("readings") || t.has("reading"), "readings"
	if !t.has(readings) {
		readings = "reading"
	}
	switch {
	case read && by == statedLevel:
		t.wrong(readings, "the reference is an exciter that states its level, so the points have recordings of the device")
	case !recorded && by == statedLevel:
		t.wrong("recording", "missing: the recording of the device against the stated level is mandatory")
	case recorded == read:
		t.wrong("recording", "a point has either a recording or readings, found %s", map[bool]string{true: "both", false: "neither"}[read])
	case read && by != readDisplay:
		t.wrong(readings, "readings need an instrument whose display was read: state its steps in [reference.display]")
	case recorded && by == readDisplay:
		t.wrong("recording", "the reference is an instrument whose display is read, so the points have readings")
	default:
		return true
	}
	return false
}

// exchangeable refuses a second recording where nothing can have been exchanged.
func exchangeable(t *table, by standard, c *calibration.Job, first, second PointRecording) bool {
	switch {
	case !t.has("exchanged"):
		return true
	case by == statedLevel:
		t.wrong("exchanged", "the reference is an exciter that states its level, so only the device is recorded: there is no channel to exchange it with")
	case !t.has("recording"):
		t.wrong("exchanged", "is the second recording of a point, with the transducers exchanged between the channels: it needs recording beside it")
	case first.File != "" && path.Clean(first.File) == path.Clean(second.File):
		t.wrong("exchanged", "found %q, which is the recording of this point already: allowed is a second one, with the transducers exchanged between the channels", second.File)
	case gains(c.ReferenceChain) != gains(c.DeviceChain):
		t.wrong("exchanged", "the channels of reference and device take different inputs (their gains are of different units), so the transducers cannot be exchanged between them")
	default:
		return true
	}
	return false
}

// gains is the dimension of the gain of a whole channel.
func gains(c calibration.Chain) (d quantity.Dimension) {
	for _, s := range c.Stages {
		u := s.GainUnit.Dim
		d.Metre, d.Kilogram, d.Second, d.Ampere, d.Kelvin = d.Metre+u.Metre, d.Kilogram+u.Kilogram, d.Second+u.Second, d.Ampere+u.Ampere, d.Kelvin+u.Kelvin
	}
	return d
}

// inputLevel converts a level to the device's input quantity at frequency f, coherent SI peak.
func inputLevel(sensitivity quantity.Unit, level quantity.Value, f float64) float64 {
	_, input, ok := sensitivity.Per()
	from, known := quantity.MotionOf(level.Unit)
	if to, motion := quantity.MotionOf(input); ok && known && motion && f > 0 {
		return from.To(to, level.SI, f)
	}
	return math.NaN()
}

// readRecording reads a recording's name, or the table with its name and what overrules the file. The text is short for the table.
func readRecording(point *table, key string) (r PointRecording) {
	t := point.child(key, 0, nil)
	if f, there := point.look(key); there && f.value.kind == kindText {
		t.n = newTable(f.value.at)
		t.n.set("file", f)
	} else {
		t.n = point.optionalTable(key).n
	}
	defer t.close()
	r.File = t.text("file")
	if n, ok := t.one("file", kindText, ""); ok {
		r.Where = fmt.Sprintf("%s:%d:%d", n.at.file, n.at.line, n.at.column)
	}
	r.Options = readOptions(t)
	return r
}

func readOptions(t *table) (o Options) {
	if t.has("rate") {
		o.Rate = t.positive("rate", quantity.Frequency)
	}
	if n, ok := t.one("units", kindArray, "a list of units"); ok {
		for _, item := range n.items {
			if item.kind != kindText {
				t.d.wrong(item.at, t.key("units"), "found %s, allowed is a unit in quotes", item.describe())
				continue
			}
			if _, err := quantity.ParseUnit(item.text); err != nil && item.text != "" {
				t.d.wrong(item.at, t.key("units"), "%v", err)
			}
			o.Units = append(o.Units, item.text)
		}
	}
	o.Delimiter = t.optionalChoice("delimiter", ";", ",", "|", "tab", "blank")
	o.DecimalMark = t.optionalChoice("decimal", ".", ",")
	o.Encoding = t.optionalChoice("encoding", "utf-8", "utf-16le", "utf-16be", "windows-1252")
	if n, ok := t.optionalWhole("header_lines", 0, 10_000); ok {
		lines := int(n)
		o.HeaderLines = &lines
	}
	o.TimeColumn = t.optionalText("time_column")
	return o
}
