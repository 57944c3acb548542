package csv

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"strings"
	"testing"

	"plumbline/internal/format"
	"plumbline/recording"
)

// timed writes a table of n rows whose times are written by put; put returns "" for a row that is left out.
func timed(n int, put func(i int) string) string {
	var b strings.Builder
	b.WriteString("t [s];a [V]\n")
	for i := range n {
		if t := put(i); t != "" {
			fmt.Fprintf(&b, "%s;%.4f\n", t, math.Sin(float64(i)))
		}
	}
	return b.String()
}

// TestRate: the rate comes out to the ppm however coarsely the times are written, and no false alarm is raised.
func TestRate(t *testing.T) {
	for _, c := range []struct {
		name string
		rate float64
		n    int
		put  func(rate float64) func(i int) string
		ppm  float64
	}{
		{"seven decimals", 12800, 10_000, fixed("%.7f"), 0.01},
		{"steps of 0.0000781", 12800, 2_000, fixed("%.7f"), 0.1},
		{"exact", 2000, 5_000, fixed("%.4f"), 1e-6},
		{"six decimals", 51200, 50_000, fixed("%.6f"), 0.05},
		{"milliseconds", 2000, 20_000, fixed("%.3f"), 1},
		{"milliseconds, 10 kHz", 10_000, 100_000, fixed("%.3f"), 1},
		{"six significant digits", 1000, 20_000, fixed("%.6g"), 0.05},
		{"no zeros at the end", 2000, 20_000, func(rate float64) func(int) string {
			return func(i int) string { return strconv.FormatFloat(float64(i)/2000, 'f', -1, 64) }
		}, 1e-6},
		{"exponents", 4096, 20_000, fixed("%.6e"), 0.05},
		{"single precision", 12800, 400_000, func(rate float64) func(int) string {
			return func(i int) string { return strconv.FormatFloat(float64(float32(float64(i)/rate)), 'g', 10, 64) }
		}, 0.05},
		{"seconds since 1970", 1000, 20_000, func(rate float64) func(int) string {
			return func(i int) string { return fmt.Sprintf("%.6f", 1777630830+float64(i)/rate) }
		}, 0.05},
		{"low rate", 0.1, 50, fixed("%.0f"), 1e-6},
		{"rate that is no whole number", 12801.29, 30_000, fixed("%.6f"), 0.1},
		{"clock in ms", 1024, 20_000, func(rate float64) func(int) string {
			return func(i int) string {
				ms := int64(math.Round(float64(i) / rate * 1000))
				return fmt.Sprintf("23:59:%02d.%03d", 40+ms/1000, ms%1000)
			}
		}, 1},
		{"over midnight", 100, 3000, func(rate float64) func(int) string {
			return func(i int) string {
				ms := int64(i*10) + (24*3600-10)*1000
				return fmt.Sprintf("%02d:%02d:%02d,%03d", ms/3600000%24, ms/60000%60, ms/1000%60, ms%1000)
			}
		}, 1e-6},
		{"clock in whole seconds", 100, 360_000, func(rate float64) func(int) string {
			return func(i int) string { s := i / 100; return fmt.Sprintf("10:%02d:%02d", s/60, s%60) }
		}, 30},
	} {
		rec, err := open(timed(c.n, c.put(c.rate)), format.Options{})
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if ppm := 1e6 * (rec.Info.Rate/c.rate - 1); math.Abs(ppm) > c.ppm || rec.Info.Frames != int64(c.n) {
			t.Errorf("%s: rate %.12g, %.3g ppm off; %d frames; notes %q", c.name, rec.Info.Rate, ppm, rec.Info.Frames, rec.Info.Notes)
		}
		for _, f := range rec.Info.Findings {
			if f.Refuse || f.Code != recording.CoarseTime {
				t.Errorf("%s: %s", c.name, f.Text)
			}
		}
	}
}

func fixed(layout string) func(rate float64) func(i int) string {
	return func(rate float64) func(int) string {
		return func(i int) string { return fmt.Sprintf(layout, float64(i)/rate) }
	}
}

