package uff58

import (
	"encoding/binary"
	"fmt"
	"io"
	"math"
	"strings"
	"testing"
	"time"

	"plumbline/internal/format"
	"plumbline/internal/format/formattest"
	"plumbline/recording"
)

// function is what the writer for tests writes.
type function struct {
	kind     int // function type; 1 time
	ordinate int
	binary   bool
	big      bool
	name     string
	id5      string
	dx       string // as E13.5
	x        []float64
	axis     int // specific type of the ordinate
	unit     string
	crlf     bool
	exponent string // letter of the exponent; "" E
}

func (f function) text() string {
	if f.kind == 0 {
		f.kind = 1
	}
	if f.axis == 0 {
		f.axis = 1
	}
	if f.id5 == "" {
		f.id5 = "NONE"
	}
	var b strings.Builder
	line := func(format string, a ...any) {
		fmt.Fprintf(&b, format, a...)
		if f.crlf {
			b.WriteByte('\r')
		}
		b.WriteByte('\n')
	}
	width := map[int]int{2: 4, 4: 8, 5: 8, 6: 16}[f.ordinate]
	line("%6d", -1)
	if f.binary {
		order := 1
		if f.big {
			order = 2
		}
		line("%6db%6d%6d%12d%12d%6d%6d%12d%12d", 58, order, 2, 11, len(f.x)*width, 0, 0, 0, 0)
	} else {
		line("%6d", 58)
	}
	for _, id := range []string{"acceleration record", "NONE", "01-May-26 10:20:30", "NONE", f.id5} {
		line("%s", id)
	}
	line("%5d%10d%5d%10d %-10.10s%10d%4d %-10.10s%10d%4d", f.kind, 0, 0, 0, f.name, 12, 3, "NONE", 0, 0)
	line("%10d%10d%10d%13s%13s%13s", f.ordinate, len(f.x), 1, "0.00000E+00", f.dx, "0.00000E+00")
	line("%10d%5d%5d%5d %-20s %-20s", 17, 0, 0, 0, "Time", "s")
	line("%10d%5d%5d%5d %-20s %-20s", f.axis, 0, 0, 0, "Ordinate", f.unit)
	line("%10d%5d%5d%5d %-20s %-20s", 0, 0, 0, 0, "NONE", "NONE")
	line("%10d%5d%5d%5d %-20s %-20s", 0, 0, 0, 0, "NONE", "NONE")
	f.samples(&b, line)
	line("%6d", -1)
	return b.String()
}

func (f function) samples(b *strings.Builder, line func(string, ...any)) {
	if f.binary {
		var order binary.AppendByteOrder = binary.LittleEndian
		if f.big {
			order = binary.BigEndian
		}
		for _, x := range f.x {
			if f.ordinate == 2 {
				b.Write(order.AppendUint32(nil, math.Float32bits(float32(x))))
			} else {
				b.Write(order.AppendUint64(nil, math.Float64bits(x)))
			}
		}
		return
	}
	layout, per := "%13.5E", 6
	if f.ordinate == 4 {
		layout, per = "%20.12E", 4
	}
	for i := 0; i < len(f.x); i += per {
		var s strings.Builder
		for _, x := range f.x[i:min(i+per, len(f.x))] {
			fmt.Fprintf(&s, layout, x)
		}
		t := s.String()
		if f.exponent != "" {
			t = strings.ReplaceAll(t, "E", f.exponent)
		}
		line("%s", t)
	}
}

// units164 is dataset 164 with the factors length, force and temperature.
func units164(length, force float64) string {
	return fmt.Sprintf("%6d\n%6d\n%10d%-20s%10d\n%25.17E%25.17E%25.17E\n%25.17E\n%6d\n", -1, 164, 1, "units", 2, length, force, 1.0, 273.15, -1)
}

// wave holds values that all encodings can hold exactly: few digits, powers of two.
func wave(n int) []float64 {
	x := make([]float64, n)
	for i := range x {
		x[i] = float64((i*37)%64-32) / 32
	}
	return x
}

func negated(x []float64) []float64 {
	y := make([]float64, len(x))
	for i := range x {
		y[i] = -x[i] / 2
	}
	return y
}

