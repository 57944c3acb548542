package jobfile

import (
	"fmt"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"testing/fstest"

	"plumbline/calibration"
)

// composed is the job in another folder, its files below job/, with the points given.
func composed(t *testing.T, fsys fs.FS, name string, points []Measured, deviations ...string) (*Job, string) {
	t.Helper()
	before, err := Load(FromFS(fsys), name)
	if err != nil {
		t.Fatal(err)
	}
	text := before.Compose(points, deviations, func(name string) string { return "job/" + name })
	moved := fstest.MapFS{"run/job.toml": {Data: []byte(text)}}
	for _, f := range before.Files {
		moved["run/job/"+f.Name] = &fstest.MapFile{Data: f.Content}
	}
	after, err := Load(FromFS(moved), "run/job.toml")
	if err != nil {
		t.Fatalf("%v\n%s", err, text)
	}
	return after, text
}

// TestCompose writes every example again with its own points: it says the same as before.
func TestCompose(t *testing.T) {
	for _, name := range []string{"exchanged", "stated-level", "readings"} {
		fsys := os.DirFS(filepath.Join(root, "examples"))
		before, err := Load(FromFS(fsys), name+"/job.toml")
		if err != nil {
			t.Fatal(err)
		}
		var points []Measured
		for i := range before.Calibration.Points {
			m := Measured{Of: i, Readings: "job/readings/readings.csv"}
			if name != "readings" {
				m = Measured{Of: i, Recording: path.Join("recordings", before.Recordings[i].File)}
			}
			points = append(points, m)
		}
		after, text := composed(t, fsys, name+"/job.toml", points, `kept early: "q" \ `+"\t", "second")
		if d := after.Particulars.Deviations; len(d) < 2 || d[len(d)-1] != "second" || !strings.HasPrefix(d[len(d)-2], `kept early: "q" \`) {
			t.Errorf("%s: deviations %q", name, d)
		}
		before.Particulars.Deviations, after.Particulars.Deviations = nil, nil
		plain := func(j *Job) calibration.Job {
			c := j.Calibration
			c.Points = nil
			return c
		}
		if !reflect.DeepEqual(nanless(plain(before)), nanless(plain(after))) || !reflect.DeepEqual(before.Particulars, after.Particulars) || !reflect.DeepEqual(before.Rule, after.Rule) {
			t.Errorf("%s says something else:\n%s", name, text)
		}
		for i, p := range after.Calibration.Points {
			q := before.Calibration.Points[i]
			if p.Frequency != q.Frequency || nanless(p.Level) != nanless(q.Level) || len(p.Readings) != len(q.Readings) {
				t.Errorf("%s, point %d: %+v, was %+v", name, i+1, p, q)
			}
		}
	}
}

// nanless prints a value: NaN differs from itself, its text does not.
func nanless(v any) string {
	return fmt.Sprintf("%+v", v)
}

// TestComposeOfPlan makes a job of a plan's points.
func TestComposeOfPlan(t *testing.T) {
	d := newDecoder(FromFS(exampleFS(t)))
	d.planning = true
	job := d.load("plan/job.toml")
	if job == nil {
		t.Fatal(d.err())
	}
	text := job.Compose([]Measured{
		{Of: -1, Frequency: 79.43282347242815, Level: "0.1 g peak", Recording: "recordings/001-79.43Hz-a1.wav", Comment: "steady\nafter 12 s"},
		{Of: -1, Frequency: 20, Level: "0.018 g peak", Recording: "recordings/002.wav", Rate: 1000.5, Units: []string{"V", "V"}, Block: 0.25, Held: 1.5},
		{Of: -1, Frequency: 20, Level: "0.018 g peak", Recording: "recordings/003.wav", Repeat: true},
	}, nil, func(name string) string { return "job/" + name })
	moved := fstest.MapFS{"job.toml": {Data: []byte(text)}}
	for _, f := range job.Files {
		moved["job/"+f.Name] = &fstest.MapFile{Data: f.Content}
	}
	after, err := Load(FromFS(moved), "job.toml")
	if err != nil {
		t.Fatalf("%v\n%s", err, text)
	}
	if p := after.Calibration.Points; len(p) != 3 || !p[2].Repeat || p[1].Block != 0.25 || p[1].Held != 1.5 || p[0].Frequency != 79.43282347242815 || after.Recordings[1].Options.Rate != 1000.5 || len(after.Recordings[1].Options.Units) != 2 {
		t.Errorf("points %+v, recordings %+v", p, after.Recordings)
	}
	if !strings.Contains(text, "# steady after 12 s\n[[point]]") {
		t.Errorf("the comment is not there:\n%s", text)
	}
}
