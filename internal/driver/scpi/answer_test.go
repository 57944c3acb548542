package scpi

import (
	"bufio"
	"errors"
	"math"
	"slices"
	"strings"
	"testing"
)

func TestReadNumbers(t *testing.T) {
	for _, c := range []struct {
		name, text string
		layout     Layout
		want       []float64
		says       string
	}{
		{"REAL,32", "#18\x3f\x80\x00\x00\xc0\x20\x00\x00\n", Layout{Real32, false, -1, 9}, []float64{1, -2.5}, ""}, // IEEE 754
		{"swapped, CR LF", "#18\x00\x00\x80\x3f\x00\x00\x20\xc0\r\n", Layout{Real32, true, -1, 9}, []float64{1, -2.5}, ""},
		{"REAL,64", "#208\x3f\xf0\x00\x00\x00\x00\x00\x00\n", Layout{Real64, false, 1, 1}, []float64{1}, ""},
		{"INT,32", "#18\xff\xff\xff\xff\x00\x00\x01\x00\n", Layout{Int32, false, 2, 9}, []float64{-1, 256}, ""},
		{"line feed inside", "#14\x00\x00\x00\x0a\n", Layout{Int32, false, -1, 9}, []float64{10}, ""},
		{"indefinite", "#0\x00\x00\x00\x0a\x00\x00\x00\x01\n", Layout{Int32, false, 2, 9}, []float64{10, 1}, ""},
		{"empty block", "#10\n", Layout{Real32, false, -1, 9}, []float64{}, ""},
		{"list", "1, -2.5E0,+3e-3\n", Layout{ASCII, false, 3, 3}, []float64{1, -2.5, 3e-3}, ""},
		{"list in a block", "#01,2\n", Layout{ASCII, false, -1, 3}, []float64{1, 2}, ""},
		{"empty list", "\n", Layout{ASCII, false, -1, 3}, []float64{}, ""},
		{"special", "9.91E37,9.9E37,-9.9E+37\n", Layout{ASCII, false, -1, 3}, []float64{math.NaN(), math.Inf(1), math.Inf(-1)}, ""}, // SCPI-99 7.2.1.4 and 7.2.1.5 (from memory)
		{"special, 32 bit", "#18\x7e\x95\x1b\xee\x7e\x94\xf5\x6a\n", Layout{Real32, false, -1, 3}, []float64{math.NaN(), math.Inf(1)}, ""},

		{"indefinite, unknown", "#0\x00\x00\x00\x0a\n", Layout{Int32, false, -1, 9}, nil, "cannot be told"},
		{"too many", "#18\x00\x00\x00\x0a\x00\x00\x00\x0a\n", Layout{Int32, false, -1, 1}, nil, "at most 4"},
		{"absurd", "#9999999999", Layout{Int32, false, -1, 1 << 20}, nil, "at most"},
		{"not expected", "#18\x00\x00\x00\x0a\x00\x00\x00\x0a\n", Layout{Int32, false, 1, 3}, nil, "expected are 4"},
		{"half an item", "#16\x00\x00\x00\x0a\x00\x00\n", Layout{Int32, false, -1, 3}, nil, "multiples of 4"},
		{"no block", "12\n", Layout{Int32, false, -1, 3}, nil, "allowed is a block"},
		{"no digits", "#2x1\n", Layout{Int32, false, -1, 3}, nil, "allowed are digits"},
		{"longer than told", "#14\x00\x00\x00\x0a\x00\n", Layout{Int32, false, -1, 3}, nil, "its length is wrong"},
		{"shorter than told", "#18\x00\x00\x00\x0a\n", Layout{Int32, false, -1, 3}, nil, "5 came"},
		{"no number", "1,two\n", Layout{ASCII, false, -1, 3}, nil, "number 2 of a list"},
		{"hexadecimal", "0x1p4\n", Layout{ASCII, false, -1, 3}, nil, "allowed is a number"},
		{"long list", "1,2,3,4\n", Layout{ASCII, false, -1, 3}, nil, "more than 3"},
		{"short list", "1,2\n", Layout{ASCII, false, 3, 3}, nil, "expected are 3"},
		{"endless list", strings.Repeat("1", 1000), Layout{ASCII, false, -1, 3}, nil, "without an end of line"},
		{"unknown encoding", "1\n", Layout{"REAL,16", false, -1, 3}, nil, "allowed are"},
		{"absurd layout", "1\n", Layout{ASCII, false, -1, 1 << 30}, nil, "allowed are 0 to"},
	} {
		got, err := readNumbers(bufio.NewReaderSize(strings.NewReader(c.text), 16), c.layout)
		same := slices.EqualFunc(got, c.want, func(a, b float64) bool { return a == b || math.IsNaN(a) && math.IsNaN(b) })
		switch {
		case c.says == "" && (err != nil || !same):
			t.Errorf("%s: %v, %v, want %v", c.name, got, err, c.want)
		case c.says != "" && (err == nil || !strings.Contains(err.Error(), c.says)):
			t.Errorf("%s: error %v, want %q", c.name, err, c.says)
		}
	}
}

func TestParseComplaint(t *testing.T) {
	for _, c := range []struct {
		text string
		want Complaint
	}{
		{`0,"No error"`, Complaint{0, "No error"}},
		{`+0,"No error"`, Complaint{0, "No error"}},
		{`-113, "Undefined header;""LEVEL"""`, Complaint{-113, `Undefined header;"LEVEL"`}},
		{`301,overflow, twice`, Complaint{301, "overflow, twice"}},
	} {
		if got, err := parseComplaint(c.text); err != nil || got != c.want {
			t.Errorf("%s: %v, %v, want %v", c.text, got, err, c.want)
		}
	}
	for _, text := range []string{"", "1.5", `"No error"`, "1.0,2.0", "-113"} {
		if got, err := parseComplaint(text); !errors.Is(err, errMalformed) {
			t.Errorf("%q: %v, %v, want malformed", text, got, err)
		}
	}
}

// FuzzReadNumbers wants no panic, no more numbers than allowed, and the number expected where one is.
func FuzzReadNumbers(f *testing.F) {
	for _, text := range []string{"#18\x3f\x80\x00\x00\xc0\x20\x00\x00\n", "#0\x00\x00\x00\x0a\n", "1,2,9.91E37\n", "#9999999999", "#10\n", "#", "#2\n"} {
		for _, items := range []int{-1, 0, 1, 2} {
			f.Add(text, uint8(0), items)
			f.Add(text, uint8(5), items)
		}
	}
	f.Fuzz(func(t *testing.T, text string, kind uint8, items int) {
		l := Layout{[]Encoding{ASCII, Real32, Real64, Int32}[kind%4], kind&4 != 0, items, 100}
		numbers, err := readNumbers(bufio.NewReaderSize(strings.NewReader(text), 16), l)
		switch {
		case err != nil && numbers != nil:
			t.Errorf("numbers beside an error")
		case err == nil && (len(numbers) > l.Most || items >= 0 && len(numbers) != items):
			t.Errorf("%d numbers, expected %d, at most %d", len(numbers), items, l.Most)
		}
	})
}

// FuzzComplaint wants no panic, and what is read to be written the same way.
func FuzzComplaint(f *testing.F) {
	f.Add(`-113,"Undefined header"`)
	f.Add(`0,"`)
	f.Fuzz(func(t *testing.T, text string) {
		if c, err := parseComplaint(text); err == nil && len(c.Text) > len(text) {
			t.Errorf("%q became %q", text, c.Text)
		}
	})
}
