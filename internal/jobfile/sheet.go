package jobfile

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"unicode/utf8"

	"plumbline/quantity"
)

// sheet is a CSV file: one line of column headings, then rows of numbers.
type sheet struct {
	header []cell
	rows   [][]cell
	taken  map[int]bool // rows used by a point, where points share a file
	shared bool         // rows are chosen by their frequency
}

// sheetOptions overrule how a CSV file is read. The zero value overrules nothing.
type sheetOptions struct {
	delimiter string // ";", ",", "|" or "tab"; "" the one that stands most often in the headings
	decimal   string // "," where numbers have a decimal comma
	above     int    // lines above the headings that are left out
}

type cell struct {
	text string
	at   position
}

const mostRows = 100_000

// sheetOf reads the CSV file that n names. It is nil, with the reason recorded, where that is not possible.
func (t *table) sheetOf(key string, n *node, o sheetOptions) *sheet {
	name, err := resolve(n.at.file, n.text)
	if err != nil {
		t.d.wrong(n.at, t.key(key), "%v", err)
		return nil
	}
	t.d.refs[n] = name
	if s, done := t.d.sheets[name]; done {
		return s
	}
	content, err := t.d.read(name)
	if err != nil {
		t.d.wrong(n.at, t.key(key), "%s: %v", name, err)
		return nil
	}
	s, problem := parseSheet(name, bytes.TrimPrefix(content, []byte("\ufeff")), o)
	if problem != nil {
		t.d.problems = append(t.d.problems, *problem)
		s = nil
	}
	t.d.sheets[name] = s
	return s
}

func parseSheet(name string, content []byte, o sheetOptions) (*sheet, *Problem) {
	wrong := func(line, column int, text string) *Problem {
		return &Problem{File: name, Line: line, Column: column, Text: text}
	}
	if !utf8.Valid(content) {
		return nil, wrong(1, 1, "not UTF-8 text: save the file as CSV in UTF-8")
	}
	content = commented(content, o.above)
	r := csv.NewReader(bytes.NewReader(content))
	r.Comma = delimiterOf(string(content), o.delimiter)
	if r.Comma == ',' && o.decimal == "," {
		return nil, wrong(1, 1, "the comma cannot be decimal mark and delimiter at once: state the delimiter")
	}
	r.TrimLeadingSpace = true
	r.Comment = '#'
	starts := lineStarts(content)
	s := &sheet{taken: map[int]bool{}}
	for {
		record, err := r.Read()
		if err == io.EOF {
			break
		}
		var at *csv.ParseError
		if errors.As(err, &at) {
			text := at.Err.Error()
			if errors.Is(err, csv.ErrFieldCount) {
				text = fmt.Sprintf("%d fields, the headings have %d: a decimal comma with the comma as delimiter?", len(record), len(s.header))
			}
			return nil, wrong(at.Line, at.Column, text)
		}
		row := make([]cell, len(record))
		for i, text := range record {
			line, column := r.FieldPos(i)
			if text = strings.TrimSpace(text); o.decimal == "," && s.header != nil {
				text = strings.Replace(text, ",", ".", 1)
			}
			row[i] = cell{text, position{name, line, characters(content, starts[line-1], column)}}
		}
		if s.header == nil {
			s.header = row
			continue
		}
		if s.rows = append(s.rows, row); len(s.rows) > mostRows {
			return nil, wrong(row[0].at.line, 1, fmt.Sprintf("more than %d rows", mostRows))
		}
	}
	if len(s.rows) == 0 {
		return nil, wrong(1, 1, "no rows: a line of column headings and at least one row of numbers are needed")
	}
	return s, nil
}

// characters converts a column in bytes of the line that starts at start to one in characters.
func characters(content []byte, start, column int) int {
	return utf8.RuneCount(content[start:min(start+column-1, len(content))]) + 1
}

// commented makes comments of the first lines, so that they are left out and the numbers of the others stay.
func commented(content []byte, lines int) []byte {
	out := bytes.Clone(content)
	for start := 0; lines > 0 && start < len(out); lines-- {
		if out[start] != '\n' && out[start] != '\r' {
			out[start] = '#'
		}
		end := bytes.IndexByte(out[start:], '\n')
		if end < 0 {
			break
		}
		start += end + 1
	}
	return out
}

// delimiterOf is the delimiter stated, or the separator that stands most often in the first line that is no comment.
func delimiterOf(content, stated string) rune {
	switch stated {
	case "tab":
		return '\t'
	case "":
	default:
		return rune(stated[0])
	}
	best := ','
	for line := range strings.Lines(content) {
		if line[0] == '#' || strings.TrimSpace(line) == "" {
			continue
		}
		for _, d := range []rune{';', '\t'} {
			if strings.Count(line, string(d)) > strings.Count(line, string(best)) {
				best = d
			}
		}
		break
	}
	return best
}

// column is what a column of a sheet may hold.
type column struct {
	name      string
	kind      quantity.Kind
	plain     bool // a number without a unit
	mandatory bool
}

// place is where a column stands and the unit (with the wording of amplitudes) its numbers have.
type place struct {
	index int
	unit  string
}

