package jobfile

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"

	"plumbline/quantity"
)

// table reads the keys of one table and records what is wrong with them. A table that is not there reads as empty and records
// nothing but the keys it was asked for.
type table struct {
	d     *decoder
	path  string // keys down to the table, without indices: its heading in the reference of job files
	label string // the same with indices from 1, for messages
	n     *node  // nil where the table is not there
	known []string
}

func (t *table) absent() bool { return t.n == nil }

// look registers a key and returns its field.
func (t *table) look(key string) (field, bool) {
	if !slices.Contains(t.known, key) {
		t.known = append(t.known, key)
		if all := t.d.known[t.path]; !slices.Contains(all, key) {
			t.d.known[t.path] = append(all, key)
		}
	}
	if t.n == nil {
		return field{}, false
	}
	f, there := t.n.fields[key]
	return f, there
}

func (t *table) has(key string) bool {
	_, there := t.look(key)
	return there
}

func (t *table) key(key string) string {
	if t.label == "" {
		return key
	}
	return t.label + "." + key
}

// spot is the place and the name of a key, for a complaint that comes later.
type spot struct {
	at  position
	key string
}

// spot is where the value of key stands, or the table without it.
func (t *table) spot(key string) spot {
	at := t.place()
	if t.n != nil {
		if f, there := t.n.fields[key]; there {
			at = f.value.at
		}
	}
	return spot{at, t.key(key)}
}

// wrong records that the value of key is wrong.
func (t *table) wrong(key, format string, args ...any) {
	if t.n != nil {
		s := t.spot(key)
		t.d.wrong(s.at, s.key, format, args...)
	}
}

// need records a mandatory key that is missing and reports whether it is there.
func (t *table) need(key, what string) (field, bool) {
	f, there := t.look(key)
	if !there {
		t.wrong(key, "missing: %s is mandatory", what)
	}
	return f, there
}

// close records the keys nobody asked for.
func (t *table) close() {
	if t.n == nil {
		return
	}
	for _, key := range t.n.keys {
		if slices.Contains(t.known, key) {
			continue
		}
		hint := "allowed are " + strings.Join(t.known, ", ")
		if c := closest(key, t.known); c != "" {
			hint = fmt.Sprintf("did you mean %q?", c)
		}
		t.d.wrong(t.n.fields[key].at, t.key(key), "unknown key: %s", hint)
	}
}

// one returns the value of an optional key if it is of the wanted kind.
func (t *table) one(key string, want kind, describe string) (*node, bool) {
	f, there := t.look(key)
	if !there {
		return nil, false
	}
	if f.value.kind != want {
		t.wrong(key, "found %s, allowed is %s", f.value.describe(), describe)
		return nil, false
	}
	return f.value, true
}

func (n *node) describe() string {
	switch n.kind {
	case kindTable, kindArray:
		return string(n.kind)
	}
	return fmt.Sprintf("%s %.40q", n.kind, n.text)
}

const longestText = 2000 // characters

// optionalText reads a text without control characters.
func (t *table) optionalText(key string) string {
	n, ok := t.one(key, kindText, "a text in quotes")
	if !ok {
		return ""
	}
	s, err := plainText(n.text)
	if err != nil {
		t.wrong(key, "%v", err)
	}
	return s
}

func plainText(text string) (string, error) {
	s := strings.TrimSpace(text)
	if s == "" {
		return "", fmt.Errorf("blank text: write something or leave the key out")
	}
	if strings.ContainsFunc(s, unicode.IsControl) || len(s) > longestText {
		return "", fmt.Errorf("text %.20q holds line breaks or control characters or is longer than %d bytes", s, longestText)
	}
	return s, nil
}

func (t *table) text(key string) string {
	if _, ok := t.need(key, "a text"); !ok {
		return ""
	}
	return t.optionalText(key)
}

// lines reads an optional list of texts.
func (t *table) lines(key string) (out []string) {
	n, ok := t.one(key, kindArray, `a list of texts, as in ["first", "second"]`)
	if !ok {
		return nil
	}
	for _, item := range n.items {
		s, err := plainText(item.text)
		if item.kind != kindText {
			err = fmt.Errorf("found %s, allowed is a text in quotes", item.describe())
		}
		if err != nil {
			t.d.wrong(item.at, t.key(key), "%v", err)
			continue
		}
		out = append(out, s)
	}
	return out
}

// mustLines reads a mandatory list of at least one text.
func (t *table) mustLines(key string) []string {
	t.need(key, "a list of texts")
	out := t.lines(key)
	if t.has(key) && len(out) == 0 {
		t.wrong(key, "an empty list, allowed is a list of at least one text")
	}
	return out
}

// choice reads a mandatory text that is one of a few.
func (t *table) choice(key string, allowed ...string) string {
	if _, ok := t.need(key, "one of "+quoted(allowed)); !ok {
		return ""
	}
	return t.optionalChoice(key, allowed...)
}

func (t *table) optionalChoice(key string, allowed ...string) string {
	n, ok := t.one(key, kindText, quoted(allowed))
	if !ok {
		return ""
	}
	if !slices.Contains(allowed, n.text) {
		t.wrong(key, "found %q, allowed are %s", n.text, quoted(allowed))
		return ""
	}
	return n.text
}

func quoted(words []string) string {
	q := make([]string, len(words))
	for i, w := range words {
		q[i] = strconv.Quote(w)
	}
	if len(q) < 2 {
		return strings.Join(q, "")
	}
	return strings.Join(q[:len(q)-1], ", ") + " or " + q[len(q)-1]
}

