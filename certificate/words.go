package certificate

import (
	"regexp"
	"strings"
	"unicode"
	"unicode/utf8"
)

// capital makes the first letter large.
func capital(s string) string {
	r, n := utf8.DecodeRuneInString(s)
	return string(unicode.ToUpper(r)) + s[n:]
}

var hyphenBeforeDigit = regexp.MustCompile(`(^|[\s(=±])-(\d)`)

// stop ends a remark with a full stop and gives its numbers real minus signs.
func stop(s string) string {
	s = hyphenBeforeDigit.ReplaceAllString(strings.TrimSpace(s), "$1−$2")
	if s != "" && !strings.ContainsAny(s[len(s)-1:], ".!?") {
		s += "."
	}
	return s
}

// sentence is stop with a large first letter. A remark that begins with the symbol of a quantity, such as k or U, keeps it as it is.
func sentence(s string) string {
	s = stop(s)
	if first, _, _ := strings.Cut(s, " "); utf8.RuneCountInString(first) > 1 {
		return capital(s)
	}
	return s
}
