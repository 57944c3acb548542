package jobfile

import (
	"math"
	"os"
	"path"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"testing/fstest"

	"plumbline/calibration"
	"plumbline/quantity"
)

// example is the files of one of the examples with its procedure, all in one folder.
func example(t testing.TB, folder, procedure string, names ...string) fstest.MapFS {
	t.Helper()
	fsys := fstest.MapFS{}
	for _, name := range append(names, "job.toml", "../procedures/"+procedure) {
		b, err := os.ReadFile(root + "examples/" + folder + "/" + name)
		if err != nil {
			t.Fatal(err)
		}
		fsys[path.Base(name)] = &fstest.MapFile{Data: b}
	}
	replace(t, fsys, "job.toml", "../procedures/"+procedure, procedure)
	return fsys
}

// allLines is the key of the example of points measured together.
const allLines = `together = ["0.7 Hz", "1.1 Hz", "1.9 Hz", "3.1 Hz", "5.1 Hz", "9.9 Hz"]`

func together(t testing.TB) fstest.MapFS { return example(t, "multisine", "laboratory.toml") }

func exchanged(t testing.TB) fstest.MapFS { return example(t, "exchanged", "laboratory.toml") }

func stated(t testing.TB) fstest.MapFS {
	return example(t, "stated-level", "field.toml", "exciter.toml", "exciter-certificate.csv")
}

// TestExchanged checks that both recordings of a point are named, the second as the exchanged one with its own options.
func TestExchanged(t *testing.T) {
	fsys := exchanged(t)
	replace(t, fsys, "job.toml", `exchanged = "20Hz-exchanged.wav"`, `exchanged = { file = "20Hz-exchanged.wav", rate = "1 kHz" }`)
	j, err := Load(FromFS(fsys), "job.toml")
	if err != nil {
		t.Fatal(err)
	}
	want := []PointRecording{{Point: 0, File: "80Hz.wav"}, {Point: 0, Exchanged: true, File: "80Hz-exchanged.wav"},
		{Point: 1, File: "20Hz.wav"}, {Point: 1, Exchanged: true, File: "20Hz-exchanged.wav", Options: Options{Rate: 1000}}}
	if len(j.Recordings) != len(want) {
		t.Fatalf("recordings %+v", j.Recordings)
	}
	for i, r := range j.Recordings {
		if w := want[i]; r.Point != w.Point || r.Exchanged != w.Exchanged || r.File != w.File || r.Options.Rate != w.Options.Rate || r.Where == "" {
			t.Errorf("recording %d is %+v, want %+v", i+1, r, w)
		}
	}
	if err := validateWithoutRecordings(j.Calibration); err != nil {
		t.Error(err)
	}
}

// TestStatedLevel checks the exciter that states its level: factors, the step of the level in m/s² peak, no channel of a reference.
func TestStatedLevel(t *testing.T) {
	j, err := Load(FromFS(stated(t)), "job.toml")
	if err != nil {
		t.Fatal(err)
	}
	c := j.Calibration
	g := quantity.StandardGravity
	if r := c.Reference; !r.StatesLevel || r.Unit != one || r.Nominal != 1 || r.Table[0].Modulus != 1.006 || !close64(r.Table[0].StdModulus, 0.0075) || !math.IsNaN(r.Table[0].Phase) {
		t.Errorf("reference %+v", r)
	}
	if steps := c.Procedure.DisplayResolution; steps[0] != 0 || !close64(steps[1], 1e-4*g) {
		t.Errorf("steps %v", steps)
	}
	if c.ReferenceChain.Column != 0 || len(c.ReferenceChain.Stages) != 0 || c.DeviceChain.Column != 1 || len(c.DeviceChain.Stages) != 1 {
		t.Errorf("chains %+v %+v", c.ReferenceChain, c.DeviceChain)
	}
	if len(c.Points) != 4 || !close64(c.Points[3].Level, 0.018*g) || len(j.Recordings) != 4 || j.Recordings[3].Exchanged {
		t.Errorf("points %+v, recordings %+v", c.Points, j.Recordings)
	}
	if err := validateWithoutRecordings(c); err != nil {
		t.Error(err)
	}
}

