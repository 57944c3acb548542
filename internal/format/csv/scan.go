package csv

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"time"
)

const (
	longestLine = 256 << 10
	mostStrays  = 50 // lines that may follow the table
)

// table reads the rows of a text one by one.
type table struct {
	l          *layout
	r          *bufio.Reader
	line       int // number of the line last read
	fields     [][]byte
	terminated bool // the line last read ended with a line feed
}

// newTable starts behind the header. f must be at the start of the file, of the given size.
func newTable(f io.ReadSeeker, l *layout, size int64) (*table, error) {
	if _, err := f.Seek(int64(l.encoding.mark), io.SeekStart); err != nil {
		return nil, err
	}
	t := &table{l: l, r: bufio.NewReaderSize(l.encoding.lines(f), int(min(longestLine, 2*size+16)))}
	for t.line < l.first-1 {
		if _, err := t.next(); err != nil {
			return nil, err
		}
	}
	return t, nil
}

// next returns the next line. It is valid until the next call.
func (t *table) next() ([]byte, error) {
	b, err := t.r.ReadSlice('\n')
	if err == bufio.ErrBufferFull {
		return nil, fmt.Errorf("line %d is longer than %d bytes", t.line+1, len(b))
	}
	if err != nil && (err != io.EOF || len(b) == 0) {
		return nil, err
	}
	t.line++
	t.terminated = err == nil
	return bytes.TrimRight(b, "\r\n\x1a"), nil
}

// row returns the fields of the next row, passing over blank lines and comments.
func (t *table) row() ([][]byte, error) {
	for {
		b, err := t.next()
		if err != nil {
			return nil, err
		}
		if !passedOver(b, t.l.delimiter) {
			t.fields = split(t.fields[:0], b, t.l.delimiter)
			return t.fields, nil
		}
	}
}

// survey is what one reading of the whole table found.
type survey struct {
	skip   int64 // rows before the first that holds a value
	frames int64
	start  time.Time
	times  result
	bounds [2]float64
}

// stray is a line that is no row of the table.
type stray struct {
	line  int
	text  string
	count int
}

// scanTable reads the whole table once: how many rows it has, and what its times say.
func scanTable(f io.ReadSeeker, l *layout, size int64, trusted bool) (survey, error) {
	t, err := newTable(f, l, size)
	if err != nil {
		return survey{}, err
	}
	s := surveyor{t: t, l: l, line: newTimeline(l.time < 0)}
	for {
		fields, err := t.row()
		if err == io.EOF {
			break
		}
		if err != nil {
			return survey{}, err
		}
		if err := s.add(fields); err != nil {
			return survey{}, err
		}
	}
	return s.end(trusted)
}

type surveyor struct {
	t      *table
	l      *layout
	line   *timeline
	s      survey
	rows   int64
	empty  int64 // rows without a value since the last that has one
	held   []stamp
	strays stray
	shape  shape // of the last field of the row before
	first  moment
	last   moment
	rolled int64
}

// add looks at one row.
func (s *surveyor) add(fields [][]byte) error {
	at, ok := s.stamp(fields)
	if len(fields) != len(s.l.columns) || !ok || s.l.time < 0 && s.l.classify(fields[s.l.channels[0]]) == text {
		if s.strays.count++; s.strays.count == 1 {
			s.strays.line, s.strays.text = s.t.line, s.l.encoding.words(bytes.Join(fields, []byte{s.l.delimiter}))
		}
		return nil
	}
	if s.strays.count > 0 {
		return fmt.Errorf("line %d: found %.60q, which is no row of %d columns", s.strays.line, s.strays.text, len(s.l.columns))
	}
	if !s.t.terminated && s.cut(fields) {
		s.l.note("line %d, the last, is cut off and not used", s.t.line)
		return nil
	}
	s.shape = shapeOf(s.l, fields)
	s.rows++
	if s.valueless(fields) {
		if s.empty++; s.s.frames > 0 {
			s.hold(at)
		}
		return nil
	}
	if s.s.frames == 0 {
		s.s.skip = s.empty
	} else {
		s.s.frames += s.empty
		s.release()
	}
	s.empty = 0
	s.s.frames++
	if s.l.time >= 0 || s.l.counter >= 0 {
		s.line.add(at)
	}
	return nil
}

// hold keeps the time of a row without values, which counts only if a row with values follows.
func (s *surveyor) hold(at stamp) {
	if s.held = append(s.held, at); len(s.held) == 1<<12 {
		s.release()
	}
}

func (s *surveyor) release() {
	for _, h := range s.held {
		s.line.add(h)
	}
	s.held = s.held[:0]
}

