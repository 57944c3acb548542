package csv

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/unicode"

	"plumbline/internal/format"
	"plumbline/internal/format/formattest"
	"plumbline/recording"
)

func open(data string, opts format.Options) (recording.Recording, error) {
	var h formattest.Handles
	rec, err := format.Open([]format.Format{Format{}}, h.Source("a.csv", []byte(data)), opts)
	if n := h.Open(); n != 0 {
		return rec, fmt.Errorf("%d handles left open", n)
	}
	return rec, err
}

func all(rec recording.Recording) ([][]float64, error) { return formattest.Samples(rec, 64, 1<<22) }

func noted(info recording.Info, words string) bool {
	return strings.Contains(strings.Join(info.Notes, "\n"), words)
}

// wave are n samples of two channels with few digits.
func wave(n int) [][]float64 {
	x := make([][]float64, 2)
	for i := range n {
		x[0] = append(x[0], float64(i*37%101-50)/1000)
		x[1] = append(x[1], float64(i*53%211-105)/100)
	}
	return x
}

// written writes a table of times at a rate of 2000 Hz and two channels; put makes a row of three numbers with the decimal mark .
func written(x [][]float64, header string, decimal string, put func(t, a, b string) string) string {
	var b strings.Builder
	b.WriteString(header)
	number := func(format string, v float64) string { return strings.ReplaceAll(fmt.Sprintf(format, v), ".", decimal) }
	for i := range x[0] {
		b.WriteString(put(number("%.4f", float64(i)/2000), number("%.3f", x[0][i]), number("%.2f", x[1][i])))
	}
	return b.String()
}

func rows(format string) func(t, a, b string) string {
	return func(t, a, b string) string { return fmt.Sprintf(format, t, a, b) }
}

// shapes are ways in which recorders and spreadsheets write the same table.
func shapes(x [][]float64) map[string]string {
	semicolons := written(x, "Aufzeichnung;Prüfstand 2\r\nZeit [s];Referenz [V];Prüfling [mV]\r\n", ",", rows("%s;%s;%s\r\n"))
	latin, _ := charmap.Windows1252.NewEncoder().String(semicolons)
	little, _ := unicode.UTF16(unicode.LittleEndian, unicode.UseBOM).NewEncoder().String(semicolons)
	big, _ := unicode.UTF16(unicode.BigEndian, unicode.IgnoreBOM).NewEncoder().String(semicolons)
	return map[string]string{
		"BOM, semicolon, decimal comma": "\ufeff" + semicolons,
		"Windows-1252":                  latin,
		"UTF-16 little endian with BOM": little,
		"UTF-16 big endian without BOM": big,
		"tab":                           written(x, "Time\tReferenz\tPrüfling\ns\tV\tmV\n", ".", rows("%s\t%s\t%s\n")),
		"tab, decimal comma":            written(x, "Time (s)\tReferenz (V)\tPrüfling (mV)\n\n", ",", rows("%s\t%s\t%s\n")),
		"comma":                         written(x, "time,Referenz,Prüfling\n[s],[V],[mV]\n", ".", rows("%s,%s,%s\n")),
		"comma, quoted":                 written(x, "\"t [s]\",\"Referenz [V]\",\"Prüfling [mV]\"\n", ".", rows("\"%s\",\"%s\",\"%s\"\n")),
		"comma, quoted decimal commas":  written(x, "t [s],Referenz [V],Prüfling [mV]\n", ",", rows("\"%s\",\"%s\",\"%s\"\n")),
		"comma and blank":               written(x, "# t [s], Referenz [V], Prüfling [mV]\n", ".", rows("%s, %s, %s\n")),
		"bar":                           written(x, "Zeit / s | Referenz / V | Prüfling / mV\n", ".", rows("%s | %s | %s\n")),
		"blanks":                        written(x, "  Time [s]   Referenz [V]   Prüfling [mV]\n", ".", rows("%12s %12s %14s\n")),
		"blanks, decimal comma":         written(x, "Time[s] Referenz [V] Prüfling [mV]\n", ",", rows("  %s   %s %s  \n")),
		"units above names":             written(x, "[s];[V];[mV]\nt;Referenz;Prüfling\n", ".", rows("%s;%s;%s\n")),
		"long header": written(x, "Recorder D-8\nChannels:;2\nStart;1.5.2026\n\nComment;;\nt [s];Referenz [V];Prüfling [mV]\n", ".",
			rows("%s;%s;%s\n")),
		"comments inside":         strings.Replace(written(x, "t [s];Referenz [V];Prüfling [mV]\n", ".", rows("%s;%s;%s\n")), "\n0.0100;", "\n# a remark; 1\n\n0.0100;", 1),
		"delimiter at the end":    written(x, "t [s];Referenz [V];Prüfling [mV];\n", ".", rows("%s;%s;%s;\n")),
		"no line feed at the end": strings.TrimRight(written(x, "t [s];Referenz [V];Prüfling [mV]\n", ".", rows("%s;%s;%s\n")), "\n"),
		"times in ms":             written(x, "t [ms];Referenz [V];Prüfling [mV]\n", ".", func(t, a, b string) string { return ms(t) + ";" + a + ";" + b + "\n" }),
		"clock":                   written(x, "Time;Referenz [V];Prüfling [mV]\n", ".", func(t, a, b string) string { return "23:59:59" + t[1:] + ";" + a + ";" + b + "\n" }),
		"date and clock": written(x, "Time;Referenz [V];Prüfling [mV]\n", ",", func(t, a, b string) string {
			return "2026-05-01 10:20:30" + t[1:] + ";" + a + ";" + b + "\n"
		}),
		"ISO 8601": written(x, "Timestamp,Referenz [V],Prüfling [mV]\n", ".", func(t, a, b string) string {
			return "2026-05-01T12:20:30" + t[1:] + "+02:00," + a + "," + b + "\n"
		}),
		"date, clock": written(x, "Datum\tZeit\tReferenz [V]\tPrüfling [mV]\n", ",", func(t, a, b string) string {
			return "01.05.2026\t10:20:30" + t[1:] + "\t" + a + "\t" + b + "\n"
		}),
		"counter and times": counted(x),
	}
}