// TestMethodProblems plants a combination that cannot be in the examples and expects it to be named with its place (@ for the line of the planted text).
func TestMethodProblems(t *testing.T) {
	type fault struct{ file, old, planted, want string }
	for _, set := range []struct {
		name   string
		files  func(testing.TB) fstest.MapFS
		faults []fault
	}{
		{"exchanged", exchanged, []fault{
			{"job.toml", "recording = \"80Hz.wav\"\n", "", `point[1].recording: a point has either a recording or readings, found neither`},
			{"job.toml", `recording = "80Hz.wav"`, `reading = []`, `point[1].reading: readings need an instrument whose display was read`},
			{"job.toml", `exchanged = "80Hz-exchanged.wav"`, `exchanged = "./80Hz.wav"`, `job.toml:@:13: point[1].exchanged: found "./80Hz.wav", which is the recording of this point already`},
			{"job.toml", `exchanged = "80Hz-exchanged.wav"`, `exchanged = 3`, `point[1].exchanged: found a whole number "3", allowed is a table`},
			{"job.toml", `exchanged = "80Hz-exchanged.wav"`, `exchanged = { rate = "1 kHz" }`, `point[1].exchanged.file: missing`},
			{"job.toml", `exchanged = "80Hz-exchanged.wav"`, `exchange = "80Hz-exchanged.wav"`, `point[1].exchange: unknown key: did you mean "exchanged"?`},
			{"job.toml", "name = \"2\"\nfull_scale = \"±10 V\"\ngain = \"1 V/V\"", "name = \"2\"\nfull_scale = \"±10 V\"\ngain = \"1 mV/pC\"", `point[1].exchanged: the channels of reference and device take different inputs`},
		}},
		{"multisine", together, []fault{
			{"job.toml", "frequency = \"0.7 Hz\"", "frequency = \"0.8 Hz\"", `point[1].together: found [0.7 Hz, 1.1 Hz, 1.9 Hz, 3.1 Hz, 5.1 Hz, 9.9 Hz] without 0.8 Hz: it names every line of recording multisine.wav, this point's own too`},
			{"job.toml", allLines, `together = ["0.7 Hz"]`, `job.toml:@:1: point[1].together: found [0.7 Hz], allowed are two or more different frequencies`},
			{"job.toml", allLines, `together = ["0.7 Hz", "0.7 Hz"]`, `point[1].together: found [0.7 Hz, 0.7 Hz], allowed are two or more different frequencies`},
			{"job.toml", allLines, `together = ["0.7 Hz", "1.1 Hz"]`, `point[2].together: found [0.7 Hz, 1.1 Hz, 1.9 Hz, 3.1 Hz, 5.1 Hz, 9.9 Hz], but [0.7 Hz, 1.1 Hz] in point 1, which has the same recording multisine.wav`},
			{"job.toml", allLines, ``, `point[2]: recording multisine.wav is that of point 1 too: where one recording holds several lines, each of its points names them all, as in together = ["0.7 Hz", "1.1 Hz"]`},
			{"job.toml", `recording = "multisine.wav"`, `reading = []`, `point[1].together: names the lines of a recording: it needs recording beside it`},
			{"job.toml", allLines, `together = "0.7 Hz"`, `point[1].together: found a text "0.7 Hz", allowed is a list of frequencies`},
		}},
		{"stated level", stated, []fault{
			{"exciter.toml", "[stated_level]", "[display]\nsensitivity_step = \"0.01 V/g\"\n[stated_level]", `exciter.toml:@:2: reference.stated_level: stands beside display`},
			{"exciter.toml", `level_step = "0.0001 g peak"`, ``, `exciter.toml:8:2: reference.stated_level.level_step: missing: a level`},
			{"exciter.toml", `level_step = "0.0001 g peak"`, `level_step = "0.0001 g"`, `reference.stated_level.level_step: "0.0001 g": a level must say peak`},
			{"exciter.toml", `level_step = "0.0001 g peak"`, `level_step = "0 g peak"`, `reference.stated_level.level_step: found "0 g peak", allowed are values above zero`},
			{"exciter.toml", `level_step = "0.0001 g peak"`, `level_step = "0.01 mm/s peak"`, `exciter.toml:@:14: reference.stated_level.level_step: found "0.01 mm/s peak", allowed with an exciter that states its level is a level of the quantity the device senses, which is in g`},
			{"exciter.toml", `level_step = "0.0001 g peak"`, "level_step = \"0.0001 g peak\"\nsensitivity_step = \"0.01 V/g\"", `reference.stated_level.sensitivity_step: unknown key`},
			{"exciter.toml", `serial = "X-03"`, "serial = \"X-03\"\nrange = \"3 g peak\"", `exciter.toml:@:9: reference.range: is not said of an exciter that states its level (table stated_level)`},
			{"exciter-certificate.csv", "modulus_1", "modulus_percent", `allowed is the factor true to stated, in the unit 1`},
			{"exciter-certificate.csv", "frequency_Hz,modulus_1,U_modulus_percent,k\n1,1.006,1.5,2\n5,1.001,1.0,2\n20,1.000,1.0,2\n80,0.998,1.0,2\n160,0.998,1.0,2",
				"frequency_Hz,modulus_1,U_modulus_percent,k,phase_deg,U_phase_deg\n1,1.006,1.5,2,0,1", `exciter-certificate.csv:1:44: phase: the factor true to stated has no phase`},
			{"exciter.toml", `table = "exciter-certificate.csv"`, `point = [{ frequency = "80 Hz", modulus = "1 1", phase = "1°", U_phase = "1°", U_modulus = "1 %", k = 2 }]`,
				`reference.certificate.point[1].phase: the factor true to stated has no phase: leave phase and U_phase out`},
			{"job.toml", `device = { column = 1, recorder = "2" }`, "device = { column = 1, recorder = \"2\" }\nreference = { column = 2, recorder = \"2\" }", `channels.reference: the reference is an exciter that states its level, so only the device is recorded: leave it out`},
			{"job.toml", "[channels]\ndevice = { column = 1, recorder = \"2\" }", "", `job.toml:1:1: channels: missing: the table [channels] is mandatory`},
			{"job.toml", `device = { column = 1, recorder = "2" }`, ``, `channels.device: missing`},
			{"job.toml", "level = \"0.018 g peak\"\n", "", `point[4].level: missing: a level`},
			{"job.toml", `level = "0.018 g peak"`, `level = "0 g peak"`, `point[4].level: found "0 g peak", allowed are values above zero`},
			{"job.toml", `level = "0.018 g peak"`, `level = "28 mm/s peak"`, `point[4].level: found "28 mm/s peak", allowed with an exciter that states its level is a level of the quantity the device senses, which is in g`},
			{"job.toml", `recording = "80Hz.wav"`, `readings = "exciter-certificate.csv"`, `point[1].readings: the reference is an exciter that states its level, so the points have recordings of the device`},
			{"job.toml", `recording = "80Hz.wav"`, "recording = \"80Hz.wav\"\nreading = []", `job.toml:@:1: point[1].reading: the reference is an exciter that states its level`},
			{"job.toml", "recording = \"80Hz.wav\"\n", "", `point[1].recording: missing: the recording of the device against the stated level is mandatory`},
			{"job.toml", `recording = "80Hz.wav"`, "recording = \"80Hz.wav\"\nexchanged = \"20Hz.wav\"", `job.toml:@:13: point[1].exchanged: the reference is an exciter that states its level, so only the device is recorded`},
		}},
		{"display", readings, []fault{
			{"job.toml", `readings = "readings.csv"`, "readings = \"readings.csv\"\nexchanged = \"a.wav\"", `point[1].exchanged: is the second recording of a point, with the transducers exchanged between the channels: it needs recording beside it`},
			{"job.toml", `readings = "readings.csv"`, "recording = \"a.wav\"\nexchanged = \"b.wav\"", `point[1].recording: the reference is an instrument whose display is read`},
		}},
	} {
		for _, c := range set.faults {
			t.Run(set.name+"/"+c.want, func(t *testing.T) {
				fsys := set.files(t)
				replace(t, fsys, c.file, c.old, c.planted)
				line := 0
				if strings.Contains(c.want, "@") {
					line = lineOf(fsys, c.file, c.planted[strings.LastIndex(c.planted, "\n")+1:])
				}
				expect(t, fsys, strings.Replace(c.want, "@", strconv.Itoa(line), 1))
			})
		}
	}
}

