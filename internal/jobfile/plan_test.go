package jobfile

import (
	"math"
	"os"
	"strings"
	"testing"
	"testing/fstest"

	"plumbline/plan"
	"plumbline/quantity"
)

// exampleFS is the example of a plan as a file system, with changes to its job file.
func exampleFS(t *testing.T, change ...string) fstest.MapFS {
	t.Helper()
	fsys := fstest.MapFS{}
	for _, name := range []string{"plan/job.toml", "plan/X-03.toml", "plan/R-201-certificate.csv", "procedures/laboratory.toml"} {
		b, err := os.ReadFile(root + "examples/" + name)
		if err != nil {
			t.Fatal(err)
		}
		text := string(b)
		for i := 0; i+1 < len(change) && name == "plan/job.toml"; i += 2 {
			if !strings.Contains(text, change[i]) {
				t.Fatalf("the example does not hold %q", change[i])
			}
			text = strings.Replace(text, change[i], change[i+1], 1)
		}
		fsys[name] = &fstest.MapFile{Data: []byte(text)}
	}
	return fsys
}

// TestLoadPlan reads the example: units become SI, the stroke is peak to peak, densities are effective values.
func TestLoadPlan(t *testing.T) {
	_, r, err := LoadPlan(FromFS(exampleFS(t)), "plan/job.toml")
	if err != nil {
		t.Fatal(err)
	}
	const g = quantity.StandardGravity
	for _, c := range []struct {
		what      string
		got, want float64
	}{
		{"stroke", r.Exciter.Stroke, 0.010}, {"velocity", r.Exciter.Velocity, 0.5}, {"force", r.Exciter.Force, 100}, {"armature", r.Exciter.Armature, 0.5},
		{"distortion", r.Exciter.Distortion[1].Value, 0.05}, {"loop", r.Exciter.LoopCycles, 4}, {"reference", r.ReferenceNoise.White, 1.5e-6 * g},
		{"device", r.DeviceNoise.White, 3e-8 * g}, {"recorder", r.RecorderNoise.White, 1e-7}, {"site", r.Site.Density.Table[1].Density, 4.7e-6 * g},
		{"not common", r.Site.NotCommon, 0.03}, {"rate", r.Rates[1], 2000}, {"level", r.Wish.Level, 0.1 * g}, {"U", r.Wish.U, 0.012}, {"type A", r.Wish.TypeA, 0.002},
	} {
		if math.Abs(c.got/c.want-1) > 1e-12 {
			t.Errorf("%s: %g, want %g", c.what, c.got, c.want)
		}
	}
	if len(r.Wish.Frequencies) != 10 || !r.Wish.MoveOffMains || r.Exciter.Vertical {
		t.Errorf("wish %+v", r.Wish)
	}
	if p, err := plan.Make(r); err != nil || len(p.Points) == 0 {
		t.Errorf("the example cannot be planned: %v", err)
	}
}

// TestLoadPlanBands reads the other ways to say which frequencies are wanted.
func TestLoadPlanBands(t *testing.T) {
	const list = `frequencies = ["0.5 Hz", "1 Hz", "2 Hz", "3 Hz", "5 Hz", "10 Hz", "20 Hz", "50 Hz", "100 Hz", "200 Hz"]`
	for step, want := range map[string]int{"third octave": 21, "decade": 3, "1-2-5": 7, "fewest": 6} {
		_, r, err := LoadPlan(FromFS(exampleFS(t, list, `band = ["1 Hz", "100 Hz"]`+"\nstep = \""+step+`"`)), "plan/job.toml")
		if err != nil || len(r.Wish.Frequencies) != want {
			t.Errorf("%s: %d points, want %d (%v)", step, len(r.Wish.Frequencies), want, err)
		}
	}
	_, r, err := LoadPlan(FromFS(exampleFS(t, list, "", "[decision]", "[[point]]\nfrequency = \"7 Hz\"\n\n[decision]")), "plan/job.toml")
	if err != nil || len(r.Wish.Frequencies) != 1 || r.Wish.Frequencies[0] != 7 {
		t.Errorf("points of the job: %v (%v)", r.Wish.Frequencies, err)
	}
}

// TestLoadPlanProblems wants every complaint at its place.
func TestLoadPlanProblems(t *testing.T) {
	for _, c := range []struct{ old, new, want string }{
		{`white = "1.5 µg/√Hz"`, `white = "1.5 µg"`, "allowed is an amplitude density"},
		{`white = "1.5 µg/√Hz"`, `white = "1.5 µm/√Hz"`, "density of the quantity of motion that is sensed"},
		{`U = "1.2 %"`, `time = "20 min"`, "one follows from the other"},
		{"U = \"1.2 %\"\ntype_a = \"0.2 %\"", "", "plan.U: missing"},
		{`not_common = "3 %"`, "model = \"NLNM\"\nfactor = 1.0\nnot_common = \"3 %\"", "found both"},
		{`use_of_limit = "90 %"`, `use_of_limit = "120 %"`, "above 100 %"},
		{`longest_point = "4 min"`, `longest_pint = "4 min"`, `did you mean "longest_point"?`},
		{`move_off_mains = true`, `seed = 3`, "stated without multisine_below"},
		{`{ frequency = "1 Hz", density = "4.7 µg/√Hz" }`, `{ frequency = "0.05 Hz", density = "4.7 µg/√Hz" }`, "does not ascend"},
		{"[exciter]\nfile = \"X-03.toml\"", "", "exciter: missing"},
	} {
		_, _, err := LoadPlan(FromFS(exampleFS(t, c.old, c.new)), "plan/job.toml")
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q", c.new, err, c.want)
		}
	}
	if _, err := Load(FromFS(exampleFS(t)), "plan/job.toml"); err == nil || !strings.Contains(err.Error(), "point: missing") {
		t.Errorf("evaluation without points: %v", err)
	}
}
