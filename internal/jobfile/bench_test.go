package jobfile

import (
	"reflect"
	"strings"
	"testing"
)

const simulatedBench = `
[bench]
driver = "simulator"
drive_limit = "2 V peak-to-peak"
full_drive_in = "0.5 s"
quiet = "5 s"
distortion = "2 %"
checklist = ["The window is closed"]
simulator = { seed = 7, real_time = true }
`

// TestLoadBench reads the ways a job can be measured.
func TestLoadBench(t *testing.T) {
	fsys := exampleFS(t, "[plan]", simulatedBench+"\n[plan]")
	_, r, b, err := LoadBench(FromFS(fsys), "plan/job.toml")
	if err != nil {
		t.Fatal(err)
	}
	want := Bench{Driver: "simulator", Drive: 1, Slew: 2, Quiet: 5, Distortion: 0.02, Checklist: []string{"The window is closed"}, Simulator: SimulatorBench{Seed: 7, RealTime: true}}
	if !reflect.DeepEqual(b, want) || !b.Drives() || len(r.Wish.Frequencies) != 10 {
		t.Errorf("bench %+v, want %+v", b, want)
	}
	audio := `
[bench]
driver = "audio"
drive_limit = "1 V"
full_drive_in = "1 s"
quiet = "5 s"
audio = { output = "out", input = "in", rate = 48000, output_channel = 1, output_full_scale = "1.2 V", counter_output = 2, counter_input = 3 }
`
	_, _, b, err = LoadBench(FromFS(exampleFS(t, "[plan]", audio+"\n[plan]")), "plan/job.toml")
	if err != nil || b.Audio != (AudioBench{Output: "out", Input: "in", Rate: 48000, OutputChannel: 1, FullScale: 1.2, CounterOutput: 2, CounterInput: 3}) {
		t.Errorf("audio %+v, %v", b.Audio, err)
	}
	fsys = exampleFS(t, "[exciter]\nfile = \"X-03.toml\"", "[[point]]\nfrequency = \"20 Hz\"\nlevel = \"0.1 g peak\"\n\n[bench]\ndriver = \"folder\"\nfolder = { path = \"in\", stable_for = \"2 s\", units = [\"V\", \"V\"] }\n\n[exciter]\nfile = \"X-03.toml\"")
	_, _, b, err = LoadBench(FromFS(fsys), "plan/job.toml")
	if err != nil || b.Drives() || !reflect.DeepEqual(b.Folder, FolderBench{Path: "in", Stable: 2, Units: []string{"V", "V"}}) {
		t.Errorf("folder %+v, %v", b.Folder, err)
	}
}

// TestLoadBenchProblems wants every complaint at its place.
func TestLoadBenchProblems(t *testing.T) {
	for _, c := range []struct{ old, new, want string }{
		{`driver = "simulator"`, `driver = "simulation"`, `bench.driver: found "simulation", allowed are "simulator"`},
		{`driver = "simulator"`, `driver = "audio"`, `bench.simulator: the driver is "audio", so this table does not belong here`},
		{`driver = "simulator"`, `driver = "audio"`, `bench.audio: missing`},
		{`driver = "simulator"`, `driver = "readings"`, "reads a display, and the reference is no instrument with one"},
		{`driver = "simulator"`, `driver = "folder"`, `bench.drive_limit: driver "folder" does not drive the exciter`},
		{`driver = "simulator"`, `driver = "folder"`, `list them in [[point]]`},
		{`quiet = "5 s"`, ``, "bench.quiet: missing"},
		{`full_drive_in = "0.5 s"`, `full_drive_in = "0 s"`, "allowed are values above zero"},
		{`seed = 7, `, ``, "bench.simulator.seed: missing"},
		{`simulator = {`, `scpi = { generator = "a", digitizer = ["b"], generator_dialect = "g.toml", digitizer_dialect = "d.toml", rate = "1 kHz" }` + "\nsimulator = {", `bench.scpi: the driver is "simulator"`},
		{`driver = "simulator"`, `driver = "scpi"` + "\n" + `scpi = { generator = "a", digitizer = [], generator_dialect = "g.toml", digitizer_dialect = "d.toml", rate = "1 kHz" }`, "bench.scpi.generator_dialect: plan/g.toml"},
	} {
		if !strings.Contains(simulatedBench, c.old) {
			t.Fatalf("the bench does not hold %q", c.old)
		}
		_, _, _, err := LoadBench(FromFS(exampleFS(t, "[plan]", strings.Replace(simulatedBench, c.old, c.new, 1)+"\n[plan]")), "plan/job.toml")
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q", c.new, err, c.want)
		}
	}
	if _, _, _, err := LoadBench(FromFS(exampleFS(t)), "plan/job.toml"); err == nil || !strings.Contains(err.Error(), "bench: missing") {
		t.Errorf("no bench: %v", err)
	}
}
