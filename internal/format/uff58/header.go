package uff58

import (
	"errors"
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"
)

// axis is one of the records 8 to 11.
type axis struct {
	kind        int // specific data type
	exponents   [3]int
	label, unit string
}

// dataset is a function of dataset 58.
type dataset struct {
	place    int // among all datasets of the file, 1 = first
	binary   bool
	big      bool // byte order
	ids      [5]string
	start    time.Time
	function int
	response string
	ordinate int
	n        int64 // samples announced
	even     bool
	x0, dx   float64
	dxText   string
	x, y     axis
	units    *unitSystem // nil where no dataset 164 precedes
	divisor  float64     // samples are divided by it
	offset   int64       // of the samples in the file
	length   int64       // bytes
	have     int64       // samples that are there
}

// layout is the size of one sample: bytes of binary, columns of text, and how many samples a line of text holds.
func (d *dataset) layout() (width, perLine int) {
	switch {
	case d.binary && d.ordinate == 2:
		return 4, 0
	case d.binary && d.ordinate == 4:
		return 8, 0
	case d.ordinate == 4 && d.even:
		return 20, 4
	}
	return 13, 6
}

// cut returns the columns from <= column < to, 0 = first, of a line that may be shorter. Columns are characters, not bytes.
func cut(line string, from, to int) string {
	if len(line) == utf8.RuneCountInString(line) || !utf8.ValidString(line) {
		return line[min(from, len(line)):min(to, len(line))]
	}
	r := []rune(line)
	return string(r[min(from, len(r)):min(to, len(r))])
}

// integer reads an integer field; blank is 0, as in Fortran.
func integer(line string, from, to int) (int, error) {
	s := strings.TrimSpace(cut(line, from, to))
	if s == "" {
		return 0, nil
	}
	v, err := strconv.Atoi(s)
	if err != nil {
		return 0, fmt.Errorf("columns %d to %d: found %q, allowed is an integer", from+1, to, s)
	}
	return v, nil
}

// number reads a floating-point field; blank is 0, as in Fortran. D exponents and exponents without a letter are read.
func number(line string, from, to int) (float64, error) {
	s := strings.TrimSpace(cut(line, from, to))
	if s == "" {
		return 0, nil
	}
	v, err := parse([]byte(s))
	if err != nil {
		return 0, fmt.Errorf("columns %d to %d: %w", from+1, to, err)
	}
	return v, nil
}

// parse reads one number without blanks around it.
func parse(b []byte) (float64, error) {
	var room [32]byte
	s := room[:0]
	for i, c := range b {
		if c == 'D' || c == 'd' {
			c = 'E'
		}
		digit := i > 0 && (b[i-1] >= '0' && b[i-1] <= '9' || b[i-1] == '.')
		if (c == '+' || c == '-') && digit {
			s = append(s, 'E') // 1.00000-100
		}
		s = append(s, c)
	}
	v, err := strconv.ParseFloat(string(s), 64)
	if err != nil && !errors.Is(err, strconv.ErrRange) || strings.ContainsAny(string(s), "xX_pP") {
		return 0, fmt.Errorf("found %.40q, allowed is a number", b)
	}
	return v, nil
}

// header reads the rest of the ID line and the 11 header records.
func (d *dataset) header(l *lines, id string) error {
	if d.binary {
		if err := d.binaryID(id); err != nil {
			return fmt.Errorf("ID line: %w", err)
		}
	}
	for record := 1; record <= 11; record++ {
		line, err := l.next()
		if err != nil {
			return err
		}
		if isMark(line) {
			return fmt.Errorf("ends in header record %d of 11", record)
		}
		switch record {
		case 1, 2, 3, 4, 5:
			d.ids[record-1] = strings.TrimSpace(line)
		case 6:
			err = d.record6(line)
		case 7:
			err = d.record7(line)
		case 8:
			d.x, err = readAxis(line)
		case 9:
			d.y, err = readAxis(line)
		}
		if err != nil {
			return fmt.Errorf("header record %d: %w", record, err)
		}
	}
	d.start = startTime(d.ids[2])
	return nil
}

func (d *dataset) binaryID(line string) error {
	var v [4]int
	for i, at := range [][2]int{{7, 13}, {13, 19}, {19, 31}, {31, 43}} {
		var err error
		if v[i], err = integer(line, at[0], at[1]); err != nil {
			return err
		}
	}
	switch {
	case v[0] != 1 && v[0] != 2:
		return fmt.Errorf("byte order %d: allowed are 1 (little endian) and 2 (big endian)", v[0])
	case v[1] != 2:
		return fmt.Errorf("floating-point format %d: allowed is 2 (IEEE 754)", v[1])
	case v[2] != 11:
		return fmt.Errorf("%d header lines: allowed are 11", v[2])
	case v[3] < 0:
		return fmt.Errorf("%d bytes of data", v[3])
	}
	d.big, d.length = v[0] == 2, int64(v[3])
	return nil
}

func (d *dataset) record6(line string) (err error) {
	if d.function, err = integer(line, 0, 5); err != nil {
		return err
	}
	node, err := integer(line, 41, 51)
	if err != nil {
		return err
	}
	direction, err := integer(line, 51, 55)
	if err != nil {
		return err
	}
	d.response = strings.TrimSpace(cut(line, 31, 41))
	if d.response == "NONE" {
		d.response = ""
	}
	if node != 0 {
		sense := map[int]string{1: "+X", -1: "-X", 2: "+Y", -2: "-Y", 3: "+Z", -3: "-Z"}[direction]
		d.response = strings.TrimSpace(fmt.Sprintf("%s %d%s", d.response, node, sense))
	}
	return nil
}

