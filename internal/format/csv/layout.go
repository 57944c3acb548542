package csv

import (
	"bytes"
	"fmt"
	"strings"

	"plumbline/internal/format"
)

// layout is how a table is written.
type layout struct {
	marks
	encoding  encoding
	delimiter byte // '\t', ';', ',', '|' or ' ' for runs of blanks
	first     int  // number of the first row's line, 1 = first line of the file
	columns   []column
	time      int // index of the column of times; -1 none
	date      int // index of a column of dates beside it; -1 none
	counter   int // index of a column that only counts; -1 none
	channels  []int
	unit      float64 // s in one unit of the column of times
	words     bool    // columns may hold words
	rate      float64 // stated above the table; 0 not
	rateText  string
	notes     []string
}

// column is one column of the table.
type column struct {
	kind       kind
	header     string // as written above the table
	name, unit string
}

func (l *layout) note(text string, a ...any) { l.notes = append(l.notes, fmt.Sprintf(text, a...)) }

// title is the column for messages.
func (l *layout) title(i int) string {
	if h := l.columns[i].header; h != "" {
		return fmt.Sprintf("column %d (%s)", i+1, h)
	}
	return fmt.Sprintf("column %d", i+1)
}

var delimiterNames = map[byte]string{'\t': "tab", ';': ";", ',': ",", '|': "|", ' ': "blank"}

// delimiters are tried in this order; of equally good ones the first is taken.
var delimiters = []byte{'\t', ';', '|', ',', ' '}

func delimiterOf(name string) (byte, error) {
	for d, n := range delimiterNames {
		if n == name {
			return d, nil
		}
	}
	return 0, fmt.Errorf(`delimiter %q: allowed are "tab", "blank", ";", ",", "|"`, name)
}

// headLines cuts head into lines; the last one only where the file ends with it.
func headLines(head []byte, whole bool) [][]byte {
	var lines [][]byte
	for len(head) > 0 {
		end := bytes.IndexByte(head, '\n')
		if end < 0 {
			if whole {
				lines = append(lines, head)
			}
			break
		}
		lines = append(lines, bytes.TrimRight(head[:end], "\r"))
		head = head[end+1:]
	}
	return lines
}

// sniff finds out how the table at the start of a text is written. head is what encoding.lines delivers.
func sniff(head []byte, whole bool, e encoding, opts format.Options) (*layout, error) {
	lines := headLines(head, whole)
	candidates, err := candidates(opts)
	if err != nil {
		return nil, err
	}
	best := block{}
	for _, words := range []bool{false, true} { // columns of words only where there is no table without
		for _, c := range candidates {
			c.encoding, c.words = e, words
			if b := c.block(lines, opts.HeaderLines); b.better(best) {
				best = b
			}
		}
		if best.rows > 0 {
			break
		}
	}
	if best.rows == 0 {
		return nil, noTable(lines, e)
	}
	if best.ambiguous() && opts.DecimalMark == "" {
		return nil, fmt.Errorf("numbers such as %s may have decimals or grouped digits: state the decimal mark", best.example)
	}
	return best.settle(lines, opts.HeaderLines != nil), nil
}

// settle makes the layout of the block.
func (b *block) settle(lines [][]byte, given bool) *layout {
	l := b.layout
	l.columns = make([]column, b.fields)
	l.kinds(lines[b.start:])
	if l.words && !given { // lines above the table may look like rows
		for b.start < len(lines) && !l.fits(lines[b.start]) {
			b.start++
		}
	}
	l.first = b.start + 1
	l.readHeader(lines[:min(b.start, len(lines))])
	return &l
}

// fits reports whether a line has numbers where the columns do.
func (l *layout) fits(t []byte) bool {
	fields := split(nil, t, l.delimiter)
	if len(fields) != len(l.columns) || passedOver(t, l.delimiter) {
		return false
	}
	for i, c := range l.columns {
		if k := l.classify(fields[i]); c.kind != text && k != c.kind && k != missing {
			return false
		}
	}
	return true
}

// ambiguous reports whether the decimal point may be a group mark: where written, three digits follow it and one to three
// stand before, and there are numbers of three digits or more without it.
func (b *block) ambiguous() bool { return b.decimal == '.' && b.example != "" && !b.plain && b.whole }

func noTable(lines [][]byte, e encoding) error {
	var shown string
	for _, t := range lines {
		if shown = strings.TrimSpace(e.words(t)); shown != "" {
			break
		}
	}
	return fmt.Errorf("no table of numbers in the first %d lines, which start with %.60q: state delimiter, decimal mark and header lines", len(lines), shown)
}

// candidates are the ways of writing that the options allow.
func candidates(opts format.Options) ([]layout, error) {
	ds, decimals := delimiters, []byte{'.', ','}
	if opts.Delimiter != "" {
		d, err := delimiterOf(opts.Delimiter)
		if err != nil {
			return nil, err
		}
		ds = []byte{d}
	}
	if m := opts.DecimalMark; m != "" {
		if m != "." && m != "," {
			return nil, fmt.Errorf(`decimal mark %q: allowed are "." and ","`, m)
		}
		decimals = []byte{m[0]}
	}
	if h := opts.HeaderLines; h != nil && *h < 0 {
		return nil, fmt.Errorf("%d header lines: allowed are 0 and more", *h)
	}
	var all []layout
	for _, d := range ds {
		for _, m := range decimals {
			all = append(all, layout{marks: marks{decimal: m}, delimiter: d, time: -1, date: -1, counter: -1, unit: 1})
		}
	}
	return all, nil
}