// ms writes a time of four decimals in milliseconds.
func ms(t string) string {
	var v float64
	fmt.Sscanf(t, "%g", &v)
	return fmt.Sprintf("%.1f", 1000*v)
}

func counted(x [][]float64) string {
	n := 0
	return written(x, "Sample;t [s];Referenz [V];Prüfling [mV]\n", ".", func(t, a, b string) string {
		n++
		return fmt.Sprintf("%d;%s;%s;%s\n", n, t, a, b)
	})
}

// TestShapes: the same table is read however it is written.
func TestShapes(t *testing.T) {
	x := wave(400)
	for name, data := range shapes(x) {
		rec, err := open(data, format.Options{})
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		got, err := all(rec)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if d := formattest.Differ(got, x); d != "" {
			t.Errorf("%s: %s; notes %q", name, d, rec.Info.Notes)
		}
		ch := rec.Info.Channels
		if len(ch) != 2 || ch[0].Name != "Referenz" || ch[1].Name != "Prüfling" || ch[0].Unit.Symbol != "V" || ch[1].Unit.Symbol != "mV" || ch[1].Unit.Factor != 1e-3 {
			t.Errorf("%s: channels %+v", name, ch)
		}
		if math.Abs(rec.Info.Rate/2000-1) > 1e-6 || rec.Info.Frames != 400 {
			t.Errorf("%s: rate %v, %d frames", name, rec.Info.Rate, rec.Info.Frames)
		}
		if len(rec.Info.Findings) > 0 {
			t.Errorf("%s: findings %+v", name, rec.Info.Findings)
		}
		if strings.Contains(name, "date") || name == "ISO 8601" {
			if want := time.Date(2026, 5, 1, 10, 20, 30, 0, time.UTC); !rec.Info.Start.Equal(want) {
				t.Errorf("%s: start %v, want %v", name, rec.Info.Start, want)
			}
		}
	}
}

