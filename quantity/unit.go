package quantity

import (
	"fmt"
	"math"
	"strings"
	"unicode/utf8"
)

// expr is a unit expression with its value.
type expr struct {
	printed  string
	ucum     string
	factor   float64
	offset   float64
	dim      Dimension
	class    class
	level    int  // 0 symbol or power, 1 product, 2 quotient: what needs parentheses
	enclosed bool // in parentheses as written
	num, den *expr
}

func (e *expr) unit() Unit {
	return Unit{Symbol: e.printed, Factor: e.factor, Offset: e.offset, Dim: e.dim}
}

const longestUnit = 64 // bytes

// ParseUnit reads a unit such as V/g, mV/(m/s²), m/s^2 or pC/g. The letter g means standard gravity; where the field
// wants a mass, Parse reads it as gram. UCUM spellings (mV/[g], m/s2, Cel, Ohm) are read too.
// The symbol of the result is spelt the printed way whatever the spelling of the text.
func ParseUnit(text string) (Unit, error) {
	e, err := parseExpr(text, false)
	if err != nil {
		return Unit{}, err
	}
	return e.unit(), nil
}

// ParseUCUM reads a unit written by UCUM, where g is the gram and [g] standard gravity.
func ParseUCUM(text string) (Unit, error) {
	e, err := parseExpr(text, true)
	if err != nil {
		return Unit{}, err
	}
	return e.unit(), nil
}

// UCUM is the unit in the case-sensitive Unified Code for Units of Measure, for machines: mV/[g], m/s2, Cel.
// It is empty for a unit that is not in the table, such as the full scale of an uncalibrated channel.
func (u Unit) UCUM() string {
	e, ok := u.expr()
	if !ok {
		return ""
	}
	return e.ucum
}

// Per splits a unit written as a quotient, such as V/(m/s²), into the output above the stroke and the input below it.
func (u Unit) Per() (output, input Unit, ok bool) {
	e, ok := u.expr()
	if !ok || e.num == nil {
		return Unit{}, Unit{}, false
	}
	return e.num.unit(), e.den.unit(), true
}

// expr reads the unit's own symbol again, with the meaning of g that its dimension tells.
func (u Unit) expr() (*expr, bool) {
	for _, grams := range []bool{false, true} {
		if e, err := parseExpr(u.Symbol, grams); err == nil && e.dim == u.Dim && e.factor == u.Factor {
			return e, true
		}
	}
	return nil, false
}

// ToSI converts a number in u to the coherent SI unit. Decibels become the ratio of amplitudes, 10^(x/20).
func (u Unit) ToSI(x float64) float64 {
	if u.Symbol == "dB" {
		return math.Pow(10, x/20)
	}
	if inverse, ok := u.divisor(); ok {
		return x/inverse + u.Offset
	}
	return u.Factor*x + u.Offset
}

// FromSI converts a number in the coherent SI unit to u.
func (u Unit) FromSI(si float64) float64 {
	if u.Symbol == "dB" {
		return 20 * math.Log10(si)
	}
	if inverse, ok := u.divisor(); ok {
		return (si - u.Offset) * inverse
	}
	return (si - u.Offset) / u.Factor
}

// divisor is 1/Factor where that is a whole number, such as 1000 for mV: dividing by it rounds once, so that 98.1 mV is 0.0981 V.
func (u Unit) divisor() (float64, bool) {
	inverse := math.Round(1 / u.Factor)
	return inverse, u.Factor < 1 && inverse < 1<<53 && 1/inverse == u.Factor
}

type unitParser struct {
	text  string
	rest  string
	grams bool
	depth int
}

func parseExpr(text string, grams bool) (*expr, error) {
	t := strings.TrimSpace(text)
	if t == "" {
		return nil, fmt.Errorf("no unit")
	}
	if len(t) > longestUnit || !utf8.ValidString(t) {
		return nil, fmt.Errorf("unit %.20q: longer than %d bytes or not text", t, longestUnit)
	}
	p := unitParser{text: t, rest: fold(t), grams: grams}
	e, err := p.quotient()
	if err == nil && p.rest != "" {
		err = p.wrong("unexpected %q", p.rest)
	}
	if err != nil {
		return nil, err
	}
	if e.factor != 0 && (math.IsInf(e.factor, 0) || e.factor < 1e-300) {
		return nil, p.wrong("out of range")
	}
	return e, nil
}