// block is the table as one candidate sees it.
type block struct {
	layout
	start  int // index of the first row's line
	rows   int
	fields int
	marked bool // the decimal mark occurs

	example string // a number that may have decimals or grouped digits
	plain   bool   // there are numbers with a decimal mark that cannot be a group mark
	whole   bool   // there are numbers of three digits or more without a mark
}

// better prefers more rows, then several columns, then the decimal mark that occurs.
func (b block) better(than block) bool {
	switch {
	case b.rows != than.rows:
		return b.rows > than.rows
	case (b.fields > 1) != (than.fields > 1):
		return b.fields > 1
	}
	return b.marked && !than.marked
}

// block finds the longest stretch of lines that have equally many fields, all of them numbers, times or empty. One line in
// twenty may be different, and other lines may follow.
func (l layout) block(lines [][]byte, headerLines *int) block {
	counts := make([]int, len(lines)) // fields of a row; 0 no row of the table, -1 passed over
	b := block{layout: l}
	var room [][]byte
	frequency := map[int]int{}
	for i, t := range lines {
		if passedOver(t, l.delimiter) {
			counts[i] = -1
			continue
		}
		room = split(room[:0], t, l.delimiter)
		if len(room) <= format.MaxChannels+3 && b.isRow(room) {
			counts[i] = len(room)
			frequency[len(room)]++
		}
	}
	for k, n := range frequency {
		if n > frequency[b.fields] || n == frequency[b.fields] && k > b.fields {
			b.fields = k
		}
	}
	if b.fields == 0 {
		return block{}
	}
	b.start = tail(counts, b.fields)
	if headerLines != nil {
		b.start = min(*headerLines, len(lines))
	}
	for b.start < len(lines) && counts[b.start] == -1 {
		b.start++
	}
	for _, k := range counts[b.start:] {
		if k == b.fields {
			b.rows++
		}
	}
	return b
}

// tail returns the index of the first line of the longest stretch up to the last row of k fields, of which 19 in 20 rows
// have k fields.
func tail(counts []int, k int) int {
	rows, good, start := 0, 0, len(counts)
	for i := len(counts) - 1; i >= 0; i-- {
		if counts[i] == -1 || rows == 0 && counts[i] != k {
			continue
		}
		if rows++; counts[i] == k {
			good++
			if 20*good >= 19*rows {
				start = i
			}
		}
	}
	return start
}

// isRow reports whether fields are a row of the table, and learns how numbers are written.
func (b *block) isRow(fields [][]byte) bool {
	values := 0
	for _, f := range fields {
		if isMissing(f) {
			continue
		}
		if d, ok := b.scan(f); ok {
			if b.delimiter == ',' && isPadded(f) {
				return false // 0,05: the comma is a decimal mark
			}
			b.marked = b.marked || d.marked
			b.weigh(d, f)
			values++
			continue
		}
		switch b.classify(f) {
		case number:
			b.grouped = b.grouped || b.isGrouped(f)
			b.marked = true
			values++
		case clockTime:
			values++
		case text:
			if !b.words {
				return false
			}
		}
	}
	return values > 0
}

// weigh looks at a number for ambiguous.
func (b *block) weigh(d digits, f []byte) {
	grouped := d.fraction == 3 && d.exponent == 0 && d.significant > 3 && d.significant <= 6
	switch {
	case !d.marked:
		b.whole = b.whole || d.significant >= 3
	case !grouped:
		b.plain = true
	case b.example == "":
		b.example = string(f)
	}
}

// isPadded reports whether f is a whole number that starts with needless zeros.
func isPadded(f []byte) bool {
	f = bytes.TrimLeft(f, "+-")
	return len(f) > 1 && f[0] == '0' && f[1]-'0' <= 9
}

// kinds settles what the columns are: what most fields are.
func (l *layout) kinds(lines [][]byte) {
	counts := make([][dateOnly + 1]int, len(l.columns))
	var room [][]byte
	for _, t := range lines {
		if passedOver(t, l.delimiter) {
			continue
		}
		if room = split(room[:0], t, l.delimiter); len(room) != len(l.columns) {
			continue
		}
		for i, f := range room {
			counts[i][l.classify(f)]++
		}
	}
	for i, n := range counts {
		l.columns[i].kind = missing
		if n[text] > max(n[number], n[clockTime], n[dateOnly]) {
			l.columns[i].kind = text
			continue
		}
		for _, k := range []kind{number, clockTime, dateOnly} {
			if n[k] > 0 && n[k] >= max(n[number], n[clockTime], n[dateOnly]) {
				l.columns[i].kind = k
				break
			}
		}
	}
}
