package csv

import (
	"bytes"
	"strings"
)

// kind is what a field of the table is.
type kind uint8

const (
	text kind = iota
	number
	missing
	clockTime
	dateOnly
)

// inNumbers are the bytes of which numbers, times and dates are made.
var inNumbers = func() (in [256]bool) {
	for _, c := range []byte("0123456789+-.,:/' _eEdDTZAPMapm\xa0\xc2\xe2\x80\xaf\x99\x88\x92\x96") {
		in[c] = true
	}
	return in
}()

// classify says what a field is.
func (l *layout) classify(b []byte) kind {
	if isMissing(b) {
		return missing
	}
	for _, c := range b {
		if !inNumbers[c] {
			return text
		}
	}
	switch {
	case isNumber(l, b):
		return number
	case isClock(b):
		return clockTime
	case isDate(b):
		return dateOnly
	}
	return text
}

func isNumber(l *layout, b []byte) bool { _, ok := l.number(b); return ok }
func isClock(b []byte) bool             { _, ok := clock(b); return ok }

// split appends the fields of a line to dst, without blanks and quotes around them. Quoted fields may hold delimiters.
func split(dst [][]byte, line []byte, delimiter byte) [][]byte {
	if delimiter == ' ' {
		return splitBlanks(dst, line)
	}
	quoted := bytes.IndexByte(line, '"') >= 0
	for {
		var end int
		if quoted {
			end = endOfField(line, delimiter)
		} else {
			end = bytes.IndexByte(line, delimiter)
		}
		if end < 0 {
			return append(dst, trim(line))
		}
		dst = append(dst, trim(line[:end]))
		line = line[end+1:]
	}
}

// endOfField finds the delimiter that ends the field at the front of line; -1 where the line ends it.
func endOfField(line []byte, delimiter byte) int {
	inside := false
	for i, c := range line {
		switch {
		case c == '"':
			inside = !inside
		case c == delimiter && !inside:
			return i
		}
	}
	return -1
}

func splitBlanks(dst [][]byte, line []byte) [][]byte {
	for {
		for len(line) > 0 && (line[0] == ' ' || line[0] == '\t') {
			line = line[1:]
		}
		if len(line) == 0 {
			return dst
		}
		end := 0
		inside := false
		for ; end < len(line) && (inside || line[end] != ' ' && line[end] != '\t'); end++ {
			if line[end] == '"' {
				inside = !inside
			}
		}
		dst = append(dst, trim(line[:end]))
		line = line[end:]
	}
}

// trim takes blanks and one pair of quotes off.
func trim(b []byte) []byte {
	for len(b) > 0 && (b[0] == ' ' || b[0] == '\t') {
		b = b[1:]
	}
	for len(b) > 0 && (b[len(b)-1] == ' ' || b[len(b)-1] == '\t' || b[len(b)-1] == '\r') {
		b = b[:len(b)-1]
	}
	if len(b) >= 2 && b[0] == '"' && b[len(b)-1] == '"' {
		return bytes.Trim(b[1:len(b)-1], " \t")
	}
	return b
}

var commentMarks = []string{"#", "%", "//", "!"}

// comment returns what stands behind a comment mark; false where the line is no comment.
func comment(line []byte) (string, bool) {
	s := strings.TrimLeft(string(line[:min(len(line), 4096)]), " \t\"")
	for _, mark := range commentMarks {
		if strings.HasPrefix(s, mark) {
			return strings.TrimLeft(s, mark+" \t"), true
		}
	}
	return "", false
}

// passedOver reports whether a line is no row of the table: blank, or a comment. A line of nothing but tabs is a row where tabs delimit.
func passedOver(line []byte, delimiter byte) bool {
	tabs := false
	for i, c := range line {
		switch c {
		case ' ', '\r', '\n':
		case '\t':
			tabs = true
		case '#', '%', '!':
			return true
		case '/':
			return i+1 < len(line) && line[i+1] == '/'
		case '"':
			return i+1 < len(line) && (line[i+1] == '#' || line[i+1] == '%')
		default:
			return false
		}
	}
	return !tabs || delimiter != '\t'
}
