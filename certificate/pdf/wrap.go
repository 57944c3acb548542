package pdf

import (
	"strings"
	"unicode/utf8"

	"plumbline/certificate"
)

// wrap breaks a text into lines of at most width mm. It breaks at blanks and, in words that are wider than a line, wherever it must, after a
// mark of punctuation where there is one.
func (p *press) wrap(t certificate.Text, size, width float64) []certificate.Text {
	blank := p.width(upright(" "), size)
	var lines []certificate.Text
	var line certificate.Text
	used := 0.0
	for _, word := range splitWords(t) {
		w := p.width(word, size)
		if len(line) > 0 && used+blank+w > width {
			lines, line, used = append(lines, line), nil, 0
		}
		for w > width {
			head, tail := p.breakWord(word, size, width)
			if len(tail) == 0 {
				break
			}
			lines = append(lines, head)
			word, w = tail, p.width(tail, size)
		}
		if len(line) > 0 {
			line = join(line, certificate.Text{{Text: " ", Face: line[len(line)-1].Face}})
			used += blank
		}
		line = join(line, word)
		used += w
	}
	return append(lines, line)
}

// shorten is a line that fits, with an ellipsis in place of what does not.
func (p *press) shorten(s string, size, width float64) certificate.Text {
	t := upright(s)
	for p.width(t, size) > width && s != "" {
		_, n := utf8.DecodeLastRuneInString(s)
		s = s[:len(s)-n]
		t = upright(strings.TrimRight(s, " ,") + "…")
	}
	return t
}

// blanks makes plain blanks of what people type or paste in their place.
var blanks = strings.NewReplacer("\n", " ", "\r", " ", "\t", " ")

// splitWords cuts a text at its blanks; thin spaces hold a number and its unit together.
func splitWords(t certificate.Text) []certificate.Text {
	var words []certificate.Text
	var word certificate.Text
	for _, s := range t {
		for i, part := range strings.Split(blanks.Replace(s.Text), " ") {
			if i > 0 && len(word) > 0 {
				if unitAfterNumber(word, part) {
					part = "\u00a0" + part
				} else {
					words, word = append(words, word), nil
				}
			}
			if part != "" {
				word = append(word, certificate.Span{Text: part, Face: s.Face})
			}
		}
	}
	if len(word) > 0 {
		words = append(words, word)
	}
	return words
}

// units are those that are kept on the line of their number, where somebody has typed a plain blank between.
var units = map[string]bool{"%": true, "°C": true, "K": true, "Hz": true, "kHz": true, "V": true, "mV": true, "V/g": true, "mV/g": true, "g": true, "kg": true,
	"m": true, "mm": true, "µm": true, "m/s": true, "m/s²": true, "s": true, "min": true, "h": true, "A": true, "mA": true, "N·m": true, "hPa": true, "pC/g": true, "kΩ": true, "MΩ": true, "dB": true, "bit": true, "rad": true, "N": true}

func unitAfterNumber(word certificate.Text, part string) bool {
	last := word[len(word)-1].Text
	return units[strings.TrimRight(part, ".,;:)")] && last[len(last)-1] >= '0' && last[len(last)-1] <= '9'
}

// join appends spans, uniting neighbours in the same face so that kerning works across them.
func join(a, b certificate.Text) certificate.Text {
	a = append(certificate.Text(nil), a...)
	for _, s := range b {
		if n := len(a); n > 0 && a[n-1].Face == s.Face {
			a[n-1].Text += s.Text
		} else {
			a = append(a, s)
		}
	}
	return a
}

// breakWord cuts a word so that its head fits.
func (p *press) breakWord(word certificate.Text, size, width float64) (head, tail certificate.Text) {
	used, good := 0.0, -1
	var fits certificate.Text
	for n, s := range word {
		for i, r := range s.Text {
			one := s.Text[i : i+utf8.RuneLen(r)]
			used += p.width(certificate.Text{{Text: one, Face: s.Face}}, size)
			if used > width && len(fits) > 0 {
				if good > 0 {
					return cut(word, good)
				}
				return cut(word, length(word[:n])+i)
			}
			fits = join(fits, certificate.Text{{Text: one, Face: s.Face}})
			if strings.ContainsRune("-/_.,;:", r) {
				good = length(word[:n]) + i + len(one)
			}
		}
	}
	return word, nil
}

func length(t certificate.Text) (n int) {
	for _, s := range t {
		n += len(s.Text)
	}
	return n
}

// cut divides a text after n bytes.
func cut(t certificate.Text, n int) (head, tail certificate.Text) {
	for _, s := range t {
		k := min(n, len(s.Text))
		if k > 0 {
			head = append(head, certificate.Span{Text: s.Text[:k], Face: s.Face})
		}
		if k < len(s.Text) {
			tail = append(tail, certificate.Span{Text: s.Text[k:], Face: s.Face})
		}
		n -= k
	}
	return head, tail
}
