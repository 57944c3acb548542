package jobfile

import (
	"fmt"
	"math"
	"slices"

	"plumbline/calibration"
	"plumbline/quantity"
)

// readPoints reads the points with the evidence for each: a recording, or readings of a display.
func readPoints(root *table, j *Job, display bool) {
	c := &j.Calibration
	sheets := map[*sheet]position{}
	var places []position
	c.Points = collect(root, "point", false, func(t *table) calibration.PointPlan {
		defer t.close()
		p := calibration.PointPlan{Frequency: t.positive("frequency", quantity.Frequency), Level: math.NaN()}
		p.Label = fmt.Sprintf("point %d (%g Hz)", len(places)+1, p.Frequency)
		if level, ok := t.optional("level", quantity.Level); ok {
			p.Level = inputLevel(c.Device.Unit, level, p.Frequency)
		}
		rec, recorded := readRecording(t.child("recording", 0, nil), t)
		p.Readings = readReadings(t, c.Device.Unit, p.Frequency, sheets)
		if t.absent() {
			return p
		}
		places = append(places, t.n.at)
		switch read := t.has("readings") || t.has("reading"); {
		case recorded == read:
			t.wrong("recording", "a point has either a recording or readings, found %s", map[bool]string{true: "both", false: "neither"}[read])
		case read && !display:
			t.wrong("readings", "readings need an instrument whose display was read: state its steps in [reference.display]")
		case recorded && display:
			t.wrong("recording", "the reference is an instrument whose display is read, so the points have readings")
		case recorded:
			rec.Point = len(places) - 1
			j.Recordings = append(j.Recordings, rec)
		}
		return p
	})
	root.need("point", "a list of tables [[point]]")
	for i, p := range c.Points {
		if k := slices.IndexFunc(c.Points[:i], func(q calibration.PointPlan) bool { return q.Frequency == p.Frequency }); k >= 0 && p.Frequency > 0 {
			root.d.wrong(places[i], fmt.Sprintf("point[%d]", i+1), "%g Hz stands twice: it is the frequency of point %d too", p.Frequency, k+1)
		}
	}
	reportUnused(root.d, sheets)
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
func readRecording(t, point *table) (r PointRecording, there bool) {
	f, there := point.look("recording")
	if there && f.value.kind == kindText {
		name := newTable(f.value.at)
		name.set("file", f)
		t.n = name
	} else {
		t.n = point.optionalTable("recording").n
	}
	defer t.close()
	r.File = t.text("file")
	if n, ok := t.one("file", kindText, ""); ok {
		r.Where = fmt.Sprintf("%s:%d:%d", n.at.file, n.at.line, n.at.column)
	}
	r.Options = readOptions(t)
	return r, there
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
