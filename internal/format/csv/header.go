package csv

import (
	"fmt"
	"regexp"
	"slices"
	"strings"

	"plumbline/quantity"
)

// readHeader takes names, units and a rate from the lines above the table.
func (l *layout) readHeader(lines [][]byte) {
	var rows [][]string // from the last line upwards, as many as have a field for every column
	for i := len(lines) - 1; i >= 0 && i >= len(lines)-1000; i-- {
		words := l.encoding.words(lines[i])
		if c, ok := comment(lines[i]); ok {
			words = l.encoding.words([]byte(c))
		}
		if strings.TrimSpace(words) == "" {
			continue
		}
		if len(rows) < 2 {
			if fields, ok := l.headerFields(words); ok && !l.allNumbers(fields) {
				rows = append(rows, fields)
			}
		}
		l.statedRate(words)
	}
	names, units := []string(nil), []string(nil)
	switch {
	case len(rows) == 2 && allUnits(rows[0]) && !allUnits(rows[1]):
		names, units = rows[1], rows[0]
	case len(rows) == 2 && allUnits(rows[1]) && !allUnits(rows[0]):
		names, units = rows[0], rows[1]
	case len(rows) > 0:
		names = rows[0]
	}
	for i := range l.columns {
		c := &l.columns[i]
		if names != nil {
			c.header = names[i]
			c.name, c.unit = nameAndUnit(names[i])
		}
		if units != nil && c.unit == "" {
			c.unit = bare(units[i])
		}
	}
}

var remarkWords = []string{"comment", "comments", "remark", "remarks", "note", "notes", "kommentar", "bemerkung", "commentaire"}

// headerFields cuts a line of the header into one field for each column.
func (l *layout) headerFields(words string) ([]string, bool) {
	try := append([]byte{l.delimiter}, delimiters...)
	for _, d := range try {
		var fields []string
		if d == ' ' {
			fields = blankFields(words, len(l.columns))
		} else {
			for _, f := range split(nil, []byte(words), d) {
				fields = append(fields, string(f))
			}
		}
		for len(fields) > len(l.columns) && fields[len(fields)-1] == "" {
			fields = fields[:len(fields)-1]
		}
		if n := len(l.columns); len(fields) == n+1 && slices.Contains(remarkWords, strings.ToLower(fields[n])) {
			fields = fields[:n] // the remarks are left empty, with their delimiters
		}
		if len(fields) == len(l.columns)-1 && len(fields) > 1 && l.columns[len(fields)].kind == missing {
			fields = append(fields, "")
		}
		if len(fields) == len(l.columns) && (len(fields) > 1 || d == l.delimiter) {
			return fields, strings.Join(fields, "") != ""
		}
	}
	return nil, false
}

func (l *layout) allNumbers(fields []string) bool {
	for _, f := range fields {
		if _, ok := l.number([]byte(f)); !ok && f != "" {
			return false
		}
	}
	return true
}

// blankFields cuts at runs of two blanks, or at every blank with units in brackets left at their names.
func blankFields(words string, want int) []string {
	wide := wideBlanks.Split(strings.TrimSpace(words), -1)
	if len(wide) == want {
		return wide
	}
	var fields []string
	for _, f := range strings.Fields(words) {
		if n := len(fields); n > 0 && (f[0] == '[' || f[0] == '(') && n+strings.Count(words, "[")+strings.Count(words, "(") >= want {
			fields[n-1] += " " + f
			continue
		}
		fields = append(fields, f)
	}
	if len(fields) == want {
		return fields
	}
	return strings.Fields(words)
}

var (
	wideBlanks = regexp.MustCompile(`[ \t]{2,}|\t`)
	inBrackets = regexp.MustCompile(`^(.*?)[\s_]*\[([^\[\]]*)\]\s*$`)
	inParens   = regexp.MustCompile(`^(.*?)[\s_]*\(((?:[^()]|\([^()]*\))*)\)\s*$`)
)

// nameAndUnit takes the unit off a header: Zeit [s], a (m/s²), a / (m/s²), U / V, t/s.
func nameAndUnit(header string) (name, unit string) {
	for _, form := range []*regexp.Regexp{inBrackets, inParens} {
		if m := form.FindStringSubmatch(header); m != nil {
			return strings.TrimSpace(strings.TrimSuffix(strings.TrimSpace(m[1]), "/")), strings.TrimSpace(m[2])
		}
	}
	if at := strings.LastIndex(header, " / "); at > 0 {
		if unit := strings.TrimSpace(header[at+3:]); isUnit(unit) {
			return strings.TrimSpace(header[:at]), unit
		}
	}
	if left, right, ok := strings.Cut(header, "/"); ok && isUnit(bare(right)) && (!isUnit(left) || (column{name: left}).named(timeWords)) {
		return strings.TrimSpace(left), bare(right)
	}
	return strings.TrimSpace(header), ""
}

// bare takes brackets off a unit.
func bare(s string) string {
	s = strings.TrimSpace(s)
	if len(s) >= 2 && (s[0] == '[' && s[len(s)-1] == ']' || s[0] == '(' && s[len(s)-1] == ')') {
		s = s[1 : len(s)-1]
	}
	if s == "-" {
		return ""
	}
	return strings.TrimSpace(s)
}

func isUnit(s string) bool {
	_, seconds := timeUnits[s]
	_, err := quantity.ParseUnit(s)
	return err == nil || seconds || s == "FS"
}

// allUnits reports whether a line of the header holds units only.
func allUnits(fields []string) bool {
	some := false
	for _, f := range fields {
		switch b := bare(f); {
		case b == "":
		case b != strings.TrimSpace(f), isUnit(b): // in brackets, or known
			some = true
		default:
			return false
		}
	}
	return some
}

var ratePattern = regexp.MustCompile(`(?i)(?:sampl\w*[\s_-]*(?:rate|freq\w*)|scan[\s_-]*rate|abtast(?:rate|frequenz)|messrate|\bfs\b|` +
	`fr[ée]quence d.[ée]chantillonnage|frecuencia de muestreo)[^0-9+-]{0,24}?([0-9]+(?:[.,][0-9]+)?(?:[eE][+-]?[0-9]+)?)[\s";,|\]]*(k?Hz|kS/s|S/s|Sa/s|1/s|$)`)

// statedRate looks for a rate in a line above the table.
func (l *layout) statedRate(words string) {
	m := ratePattern.FindStringSubmatch(words)
	if m == nil || l.rate != 0 {
		return
	}
	var v float64
	ok := false
	for _, mark := range []byte{l.decimal, '.', ','} {
		at := strings.LastIndexByte(m[1], ',')
		if v, ok = (marks{decimal: mark}).number([]byte(m[1])); ok && (mark == l.decimal || mark == '.' || len(m[1])-at != 4) {
			break // not 12,800, which may be grouped
		}
		ok = false
	}
	if !ok || !(v > 0) {
		return
	}
	if strings.HasPrefix(m[2], "k") {
		v *= 1000
	}
	l.rate, l.rateText = v, fmt.Sprintf("%.80q", strings.TrimSpace(words))
}