func pair(f function) string {
	a, b := f, f
	a.name, b.name = "R-201", "A-0401"
	b.x = negated(f.x)
	return units164(1, 1) + a.text() + b.text()
}

func TestContract(t *testing.T) {
	x := wave(29)
	for _, f := range []function{
		{ordinate: 2}, {ordinate: 4}, {ordinate: 4, crlf: true, exponent: "D"},
		{ordinate: 2, binary: true}, {ordinate: 4, binary: true, big: true}, {ordinate: 2, binary: true, big: true, crlf: true},
	} {
		f.x, f.dx, f.unit = x, "5.00000E-04", "V"
		t.Run(fmt.Sprintf("%d binary %v big %v crlf %v", f.ordinate, f.binary, f.big, f.crlf), func(t *testing.T) {
			formattest.Run(t, formattest.Subject{Format: Format{}, Name: "a.uff", Data: []byte(pair(f)), Want: [][]float64{x, negated(x)}, Rate: 2000})
		})
	}
}

func open(data string, opts format.Options) (recording.Recording, error) {
	var h formattest.Handles
	return format.Open([]format.Format{Format{}}, h.Source("a.uff", []byte(data)), opts)
}

func read(t *testing.T, data string) (recording.Info, [][]float64) {
	t.Helper()
	rec, err := open(data, format.Options{})
	if err != nil {
		t.Fatal(err)
	}
	x, err := formattest.Samples(rec, 10, 1<<20)
	if err != nil {
		t.Fatal(err)
	}
	return rec.Info, x
}

func noted(info recording.Info, words string) bool {
	return strings.Contains(strings.Join(info.Notes, "\n"), words)
}

// TestRate: the step has six digits, 2.5 ppm for 51200 Hz (handbook example 1.953125E-05); an ID line restores the rate.
func TestRate(t *testing.T) {
	f := function{ordinate: 2, x: wave(7), unit: "V", dx: "1.95313E-05"}
	info, _ := read(t, f.text())
	if want := 1 / 1.95313e-5; info.Rate != want || !noted(info, "±2.6 ppm") {
		t.Errorf("rate %v, want %v; notes %q", info.Rate, want, info.Notes)
	}
	for _, id := range []string{"rate 51200 Hz", "Sampling frequency = 51.2 kHz", "fs: 5.12e4 Hz"} {
		f.id5 = id
		if info, _ = read(t, f.text()); info.Rate != 51200 || !noted(info, "ID line 5") {
			t.Errorf("%s: rate %v, notes %q", id, info.Rate, info.Notes)
		}
	}
	f.id5 = "rate 51201 Hz" // 20 ppm off: not explained by rounding
	if info, _ = read(t, f.text()); info.Rate != 1/1.95313e-5 || !noted(info, "is not used") {
		t.Errorf("rate %v, notes %q", info.Rate, info.Notes)
	}
}

func TestChannels(t *testing.T) {
	f := function{ordinate: 4, x: wave(5), unit: "mV", dx: "1.00000E-03", name: "Mic 01"}
	info, _ := read(t, f.text())
	ch := info.Channels[0]
	if ch.Name != "Mic 01 12+Z" || ch.Unit.Symbol != "mV" || ch.Bits != 0 {
		t.Errorf("channel %+v", ch)
	}
	if want := time.Date(2026, 5, 1, 10, 20, 30, 0, time.UTC); !info.Start.Equal(want) {
		t.Errorf("start %v, want %v", info.Start, want)
	}
	f.name = "Prüfling 1" // ten characters, eleven bytes
	if info, _ = read(t, f.text()); info.Channels[0].Name != "Prüfling 1 12+Z" {
		t.Errorf("name %q", info.Channels[0].Name)
	}
}