func TestContract(t *testing.T) {
	x := wave(23)
	all := shapes(x)
	for _, name := range []string{"BOM, semicolon, decimal comma", "UTF-16 little endian with BOM", "blanks", "ISO 8601", "comma, quoted decimal commas"} {
		t.Run(name, func(t *testing.T) {
			formattest.Run(t, formattest.Subject{Format: Format{}, Name: "a.csv", Data: []byte(all[name]), Want: x, Rate: 2000})
		})
	}
}

// TestGuessIsTold: the notes say how the table was read.
func TestGuessIsTold(t *testing.T) {
	rec, err := open(shapes(wave(50))["Windows-1252"], format.Options{})
	if err != nil {
		t.Fatal(err)
	}
	for _, words := range []string{"windows-1252", "delimiter semicolon", "decimal mark comma", "2 lines above the table", "3 columns: Zeit [s], Referenz [V], Prüfling [mV]",
		"times in column 1 (Zeit [s]), from 0 s to 0.0245 s: rate 2000 Hz"} {
		if !noted(rec.Info, words) {
			t.Errorf("notes %q: no %q", rec.Info.Notes, words)
		}
	}
}

func TestOptions(t *testing.T) {
	x := wave(50)
	semicolons := shapes(x)["BOM, semicolon, decimal comma"]
	three := 3
	for _, c := range []struct {
		name string
		data string
		opts format.Options
		ok   func(recording.Recording) bool
	}{
		{"rate", semicolons, format.Options{Rate: 2001}, func(r recording.Recording) bool { return r.Info.Rate == 2001 && noted(r.Info, "2001 Hz as given") }},
		{"units", semicolons, format.Options{Units: []string{"mV", "FS"}}, func(r recording.Recording) bool {
			return r.Info.Channels[0].Unit.Symbol == "mV" && r.Info.Channels[1].Unit.Symbol == "FS"
		}},
		{"header lines", semicolons, format.Options{HeaderLines: &three}, func(r recording.Recording) bool { return r.Info.Frames == 49 && r.Info.Channels[0].Name == "Referenz" }},
		{"no times", semicolons, format.Options{TimeColumn: "none", Rate: 2000}, func(r recording.Recording) bool { return len(r.Info.Channels) == 3 }},
		{"times by number", semicolons, format.Options{TimeColumn: "1"}, func(r recording.Recording) bool { return math.Abs(r.Info.Rate/2000-1) < 1e-9 }},
		{"times by name", strings.ReplaceAll(semicolons, "Zeit [s]", "Weg"), format.Options{TimeColumn: "weg"}, func(r recording.Recording) bool {
			return math.Abs(r.Info.Rate/2000-1) < 1e-9 && noted(r.Info, "without a unit, taken as s")
		}},
		{"decimal mark", "a;b\n1.234;5\n2.345;6\n", format.Options{DecimalMark: ".", Rate: 1}, func(r recording.Recording) bool {
			y, _ := all(r)
			return y[0][0] == 1.234
		}},
		{"encoding", semicolons[3:], format.Options{Encoding: "windows-1252"}, func(r recording.Recording) bool { return r.Info.Channels[1].Name == "PrÃ¼fling" }},
		{"delimiter", "1,5;2,5\n1,25;2,25\n", format.Options{Delimiter: ";", Rate: 10}, func(r recording.Recording) bool {
			y, _ := all(r)
			return len(y) == 2 && y[1][1] == 2.25
		}},
	} {
		rec, err := open(c.data, c.opts)
		if err != nil || !c.ok(rec) {
			t.Errorf("%s: %v, %+v", c.name, err, rec.Info)
		}
	}
	minus := -1
	for want, opts := range map[string]format.Options{
		`delimiter "x": allowed are`: {Delimiter: "x"}, `decimal mark "x": allowed are`: {DecimalMark: "x"}, `encoding "x": allowed are`: {Encoding: "x"},
		"-1 header lines": {HeaderLines: &minus}, `time column "9": the table has column 1 (Zeit [s])`: {TimeColumn: "9"}, "do not rise": {TimeColumn: "2"},
		"1 units given for 2 channels": {Units: []string{"V"}}, "no table of numbers": {Delimiter: "|", DecimalMark: "."},
	} {
		if _, err := open(semicolons, opts); err == nil || !strings.Contains(err.Error(), want) || !strings.Contains(err.Error(), "a.csv") {
			t.Errorf("%+v: error %v, want %q", opts, err, want)
		}
	}
}