func (d *dataset) record7(line string) (err error) {
	if d.ordinate, err = integer(line, 0, 10); err != nil {
		return err
	}
	n, err := integer(line, 10, 20)
	if err != nil {
		return err
	}
	spacing, err := integer(line, 20, 30)
	if err != nil {
		return err
	}
	if d.x0, err = number(line, 30, 43); err != nil {
		return err
	}
	d.dxText = strings.TrimSpace(cut(line, 43, 56))
	if d.dx, err = number(line, 43, 56); err != nil {
		return err
	}
	d.n, d.even = int64(n), spacing == 1
	if n < 0 {
		return fmt.Errorf("%d samples", n)
	}
	return nil
}

func readAxis(line string) (a axis, err error) {
	if a.kind, err = integer(line, 0, 10); err != nil {
		return a, err
	}
	for i := range a.exponents {
		if a.exponents[i], err = integer(line, 10+5*i, 15+5*i); err != nil {
			return a, err
		}
	}
	named := func(s string) string {
		if s = strings.TrimSpace(s); s == "NONE" {
			return ""
		}
		return s
	}
	a.label, a.unit = named(cut(line, 26, 46)), named(cut(line, 47, 67))
	return a, nil
}

// usable refuses time records that are not real samples at equal steps.
func (d *dataset) usable() error {
	switch {
	case d.ordinate != 2 && d.ordinate != 4:
		return fmt.Errorf("ordinate type %d: allowed are real samples (2 single, 4 double)", d.ordinate)
	case !d.even:
		return errors.New("uneven abscissa: allowed are samples at equal steps of time")
	case !(d.dx > 0) || math.IsInf(d.dx, 0):
		return fmt.Errorf("step of time %q: allowed is a positive number", d.dxText)
	case d.x.kind != 17 && d.x.kind != 0 && d.x.kind != 1:
		return fmt.Errorf("abscissa of type %d: allowed is 17 (time)", d.x.kind)
	case d.x.unit != "" && !strings.EqualFold(d.x.unit, "s") && !strings.HasPrefix(strings.ToLower(d.x.unit), "sec"):
		return fmt.Errorf("abscissa in %q: allowed is s", d.x.unit)
	}
	return nil
}

// together refuses channels that were not sampled at the same times.
func (d *dataset) together(first dataset) error {
	rate, _ := d.rate()
	rate1, _ := first.rate()
	switch {
	case d.n != first.n:
		return fmt.Errorf("%d and %d samples: the channels of a recording have equally many", first.n, d.n)
	case rate != rate1:
		return fmt.Errorf("rates %.12g and %.12g Hz: the channels of a recording have the same", rate1, rate)
	case math.Abs(d.x0-first.x0) > 1e-3*d.dx:
		return fmt.Errorf("starts at %g and %g s: the channels of a recording start together", first.x0, d.x0)
	}
	return nil
}

var rateWords = regexp.MustCompile(`(?i)(?:rate|frequency|\bfs)\s*[:=]?\s*([0-9]+(?:\.[0-9]*)?(?:e[+-]?[0-9]+)?)\s*(k?)Hz`)

// rate returns the rate of an ID line where it agrees with the step of time, which has few digits; else the inverse of the step.
func (d *dataset) rate() (hertz float64, note string) {
	exact := 1 / d.dx
	tolerance := relativeStep(d.dxText) / 2
	for i := len(d.ids) - 1; i >= 0; i-- {
		m := rateWords.FindStringSubmatch(d.ids[i])
		if m == nil {
			continue
		}
		v, err := strconv.ParseFloat(m[1], 64)
		if err != nil {
			continue
		}
		if m[2] != "" {
			v *= 1000
		}
		if math.Abs(v*d.dx-1) <= 1.01*tolerance {
			return v, fmt.Sprintf("rate %.12g Hz from ID line %d; the step of time, %s s, agrees", v, i+1, d.dxText)
		}
		return exact, fmt.Sprintf("rate %.12g Hz from the step of time, %s s; ID line %d says %.12g Hz and is not used", exact, d.dxText, i+1, v)
	}
	return exact, fmt.Sprintf("rate %.12g Hz from the step of time, %s s, which is written to ±%.2g ppm", exact, d.dxText, 1e6*tolerance)
}

// relativeStep is the last digit of a number as written, relative to the number.
func relativeStep(text string) float64 {
	mantissa, _, _ := strings.Cut(strings.ToUpper(strings.ReplaceAll(strings.ToUpper(text), "D", "E")), "E")
	whole, fraction, _ := strings.Cut(mantissa, ".")
	v, err := strconv.ParseFloat(strings.TrimSpace(whole)+"."+fraction, 64)
	if err != nil || v == 0 {
		return 1
	}
	return math.Pow(10, -float64(len(fraction))) / math.Abs(v)
}

// startTime reads DD-MMM-YY HH:MM:SS; zero where that is not written.
func startTime(line string) time.Time {
	for _, layout := range []string{"02-Jan-06 15:04:05", "02-Jan-2006 15:04:05", "2-Jan-06 15:04:05"} {
		if t, err := time.Parse(layout, line); err == nil {
			return t
		}
	}
	return time.Time{}
}

// readUnits reads dataset 164 up to its factors.
func readUnits(l *lines) (*unitSystem, error) {
	if _, err := l.next(); err != nil {
		return nil, err
	}
	line, err := l.next()
	if err != nil {
		return nil, err
	}
	var u unitSystem
	for i, to := range []*float64{&u.length, &u.force, &u.temperature} {
		if *to, err = number(line, 25*i, 25*i+25); err != nil {
			return nil, fmt.Errorf("factors: %w", err)
		}
		if !(*to > 0) || math.IsInf(*to, 0) {
			return nil, fmt.Errorf("factor %g: allowed are positive numbers", *to)
		}
	}
	return &u, nil
}
