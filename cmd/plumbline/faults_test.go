package main

import (
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"plumbline/calibration"
	"plumbline/internal/simulator"
	"plumbline/quantity"
)

// recordDemo writes the demonstration's points at 80 Hz and 20 Hz, the second one recorded by a changed bench, and evaluates them with few trials.
func recordDemo(t *testing.T, p simulator.Point, change func(*simulator.Bench), edit func(string) string) []calibration.Point {
	t.Helper()
	dir := t.TempDir()
	if _, err := writeDemo(dir, demoPoints[:1], false); err != nil {
		t.Fatal(err)
	}
	bench := simulator.FenwickLane()
	if change != nil {
		change(&bench)
	}
	samples, _ := bench.Record(p, rand.New(rand.NewPCG(7, 7)))
	if err := writeWAV(filepath.Join(dir, "recordings", "20Hz.wav"), bench.Recorder, samples); err != nil {
		t.Fatal(err)
	}
	editFile(t, filepath.Join(dir, "procedure.toml"), func(s string) string { return strings.Replace(s, "trials = 200000", "trials = 10000", 1) })
	job := filepath.Join(dir, "job.toml")
	editFile(t, job, func(s string) string {
		parts := strings.Split(s, "[[point]]")
		s = strings.Join([]string{parts[0], parts[1], parts[3]}, "[[point]]")
		if edit != nil {
			s = edit(s)
		}
		return s
	})
	e, err := newLab().Evaluate(job, "")
	if err != nil {
		t.Fatal(err)
	}
	return e.Result.Points
}

func editFile(t *testing.T, path string, edit func(string) string) {
	t.Helper()
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, []byte(edit(string(text))), 0o644); err != nil {
		t.Fatal(err)
	}
}

func at20Hz(t *testing.T, points []calibration.Point) calibration.Point {
	t.Helper()
	for _, p := range points {
		if p.Plan.Frequency == 20 {
			return p
		}
	}
	t.Fatal("the job has no point at 20 Hz")
	return calibration.Point{}
}

var point20 = simulator.Point{Frequency: 20, Level: 0.1 * quantity.StandardGravity, Duration: 10}

// quiet20 leaves room for a disturbance twenty times the signal below full scale.
var quiet20 = simulator.Point{Frequency: 20, Level: 0.2, Duration: 10}

// What cannot be used is refused, with the channel and what was found; the other points keep their values.
func TestFaultsAreRefused(t *testing.T) {
	for _, c := range []struct {
		name   string
		point  simulator.Point
		change func(*simulator.Bench)
		want   []string
	}{
		{"clipped", simulator.Point{Frequency: 20, Level: 4 * quantity.StandardGravity, Duration: 10}, func(b *simulator.Bench) { b.Exciter.Level = 50 }, []string{"channel 2", "clipped", "samples"}},
		{"flat", point20, func(b *simulator.Bench) { b.Faults.Flat = 1 }, []string{"channel 1", "constant"}},
		{"swapped", point20, func(b *simulator.Bench) { b.Faults.Swapped = true }, []string{"swapped", "expected"}},
		{"samples dropped", point20, func(b *simulator.Bench) { b.Faults.Dropped = 7 }, []string{"7 samples", "missing", "near sample"}},
		{"samples dropped in one channel", point20, func(b *simulator.Bench) { b.Faults.Dropped, b.Faults.DroppedChannel = 7, 2 }, []string{"are missing"}},
		{"another frequency", simulator.Point{Frequency: 27, Level: 1, Duration: 10}, nil, []string{"no line within 3 % of 20 Hz", "26.999"}},
		{"too short", simulator.Point{Frequency: 20, Level: 1, Duration: 0.4}, nil, []string{"periods", "10"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			points := recordDemo(t, c.point, c.change, nil)
			p := at20Hz(t, points)
			if p.Refused == "" {
				t.Fatalf("accepted with sensitivity %v, U %.2g %%", p.Sensitivity, 100*p.Reported.UModulus)
			}
			t.Log(p.Refused)
			for _, w := range append(c.want, "20Hz.wav") {
				if !strings.Contains(p.Refused, w) {
					t.Errorf("%q does not say %q", p.Refused, w)
				}
			}
			for _, q := range points {
				if q.Plan.Frequency != 20 && q.Refused != "" {
					t.Errorf("%g Hz was refused too: %s", q.Plan.Frequency, q.Refused)
				}
			}
		})
	}
}

// What can be used with care is used, and said.
func TestFaultsAreRemarkedOn(t *testing.T) {
	for _, c := range []struct {
		name   string
		point  simulator.Point
		change func(*simulator.Bench)
		code   string
		text   string
	}{
		{"gain step", simulator.Point{Frequency: 20, Level: 0.3, Duration: 10}, func(b *simulator.Bench) { b.Faults.GainFactor = 10 }, "nominal", "gain step of 10"},
		{"g for m/s²", point20, func(b *simulator.Bench) { b.Faults.GainFactor = 1 / quantity.StandardGravity }, "nominal", "g and m/s² mixed up"},
		{"clicks", quiet20, func(b *simulator.Bench) { b.Faults.Clicks = 1 }, "blocks-rejected", "disturbed"},
		{"clicks at full scale", point20, func(b *simulator.Bench) { b.Faults.Clicks = 2 }, "clipped", "left out as disturbed"},
		{"hum", point20, func(b *simulator.Bench) { b.Faults.Hum = 0.2 }, "hum", "hum at 50 Hz is 20 % of the signal of the device channel"},
		{"upside down", point20, func(b *simulator.Bench) { b.Device.InvertedAxis = true }, "polarity", "near 180°"},
		{"off nominal", simulator.Point{Frequency: 19.85, Level: 1, Duration: 10}, nil, "frequency", "19.849"},
		{"low level", simulator.Point{Frequency: 20, Level: 0.05, Duration: 10}, nil, "level-range", "outside the method's range"},
	} {
		t.Run(c.name, func(t *testing.T) {
			p := at20Hz(t, recordDemo(t, c.point, c.change, nil))
			if p.Refused != "" {
				t.Fatal(p.Refused)
			}
			for _, r := range p.Remarks {
				if r.Code == c.code && strings.Contains(r.Text, c.text) {
					return
				}
			}
			t.Errorf("no remark %q with %q among %v", c.code, c.text, p.Remarks)
		})
	}
}

// A click is left out, and the value stays where it was.
func TestClickDoesNotMoveTheValue(t *testing.T) {
	clean := at20Hz(t, recordDemo(t, quiet20, nil, nil))
	click := at20Hz(t, recordDemo(t, quiet20, func(b *simulator.Bench) { b.Faults.Clicks = 1 }, nil))
	if d := math.Abs(real(click.Sensitivity/clean.Sensitivity) - 1); d > 5e-4 {
		t.Errorf("one burst of three samples moved the modulus by %.3g %%", 100*d)
	}
}

// A missing channel is refused by name.
func TestMissingChannel(t *testing.T) {
	p := at20Hz(t, recordDemo(t, point20, nil, func(job string) string {
		return strings.Replace(job, `device = { column = 2,`, `device = { column = 3,`, 1)
	}))
	if !strings.Contains(p.Refused, "channel 3 is missing") {
		t.Errorf("%q, want channel 3 is missing", p.Refused)
	}
}
