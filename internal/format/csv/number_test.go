package csv

import (
	"math"
	"testing"
)

// TestNumbers: numbers as they are written, and what is none. The values are what strconv.ParseFloat makes of the plain form.
func TestNumbers(t *testing.T) {
	point, comma := marks{decimal: '.'}, marks{decimal: ','}
	for _, c := range []struct {
		m    marks
		text string
		want float64
	}{
		{point, "1", 1}, {point, "-1.5", -1.5}, {point, "+.5", 0.5}, {point, "5.", 5}, {point, "1.25E-3", 1.25e-3}, {point, "1.25d+03", 1250},
		{comma, "-4,0279627e-02", -4.0279627e-02}, {comma, "1.234,5", 1234.5}, {comma, "-12.345.678,5e1", -123456785}, {comma, "1 234,5", 1234.5},
		{comma, "1\u00a0234,5", 1234.5}, {comma, "1'234,5", 1234.5}, {point, "1,234.5", 1234.5}, {point, "12'345'678.25", 12345678.25},
		{point, "\u22121.5", -1.5}, {point, "0.1234567890123456789", 0.1234567890123456789}, {point, "123456789012345678901234567890", 1.2345678901234568e29},
		{point, "1e-400", 0}, {marks{decimal: ',', grouped: true}, "1.234", 1234}, {point, "0.0000781", 0.0000781}, {point, "4.35", 4.35},
		{point, "9007199254740993", 9007199254740992}, {point, "1e22", 1e22}, {point, "1.7976931348623157e308", math.MaxFloat64},
	} {
		if got, ok := c.m.number([]byte(c.text)); !ok || got != c.want {
			t.Errorf("%q with %c: %v, %v; want %v", c.text, c.m.decimal, got, ok, c.want)
		}
	}
	for _, text := range []string{"", "-", ".", "e5", "1e", "1.2.3", "1,2", "12,34.5", "1,2345.6", "0x10", "1_000", "1e400", "--1", "1 2", "1,234"} {
		if got, ok := point.number([]byte(text)); ok {
			t.Errorf("%q with point: %v", text, got)
		}
	}
	for _, text := range []string{"1.5", "1,", "1.234", "1,2,3"} {
		if got, ok := comma.number([]byte(text)); ok {
			t.Errorf("%q with comma: %v", text, got)
		}
	}
}

func TestClock(t *testing.T) {
	for text, want := range map[string]moment{
		"10:20:30.5":               {seconds: 37230.5, step: 0.1},
		"1:02:03":                  {seconds: 3723, step: 1},
		"23:59:60,25":              {seconds: 86400.25, step: 0.01},
		"1970-01-02T00:00:00Z":     {step: 1, day: 1, dated: true, zoned: true},
		"02.01.1970 00:00:01":      {seconds: 1, step: 1, day: 1, dated: true},
		"05/01/2026 00:00:01.000":  {seconds: 1, step: 0.001},
		"1970-01-01 00:00:00-0130": {step: 1, dated: true, zoned: true, zone: -5400},
	} {
		got, ok := clock([]byte(text))
		if !ok || math.Abs(got.step-want.step) > 1e-15 {
			t.Errorf("%q: %+v, %v", text, got, ok)
		}
		got.step = want.step
		if got != want {
			t.Errorf("%q: %+v, want %+v", text, got, want)
		}
	}
	for _, text := range []string{"", "10:20", "24:00:00", "10:60:00", "10:20:61", "10:20:30.", "10:20:3x", "x 10:20:30", "2026-13-01 10:20:30", "10:20:30:40", "10:20:1e1", "::", "10:20:30.1e3"} {
		if got, ok := clock([]byte(text)); ok {
			t.Errorf("%q: %+v", text, got)
		}
	}
}