// valueless reports whether no channel has a value.
func (s *surveyor) valueless(fields [][]byte) bool {
	for _, c := range s.l.channels {
		if !isMissing(fields[c]) {
			return false
		}
	}
	return true
}

// stamp reads the time of a row; ok is false where it cannot be read.
func (s *surveyor) stamp(fields [][]byte) (at stamp, ok bool) {
	i, unit := s.l.time, s.l.unit
	if i < 0 {
		i, unit = s.l.counter, 1
	}
	at.line = s.t.line
	if i < 0 {
		return at, true
	}
	if i >= len(fields) {
		return at, false
	}
	f := fields[i]
	if isMissing(f) {
		at.seconds = math.NaN()
		return at, true
	}
	if s.l.columns[i].kind == clockTime {
		return s.clock(at, fields)
	}
	v, ok := s.l.number(f)
	if !ok {
		return at, false
	}
	d, plain := s.l.scan(f)
	if !plain {
		d.significant = 15
	}
	at.seconds, at.digits = v*unit, d.significant
	at.least = math.Pow(10, float64(d.exponent-d.fraction)) * unit
	return at, true
}

// clock makes seconds since midnight of the first day of a time of day.
func (s *surveyor) clock(at stamp, fields [][]byte) (stamp, bool) {
	m, ok := clock(fields[s.l.time])
	if !ok {
		return at, false
	}
	if d := s.l.date; d >= 0 && d < len(fields) && !m.dated {
		m.day, m.dated, _ = date(string(fields[d]))
	}
	if s.rows == 0 {
		s.first, s.last, s.rolled = m, m, 0
	}
	if !m.dated {
		if m.seconds < s.last.seconds-43200 {
			s.rolled++ // past midnight
		}
		m.day = s.first.day + s.rolled
	}
	s.last = m
	at.seconds, at.least = float64(m.day-s.first.day)*86400+m.seconds, m.step
	return at, true
}

// shape is how the last field of a row is written.
type shape struct {
	fraction int
	exponent bool
}

func shapeOf(l *layout, fields [][]byte) shape {
	f := fields[len(fields)-1]
	d, ok := l.scan(f)
	if !ok {
		return shape{}
	}
	return shape{fraction: d.fraction, exponent: bytes.ContainsAny(f, "eEdD")}
}

// cut reports whether the last row seems to have lost its end: fewer decimals than the row before, or no exponent.
func (s *surveyor) cut(fields [][]byte) bool {
	if s.rows == 0 {
		return false
	}
	now := shapeOf(s.l, fields)
	return now.fraction < s.shape.fraction || s.shape.exponent && !now.exponent
}

// end settles the survey.
func (s *surveyor) end(trusted bool) (survey, error) {
	switch k := s.strays; {
	case k.count == 1 && !s.t.terminated && k.line == s.t.line:
		s.l.note("line %d, the last, is cut off and not used", k.line)
	case k.count > mostStrays:
		return s.s, fmt.Errorf("line %d: found %.60q, which is no row of %d columns, nor are the %d lines behind it", k.line, k.text, len(s.l.columns), k.count-1)
	case k.count > 0:
		s.l.note("%d lines behind the table are not read, the first is line %d: %.60q", k.count, k.line, k.text)
	}
	if s.s.skip > 0 {
		s.l.note("%d rows before the first value are not used", s.s.skip)
	}
	if s.empty > 0 && s.s.frames > 0 {
		s.l.note("%d rows behind the last value are not used", s.empty)
	}
	if s.s.frames == 0 {
		return s.s, errors.New("no row of the table holds a value")
	}
	i := s.l.time
	if i < 0 {
		i = s.l.counter
	}
	if i >= 0 {
		s.s.times = s.line.result(s.l.title(i), trusted && s.l.time >= 0)
		s.s.bounds = [2]float64{s.line.first.seconds, s.line.last.seconds}
	}
	if s.first.dated {
		sec, frac := math.Modf(s.first.seconds)
		s.s.start = time.Unix(s.first.day*86400+int64(sec)-int64(s.first.zone), int64(frac*1e9)).UTC().Round(time.Microsecond)
	}
	return s.s, nil
}

// rows of the head, for the choice of columns.
func headRows(head []byte, l *layout, whole bool) [][][]byte {
	var rows [][][]byte
	for i, t := range headLines(head, whole) {
		if i < l.first-1 || passedOver(t, l.delimiter) {
			continue
		}
		if fields := split(nil, t, l.delimiter); len(fields) == len(l.columns) {
			rows = append(rows, fields)
		}
		if len(rows) == 1000 {
			break
		}
	}
	return rows
}
