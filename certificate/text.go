package certificate

import (
	"strings"
)

// Face is how a span of text is set.
type Face uint8

// The faces.
const (
	Upright   Face = iota
	Italic         // symbols of quantities
	Strong         // what a reader looks for
	Subscript      // upright, lowered
)

// Span is a piece of text in one face.
type Span struct {
	Text string
	Face Face
}

// Text is a line or a paragraph.
type Text []Span

// String is the text without its faces.
func (t Text) String() string {
	var b strings.Builder
	for _, s := range t {
		b.WriteString(s.Text)
	}
	return b.String()
}

// plain is text in the upright face.
func plain(s string) Text {
	if s == "" {
		return nil
	}
	return Text{{Text: s}}
}

// strong is text in the strong face.
func strong(s string) Text { return Text{{Text: s, Face: Strong}} }

// rich reads our own phrases: *italic*, #strong#, ~subscript~ and {} for the next argument, which is taken as it is.
func rich(phrase string, args ...string) Text {
	var t Text
	face, start := Upright, 0
	emit := func(end int) {
		if end > start {
			t = append(t, Span{Text: phrase[start:end], Face: face})
		}
	}
	toggle := map[byte]Face{'*': Italic, '#': Strong, '~': Subscript}
	for i := 0; i < len(phrase); i++ {
		if strings.HasPrefix(phrase[i:], "{}") {
			emit(i)
			start = i + 2
			if args[0] != "" {
				t = append(t, Span{Text: args[0], Face: face})
			}
			args = args[1:]
			continue
		}
		f, marked := toggle[phrase[i]]
		if !marked {
			continue
		}
		emit(i)
		start = i + 1
		if face == f {
			face = Upright
		} else {
			face = f
		}
	}
	emit(len(phrase))
	if len(args) > 0 || face != Upright {
		panic("certificate: a phrase does not fit its arguments")
	}
	return t
}
