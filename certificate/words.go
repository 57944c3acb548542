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

// sentence makes a sentence of a remark: a large first letter, a full stop, real minus signs.
func sentence(s string) string {
	s = hyphenBeforeDigit.ReplaceAllString(strings.TrimSpace(s), "$1−$2")
	if s == "" {
		return ""
	}
	if !strings.ContainsAny(s[len(s)-1:], ".!?") {
		s += "."
	}
	// A remark that begins with a quantity's symbol, such as k or U, keeps it as it is.
	if first, _, _ := strings.Cut(s, " "); utf8.RuneCountInString(first) > 1 {
		return capital(s)
	}
	return s
}
