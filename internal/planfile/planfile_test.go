package planfile_test

import (
	"bytes"
	"reflect"
	"strings"
	"testing"

	"plumbline/calibration"
	"plumbline/internal/planfile"
	"plumbline/plan"
	"plumbline/quantity"
)

func invented(t *testing.T) plan.Plan {
	t.Helper()
	u, err := quantity.ParseUnit("g")
	if err != nil {
		t.Fatal(err)
	}
	const g = quantity.StandardGravity
	p := plan.Plan{Request: plan.Request{Wish: plan.Wish{LevelUnit: u, U: 0.01, Longest: 300}}, Total: 100}
	p.Request.Job.Number = "J-0417"
	p.Points = []plan.Point{
		{Frequency: 100, Wanted: 100, Level: 0.1 * g, Bench: 4, Settling: 1, Measuring: 3, U: 0.006, K: 2, MeetsTarget: true,
			Limits: []plan.Limit{{Name: plan.Stroke, Level: 3}}, Remarks: []calibration.Remark{{Code: "a", Text: "b"}}},
		{Frequency: 1, Wanted: 1, Level: 0.018 * g, Bench: 30, Settling: 4, Measuring: 26, U: 0.007, K: 2},
		{Frequency: 100, Wanted: 100, Level: 0.1 * g, Bench: 4, Repeat: true},
	}
	p.Infeasible = []plan.Point{{Frequency: 0.1, Wanted: 0.1, Reason: "out of range", Remedies: []string{"a longer stroke"}}}
	p.Multisine = &plan.Multisine{Period: 10, Lines: []plan.Line{{Frequency: 0.7, Level: 0.1}}}
	return p
}

// TestRoundTrip reads what was written, and refuses another version.
func TestRoundTrip(t *testing.T) {
	f := planfile.Make(invented(t), "test")
	var b bytes.Buffer
	if err := planfile.Write(&b, f); err != nil {
		t.Fatal(err)
	}
	text := b.String()
	got, err := planfile.Read(&b)
	if err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(got, f) {
		t.Errorf("read %+v\nwrote %+v", got, f)
	}
	if _, err := planfile.Read(strings.NewReader(strings.Replace(text, "plan/1", "plan/2", 1))); err == nil {
		t.Error("a plan of another version is accepted")
	}
}

// TestPoints looks at the tables for a job file.
func TestPoints(t *testing.T) {
	var b bytes.Buffer
	if err := planfile.WritePoints(&b, invented(t)); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"frequency = \"1 Hz\"\nlevel = \"0.018 g peak\"\nrecording = \"point-02-1Hz.wav\"", "recording = \"point-03-100Hz.wav\"\nrepeat = true"} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("missing %q in\n%s", want, b.String())
		}
	}
	if strings.Contains(b.String(), "together") {
		t.Errorf("lines of a recording are named though no point is measured together with others:\n%s", b.String())
	}
	if n := strings.Count(b.String(), "\n[[point]]"); n != 3 {
		t.Errorf("%d points, want 3", n)
	}
}

// TestPointsTogether: the points of a multisine name its one recording and all its lines.
func TestPointsTogether(t *testing.T) {
	p := invented(t)
	p.Multisine.Lines = append(p.Multisine.Lines, plan.Line{Frequency: 10. / 9, Level: 0.1})
	p.Points = []plan.Point{{Frequency: 0.7, Level: 0.1, Together: true}, {Frequency: 10. / 9, Level: 0.1, Together: true}}
	var b bytes.Buffer
	if err := planfile.WritePoints(&b, p); err != nil {
		t.Fatal(err)
	}
	if n := strings.Count(b.String(), "recording = \"multisine.wav\"\ntogether = [\"0.7 Hz\", \"1.11111111 Hz\"]\n"); n != 2 {
		t.Errorf("%d points name the lines of their recording, want 2, in\n%s", n, b.String())
	}
	if !strings.Contains(b.String(), "frequency = \"1.11111111 Hz\"") {
		t.Errorf("the frequency of a point differs from that among the lines:\n%s", b.String())
	}
}