// TestUnits: the label decides, the type of the ordinate helps out, and dataset 164 must not be contradicted.
func TestUnits(t *testing.T) {
	f := function{ordinate: 4, x: []float64{2000, -1000}, dx: "1.00000E-03", axis: 12}
	for _, c := range []struct {
		before, unit, symbol string
		first                float64
	}{
		{"", "V", "V", 2000},
		{"", "NONE", "m/s²", 2000},
		{"", "g", "g", 2000},
		{units164(1, 1), "m/s^2", "m/s²", 2000},
		{units164(1000, 1000), "mm/s^2", "mm/s²", 2000},
		{units164(1000, 1000), "NONE", "m/s²", 2}, // 1000 of the file's units are one metre: divide
		{units164(1, 1), "strange", "m/s²", 2000},
	} {
		f.unit = c.unit
		info, x := read(t, c.before+f.text())
		if got := info.Channels[0].Unit.Symbol; got != c.symbol || x[0][0] != c.first {
			t.Errorf("label %q: unit %q, first sample %v; want %q, %v", c.unit, got, x[0][0], c.symbol, c.first)
		}
	}
	f.unit = "g"
	if _, err := open(units164(1, 1)+f.text(), format.Options{}); err == nil || !strings.Contains(err.Error(), `unit "g" contradicts dataset 164`) {
		t.Errorf("error %v", err)
	}
	rec, err := open(units164(1, 1)+f.text(), format.Options{Units: []string{"g"}})
	if err != nil || rec.Info.Channels[0].Unit.Symbol != "g" {
		t.Errorf("overruled: %v, %+v", err, rec.Info.Channels)
	}
	f.axis, f.unit = 1, "furlong"
	if info, _ := read(t, f.text()); info.Channels[0].Unit.Symbol != "" || !noted(info, `unit "furlong" is not known`) {
		t.Errorf("unknown unit: %+v, notes %q", info.Channels, info.Notes)
	}
}

// TestFields: columns without blanks between them, D exponents and exponents without a letter.
func TestFields(t *testing.T) {
	f := function{ordinate: 2, x: make([]float64, 7), unit: "V", dx: "1.00000E-03"}
	text := f.text()
	zeros := strings.Repeat("  0.00000E+00", 6) + "\n"
	packed := "-1.00000E+000 2.50000D-01  1.00000-100 -1.00000E+00             " + " 3.00000e+00\n"
	if !strings.Contains(text, zeros) {
		t.Fatal("the writer changed")
	}
	info, x := read(t, strings.Replace(text, zeros, packed, 1))
	want := [][]float64{{-1, 0.25, 1e-100, -1, math.NaN(), 3, 0}}
	if d := formattest.Differ(x, want); d != "" {
		t.Errorf("%s (%+v)", d, info)
	}
}

func TestRefused(t *testing.T) {
	good := function{ordinate: 4, x: wave(9), unit: "V", dx: "1.00000E-03"}
	with := func(change func(*function)) string {
		f := good
		change(&f)
		return f.text()
	}
	frf := with(func(f *function) { f.kind, f.ordinate = 4, 6 })
	for _, c := range []struct{ data, want string }{
		{frf + frf + with(func(f *function) { f.kind = 2 }), "the file has 1 × auto spectrum, 2 × frequency response"},
		{units164(1, 1), "the file has 1 datasets that are not 58"},
		{with(func(f *function) { f.ordinate = 5 }), "ordinate type 5"},
		{strings.Replace(good.text(), "         9         1  0.0", "         9         0  0.0", 1), "uneven abscissa"},
		{with(func(f *function) { f.dx = "0.00000E+00" }), "step of time"},
		{good.text() + with(func(f *function) { f.x = wave(8) }), "9 and 8 samples"},
		{good.text() + with(func(f *function) { f.dx = "2.00000E-03" }), "rates 1000 and 500 Hz"},
		{strings.Replace(with(func(f *function) { f.binary = true }), "          72 ", "          71 ", 1), "71 bytes announced"},
		{strings.Replace(with(func(f *function) { f.binary = true }), "58b     1     2", "58b     1     1", 1), "floating-point format 1"},
		{strings.Replace(with(func(f *function) { f.binary = true }), "58b     1     2", "58b     3     2", 1), "byte order 3"},
		{strings.Replace(good.text(), "1.5625", "1.x625", 1), "allowed is a number"},
		{strings.Replace(good.text(), "         9         1", "      NINE         1", 1), `found "NINE", allowed is an integer`},
	} {
		rec, err := open(c.data, format.Options{})
		if err == nil {
			_, err = formattest.Samples(rec, 10, 1<<20)
		}
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("error %v, want %q", err, c.want)
		}
	}
}

