package csv

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// timeUnits are seconds in one unit of a column of times.
var timeUnits = map[string]float64{"s": 1, "sec": 1, "secs": 1, "second": 1, "seconds": 1, "sek": 1, "sekunden": 1, "S": 1, "Sec": 1,
	"ms": 1e-3, "msec": 1e-3, "millisec": 1e-3, "milliseconds": 1e-3, "us": 1e-6, "µs": 1e-6, "μs": 1e-6, "usec": 1e-6, "microseconds": 1e-6,
	"ns": 1e-9, "nsec": 1e-9, "min": 60, "minutes": 60, "h": 3600, "hours": 3600}

var timeWords = []string{"time", "zeit", "temps", "tiempo", "tempo", "tijd", "timestamp", "elapsed", "uhrzeit", "t", "x_value", "seconds", "sekunden", "rel. time", "abs. time", "rel time", "abs time", "relative time", "absolute time"}

var counterWords = []string{"index", "idx", "sample", "samples", "nr", "nr.", "no", "no.", "n", "#", "i", "record", "row", "point", "count", "counter", "sample number", "sample no", "sample no.", "zeile", "punkt"}

// named reports whether a column is called one of the words, alone or at the front.
func (c column) named(words []string) bool {
	name := strings.ToLower(c.name)
	for _, w := range words {
		if name == w || len(w) > 2 && strings.HasPrefix(name, w) && !isLetter(name[len(w)]) {
			return true
		}
	}
	return false
}

func isLetter(c byte) bool { return c >= 'a' && c <= 'z' || c >= 0x80 }

// unitOfTime is the unit of a column of times, and whether it is written there.
func (c column) unitOfTime() (seconds float64, stated bool) {
	if v, ok := timeUnits[c.unit]; ok {
		return v, true
	}
	if at := strings.LastIndexAny(c.name, " _"); at >= 0 && c.unit == "" {
		if v, ok := timeUnits[c.name[at+1:]]; ok {
			return v, true
		}
	}
	return 1, false
}

// headTimes reads the numbers of column i in the first rows; ok is false where they do not rise.
func headTimes(l *layout, rows [][][]byte, i int) (t []float64, rising bool) {
	rising = true
	for _, r := range rows {
		v, ok := l.number(r[i])
		if !ok {
			continue
		}
		if len(t) > 0 && v < t[len(t)-1] {
			rising = false
		}
		t = append(t, v)
	}
	return t, rising && len(t) >= 2 && t[len(t)-1] > t[0]
}

// even reports whether values rise in equal steps, to 1 % and the digits written.
func even(t []float64) bool {
	if len(t) < 8 {
		return false
	}
	mean := (t[len(t)-1] - t[0]) / float64(len(t)-1)
	for i := 1; i < len(t); i++ {
		if d := t[i] - t[i-1]; math.Abs(d-mean) > 0.05*mean {
			return false
		}
	}
	return mean > 0
}

// ones returns how many steps of whole numbers there are, and how many of them are 1; 0 where a number is not whole.
func ones(t []float64) (steps, one int) {
	for i, v := range t {
		if v != math.Trunc(v) {
			return 0, 0
		}
		if i > 0 && v == t[i-1]+1 {
			one++
		}
	}
	return len(t) - 1, one
}