func TestNoTimes(t *testing.T) {
	if _, err := open("a;b\n1;2\n3;4\n", format.Options{}); err == nil || !strings.Contains(err.Error(), "state the rate or the column of times") {
		t.Errorf("error %v", err)
	}
	for _, header := range []string{"Sample rate: 12800 Hz\n", "Abtastrate;12,8 kHz\n", "# fs = 12800\n", "Sampling Frequency [Hz];12800\n", "SampleRate,12800 Hz\n"} {
		rec, err := open(header+"a;b\n1;2\n3;4\n-2;1\n", format.Options{})
		if err != nil || rec.Info.Rate != 12800 || !noted(rec.Info, "from the header line") {
			t.Errorf("%q: %v, rate %v, notes %q", header, err, rec.Info.Rate, rec.Info.Notes)
		}
	}
	// A first column that counts is no channel, and no times.
	var b strings.Builder
	for i := range 20 {
		fmt.Fprintf(&b, "%d;%d\n", i, i*7%5)
	}
	rec, err := open("Nr;U [V]\n"+b.String(), format.Options{Rate: 100})
	if err != nil || len(rec.Info.Channels) != 1 || rec.Info.Channels[0].Name != "U" || !noted(rec.Info, "counts the rows") {
		t.Errorf("%v, %+v", err, rec.Info)
	}
	// One column, integers, nothing above.
	rec, err = open("5\n-3\n2\n", format.Options{Rate: 100})
	if err != nil || len(rec.Info.Channels) != 1 || rec.Info.Frames != 3 {
		t.Errorf("%v, %+v", err, rec.Info)
	}
	// One column with decimal commas is not two columns.
	b.Reset()
	for i := range 40 {
		fmt.Fprintf(&b, "%d,%03d\n", i%3-1, i*17)
	}
	if rec, err = open(b.String(), format.Options{Rate: 100}); err != nil || len(rec.Info.Channels) != 1 {
		t.Errorf("%v, %+v", err, rec.Info)
	}
}

func TestMissing(t *testing.T) {
	rec, err := open("t [s];a [V];b [V]\n0.0;;\n0.5;NaN;-\n1.0;1;2\n1.5;;2\n2.0;5;n/a\n2.5;1;1\n3.0;;\n", format.Options{})
	if err != nil {
		t.Fatal(err)
	}
	x, err := all(rec)
	if err != nil {
		t.Fatal(err)
	}
	nan := math.NaN()
	if d := formattest.Differ(x, [][]float64{{1, nan, 5, 1}, {2, 2, nan, 1}}); d != "" {
		t.Error(d)
	}
	if !noted(rec.Info, "2 rows before the first value") || !noted(rec.Info, "1 rows behind the last value") || rec.Info.Rate != 2 {
		t.Errorf("rate %v, notes %q", rec.Info.Rate, rec.Info.Notes)
	}
	found, err := recording.Inspect(rec)
	if err != nil || len(found) < 2 || found[0].Code != recording.Missing || found[0].Channel != 1 || found[1].Channel != 2 {
		t.Errorf("findings %+v, %v", found, err)
	}
	if _, err := open("t [s];a [V];b [V]\n0;;\n1;NaN;-\n", format.Options{}); err == nil || !strings.Contains(err.Error(), "no row of the table holds a value") {
		t.Errorf("no value at all: %v", err)
	}
}