// TestMixed: time records are read from among other functions; a file that ends too early is noted.
func TestMixed(t *testing.T) {
	good := function{ordinate: 4, x: wave(9), unit: "V", dx: "1.00000E-03"}
	frf := function{kind: 4, ordinate: 4, x: wave(4), dx: "1.00000E+00"}
	frfBinary := frf
	frfBinary.binary = true
	info, x := read(t, frf.text()+good.text()+frfBinary.text()+good.text())
	if len(x) != 2 || !noted(info, "2 × time record, 2 × frequency response") {
		t.Errorf("%d channels, notes %q", len(x), info.Notes)
	}
	text := good.text()
	info, x = read(t, text+text[:len(text)-60])
	if info.Frames != 4 || len(x[1]) != 4 || !noted(info, "9 samples are announced, 4 are there") {
		t.Errorf("cut off: %d frames, notes %q", info.Frames, info.Notes)
	}
	info, x = read(t, text+text[:300])
	if len(x) != 1 || !noted(info, "ends within dataset 2") {
		t.Errorf("cut in a header: %d channels, notes %q", len(x), info.Notes)
	}
}

// TestShared reads the sample files of another program: 79 292 points each, the same within single precision and 6 digits.
func TestShared(t *testing.T) {
	var x [2][]float64
	for i, name := range []string{"sample-ascii.uff", "sample-binary.uff"} {
		rec, err := format.Open([]format.Format{Format{}}, formattest.File(formattest.Shared(t, "uff", name)), format.Options{})
		if err != nil {
			t.Fatal(err)
		}
		samples, err := formattest.Samples(rec, 1000, 1<<20)
		if err != nil {
			t.Fatal(err)
		}
		if len(samples) != 1 || len(samples[0]) != 79292 || rec.Info.Frames != 79292 {
			t.Fatalf("%s: %d channels, %d samples", name, len(samples), len(samples[0]))
		}
		ch := rec.Info.Channels[0]
		if ch.Unit.Symbol != "Pa" || !strings.HasPrefix(ch.Name, "Mic 01") || math.Abs(rec.Info.Rate*1.52588e-5-1) > 1e-12 {
			t.Errorf("%s: %+v, rate %v", name, ch, rec.Info.Rate)
		}
		x[i] = samples[0]
	}
	for i := range x[0] {
		if math.Abs(x[0][i]-x[1][i]) > 0.51e-5*math.Abs(x[1][i]) {
			t.Fatalf("sample %d: %v as text, %v binary", i+1, x[0][i], x[1][i])
		}
	}
	if first := x[0][0]; first != -1.47553e-02 { // first number of sample-ascii.uff
		t.Errorf("first sample %v", first)
	}
}

func FuzzUFF58(f *testing.F) {
	x := wave(13)
	var seeds [][]byte
	for _, fn := range []function{{ordinate: 2}, {ordinate: 4, crlf: true}, {ordinate: 2, binary: true}, {ordinate: 4, binary: true, big: true}} {
		fn.x, fn.dx, fn.unit = x, "5.00000E-04", "V"
		seeds = append(seeds, []byte(pair(fn)))
	}
	formattest.Fuzz(f, Format{}, "a.uff", format.Options{}, seeds...)
}

func benchmark(b *testing.B, fn function) {
	fn.x, fn.dx, fn.unit = wave(200_000), "5.00000E-04", "V"
	data := pair(fn)
	rec, err := open(data, format.Options{})
	if err != nil {
		b.Fatal(err)
	}
	dst := recording.Block(2, 4096)
	b.SetBytes(int64(len(data)))
	b.ReportAllocs()
	for b.Loop() {
		r, err := rec.Open()
		for err == nil {
			_, err = r.Read(dst)
		}
		if err != io.EOF {
			b.Fatal(err)
		}
		r.Close()
	}
}

func BenchmarkUFF58(b *testing.B)  { benchmark(b, function{ordinate: 2}) }
func BenchmarkUFF58b(b *testing.B) { benchmark(b, function{ordinate: 2, binary: true}) }