// chooseColumns says which column holds times, which one only counts, and which are channels.
func (l *layout) chooseColumns(rows [][][]byte, given string) error {
	if err := l.chooseTime(rows, given); err != nil {
		return err
	}
	if l.time >= 0 {
		l.unit, _ = l.columns[l.time].unitOfTime()
	}
	if n := len(l.columns); n > 1 && l.columns[n-1].kind == missing && l.columns[n-1].header == "" {
		l.note("column %d is empty and has no name: the delimiter at the end of the lines makes it", n)
	}
	for i, c := range l.columns {
		trailing := i > 0 && i == len(l.columns)-1 && c.kind == missing && c.header == ""
		switch {
		case i == l.time || i == l.date || trailing:
		case c.kind == text:
			l.note("%s holds words and is no channel", l.title(i))
		case c.kind == clockTime || c.kind == dateOnly:
			l.note("%s holds times or dates and is no channel", l.title(i))
		case i == l.counter:
			l.note("%s counts the rows and is no channel", l.title(i))
		default:
			l.channels = append(l.channels, i)
		}
	}
	if len(l.channels) == 0 {
		return fmt.Errorf("no column of samples: %d column(s), of which %s", len(l.columns), l.saysTime())
	}
	return nil
}

func (l *layout) saysTime() string {
	if l.time < 0 {
		return "none holds times"
	}
	return l.title(l.time) + " holds times"
}

// chooseTime goes by what was given, else by clock times, then by name or unit, then by equal steps in a first column without a name.
func (l *layout) chooseTime(rows [][][]byte, given string) error {
	l.chooseCounter(rows)
	switch given {
	case "none":
		return nil
	case "":
	default:
		i, err := l.find(given)
		if err != nil {
			return err
		}
		if _, rising := headTimes(l, rows, i); l.columns[i].kind == number && !rising {
			return fmt.Errorf("time column %q: its numbers do not rise", given)
		}
		l.setTime(i)
		return nil
	}
	for i, c := range l.columns {
		if c.kind == clockTime {
			l.setTime(i)
			return nil
		}
	}
	for i, c := range l.columns {
		_, unit := c.unitOfTime()
		if c.kind != number || !unit && (c.unit != "" || !c.named(timeWords)) {
			continue
		}
		if _, rising := headTimes(l, rows, i); rising {
			l.setTime(i)
			return nil
		}
	}
	if c := l.columns[0]; len(l.columns) > 1 && c.kind == number && c.header == "" && l.counter != 0 {
		if t, rising := headTimes(l, rows, 0); rising && even(t) {
			l.setTime(0)
			l.note("column 1 has no name; its numbers rise in equal steps: taken as times in s")
		}
	}
	return nil
}

func (l *layout) setTime(i int) {
	l.time = i
	if l.counter == i {
		l.counter = -1
	}
	if l.columns[i].kind != clockTime {
		return
	}
	for _, j := range []int{i - 1, i + 1} {
		if j >= 0 && j < len(l.columns) && l.columns[j].kind == dateOnly {
			l.date = j
			return
		}
	}
}

// chooseCounter finds a first column that counts by one and is called so, or has no name.
func (l *layout) chooseCounter(rows [][][]byte) {
	c := l.columns[0]
	if len(l.columns) < 2 || c.kind != number || !c.named(counterWords) && c.header != "" || c.unit != "" {
		return
	}
	t, rising := headTimes(l, rows, 0)
	steps, one := ones(t)
	if rising && steps > 0 && (one == steps && steps >= 7 || c.header != "" && 10*one >= 9*steps) {
		l.counter = 0
	}
}

// find returns the index of the column with a name or number (1 = first).
func (l *layout) find(given string) (int, error) {
	for i, c := range l.columns {
		if c.header != "" && (strings.EqualFold(given, c.name) || strings.EqualFold(given, c.header)) {
			return i, l.holdsTimes(i, given)
		}
	}
	if n, err := strconv.Atoi(given); err == nil && n >= 1 && n <= len(l.columns) {
		return n - 1, l.holdsTimes(n-1, given)
	}
	var all []string
	for i := range l.columns {
		all = append(all, l.title(i))
	}
	return 0, fmt.Errorf("time column %q: the table has %s", given, strings.Join(all, ", "))
}

func (l *layout) holdsTimes(i int, given string) error {
	if k := l.columns[i].kind; k != number && k != clockTime {
		return fmt.Errorf("time column %q: %s holds no numbers or times", given, l.title(i))
	}
	return nil
}
