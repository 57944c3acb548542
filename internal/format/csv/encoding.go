package csv

import (
	"bytes"
	"fmt"
	"io"
	"unicode/utf8"

	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/unicode"
	"golang.org/x/text/transform"
)

// encoding is how characters are stored.
type encoding struct {
	name string // as in format.Options
	mark int    // bytes of a byte-order mark
}

var byteOrderMarks = []struct{ name, bytes string }{
	{"utf-8", "\xef\xbb\xbf"}, {"utf-16le", "\xff\xfe"}, {"utf-16be", "\xfe\xff"},
}

// detectEncoding goes by the byte-order mark, else by validity as UTF-8; what is neither is Windows-1252.
func detectEncoding(head []byte, given string) (encoding, error) {
	e := encoding{name: given}
	for _, m := range byteOrderMarks {
		if bytes.HasPrefix(head, []byte(m.bytes)) && (given == "" || given == m.name) {
			return encoding{name: m.name, mark: len(m.bytes)}, nil
		}
	}
	switch given {
	case "":
		e.name = guessEncoding(head)
	case "utf-8", "utf-16le", "utf-16be", "windows-1252":
	default:
		return e, fmt.Errorf("encoding %q: allowed are utf-8, utf-16le, utf-16be, windows-1252", given)
	}
	return e, nil
}

func guessEncoding(head []byte) string {
	var zeros [2]int
	for i, c := range head {
		if c == 0 {
			zeros[i&1]++
		}
	}
	switch half := len(head) / 2; {
	case half > 1 && zeros[1] > half*3/4 && zeros[0] == 0:
		return "utf-16le"
	case half > 1 && zeros[0] > half*3/4 && zeros[1] == 0:
		return "utf-16be"
	case utf8.Valid(wholeRunes(head)):
		return "utf-8"
	}
	return "windows-1252"
}

// wholeRunes drops a character that the end of head cuts.
func wholeRunes(head []byte) []byte {
	for k := 1; k <= min(3, len(head)); k++ {
		if c := head[len(head)-k]; utf8.RuneStart(c) {
			if !utf8.FullRune(head[len(head)-k:]) {
				return head[:len(head)-k]
			}
			return head
		}
	}
	return head
}

// wide reports whether the bytes of lines cannot be looked at one by one.
func (e encoding) wide() bool { return e.name == "utf-16le" || e.name == "utf-16be" }

// lines makes r, which is behind the byte-order mark, a stream of bytes in which digits, delimiters and ends of lines are ASCII.
func (e encoding) lines(r io.Reader) io.Reader {
	switch e.name {
	case "utf-16le":
		return transform.NewReader(r, unicode.UTF16(unicode.LittleEndian, unicode.IgnoreBOM).NewDecoder())
	case "utf-16be":
		return transform.NewReader(r, unicode.UTF16(unicode.BigEndian, unicode.IgnoreBOM).NewDecoder())
	}
	return r
}

// words makes text of what lines delivered readable.
func (e encoding) words(b []byte) string {
	if e.name == "windows-1252" {
		if t, err := charmap.Windows1252.NewDecoder().Bytes(b); err == nil {
			return string(t)
		}
	}
	return string(b)
}

// isText reports whether head can be the start of a text: no control characters, and not many bytes that are no UTF-8.
func isText(head []byte) bool {
	e, err := detectEncoding(head, "")
	if err != nil {
		return false
	}
	if e.wide() {
		return true
	}
	strange := 0
	for _, c := range head {
		switch {
		case c < ' ' && c != '\t' && c != '\r' && c != '\n' && c != '\f' && c != 0x1a || c == 0x7f:
			return false
		case c >= 0x80:
			strange++
		}
	}
	return e.name == "utf-8" || strange*10 < len(head)
}