// TestBroken: what is no row of the table is not read as one.
func TestBroken(t *testing.T) {
	table := "t [s];a [V]\n0.0;1.5e0\n0.5;2.5e0\n1.0;3.5e0\n1.5;4.5e0\n"
	many := table
	for i := range 60 {
		many += fmt.Sprintf("%.1f;1.0e0\n", 2+0.5*float64(i))
	}
	for _, c := range []struct{ data, want string }{
		{strings.Replace(many, "1.5;4.5e0", "1.5", 1), "line 5: found \"1.5\", which is no row of 2 columns"},
		{strings.Replace(many, "1.5;4.5e0", "t [s];a [V]", 1), "line 5: found"},
		{strings.Replace(many, "4.5e0", "4,5e0", 1), `line 5, column 2 (a [V]): found "4,5e0", allowed is a number with decimal mark .`},
		{"just some words\nand more of them\n", `no table of numbers in the first 2 lines, which start with "just some words"`},
		{"\n\n", "no table of numbers"},
		{"t [s]\n0.0\n0.5\n1.0\n", "no column of samples"},
	} {
		rec, err := open(c.data, format.Options{})
		if err == nil {
			_, err = all(rec)
		}
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("error %v, want %q", err, c.want)
		}
	}
	for _, c := range []struct {
		data, note string
		frames     int64
	}{
		{table + "end of data\nmean;2\n", "2 lines behind the table are not read, the first is line 6", 4},
		{table[:len(table)-1], "", 4},                             // all of the last line is there
		{table[:len(table)-2], "line 5, the last, is cut off", 3}, // 4.5e
		{table[:len(table)-3], "line 5, the last, is cut off", 3}, // 4.5
		{table[:len(table)-4], "line 5, the last, is cut off", 3}, // 4.
		{table[:len(table)-7], "line 5, the last, is cut off", 3}, // 1.5
	} {
		rec, err := open(c.data, format.Options{})
		if err != nil || rec.Info.Frames != c.frames || !noted(rec.Info, c.note) {
			t.Errorf("%q: %v, %d frames, notes %q", c.data[len(c.data)-10:], err, rec.Info.Frames, rec.Info.Notes)
		}
	}
}

// TestShared reads the shared tables of the bench: decimal comma, semicolon, two header lines.
func TestShared(t *testing.T) {
	for name, rate := range map[string]float64{"point-02-10Hz.csv": 2000, "point-04-40Hz.csv": 4000, "point-06-315Hz.csv": 12800} { // rates of the scenario
		rec, err := format.Open([]format.Format{Format{}}, formattest.File(formattest.Shared(t, "bench", "general", name)), format.Options{})
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(rec.Info.Rate/rate-1) > 1e-6 {
			t.Errorf("%s: rate %.9g, want %v within 1 ppm", name, rec.Info.Rate, rate)
		}
		if ch := rec.Info.Channels; len(ch) != 2 || ch[0].Name != "Referenz" || ch[1].Name != "Pruefling" || ch[1].Unit.Symbol != "V" {
			t.Errorf("%s: %+v", name, ch)
		}
		if found, err := recording.Inspect(rec); err != nil || len(found) > 0 {
			t.Errorf("%s: findings %+v, %v", name, found, err)
		}
	}
}

func FuzzCSV(f *testing.F) {
	var seeds [][]byte
	for _, data := range shapes(wave(9)) {
		seeds = append(seeds, []byte(data))
	}
	formattest.Fuzz(f, Format{}, "a.csv", format.Options{}, seeds...)
}

// FuzzCSVGiven reads with everything given, so that the guess does not refuse the file first.
func FuzzCSVGiven(f *testing.F) {
	one := 1
	opts := format.Options{Delimiter: ";", DecimalMark: ",", Encoding: "windows-1252", HeaderLines: &one, TimeColumn: "1", Rate: 100}
	formattest.Fuzz(f, Format{}, "a.csv", opts, []byte("t;a;b\n0;1,5;2\n1;2,5;3\n"), []byte("x\n10:20:30,5;1;\n10:20:31,5;-;1.234,5\n"))
}