// withHistory is the example of the exchanged channels with earlier calibrations of R-201 and a procedure that takes the drift from them.
func withHistory(t testing.TB) fstest.MapFS {
	fsys := exchanged(t)
	replace(t, fsys, "job.toml", "[reference.certificate]", `[[reference.history]]
date = 2024-03-04
frequency = "80 Hz"
modulus = "100.3 mV/g"
U_modulus = "0.6 %"
k = 2

[[reference.history]]
date = 2025-03-03
frequency = "80 Hz"
modulus = "10.221 mV/(m/s²)"
U_modulus = "0.5 %"
k = 2

[reference.certificate]`)
	replace(t, fsys, "laboratory.toml", `key = "drift"
distribution = "rectangular"
source = "example: largest change of the reference between two of its calibrations"
band = [{ from = "0 Hz", to = "10 kHz", modulus = "0.2 %", phase = "0.05°" }]`, `key = "drift"
from_history = true
source = "example: calibrations of the reference"
band = [{ from = "0 Hz", to = "10 kHz", phase = "0.05°" }]`)
	return fsys
}

// TestHistory checks earlier calibrations and the drift that comes from them.
func TestHistory(t *testing.T) {
	j, err := Load(FromFS(withHistory(t)), "job.toml")
	if err != nil {
		t.Fatal(err)
	}
	want := []calibration.HistoryPoint{{Date: day(2024, 3, 4), Frequency: 80, Modulus: 0.1003 / quantity.StandardGravity, StdModulus: 0.003},
		{Date: day(2025, 3, 3), Frequency: 80, Modulus: 10.221e-3, StdModulus: 0.0025}}
	got := j.Calibration.Reference.History
	if len(got) != 2 || got[0].Date != want[0].Date || !close64(got[0].Modulus, want[0].Modulus) || !close64(got[0].StdModulus, 0.003) || got[1].Date != want[1].Date || !close64(got[1].Modulus, want[1].Modulus) {
		t.Errorf("history %+v, want %+v", got, want)
	}
	in, _ := j.Calibration.Procedure.Influence("drift")
	if b, ok := in.At(80); !in.FromHistory || in.Distribution != "normal and Student t" || !ok || b.Modulus != 0 || !close64(b.Phase, 0.05*math.Pi/180) {
		t.Errorf("drift %+v", in)
	}
	if err := validateWithoutRecordings(j.Calibration); err != nil {
		t.Error(err)
	}
}

