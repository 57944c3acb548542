package quantity

import (
	"math"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

const (
	deepestUnit     = 4 // nested parentheses
	largestExponent = 4
)

const superscripts = "⁰¹²³⁴⁵⁶⁷⁸⁹"

// power = ( symbol | "(" quotient ")" ) [ exponent ]
func (p *unitParser) power() (*expr, error) {
	var e *expr
	if p.take("(") {
		if p.depth++; p.depth > deepestUnit {
			return nil, p.wrong("parentheses nested deeper than %d", deepestUnit)
		}
		inner, err := p.quotient()
		if err != nil {
			return nil, err
		}
		if p.blank(); !p.take(")") {
			return nil, p.wrong("a closing parenthesis is missing")
		}
		p.depth--
		inner.enclosed = true
		e = inner
	} else {
		s, err := p.symbol()
		if err != nil {
			return nil, err
		}
		e = &expr{printed: s.printed, ucum: s.ucum, factor: s.factor, offset: s.offset, dim: s.dim, class: s.class}
	}
	n, found, err := p.exponent()
	if err != nil || !found || n == 1 {
		return e, err
	}
	return p.raise(e, n)
}

func (p *unitParser) raise(e *expr, n int) (*expr, error) {
	if e.class&classDecibel != 0 || n == 0 || n < -largestExponent || n > largestExponent {
		return nil, p.wrong("exponent %d: allowed are -%d to %d on units other than dB, without 0", n, largestExponent, largestExponent)
	}
	var dim Dimension
	for range abs(n) {
		sum, ok := addDim(dim, e.dim, sign(n))
		if !ok {
			return nil, p.wrong("exponent too large")
		}
		dim = sum
	}
	base := e.inTerm(0)
	if e.printed == "1" || strings.ContainsAny(base, superscripts+"⁻") && e.level == 0 {
		return nil, p.wrong("exponent on %s", base)
	}
	ucum := e.ucumIn(0)
	if strings.HasSuffix(ucum, "6") { // 10*-6 carries its own exponent
		ucum = "(" + ucum + ")"
	}
	return &expr{printed: base + superscript(n), ucum: ucum + strconv.Itoa(n), factor: math.Pow(e.factor, float64(n)), dim: dim, class: e.class}, nil
}

// symbol takes the longest run that can be one symbol and looks it up.
func (p *unitParser) symbol() (symbol, error) {
	for _, s := range []string{"1e-6", "10^-6", "10*-6"} {
		if p.take(s) {
			found, _ := find(s, p.grams)
			return found, nil
		}
	}
	if p.take("1") {
		if p.rest != "" && p.rest[0] >= '0' && p.rest[0] <= '9' {
			return symbol{}, p.wrong("unexpected number")
		}
		return table["1"], nil
	}
	n := 0
	for n < len(p.rest) {
		r, size := utf8.DecodeRuneInString(p.rest[n:])
		if !unicode.IsLetter(r) && !strings.ContainsRune("°%_[]", r) {
			break
		}
		n += size
	}
	word := p.rest[:n]
	s, ok := find(word, p.grams)
	if !ok {
		if n == 0 {
			return symbol{}, p.wrong("a unit symbol is missing before %q", p.rest)
		}
		return symbol{}, p.wrong("unknown symbol %q", word)
	}
	p.rest = p.rest[n:]
	return s, nil
}

// exponent reads 2, -2, ^2, ^-2, ² or ⁻².
func (p *unitParser) exponent() (n int, found bool, err error) {
	caret := p.take("^")
	digits, raised := "", false
	for p.rest != "" {
		r, size := utf8.DecodeRuneInString(p.rest)
		i := strings.IndexRune(superscripts, r)
		switch {
		case r >= '0' && r <= '9' && !raised:
			digits += string(r)
		case r == '-' && digits == "":
			digits = "-"
		case r == '⁻' && digits == "" && !caret:
			digits, raised = "-", true
		case i >= 0 && !caret && (raised || digits == ""):
			digits, raised = digits+strconv.Itoa(utf8.RuneCountInString(superscripts[:i])), true
		default:
			size = 0
		}
		if size == 0 {
			break
		}
		p.rest = p.rest[size:]
	}
	if digits == "" && !caret {
		return 0, false, nil
	}
	n, err = strconv.Atoi(digits)
	if err != nil {
		return 0, false, p.wrong("exponent is not a whole number")
	}
	return n, true, nil
}

func superscript(n int) string {
	out := ""
	if n < 0 {
		out = "⁻"
	}
	digits := []rune(superscripts)
	for _, d := range strconv.Itoa(abs(n)) {
		out += string(digits[d-'0'])
	}
	return out
}

func addDim(a, b Dimension, sign int) (Dimension, bool) {
	ok := true
	add := func(x, y int8) int8 {
		s := int(x) + sign*int(y)
		ok = ok && s >= -100 && s <= 100
		return int8(s)
	}
	return Dimension{add(a.Metre, b.Metre), add(a.Kilogram, b.Kilogram), add(a.Second, b.Second),
		add(a.Ampere, b.Ampere), add(a.Kelvin, b.Kelvin)}, ok
}

func abs(n int) int {
	if n < 0 {
		return -n
	}
	return n
}

func sign(n int) int {
	if n < 0 {
		return -1
	}
	return 1
}