// TestOddTables: tables as recorders, oscilloscopes and spreadsheets write them.
func TestOddTables(t *testing.T) {
	for _, c := range []struct {
		name, data string
		channels   string
		rate       float64
		first      float64
		note       string
	}{
		{"units in a line of their own, then a blank line", "Time,Channel A\n(ms),(mV)\n\n0.0,1.5\n0.5,2.5\n1.0,0.5\n", "Channel A [mV]", 2000, 1.5, ""},
		{"header of another table", "X_Dimension\tTime\tTime\t\n***End_of_Header***\t\t\t\nX_Value\tU1\tU2\tComment\n0.00\t1.5\t2\n0.25\t2.5\t3\n0.50\t1.5\t2\n", "U1 [], U2 []", 4, 1.5, ""},
		{"comment column left empty", "X_Value\tU1\tComment\n0.00\t1.5\t\n0.25\t2.5\t\n0.50\t1.5\t\n", "U1 [], Comment []", 4, 1.5, ""},
		{"spreadsheet", "sep=;\nt/s;U/V\n0,00;1,5\n0,25;2,5\n0,50;1,5\n", "U [V]", 4, 1.5, ""},
		{"half days", "Time,U [V]\n11:59:59.50 AM,1.5\n12:00:00.00 PM,2.5\n12:00:00.50 PM,1.5\n", "U [V]", 2, 1.5, ""},
		{"American date", "Time,U [V]\n05/01/2026 23:59:59.50,1.5\n05/02/2026 00:00:00.00,2.5\n05/02/2026 00:00:00.50,1.5\n", "U [V]", 2, 1.5, ""},
		{"words", "t [s];U [V];Status\n0.0;1.5;ok\n0.5;2.5;ok\n1.0;2.5;over\n1.5;1;ok\n", "U [V]", 2, 1.5, "column 3 (Status) holds words"},
		{"words, header with numbers", "Serial;17;x\nt [s];U [V];Status\n0.0;1.5;ok\n0.5;2.5;ok\n1.0;2.5;over\n1.5;1;ok\n", "U [V]", 2, 1.5, "column 3 (Status) holds words"},
		{"unit of time in the name", "t_ms,u\n0,5\n250,-6\n500,7\n", "u []", 4, 5, ""},
		{"time in the second column", "U [V];Time [s]\n1.5;0.0\n2.5;0.5\n1.5;1.0\n", "U [V]", 2, 1.5, ""},
		{"time with another unit is no time", "Sample rate: 10 Hz\nDelay Time [m];U [V]\n1.0;1\n2.0;2\n3.0;1\n", "Delay Time [m], U [V]", 10, 1, ""},
		{"thousands", "t [s];p [Pa]\n0,0;1.234,5\n0,5;-101.325,0\n1,0;0,5\n", "p [Pa]", 2, 1234.5, "digits grouped"},
		{"acceleration and g", "t [s];a (m/s²);b [g]\n0.0;1.5;1\n0.5;2.5;2\n1.0;1.5;1\n", "a [m/s²], b [g]", 2, 1.5, ""},
		{"full scale", "t [s];a [FS]\n0.0;0.5\n0.5;0.25\n1.0;0.5\n", "a [FS]", 2, 0.5, ""},
		{"unknown unit", "t [s];a [cubit]\n0.0;0.5\n0.5;0.25\n1.0;0.5\n", "a []", 2, 0.5, `channel 1: unit "cubit" is not known`},
		{"end-of-file mark of old", "t [s];a [V]\r\n0.0;0.5\r\n0.5;0.25\r\n1.0;0.5\r\n\x1a", "a [V]", 2, 0.5, ""},
	} {
		rec, err := open(c.data, format.Options{})
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		var channels []string
		for _, ch := range rec.Info.Channels {
			channels = append(channels, ch.Name+" ["+ch.Unit.Symbol+"]")
		}
		x, err := all(rec)
		if err != nil || strings.Join(channels, ", ") != c.channels || math.Abs(rec.Info.Rate/c.rate-1) > 1e-9 || x[0][0] != c.first || !noted(rec.Info, c.note) {
			t.Errorf("%s: %v, channels %q, rate %v, samples %v, notes %q", c.name, err, channels, rec.Info.Rate, x, rec.Info.Notes)
		}
	}
	// 999 and 1.001: decimals, or one thousand and one?
	grouped := "t [s];n [V]\n0;998\n1;1.001\n2;-12.345\n"
	if _, err := open(grouped, format.Options{}); err == nil || !strings.Contains(err.Error(), "numbers such as 1.001 may have decimals or grouped digits") {
		t.Errorf("error %v", err)
	}
	if rec, err := open(grouped, format.Options{DecimalMark: "."}); err != nil || rec.Info.Frames != 3 {
		t.Errorf("%v", err)
	}
}
