package jobfile

import (
	"fmt"
	"math"
	"slices"
	"strconv"

	"plumbline/calibration"
	"plumbline/quantity"
)

// readingColumns are the columns of a CSV file of readings. The column frequency chooses the rows of a point where points share a file.
var readingColumns = []column{
	{"time", quantity.Time, false, true}, {"sensitivity", quantity.Sensitivity, false, true}, {"level", quantity.Level, false, false},
	{"temperature", quantity.Temperature, false, false}, {"frequency", quantity.Frequency, false, false},
}

// readReadings reads the values read off a display, from the list "reading" or from the CSV file that "readings" names.
func readReadings(t *table, device quantity.Unit, f float64, sheets map[*sheet]position) (out []calibration.Reading) {
	var last position
	for _, r := range collect(t, "reading", false, func(t *table) timedReading { return readReading(t, device, f) }) {
		out = append(out, r.Reading)
		last = r.at
	}
	if v, there := t.look("readings"); there && v.value.kind == kindText {
		short := newTable(v.value.at)
		short.set("file", v)
		out = readReadingFile(t.child("readings", 0, short), device, f, sheets)
	} else {
		c := t.optionalTable("readings")
		if rows := readReadingFile(c, device, f, sheets); !c.absent() {
			out = rows
		}
	}
	if t.has("readings") && t.has("reading") {
		t.wrong("readings", "reading and readings are the same fact: allowed is one of them")
	}
	for i := range out {
		if i > 0 && out[i].Time <= out[i-1].Time {
			if last == (position{}) {
				last = t.place()
			}
			t.d.wrong(last, t.key("reading"), "reading %d: time %g s does not follow %g s", i+1, out[i].Time, out[i-1].Time)
			break
		}
	}
	return out
}

type timedReading struct {
	calibration.Reading
	at position
}

func readReading(t *table, device quantity.Unit, f float64) timedReading {
	defer t.close()
	got := map[string]quantity.Value{}
	for _, c := range readingColumns[:4] {
		v, ok := t.optional(c.name, c.kind)
		if !ok {
			if c.mandatory {
				t.need(c.name, "a "+c.kind.String())
			}
			continue
		}
		if reason := wrongReading(c.name, v, device); reason != "" {
			t.wrong(c.name, "%s", reason)
		}
		got[c.name] = v
	}
	return timedReading{reading(got, device, f), t.place()}
}

// reading makes a reading of its values; f is the nominal frequency of the point in Hz.
func reading(got map[string]quantity.Value, device quantity.Unit, f float64) calibration.Reading {
	r := calibration.Reading{Time: got["time"].SI, Sensitivity: got["sensitivity"].SI, Level: math.NaN(), Temperature: math.NaN()}
	if v, ok := got["level"]; ok {
		r.Level = inputLevel(device, v, f)
	}
	if v, ok := got["temperature"]; ok {
		r.Temperature = v.Number
	}
	return r
}

// wrongReading says what is wrong with a readable value, "" for nothing.
func wrongReading(name string, v quantity.Value, device quantity.Unit) string {
	if name == "sensitivity" && !sameQuantities(v.Unit, device) {
		return fmt.Sprintf("found %q, allowed is a sensitivity of the same quantities as the device's, in units such as %s", v.Text, device.Symbol)
	}
	return ""
}

func readReadingFile(t *table, device quantity.Unit, f float64, sheets map[*sheet]position) (out []calibration.Reading) {
	defer t.close()
	t.text("file")
	options := sheetOptions{delimiter: t.optionalChoice("delimiter", ";", ",", "|", "tab"), decimal: t.optionalChoice("decimal", ".", ",")}
	if n, ok := t.optionalWhole("header_lines", 0, 1000); ok {
		options.above = int(n)
	}
	mapping := t.optionalTable("columns")
	explicit := readMapping(mapping)
	n, ok := t.one("file", kindText, "")
	if !ok {
		return nil
	}
	s := t.sheetOf("file", n, options)
	if s == nil {
		return nil
	}
	found := len(t.d.problems)
	check := func(name string, v quantity.Value) string { return wrongReading(name, v, device) }
	places := explicit.in(s)
	if mapping.absent() {
		places = s.columns(t, readingColumns, check)
	}
	at, byFrequency := places["frequency"]
	if before, again := sheets[s]; again && !byFrequency {
		t.wrong("file", "named at line %d already: points that share a file need a column frequency", before.line)
	}
	sheets[s] = n.at
	s.shared = s.shared || byFrequency
	for i, row := range s.rows {
		if v, ok, _, err := s.value(row, at, byFrequency, readingColumns[4]); byFrequency && err == nil && (!ok || math.Abs(v.SI/f-1) > sameFrequency) {
			continue
		}
		s.taken[i] = true
		if got, good := s.values(t, row, readingColumns, places, check); good {
			out = append(out, reading(got, device, f))
		}
	}
	if len(out) == 0 && len(t.d.problems) == found {
		t.wrong("file", "holds no readings at %g Hz", f)
	}
	return out
}

// sameFrequency is how far the frequency of a reading may lie from that of its point, relative: what displays round.
const sameFrequency = 2e-3

// reportUnused records rows of shared files that belong to no point.
func reportUnused(d *decoder, sheets map[*sheet]position) {
	for s := range sheets {
		for i, row := range s.rows {
			if s.shared && !s.taken[i] {
				d.wrong(row[0].at, "frequency", "this row belongs to no point of the job")
			}
		}
	}
}

// mapping says by name or number which column of a file holds what, and in which unit.
type mapping map[string]mapped

type mapped struct {
	name, unit string
	number     int
	at         *table
}

func readMapping(t *table) mapping {
	defer t.close()
	m := mapping{}
	for _, c := range readingColumns {
		var sub *table
		if c.mandatory {
			sub = t.mustTable(c.name)
		} else {
			sub = t.optionalTable(c.name)
		}
		where := mapped{at: sub, unit: sub.text("unit")}
		if f, there := sub.need("column", "the heading of the column in quotes, or its number from 1"); there && f.value.kind == kindText {
			where.name = sub.text("column")
		} else if there {
			where.number = int(sub.whole("column", 1, 1000))
		}
		sub.close()
		if where.unit != "" {
			if _, err := quantity.Parse("1 "+where.unit, c.kind); err != nil {
				sub.wrong("unit", "%v", err)
				where.unit = ""
			}
		}
		if !sub.absent() && where.unit != "" {
			m[c.name] = where
		}
	}
	return m
}

// in finds the mapped columns in a file.
func (m mapping) in(s *sheet) map[string]place {
	places := map[string]place{}
	for _, c := range readingColumns {
		w, ok := m[c.name]
		if !ok {
			continue
		}
		i := w.number - 1
		if w.name != "" {
			i = slices.IndexFunc(s.header, func(h cell) bool { return h.text == w.name })
		}
		if i < 0 || i >= len(s.header) {
			name := w.name
			if name == "" {
				name = "number " + strconv.Itoa(w.number)
			}
			w.at.wrong("column", "no column %s in the file, which has %d columns", name, len(s.header))
			continue
		}
		places[c.name] = place{i, w.unit}
	}
	return places
}