func TestHistoryProblems(t *testing.T) {
	for _, c := range []struct{ file, old, planted, want string }{
		{"job.toml", `date = 2025-03-03`, `date = 2026-03-02`, `job.toml:@:8: reference.history[2].date: 2026-03-02 is not before the certificate in use, 2026-03-02`},
		{"job.toml", `date = 2025-03-03`, `date = 2024-03-04`, `reference.history: 2024-03-04 at 80 Hz stands in entry 1 already`},
		{"job.toml", `modulus = "100.3 mV/g"`, `modulus = "100.3 pC/g"`, `reference.history[1].modulus: found "100.3 pC/g", allowed is a sensitivity of the same quantities as mV/g`},
		{"job.toml", `U_modulus = "0.6 %"`, ``, `reference.history[1].U_modulus: missing`},
		{"job.toml", "U_modulus = \"0.6 %\"\nk = 2", `U_modulus = "0.6 %"`, `reference.history[1].k: missing`},
		{"job.toml", "U_modulus = \"0.6 %\"", "phase = \"0°\"", `reference.history[1].phase: unknown key`},
		{"laboratory.toml", `from_history = true`, `from_history = "yes"`, `procedure.influence[1].from_history: found a text "yes", allowed is true or false`},
		{"laboratory.toml", `from_history = true`, `from_history = false`, `procedure.influence[1].distribution: missing`},
		{"laboratory.toml", "from_history = true", "from_history = true\ndistribution = \"normal\"", `procedure.influence[1].distribution: has no meaning for this influence`},
		{"laboratory.toml", "from_history = true", "from_history = true\ndof = 3", `procedure.influence[1].dof: has no meaning for this influence`},
		{"laboratory.toml", `phase = "0.05°" }]`, `phase = "0.05°", modulus = "0.2 %" }]`, `procedure.influence[1].band[1].modulus: has no meaning in a band of this influence: allowed are from, to and phase`},
		{"laboratory.toml", "\nband = [{ from = \"0 Hz\", to = \"10 kHz\", phase = \"0.05°\" }]", "", `procedure.influence[1].band: missing: the reference certificate states phase`},
		{"laboratory.toml", `key = "loading"`, "key = \"loading\"\nfrom_history = true", `procedure.influence[9].from_history: not_applicable says that "loading" has no size`},
		{"laboratory.toml", "key = \"magnetic\"", "key = \"magnetic\"\nfrom_history = true", `laboratory.toml:@:16: procedure.influence[10].from_history: has no meaning for this influence: only "drift" can come from the reference's history`},
	} {
		t.Run(c.want, func(t *testing.T) {
			fsys := withHistory(t)
			replace(t, fsys, c.file, c.old, c.planted)
			line := 0
			if strings.Contains(c.want, "@") {
				line = lineOf(fsys, c.file, c.planted[strings.LastIndex(c.planted, "\n")+1:])
			}
			if strings.Contains(c.planted, "key = \"magnetic\"") {
				line = lineOf(fsys, c.file, "key = \"magnetic\"") + 1
			}
			expect(t, fsys, strings.Replace(c.want, "@", strconv.Itoa(line), 1))
		})
	}
	fsys := withHistory(t)
	job := string(fsys["job.toml"].Data)
	from, to := strings.Index(job, "[[reference.history]]"), strings.Index(job, "[reference.certificate]")
	fsys["job.toml"] = &fstest.MapFile{Data: []byte(job[:from] + job[to:])}
	expect(t, fsys, "laboratory.toml:"+strconv.Itoa(lineOf(fsys, "laboratory.toml", "from_history"))+`:16: procedure.influence[1].from_history: the reference has no earlier calibrations`)
}