// columns finds the columns in the headings, which name the quantity and the unit: frequency_Hz, U_modulus_percent, level [g peak].
// Headings that are not known, stand twice, lack a unit or have one that check refuses are recorded.
func (s *sheet) columns(t *table, allowed []column, check func(string, quantity.Value) string) map[string]place {
	found := map[string]place{}
	names := make([]string, len(allowed))
	for i, c := range allowed {
		names[i] = c.name
	}
	for i, h := range s.header {
		c, unit, ok := splitHeading(h.text, allowed)
		switch _, twice := found[c.name]; {
		case !ok:
			t.d.wrong(h.at, "", "unknown column %.40q: allowed are %s, each followed by its unit, as in frequency_Hz", h.text, strings.Join(names, ", "))
		case twice:
			t.d.wrong(h.at, "", "column %s stands twice", c.name)
		case unit == "" && !c.plain:
			t.d.wrong(h.at, "", "column %s has no unit: write for example %s", c.name, headingExample(c))
		case wrongUnit(c, unit, check) != "":
			t.d.wrong(h.at, "", "column %s: %s", c.name, wrongUnit(c, unit, check))
		default:
			found[c.name] = place{i, unit}
		}
	}
	for _, c := range allowed {
		if _, ok := found[c.name]; c.mandatory && !ok && !s.mentions(c, allowed) {
			t.d.wrong(s.header[0].at, "", "column %s is missing: the headings need for example %s", c.name, headingExample(c))
		}
	}
	return found
}

// wrongUnit says what is wrong with the unit of a column, "" for nothing.
func wrongUnit(c column, unit string, check func(string, quantity.Value) string) string {
	if c.plain {
		return ""
	}
	v, err := quantity.Parse("1 "+unit, c.kind)
	if err != nil {
		return err.Error()
	}
	return check(c.name, v)
}

func (s *sheet) mentions(c column, allowed []column) bool {
	return slices.ContainsFunc(s.header, func(h cell) bool {
		got, _, ok := splitHeading(h.text, allowed)
		return ok && got.name == c.name
	})
}

func headingExample(c column) string {
	if c.plain {
		return c.name
	}
	return c.name + " [unit], with a unit as in " + c.kind.Examples()
}

// splitHeading finds the column a heading names and the unit written behind the name.
func splitHeading(heading string, allowed []column) (c column, unit string, ok bool) {
	for _, a := range allowed {
		rest, found := strings.CutPrefix(heading, a.name)
		if !found || len(a.name) < len(c.name) || rest != "" && !strings.ContainsRune("_ [(", rune(rest[0])) {
			continue
		}
		c, unit, ok = a, headingUnit(rest), true
	}
	return c, unit, ok
}

// headingUnit turns the unit in a heading into one quantity.Parse reads: "_mV_per_m_s2" into "mV/(m/s2)", " [g peak]" into "g peak".
func headingUnit(rest string) string {
	rest = strings.TrimSpace(rest)
	if n := len(rest); n > 1 && (rest[0] == '[' && rest[n-1] == ']' || rest[0] == '(' && rest[n-1] == ')') {
		return strings.TrimSpace(rest[1 : n-1])
	}
	words := strings.TrimPrefix(rest, "_")
	amplitude := ""
	for _, a := range []string{"_peak_to_peak", "_peak", "_rms"} {
		if cut, found := strings.CutSuffix(words, a); found {
			words, amplitude = cut, " "+strings.ReplaceAll(a[1:], "_", "-")
			break
		}
	}
	above, below, quotient := strings.Cut(words, "_per_")
	unit := headingFactor(above)
	if quotient {
		unit += "/" + headingFactor(below)
		if strings.Contains(below, "_") {
			unit = headingFactor(above) + "/(" + headingFactor(below) + ")"
		}
	}
	return unit + amplitude
}

func headingFactor(words string) string {
	switch words {
	case "percent":
		return "%"
	case "degC":
		return "°C"
	}
	return strings.ReplaceAll(words, "_", "/")
}

// value reads one cell; ok is false where the column is not there or the cell is blank.
func (s *sheet) value(row []cell, p place, there bool, c column) (v quantity.Value, ok bool, at position, err error) {
	if !there {
		return v, false, row[0].at, nil
	}
	x := row[p.index]
	text := x.text
	if text == "" {
		return v, false, x.at, nil
	}
	if c.plain {
		v.Number, err = plainNumber(text)
		v.SI = v.Number
	} else {
		v, err = quantity.Parse(text+" "+p.unit, c.kind)
	}
	return v, err == nil, x.at, err
}

// values reads the cells of a row by the names of their columns and records what is wrong with them; check says what is wrong with a
// value that could be read. good is false where a value is wrong or a mandatory one is missing.
func (s *sheet) values(t *table, row []cell, allowed []column, places map[string]place, check func(string, quantity.Value) string) (got map[string]quantity.Value, good bool) {
	got, good = map[string]quantity.Value{}, true
	for _, c := range allowed {
		p, there := places[c.name]
		v, ok, at, err := s.value(row, p, there, c)
		reason := ""
		switch {
		case err != nil:
			reason = err.Error()
		case ok:
			got[c.name] = v
			reason = check(c.name, v)
		case c.mandatory && there:
			reason = "blank: a value is mandatory"
		case c.mandatory:
			good = false // the missing column is recorded once
		}
		if reason != "" {
			t.d.wrong(at, c.name, "%s", reason)
			good = false
		}
	}
	return got, good
}

// plainNumber reads a number without unit by the rules for values.
func plainNumber(text string) (float64, error) {
	v, err := quantity.Parse(text+" 1", quantity.Relative)
	if err != nil || v.Unit.Symbol != "1" || strings.ContainsAny(text, "±") {
		return 0, fmt.Errorf("%q is not a number", text)
	}
	return v.SI, nil
}
