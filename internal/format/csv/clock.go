package csv

import (
	"bytes"
	"math"
	"strings"
	"time"
)

// moment is a time of day, with its date where one is written.
type moment struct {
	seconds float64 // since midnight
	step    float64 // last digit written, s
	day     int64   // days since 1970-01-01
	dated   bool    // day is known
	zone    int     // s east of Greenwich
	zoned   bool
}

// clock reads hh:mm:ss[.fff], alone or behind a date: 2026-05-01T10:20:30.5Z, 2026-05-01 10:20:30,5, 01.05.2026 10:20:30, 10:20:30 PM.
// The date of other forms, such as 05/01/2026, is not interpreted.
func clock(b []byte) (m moment, ok bool) {
	if len(b) > 40 || bytes.Count(b, []byte(":")) < 2 {
		return m, false
	}
	s, half := cutHalf(string(b))
	if at := strings.IndexAny(s, "T _"); at > 0 {
		if m.day, m.dated, ok = date(s[:at]); !ok {
			return m, false
		}
		s = strings.TrimLeft(s[at+1:], " ")
	}
	if s, ok = m.cutZone(s); !ok {
		return m, false
	}
	parts := strings.Split(s, ":")
	if len(parts) != 3 {
		return m, false
	}
	h, ok1 := small(parts[0], 23)
	minute, ok2 := small(parts[1], 59)
	whole, fraction, marked := strings.Cut(strings.ReplaceAll(parts[2], ",", "."), ".")
	sec, ok3 := small(whole, 60)
	if !ok1 || !ok2 || !ok3 || marked && len(fraction) == 0 || len(fraction) > 12 {
		return m, false
	}
	if half >= 0 {
		if h < 1 || h > 12 {
			return m, false
		}
		h = h%12 + half
	}
	m.seconds, m.step = float64(3600*h+60*minute+sec), 1
	if marked {
		v, ok := (marks{decimal: '.'}).number([]byte("0." + fraction))
		if !ok || strings.ContainsAny(fraction, "eEdD+-.") {
			return m, false
		}
		m.seconds += v
		m.step = math.Pow(10, -float64(len(fraction)))
	}
	return m, true
}

// cutHalf takes AM or PM off the end: 0 or 12 hours to add, -1 where neither is written.
func cutHalf(s string) (rest string, half int) {
	for i, suffix := range []string{"AM", "PM"} {
		if n := len(s) - 2; n > 0 && strings.EqualFold(s[n:], suffix) {
			return strings.TrimRight(s[:n], " "), 12 * i
		}
	}
	return s, -1
}

// cutZone takes Z or +hh:mm off the end.
func (m *moment) cutZone(s string) (string, bool) {
	if strings.HasSuffix(s, "Z") {
		m.zoned = true
		return s[:len(s)-1], true
	}
	at := strings.LastIndexAny(s, "+-")
	if at < 0 {
		return s, true
	}
	text := strings.ReplaceAll(s[at+1:], ":", "")
	if len(text) != 4 && len(text) != 2 {
		return s, false
	}
	h, ok := small(text[:2], 15)
	if !ok {
		return s, false
	}
	m.zoned, m.zone = true, 3600*h
	if len(text) == 4 {
		minute, ok := small(text[2:], 59)
		if !ok {
			return s, false
		}
		m.zone += 60 * minute
	}
	if s[at] == '-' {
		m.zone = -m.zone
	}
	return s[:at], true
}

// small reads one or two digits.
func small(s string, most int) (int, bool) {
	v := 0
	for _, c := range []byte(s) {
		if c-'0' > 9 {
			return 0, false
		}
		v = 10*v + int(c-'0')
	}
	return v, len(s) >= 1 && len(s) <= 2 && v <= most
}

// date reads a date; known is false for a form of which day and month cannot be told apart.
func date(s string) (day int64, known, ok bool) {
	if len(s) < 6 || len(s) > 10 {
		return 0, false, false
	}
	for _, layout := range []string{"2006-01-02", "2006/01/02", "02.01.2006", "2.1.2006", "20060102"} {
		if t, err := time.Parse(layout, s); err == nil {
			return t.Unix() / 86400, true, true
		}
	}
	if strings.IndexAny(s, "/-.") > 2 {
		return 0, false, false // begins with a year, and is no day
	}
	separators, others := 0, 0
	for _, c := range []byte(s) {
		switch {
		case c == '/' || c == '-' || c == '.':
			separators++
		case c-'0' > 9:
			others++
		}
	}
	return 0, false, separators == 2 && others == 0
}

// isDate reports whether a field is a date alone. Eight digits alone are a number.
func isDate(b []byte) bool {
	if len(b) > 10 || bytes.IndexAny(b, "/.-") < 1 {
		return false
	}
	_, _, ok := date(string(b))
	return ok
}