// TestIrregular: what is wrong with times is found, counted and placed.
func TestIrregular(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 1)) // seed 1, 1
	at := func(s float64) string { return fmt.Sprintf("%.6f", s) }
	for _, c := range []struct {
		name         string
		put          func(i int) string
		code         recording.Code
		first, count int64
		refuse       bool
		words        string
	}{
		{"rows left out", func(i int) string {
			if i >= 4000 && i < 4003 || i == 7000 {
				return ""
			}
			return at(float64(i) / 2000)
		}, recording.Gap, 4001, 4, true, "2 gaps in 9996 times, 4 samples missing in all, first before sample 4001 (line 4002)"},
		{"a row twice", func(i int) string {
			if i > 100 {
				i--
			}
			return at(float64(i) / 2000)
		}, recording.Duplicate, 102, 1, true, "1 of 10000 times repeat the one before or go back, first at sample 102 (line 103)"},
		{"back", func(i int) string { return at(float64(i%5000) / 2000) }, recording.Duplicate, 5001, 1, true, "go back"},
		{"jitter", func(i int) string { return at((float64(i) + 0.05*r.NormFloat64()) / 2000) }, recording.Jitter, 0, 0, true, "differ from the others by more than 1 %"},
		{"bent", func(i int) string { x := float64(i) / 10000; return at(5 * (x + 0.002*x*x)) }, recording.Drift, 0, 10_000, true, "depart from a straight line"},
		{"slightly bent", func(i int) string { x := float64(i) / 10000; return at(5 * (x + 0.0001*x*x)) }, recording.Drift, 0, 10_000, false, "depart from a straight line"},
		{"gap in the head", func(i int) string {
			if i == 10 {
				return ""
			}
			return at(float64(i) / 2000)
		}, recording.Gap, 11, 1, true, "first before sample 11 (line 12)"},
	} {
		data := timed(10_000, c.put)
		rec, err := open(data, format.Options{})
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		f := recording.Finding{}
		if len(rec.Info.Findings) == 1 {
			f = rec.Info.Findings[0]
		}
		if f.Code != c.code || c.first > 0 && f.First != c.first || c.count > 0 && f.Count != c.count || f.Refuse != c.refuse || f.Channel != 0 ||
			!strings.Contains(f.Text, c.words) || !strings.HasPrefix(f.Text, "all channels: column 1 (t [s]): ") {
			t.Errorf("%s: %+v", c.name, rec.Info.Findings)
		}
		if math.Abs(rec.Info.Rate/2000-1) > 3e-3 {
			t.Errorf("%s: rate %v", c.name, rec.Info.Rate)
		}
		if rec, err = open(data, format.Options{Rate: 2000}); err != nil || len(rec.Info.Findings) != 1 || rec.Info.Findings[0].Refuse {
			t.Errorf("%s, rate given: %v, %+v", c.name, err, rec.Info.Findings)
		}
	}
}

// TestTooCoarse: ten seconds of times in whole seconds do not tell the rate.
func TestTooCoarse(t *testing.T) {
	rec, err := open(timed(1000, func(i int) string { return fmt.Sprintf("10:00:%02d", i/100) }), format.Options{})
	if err != nil || len(rec.Info.Findings) != 1 || rec.Info.Findings[0].Code != recording.CoarseTime || !rec.Info.Findings[0].Refuse {
		t.Errorf("%v, %+v", err, rec.Info.Findings)
	}
}

// TestNoRate: times that do not tell a rate at all.
func TestNoRate(t *testing.T) {
	for _, data := range []string{"t [s];a [V]\n10:00:00;1\n10:00:00;2\n10:00:00;3\n", "t;a\n10:00:00.5;1\n10:00:00.5;2\n"} {
		if _, err := open(data, format.Options{}); err == nil || !strings.Contains(err.Error(), "give no rate: state the rate") {
			t.Errorf("error %v", err)
		}
		if rec, err := open(data, format.Options{Rate: 5}); err != nil || rec.Info.Rate != 5 {
			t.Errorf("rate given: %v, %v", err, rec.Info.Rate)
		}
	}
}

// TestCounterGap: a column that counts shows missing rows.
func TestCounterGap(t *testing.T) {
	data := strings.Replace(timed(100, func(i int) string {
		if i == 50 {
			return ""
		}
		return strconv.Itoa(i)
	}), "t [s]", "Sample", 1)
	rec, err := open(data, format.Options{Rate: 100})
	if err != nil || len(rec.Info.Findings) != 1 || rec.Info.Findings[0].Code != recording.Gap || !rec.Info.Findings[0].Refuse {
		t.Errorf("%v, %+v", err, rec.Info)
	}
}

// TestGapsOfAnySize: in random tables of uniform times no alarm is raised, and a row taken out is found.
func TestGapsOfAnySize(t *testing.T) {
	runs := 60
	if os.Getenv("PLUMBLINE_SOAK") == "1" {
		runs = 1500
	}
	r := rand.New(rand.NewPCG(2, 2))
	t.Log("seed 2, 2")
	for range runs {
		rate := math.Exp(r.Float64()*10 + 1)
		decimals := int(math.Ceil(math.Log10(rate))) + 1 + r.IntN(4) // at least ten digits in a step
		start := float64(r.IntN(3)) * 1000 * r.Float64()
		n := 3000 + r.IntN(3000)
		out := 1 + r.IntN(n-2)
		put := func(skip bool) func(i int) string {
			return func(i int) string {
				if skip && i == out {
					return ""
				}
				return fmt.Sprintf("%.*f", decimals, start+float64(i)/rate)
			}
		}
		for _, skip := range []bool{false, true} {
			rec, err := open(timed(n, put(skip)), format.Options{})
			if err != nil {
				t.Fatal(err)
			}
			found := rec.Info.Findings
			ok := len(found) == 0 && !skip || skip && len(found) == 1 && found[0].Code == recording.Gap && found[0].Count == 1 && found[0].First == int64(out+1)
			if !ok {
				t.Errorf("rate %v, %d decimals, %d rows, row %d left out %v: %+v", rate, decimals, n, out, skip, found)
			}
		}
	}
}
