package certificate_test

import (
	"strings"
	"testing"

	"plumbline/certificate/certificatetest"
	"plumbline/quantity"
)

// TestUnits prints the same calibration in other units: 1 V/g is 0.1019716 V/(m/s²) with g = 9.80665 m/s² (3rd CGPM 1901).
func TestUnits(t *testing.T) {
	for symbol, want := range map[string][]string{
		"V/g":        {"(10.042 ± 0.064)\u2009V/g", "(1.0240 ± 0.0066)\u2009V/(m/s²)", "1\u2009g = 9.80665\u2009m/s²", "Level g |"},
		"mV/g":       {"(10042 ± 64)\u2009mV/g", "(1024.0 ± 6.6)\u2009mV/(m/s²)"},
		"V/(m/s²)":   {"(1.0240 ± 0.0066)\u2009V/(m/s²)", "Level m/s² |"},
		"mV/(mm/s²)": {"(1.0240 ± 0.0066)\u2009mV/(mm/s²)", "Level mm/s² |"},
	} {
		u, err := quantity.ParseUnit(symbol)
		if err != nil {
			t.Fatal(err)
		}
		c := certificatetest.Fenwick()
		c.Result.Job.Device.Unit = u
		text := document(t, c).String()
		for _, w := range want {
			if !strings.Contains(text, w) {
				t.Errorf("%s: %q is not in the document", symbol, w)
			}
		}
		if strings.Contains(text, "in SI units") != strings.HasSuffix(symbol, "/g") {
			t.Errorf("%s: the value in SI units stands where it is not needed, or does not where it is", symbol)
		}
	}
}
