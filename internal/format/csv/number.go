package csv

import (
	"bytes"
	"errors"
	"strconv"
	"strings"
)

// marks say how numbers are written.
type marks struct {
	decimal byte // '.' or ','
	grouped bool // digits are grouped somewhere: a group mark alone is read too
}

var powersOfTen = [23]float64{1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19,
	1e20, 1e21, 1e22}

// digits is what a number is made of.
type digits struct {
	mantissa    uint64
	negative    bool
	overflow    bool // more digits than mantissa holds
	significant int  // digits from the first that is not zero
	fraction    int  // digits behind the decimal mark
	exponent    int
	marked      bool // the decimal mark is there
}

// scan takes a number without group marks apart.
func (m marks) scan(b []byte) (d digits, ok bool) {
	i, n := 0, len(b)
	if i < n && (b[i] == '-' || b[i] == '+') {
		d.negative = b[i] == '-'
		i++
	}
	before := i
	for ; i < n && b[i]-'0' <= 9; i++ {
		d.digit(b[i])
	}
	whole := i - before
	if i < n && b[i] == m.decimal {
		d.marked = true
		i++
		start := i
		for ; i < n && b[i]-'0' <= 9; i++ {
			d.digit(b[i])
		}
		d.fraction = i - start
		if d.fraction == 0 && m.decimal == ',' {
			return d, false // "1," is a delimiter, not a decimal mark
		}
	}
	if whole+d.fraction == 0 {
		return d, false
	}
	if i < n && (b[i]|0x20 == 'e' || b[i]|0x20 == 'd') {
		e, length := exponent(b[i+1:])
		if length == 0 {
			return d, false
		}
		d.exponent = e
		i += 1 + length
	}
	return d, i == n
}

func (d *digits) digit(c byte) {
	if d.significant > 0 || c != '0' {
		d.significant++
	}
	if d.mantissa > (1<<63)/10 {
		d.overflow = true
		return
	}
	d.mantissa = 10*d.mantissa + uint64(c-'0')
}

func exponent(b []byte) (e, length int) {
	i, sign := 0, 1
	if i < len(b) && (b[i] == '-' || b[i] == '+') {
		if b[i] == '-' {
			sign = -1
		}
		i++
	}
	start := i
	for ; i < len(b) && b[i]-'0' <= 9; i++ {
		if e < 10_000 {
			e = 10*e + int(b[i]-'0')
		}
	}
	if i == start {
		return 0, 0
	}
	return sign * e, i
}

// number reads a number. The result is the float64 nearest to what is written.
func (m marks) number(b []byte) (float64, bool) {
	d, ok := m.scan(b)
	if !ok {
		plain, ok := m.ungrouped(b)
		if !ok {
			return 0, false
		}
		if d, ok = m.scan(plain); !ok {
			return 0, false
		}
		b = plain
	}
	e := d.exponent - d.fraction
	if !d.overflow && d.mantissa < 1<<53 && e >= -22 && e <= 22 { // both exact: one rounding
		v := float64(d.mantissa)
		if e < 0 {
			v /= powersOfTen[-e]
		} else {
			v *= powersOfTen[e]
		}
		if d.negative {
			v = -v
		}
		return v, true
	}
	return m.slow(b)
}

// slow lets the library read a number that scan has taken apart.
func (m marks) slow(b []byte) (float64, bool) {
	var room [64]byte
	s := room[:0]
	for _, c := range b {
		switch {
		case c == m.decimal:
			c = '.'
		case c|0x20 == 'd':
			c = 'e'
		}
		s = append(s, c)
	}
	v, err := strconv.ParseFloat(string(s), 64)
	if err != nil && !isRange(err) {
		return 0, false
	}
	return v, v-v == 0
}

func isRange(err error) bool {
	return errors.Is(err, strconv.ErrRange)
}

// groupMarks may stand between thousands; the one that is the decimal mark is left out by ungrouped.
var groupMarks = []string{",", ".", "'", " ", "\u00a0", "\u202f", "\u2019", "\xa0"}

// ungrouped returns b without group marks and with a plain minus sign; false where b is no such number.
func (m marks) ungrouped(b []byte) ([]byte, bool) {
	s := string(b)
	if len(s) > 48 {
		return nil, false
	}
	sign := ""
	for _, p := range []string{"-", "+", "\u2212", "\x96"} {
		if strings.HasPrefix(s, p) {
			sign, s = p, s[len(p):]
			if p != "+" {
				sign = "-"
			}
			break
		}
	}
	end := strings.IndexAny(s, string(rune(m.decimal))+"eEdD")
	if end < 0 {
		end = len(s)
	}
	whole, rest := s[:end], s[end:]
	for _, mark := range groupMarks {
		if mark == string(rune(m.decimal)) || !strings.Contains(whole, mark) {
			continue
		}
		groups := strings.Split(whole, mark)
		if !(len(rest) > 0 && rest[0] == m.decimal || m.grouped) || !thousands(groups) {
			return nil, false
		}
		whole = strings.Join(groups, "")
		break
	}
	return []byte(sign + whole + rest), true
}

// thousands reports whether digits are grouped by three.
func thousands(groups []string) bool {
	for i, g := range groups {
		if len(g) != 3 && !(i == 0 && len(g) > 0 && len(g) < 3) {
			return false
		}
		for _, c := range []byte(g) {
			if c-'0' > 9 {
				return false
			}
		}
	}
	return true
}

// isGrouped reports whether b is a number with grouped digits and a decimal mark.
func (m marks) isGrouped(b []byte) bool {
	if _, ok := m.scan(b); ok {
		return false
	}
	plain, ok := m.ungrouped(b)
	if !ok || len(plain) == len(b) {
		return false
	}
	_, ok = m.scan(plain)
	return ok
}

var missingWords = [][]byte{[]byte("nan"), []byte("-nan"), []byte("na"), []byte("n/a"), []byte("#n/a"), []byte("null"), []byte("-"), []byte("--"),
	[]byte("---"), []byte("inf"), []byte("-inf"), []byte("+inf"), []byte("infinity"), []byte("-infinity"), []byte("1.#qnan"), []byte("1.#ind"),
	[]byte("-1.#ind"), []byte("1.#inf"), []byte("-1.#inf")}

// isMissing reports whether a field says that there is no value.
func isMissing(b []byte) bool {
	if len(b) == 0 {
		return true
	}
	if c := b[len(b)-1]; c-'0' <= 9 || len(b) > 9 {
		return false
	}
	for _, w := range missingWords {
		if bytes.EqualFold(b, w) {
			return true
		}
	}
	return false
}
