package sine_test

import (
	"encoding/json"
	"math"
	"os"
	"strings"
	"testing"

	"plumbline/internal/format"
	"plumbline/internal/format/formattest"
	"plumbline/internal/format/wav"
	"plumbline/sine"
)

// Outside reference: recordings made by an independent numpy simulator (exciter distortion, hum, ground motion, drift, clock 30 ppm off), which states the true
// frequency of every point. Points on a mains harmonic are left out: hum is part of their line.
func TestFrequencyOfBenchRecordings(t *testing.T) {
	for _, set := range []string{"general", "seismic"} {
		text, err := os.ReadFile(formattest.Shared(t, "bench", set, "truth.json"))
		if err != nil {
			t.Fatal(err)
		}
		var truth struct {
			Truth []struct {
				File      string
				Nominal   float64 `json:"nominal_Hz"`
				Frequency float64 `json:"frequency_Hz"`
			}
		}
		if err := json.Unmarshal(text, &truth); err != nil {
			t.Fatal(err)
		}
		compared := 0
		for _, p := range truth.Truth {
			path := formattest.Shared(t, "bench", set)
			if _, err := os.Stat(path + "/" + p.File + ".wav"); err != nil || strings.Contains(p.File, "-100Hz") || strings.Contains(p.File, "-50Hz") {
				continue
			}
			compared++
			rec, err := format.Open([]format.Format{wav.Format{}}, formattest.File(path+"/"+p.File+".wav"), format.Options{})
			if err != nil {
				t.Fatal(err)
			}
			f, err := sine.Approximate(func() (func([][]float64) (int, error), error) {
				r, err := rec.Open()
				if err != nil {
					return nil, err
				}
				t.Cleanup(func() { _ = r.Close() })
				return r.Read, nil
			}, 2, sine.Settings{Rate: rec.Info.Rate, Frequency: p.Nominal, Harmonics: 5, Drift: 1, Mains: 50, Frames: rec.Info.Frames})
			if err != nil {
				t.Fatalf("%s: %v", p.File, err)
			}
			if off := (f.Frequency - p.Frequency) / f.FrequencyStd; math.Abs(off) > 4 || f.FrequencyStd > 5e-6*p.Nominal || len(f.Steps) > 0 || f.Rejected > 0 {
				t.Errorf("%s: %.9g Hz, %.1f standard uncertainties of %.2g Hz from the truth; steps %v, %d rejected", p.File, f.Frequency, off, f.FrequencyStd, f.Steps, f.Rejected)
			}
		}
		if compared < 6 {
			t.Errorf("%s: only %d recordings compared", set, compared)
		}
	}
}