// optional reads a value with its unit; ok is false where there is none.
func (t *table) optional(key string, k quantity.Kind) (v quantity.Value, ok bool) {
	f, there := t.look(key)
	if !there {
		return v, false
	}
	v, err := parseValue(f.value, k)
	if err != nil {
		t.wrong(key, "%v", err)
	}
	return v, err == nil
}

func parseValue(n *node, k quantity.Kind) (quantity.Value, error) {
	switch n.kind {
	case kindText:
		return quantity.Parse(n.text, k)
	case kindInteger, kindFloat:
		return quantity.Value{}, fmt.Errorf("a bare number is refused: write the %s as a text with its unit, for example %s", k, k.Examples())
	}
	return quantity.Value{}, fmt.Errorf("found %s, allowed is a %s as a text with its unit, for example %s", n.describe(), k, k.Examples())
}

func (t *table) value(key string, k quantity.Kind) quantity.Value {
	v, _ := t.mustValue(key, k)
	return v
}

func (t *table) mustValue(key string, k quantity.Kind) (quantity.Value, bool) {
	if _, ok := t.need(key, "a "+k.String()+", for example "+k.Examples()); !ok {
		return quantity.Value{}, false
	}
	return t.optional(key, k)
}

// si reads an optional value as a number in coherent SI, missing where there is none.
func (t *table) si(key string, k quantity.Kind, missing float64) float64 {
	if v, ok := t.optional(key, k); ok {
		return v.SI
	}
	return missing
}

// positive reads a mandatory value above zero.
func (t *table) positive(key string, k quantity.Kind) float64 {
	v, ok := t.mustValue(key, k)
	if ok && !(v.SI > 0) {
		t.wrong(key, "found %q, allowed are values above zero", v.Text)
	}
	return v.SI
}

// notNegative reads a mandatory value that is zero or above.
func (t *table) notNegative(key string, k quantity.Kind) float64 {
	v, ok := t.mustValue(key, k)
	if ok && v.SI < 0 {
		t.wrong(key, "found %q, allowed are values of zero or above", v.Text)
	}
	return v.SI
}

// pair reads two values, lower first.
func (t *table) pair(key string, k quantity.Kind) (out [2]float64, ok bool) {
	n, there := t.one(key, kindArray, "a list of two values, lower first")
	if !there {
		return out, false
	}
	if len(n.items) != 2 {
		t.wrong(key, "found a list of %d, allowed is a list of two values, lower first", len(n.items))
		return out, false
	}
	for i, item := range n.items {
		v, err := parseValue(item, k)
		if err != nil {
			t.d.wrong(item.at, t.key(key), "%v", err)
			return out, false
		}
		out[i] = v.SI
	}
	if !(out[0] < out[1]) {
		t.wrong(key, "found %q and %q, allowed are two values, lower first", n.items[0].text, n.items[1].text)
		return out, false
	}
	return out, true
}

func (t *table) mustPair(key string, k quantity.Kind) [2]float64 {
	t.need(key, "a list of two values of kind "+k.String())
	out, _ := t.pair(key, k)
	return out
}

// whole reads a mandatory whole number within limits.
func (t *table) whole(key string, low, high int64) int64 {
	if _, ok := t.need(key, fmt.Sprintf("a whole number from %d to %d", low, high)); !ok {
		return 0
	}
	x, _ := t.optionalWhole(key, low, high)
	return x
}

func (t *table) optionalWhole(key string, low, high int64) (int64, bool) {
	n, ok := t.one(key, kindInteger, fmt.Sprintf("a whole number from %d to %d, without quotes", low, high))
	if !ok {
		return 0, false
	}
	x, err := strconv.ParseInt(n.text, 0, 64)
	if err != nil || x < low || x > high {
		t.wrong(key, "found %s, allowed are whole numbers from %d to %d", n.text, low, high)
		return 0, false
	}
	return x, true
}

// number reads a mandatory number without dimension within limits.
func (t *table) number(key string, low, high float64) float64 {
	if _, ok := t.need(key, fmt.Sprintf("a number from %g to %g", low, high)); !ok {
		return math.NaN()
	}
	return t.optionalNumber(key, low, high)
}

// optionalNumber is NaN where there is none.
func (t *table) optionalNumber(key string, low, high float64) float64 {
	f, there := t.look(key)
	if !there {
		return math.NaN()
	}
	x, err := strconv.ParseFloat(strings.ReplaceAll(f.value.text, "_", ""), 64)
	if f.value.kind != kindFloat && f.value.kind != kindInteger || err != nil || !(x >= low && x <= high) {
		t.wrong(key, "found %s, allowed are numbers from %g to %g, without quotes", f.value.describe(), low, high)
		return math.NaN()
	}
	return x
}

func (t *table) flag(key string) bool {
	n, ok := t.one(key, kindBool, "true or false")
	return ok && n.text == "true"
}

const dateForm = "a date such as 2026-05-11, without quotes"

func (t *table) optionalDate(key string) time.Time {
	n, ok := t.one(key, kindDate, dateForm)
	if !ok {
		return time.Time{}
	}
	day, err := time.Parse(time.DateOnly, n.text)
	if err != nil {
		t.wrong(key, "found %q, allowed is %s", n.text, dateForm)
	}
	return day
}

func (t *table) date(key string) time.Time {
	t.need(key, dateForm)
	return t.optionalDate(key)
}