// fold maps the letters that look alike to one.
func fold(s string) string {
	return strings.NewReplacer("μ", "µ", "\u2126", "Ω", "−", "-", "⋅", "·", "×", "·", "º", "°", "℃", "°C").Replace(s)
}

func (p *unitParser) wrong(format string, a ...any) error {
	return fmt.Errorf("unit %q: %s", p.text, fmt.Sprintf(format, a...))
}

func (p *unitParser) blank() bool {
	n := len(p.rest)
	p.rest = strings.TrimLeft(p.rest, " \u00a0\u202f")
	return len(p.rest) < n
}

func (p *unitParser) take(s string) bool {
	if strings.HasPrefix(p.rest, s) {
		p.rest = p.rest[len(s):]
		return true
	}
	return false
}

// quotient = product [ "/" product ]; a second stroke at the same level is ambiguous and refused, and so is a product
// below the stroke without parentheses (SI brochure 5.4.6).
func (p *unitParser) quotient() (*expr, error) {
	num, err := p.product()
	if err != nil {
		return nil, err
	}
	p.blank()
	if !p.take("/") {
		return num, nil
	}
	den, err := p.product()
	if err != nil {
		return nil, err
	}
	if den.level == 1 && !den.enclosed {
		return nil, p.wrong("product below the stroke: put it in parentheses, as in V/(m·s)")
	}
	p.blank()
	if strings.HasPrefix(p.rest, "/") {
		return nil, p.wrong("more than one stroke: use parentheses, as in V/(m/s²)")
	}
	return p.combine(num, den, -1)
}

// product = power { ("·" | "*" | "." | blank) power }
func (p *unitParser) product() (*expr, error) {
	p.blank()
	e, err := p.power()
	for err == nil {
		space := p.blank()
		if !p.take("·") && !p.take("*") && !p.take(".") && !(space && p.rest != "" && p.rest[0] != '/' && p.rest[0] != ')') {
			return e, nil
		}
		p.blank()
		var next *expr
		if next, err = p.power(); err == nil {
			e, err = p.combine(e, next, 1)
		}
	}
	return nil, err
}

func (p *unitParser) combine(a, b *expr, sign int) (*expr, error) {
	if (a.class|b.class)&classDecibel != 0 {
		return nil, p.wrong("dB cannot be combined with another unit")
	}
	if sign > 0 && (a.printed == "1" || b.printed == "1") {
		return nil, p.wrong("1 in a product")
	}
	dim, ok := addDim(a.dim, b.dim, sign)
	if !ok {
		return nil, p.wrong("exponent too large")
	}
	ap, au, bp, bu := a.inTerm(1), a.ucumIn(1), b.inTerm(1), b.ucumIn(1)
	if sign < 0 {
		bp, bu = b.inTerm(0), b.ucumIn(0)
		return &expr{printed: ap + "/" + bp, ucum: au + "/" + bu, factor: a.factor / b.factor, dim: dim,
			class: a.class | b.class, level: 2, num: a.kelvin(), den: b.kelvin()}, nil
	}
	return &expr{printed: ap + "·" + bp, ucum: au + "." + bu, factor: a.factor * b.factor, dim: dim, class: a.class | b.class, level: 1}, nil
}

// kelvin is e where a temperature can only mean a difference.
func (e *expr) kelvin() *expr {
	if e.offset == 0 {
		return e
	}
	k := table["K"]
	return &expr{printed: k.printed, ucum: k.ucum, factor: 1, dim: k.dim}
}

func (e *expr) inTerm(level int) string {
	e = e.kelvin()
	if e.level > level {
		return "(" + e.printed + ")"
	}
	return e.printed
}

func (e *expr) ucumIn(level int) string {
	e = e.kelvin()
	if e.level > level {
		return "(" + e.ucum + ")"
	}
	return e.ucum
}