// numbers are the places of a procedure where a number, or what it needs to mean something, stands: a key of its own line, or one of a band.
var (
	ownLine = regexp.MustCompile(`(?m)^([a-z_]+) = [^\n]*\n`)
	inBand  = regexp.MustCompile(`(from|to|modulus|phase|motion) = "[^"]*"(, )?`)
)

// TestProcedureLacksANumber takes every number out of the example procedures in turn and expects the reader to say which is missing: none has a
// default. A source that is missing is named too.
func TestProcedureLacksANumber(t *testing.T) {
	for _, c := range []struct {
		file  string
		files func(testing.TB) fstest.MapFS
		least int // numbers counted by hand: fewer found means that this test looks in vain
	}{{"laboratory.toml", exchanged, 90}, {"field.toml", stated, 55}} {
		base := c.files(t)
		text := string(base[c.file].Data)
		tried := 0
		try := func(from, to int, key string) {
			tried++
			fsys := fstest.MapFS{}
			for name, f := range base {
				fsys[name] = f
			}
			fsys[c.file] = &fstest.MapFile{Data: []byte(text[:from] + text[to:])}
			_, err := Load(FromFS(fsys), "job.toml")
			if err == nil || !strings.Contains(err.Error(), "."+key+": missing") && !strings.Contains(err.Error(), "nothing is said of") {
				t.Errorf("%s without %q: %v, want an error that names %s", c.file, text[from:to], err, key)
			}
		}
		for _, m := range ownLine.FindAllStringSubmatchIndex(text, -1) {
			key, line := text[m[2]:m[3]], text[m[0]:m[1]]
			if key == "time_constant" { // of settling: what else is slow, which may be nothing
				continue
			}
			if key == "not_applicable" || strings.HasSuffix(line, "[\n") { // a reason, or a list over several lines
				continue
			}
			if strings.HasPrefix(line, `band = [{ from = "0 Hz", to = "10 kHz", phase =`) { // of the mounting, whose bands the reference of job files leaves to the laboratory
				continue
			}
			try(m[0], m[1], key)
		}
		for _, m := range inBand.FindAllStringSubmatchIndex(text, -1) {
			try(m[0], m[1], text[m[2]:m[3]])
		}
		if tried < c.least {
			t.Errorf("%s: %d numbers tried, want at least %d", c.file, tried, c.least)
		}
	}
}

// TestExampleProceduresSayThatTheyAreExamples checks that nobody can take their numbers for evidence: the file, the name that is printed, and every
// source that holds numbers say so.
func TestExampleProceduresSayThatTheyAreExamples(t *testing.T) {
	for _, c := range []struct {
		file  string
		files func(testing.TB) fstest.MapFS
	}{{"laboratory.toml", exchanged}, {"field.toml", stated}} {
		fsys := c.files(t)
		if text := string(fsys[c.file].Data); !strings.HasPrefix(text, "# EXAMPLE NUMBERS.") || !strings.Contains(text, "replaces each of them by its\n# own") {
			t.Errorf("%s does not begin with the words that its numbers are examples to be replaced", c.file)
		}
		j, err := Load(FromFS(fsys), "job.toml")
		if err != nil {
			t.Fatal(err)
		}
		p := j.Calibration.Procedure
		if !strings.Contains(p.Name, "example numbers") || p.Revision != "example" {
			t.Errorf("%s: name %q, revision %q", c.file, p.Name, p.Revision)
		}
		for _, in := range p.Influences {
			if in.Key != "temperature" && !strings.HasPrefix(in.Source+in.NotApplicable, "example: ") { // the temperature's numbers are the job's
				t.Errorf("%s: source of %q is %q", c.file, in.Key, in.Source)
			}
		}
	}
}

func expect(t *testing.T, fsys fstest.MapFS, want string) {
	t.Helper()
	if _, err := Load(FromFS(fsys), "job.toml"); err == nil || !strings.Contains(err.Error(), want) {
		t.Errorf("want %s in\n%v", want, err)
	}
}
