package jobfile

import (
	"fmt"
	"os"
	"path"
	"slices"
	"strings"
	"testing"
	"testing/fstest"
)

func containsAny(s string, parts ...string) bool {
	return slices.ContainsFunc(parts, func(p string) bool { return strings.Contains(s, p) })
}

// full is the files of the full job as a file system, with the procedure beside it.
func full(t testing.TB) fstest.MapFS {
	t.Helper()
	fsys := fstest.MapFS{}
	for _, name := range []string{"testdata/full/job.toml", "testdata/full/amplifier.toml", "testdata/full/transfer.csv", root + "examples/procedures/laboratory.toml"} {
		b, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		fsys[path.Base(name)] = &fstest.MapFile{Data: b}
	}
	replace(t, fsys, "job.toml", "../../../../examples/procedures/laboratory.toml", "laboratory.toml")
	return fsys
}

func readings(t testing.TB) fstest.MapFS {
	t.Helper()
	fsys := fstest.MapFS{}
	for _, name := range []string{"readings/job.toml", "readings/exciter.toml", "readings/exciter-certificate.csv", "readings/readings.csv", "procedures/field.toml"} {
		b, err := os.ReadFile(root + "examples/" + name)
		if err != nil {
			t.Fatal(err)
		}
		fsys[path.Base(name)] = &fstest.MapFile{Data: b}
	}
	replace(t, fsys, "job.toml", "../procedures/field.toml", "field.toml")
	return fsys
}

func replace(t testing.TB, fsys fstest.MapFS, file, old, by string) {
	t.Helper()
	f, ok := fsys[file]
	if !ok || !strings.Contains(string(f.Data), old) {
		t.Fatalf("%s has no %q to replace", file, old)
	}
	fsys[file] = &fstest.MapFile{Data: []byte(strings.Replace(string(f.Data), old, by, 1))}
}

// lineOf is the number of the line in which text first stands.
func lineOf(fsys fstest.MapFS, file, text string) int {
	before, _, _ := strings.Cut(string(fsys[file].Data), text)
	return strings.Count(before, "\n") + 1
}

// TestProblems plants one fault in files that are right and expects it, and nothing else, to be named with its place.
// @ in the expected text stands for the line of the planted text.
func TestProblems(t *testing.T) {
	for _, c := range []struct{ file, old, new, want string }{
		{"job.toml", `serial = "A-0401"`, `seriel = "A-0401"`, `job.toml:@:1: device.seriel: unknown key: did you mean "serial"?`},
		{"job.toml", `serial = "A-0401"`, `serial = 401`, `job.toml:@:10: device.serial: found a whole number "401", allowed is a text in quotes`},
		{"job.toml", `serial = "A-0401"`, `serial = "  "`, `job.toml:@:10: device.serial: blank text`},
		{"job.toml", `serial = "A-0401"`, `serial = "A\n0401"`, `device.serial: text "A\n0401" holds line breaks`},
		{"job.toml", `condition = "as new"`, `xyzzyxyzzy = 1`, `job.toml:@:1: device.xyzzyxyzzy: unknown key: allowed are file, kind`},
		{"job.toml", `"28 mV/(mm/s)"`, `28`, `device.sensitivity: a bare number is refused: write the sensitivity as a text with its unit, for example 10 V/g`},
		{"job.toml", `"28 mV/(mm/s)"`, `"28"`, `device.sensitivity: "28": a unit is needed for a sensitivity`},
		{"job.toml", `"28 mV/(mm/s)"`, `{ a = 1 }`, `device.sensitivity: found a table, allowed is a sensitivity as a text`},
		{"job.toml", `"100 mm/s peak"`, `"100 mm/s"`, `device.range: "100 mm/s": a level must say peak, rms or peak-to-peak`},
		{"job.toml", `"100 mm/s peak"`, `"2 g peak"`, `device.range: found "2 g peak", allowed is a level of the quantity the sensitivity is stated for`},
		{"job.toml", `corner = "0.5 Hz"`, "corner = \"0.5 Hz\"\ntime_constant = \"1 s\"", `device.corner: time_constant and corner are the same fact`},
		{"job.toml", `corner = "0.5 Hz"`, `corner = "0 Hz"`, `device.corner: found "0 Hz", allowed are values above zero`},
		{"job.toml", `corner = "0.5 Hz"`, `time_constant = "0 s"`, `device.time_constant: found "0 s"`},
		{"job.toml", `temperature_coefficient = "-0.02 %/K"`, ``, `device.u_temperature_coefficient: stated without temperature_coefficient`},
		{"job.toml", `transverse_sensitivity = "3 %"`, `transverse_sensitivity = "-3 %"`, `device.transverse_sensitivity: found "-3 %"`},
		{"job.toml", `tolerance = "±5 %"`, `tolerance = "0 %"`, `device.tolerance: found "0 %", allowed are values above 0 % and below 100 %`},
		{"job.toml", `flatness = "±10 %"`, ``, `device.flatness_band: stated without flatness`},
		{"job.toml", `["10 Hz", "1 kHz"]`, `["1 kHz", "10 Hz"]`, `device.flatness_band: found "1 kHz" and "10 Hz", allowed are two values, lower first`},
		{"job.toml", `["10 Hz", "1 kHz"]`, `["10 Hz"]`, `device.flatness_band: found a list of 1`},
		{"job.toml", `["10 Hz", "1 kHz"]`, `["10 Hz", 1000]`, `device.flatness_band: a bare number is refused`},
		{"job.toml", `["10 Hz", "1 kHz"]`, `"10 Hz"`, `device.flatness_band: found a text "10 Hz", allowed is a list of two values`},
		{"job.toml", `from_customer = ["sensitivity", "mass"]`, `from_customer = ["weight"]`, `device.from_customer: "weight" is not a key of this table`},
		{"job.toml", `received = 2026-05-08`, `received = 2026-05-12`, `job.toml:@:12: job.received: 2026-05-12 is after the first day`},
		{"job.toml", `until = 2026-05-12`, `until = 2026-05-10`, `job.until: 2026-05-10 is before the first day`},
		{"job.toml", `issued = 2026-05-13`, `issued = 2026-05-11`, `job.issued: 2026-05-11 is before the last day`},
		{"job.toml", `issued = 2026-05-13`, `issued = "2026-05-13"`, `job.issued: found a text "2026-05-13", allowed is a date such as 2026-05-11, without quotes`},
		{"job.toml", `issued = 2026-05-13`, ``, `job.toml:2:2: job.issued: missing: a date such as`},
		{"job.toml", `"chain"`, `"sensor"`, `job.sensitivity_of: found "sensor", allowed are "transducer" or "chain"`},
		{"job.toml", `monte_carlo_seed = 7`, `monte_carlo_seed = -7`, `job.monte_carlo_seed: found -7, allowed are whole numbers from 0`},
		{"job.toml", `monte_carlo_seed = 7`, `monte_carlo_seed = 7.5`, `job.monte_carlo_seed: found a number "7.5", allowed is a whole number`},
		{"job.toml", `monte_carlo_seed = 7`, ``, `job.monte_carlo_seed: missing`},
		{"job.toml", `invented = true`, `invented = "yes"`, `job.invented: found a text "yes", allowed is true or false`},
		{"job.toml", `["first", "second"]`, `["first", 2]`, `job.statements: found a whole number "2"`},
		{"job.toml", `["first", "second"]`, `"first"`, `job.statements: found a text "first", allowed is a list of texts`},
		{"job.toml", `address = ["Bridge House"]`, `address = []`, `customer.address: an empty list`},
		{"job.toml", "from = \"10 Hz\"\nto = \"5 kHz\"", "from = \"10 Hz\"\nto = \"5 Hz\"", `laboratory.scope[2].to: lies below from`},
		{"job.toml", `correlation = 0.8`, `correlation = 1.8`, `reference.certificate.correlation: found a number "1.8", allowed are numbers from 0 to 1`},
		{"job.toml", `correlation = 0.8`, ``, `reference.certificate.correlation: missing`},
		{"job.toml", `valid_until = 2027-01-14`, `valid_until = 2025-01-14`, `reference.certificate.valid_until: lies before the date`},
		{"job.toml", "[reference.certificate]\nnumber", "[reference.certificates]\nnumber", `reference.certificates: unknown key: did you mean "certificate"?`},
		{"job.toml", `modulus = "0.1234 pC/(m/s²)"`, `modulus = "12.3 mV/(m/s²)"`, `reference.certificate.point[2].modulus: found "12.3 mV/(m/s²)", allowed is a sensitivity of the same quantities as pC/g`},
		{"job.toml", "frequency = \"80 Hz\"\nmodulus", "frequency = \"5 Hz\"\nmodulus", `reference.certificate.point: 5 Hz follows 5 Hz: frequencies ascend`},
		{"job.toml", `U_phase = "0.4°"`, ``, `reference.certificate.point[2].phase: phase and U_phase go together`},
		{"job.toml", `U_phase = "0.4°"`, `U_phase = "-0.4°"`, `reference.certificate.point[2].U_phase: found "-0.4°"`},
		{"job.toml", `k = 2.5`, `k = 0.5`, `reference.certificate.point[2].k: found a number "0.5", allowed are numbers from 1 to 10`},
		{"job.toml", `k = 2.5`, `k = "2.5"`, `reference.certificate.point[2].k: found a text "2.5", allowed are numbers from 1 to 10`},
		{"job.toml", `k = 2.5`, `k = nan`, `reference.certificate.point[2].k: found a number "nan"`},
		{"job.toml", "correlation = 0.8", "correlation = 0.8\ntable = \"transfer.csv\"", `reference.certificate.table: table and point are the same fact`},
		{"job.toml", `amplifiers = ["CA"]`, `amplifiers = ["CB"]`, `channels.reference.amplifiers: found "CB", allowed are "CA"`},
		{"job.toml", `column = 3, recorder = "2"`, `column = 3, recorder = "7"`, `channels.device.recorder: found "7", allowed are "1" or "2"`},
		{"job.toml", `column = 3, recorder = "2"`, `column = 1, recorder = "2"`, `channels.device: reference and device are both in column 1`},
		{"job.toml", `column = 3, recorder = "2"`, `column = 3, recorder = "1"`, `channels.device: reference and device are both at recorder channel "1"`},
		{"job.toml", `column = 3, recorder = "2"`, `column = 0, recorder = "2"`, `channels.device.column: found 0, allowed are whole numbers from 1`},
		{"job.toml", `name = "2"`, `name = "1"`, `name "1" stands twice`},
		{"job.toml", `largest_plausible_corner = "0.05 Hz"`, ``, `recorder.channel[2].coupling: AC coupled: state the corner`},
		{"job.toml", "coupling = \"AC\"\nlargest", "coupling = \"DC\"\nlargest", `recorder.channel[2].coupling: DC coupled, but a high-pass corner is stated`},
		{"amplifier.toml", `coupling = "AC"`, "coupling = \"AC\"\nlargest_plausible_corner = \"1 Hz\"", `amplifier.toml:@:28: amplifier[1].largest_plausible_corner: the corner is known`},
		{"amplifier.toml", `{ high_pass = "0.1 Hz", u = "5 %" }`, `{ high_pass = "0.1 Hz", low_pass = "1 Hz", u = "5 %" }`, `amplifier[1].filters[1].high_pass: a filter is one first-order corner`},
		{"amplifier.toml", `{ high_pass = "0.1 Hz", u = "5 %" }`, `{ high_pass = "0.1 Hz" }`, `amplifier[1].filters[1].u: missing`},
		{"amplifier.toml", `gain = "1 mV/pC"`, `gain = "0 dB·pC"`, `amplifier[1].gain: "0 dB·pC"`},
		{"amplifier.toml", `gain = "1 mV/pC"`, `gain = "1 mV/pC`, `amplifier.toml:@:`},
		{"amplifier.toml", `model = "CA"`, "model = \"CA\"\nsettings = \"other\"", `job.toml:100:1: amplifier[1].settings: given here and in amplifier.toml:4: allowed is one of them`},
		{"amplifier.toml", `model = "CA"`, "model = \"CA\"\nfile = \"job.toml\"", `amplifier.toml:@:1: amplifier[1].file: a file named in another file may not name a third`},
		{"transfer.csv", "modulus [1]", "modulus", `transfer.csv:2:17: column modulus has no unit`},
		{"transfer.csv", "modulus [1]", "modulas [1]", `transfer.csv:2:17: unknown column "modulas [1]"`},
		{"transfer.csv", "modulus [1]", "modulus [V]", `transfer.csv:2:17: column modulus: "1 V": V is not a unit of a relative value`},
		{"transfer.csv", "0.999", "0,999", `transfer.csv:3:4: modulus: "0,999 1": comma after 0`},
		{"transfer.csv", "0.999", "-0.999", `transfer.csv:3:4: modulus: found "-0.999 1", allowed are values above zero`},
		{"transfer.csv", "0.999", "", `transfer.csv:3:4: modulus: blank`},
		{"transfer.csv", "1; 2\n", "1; 0.2\n", `transfer.csv:3:22: k: allowed are coverage factors`},
		{"transfer.csv", "1; 2\n", "1; two\n", `transfer.csv:3:22: k: "two" is not a number`},
		{"transfer.csv", "100; 1.000; 0;", "1; 1.000; 0;", `transfer.csv:4:1: amplifier[1].transfer.point: 1 Hz follows 1 Hz`},
		{"transfer.csv", "100; 1.000; 0;", "100; 1.000; ;", `phase: phase and U_phase go together`},
		{"transfer.csv", "100; 1.000; 0; 100; 0.5; 2", "100; 1.000", `transfer.csv:4:1: 2 fields, the headings have 6`},
		{"transfer.csv", "100; 1.000; 0; 100; 0.5; 2", "100; 1.000; 0; 100; \"0.5; 2", `transfer.csv:`},
		{"transfer.csv", "1; 0.999", "\xff; 0.999", `transfer.csv:1:1: not UTF-8 text`},
		{"transfer.csv", "U_phase [mrad]", "phase [rad]", `transfer.csv:2:61: column phase stands twice`},
		{"job.toml", `temperature_half_width = "1.5 K"`, `temperature_half_width = "-1.5 K"`, `conditions.temperature_half_width: found "-1.5 K"`},
		{"job.toml", `humidity = "45 %"`, `humidity = "450 %"`, `conditions.humidity: above 100 %`},
		{"job.toml", `r = 0.5`, ``, `decision.r: missing`},
		{"job.toml", "rule = \"guard band\"", "rule = \"simple acceptance\"", `decision.r: only a guard band has a length`},
		{"job.toml", `reason = "recalibration is under way"`, ``, `override.reason: missing`},
		{"job.toml", "frequency = \"5 Hz\"\nrecording", "frequency = \"80 Hz\"\nrecording", `point[2]: 80 Hz stands twice: it is the frequency of point 1 too`},
		{"job.toml", `recording = "p1.wav"`, ``, `point[1].recording: a point has either a recording or readings, found neither`},
		{"job.toml", `recording = "p1.wav"`, "recording = \"p1.wav\"\nreadings = \"transfer.csv\"", `point[1].recording: a point has either a recording or readings, found both`},
		{"job.toml", `recording = "p1.wav"`, `recording = 1`, `point[1].recording: found a whole number "1", allowed is a table`},
		{"job.toml", `delimiter = ";"`, `delimiter = ":"`, `point[2].recording.delimiter: found ":"`},
		{"job.toml", `units = ["V", "", "mV"]`, `units = ["V", "", "mX"]`, `point[2].recording.units: unit "mX": unknown symbol "mX"`},
		{"job.toml", `units = ["V", "", "mV"]`, `units = [1]`, `point[2].recording.units: found a whole number "1"`},
		{"job.toml", `header_lines = 2`, `header_lines = "2"`, `point[2].recording.header_lines: found a text "2"`},
		{"job.toml", "[override]", "[extra]\na = 1\n[override]", `job.toml:@:2: extra: unknown key: allowed are job`},
		{"job.toml", `file = "laboratory.toml"`, `file = "absent.toml"`, `job.toml:@:8: procedure.file: absent.toml: file does not exist`},
		{"job.toml", `file = "laboratory.toml"`, `file = "/etc/laboratory.toml"`, `procedure.file: file name "/etc/laboratory.toml" is absolute`},
		{"job.toml", `file = "laboratory.toml"`, `file = 'a\b.toml'`, `folders are separated by /`},
		{"job.toml", `file = "laboratory.toml"`, `file = "job.toml"`, `unknown key`},
		{"laboratory.toml", `key = "drift"`, `key = "drifts"`, `laboratory.toml:@:7: procedure.influence[1].key: found "drifts", allowed are "drift"`},
		{"laboratory.toml", `key = "loading"`, `key = "other"`, `procedure.influence: "other" stands 2 times`},
		{"laboratory.toml", `key = "loading"`, `key = "magnetic"`, `procedure.influence: nothing is said of "loading"`},
		{"laboratory.toml", `probability = "95.45 %"`, `probability = "4.55 %"`, `procedure.probability: allowed are coverage probabilities`},
		{"laboratory.toml", `trials = 200000`, `trials = 200`, `procedure.trials: found 200, allowed are whole numbers from 10000`},
		{"laboratory.toml", `trials = 200000`, `trials = "many"`, `procedure.trials: found a text "many", allowed is a whole number from 10000 to 100000000, or { digits = 2, most = 2000000 }`},
		{"laboratory.toml", `trials = 200000`, `trials = { digits = 3, most = 2000000 }`, `procedure.trials.digits: found 3, allowed are whole numbers from 1 to 2`},
		{"laboratory.toml", `trials = 200000`, `trials = { digits = 2, most = 100000 }`, `procedure.trials.most: found 100000, allowed are whole numbers from 163840`},
		{"laboratory.toml", `trials = 200000`, `trials = { digits = 2 }`, `procedure.trials.most: missing`},
		{"laboratory.toml", `trials = 200000`, `trials = { digits = 2, least = 5, most = 2000000 }`, `procedure.trials.least: unknown key`},
		{"laboratory.toml", "key = \"drift\"\ndistribution = \"rectangular\"", "key = \"drift\"\ndistribution = \"trapezoidal\"", `procedure.influence[1].top: missing`},
		{"laboratory.toml", "key = \"drift\"\ndistribution = \"rectangular\"", "key = \"drift\"\ndistribution = \"trapezoidal\"\ntop = \"120 %\"", `procedure.influence[1].top: allowed are 0 % to 100 % of the base`},
		{"laboratory.toml", "key = \"drift\"\ndistribution = \"rectangular\"", "key = \"drift\"\ndistribution = \"curvilinear trapezoid\"\nlimit_half_width = \"100 %\"", `procedure.influence[1].limit_half_width: allowed are values above 0 % and below 100 %`},
		{"laboratory.toml", "key = \"drift\"\ndistribution = \"rectangular\"", "key = \"drift\"\ndistribution = \"product\"\nfactors = [\"normal\", \"arcsine\"]", `procedure.influence[1].factors: allowed are two of "rectangular", "triangular"`},
		{"laboratory.toml", "key = \"drift\"\ndistribution = \"rectangular\"", "key = \"drift\"\ndistribution = \"Student t\"", `procedure.influence[1].dof: missing: Student's t has degrees of freedom`},
		{"laboratory.toml", "key = \"drift\"\ndistribution = \"rectangular\"", "key = \"drift\"\ndistribution = \"rectangular\"\nk = 2", `procedure.influence[1].k: only the distribution normal or Student t has it`},
		{"laboratory.toml", "key = \"temperature\"", "key = \"temperature\"\nk = 2", `procedure.influence[2].k: has no meaning for this influence`},
		{"laboratory.toml", `usable_band = "45 %"`, `usable_band = "55 %"`, `procedure.usable_band: allowed are fractions`},
		{"laboratory.toml", `"1000 m/s² peak"]`, `"1 m/s peak"]`, `procedure.level_range: "1 m/s peak": m/s is not a unit of an acceleration level`},
		{"laboratory.toml", `resonance = ["8 kHz", "20 kHz"]`, ``, `procedure.influence[6].resonance: missing`},
		{"laboratory.toml", `dof = 20`, ``, `procedure.influence[8].dof: missing`},
		{"laboratory.toml", `mountings = 3`, `mountings = 0`, `procedure.influence[8].mountings: found 0`},
		{"laboratory.toml", `phase = "0.03°" },`, `},`, `procedure.influence[3].band[1].phase: missing: the reference certificate states phase`},
		{"laboratory.toml", `phase = "0.03°" },`, `phase = "-0.03°" },`, `procedure.influence[3].band[1].phase: allowed are values of zero or above`},
		{"laboratory.toml", `motion = "2 %"`, `modulus = "2 %"`, `procedure.influence[4].band[1].motion: missing`},
		{"laboratory.toml", `from = "3 Hz", to = "30 Hz", modulus = "0.04 %"`, `from = "2 Hz", to = "30 Hz", modulus = "0.04 %"`, `band of "linearity" from 2 Hz overlaps`},
		{"laboratory.toml", `from = "3 Hz", to = "30 Hz", modulus = "0.04 %"`, `from = "3 Hz", to = "3 Hz", modulus = "0.04 %"`, `band of "linearity" from 3 Hz to 3 Hz`},
		{"laboratory.toml", "key = \"temperature\"", "key = \"temperature\"\nmountings = 3", `procedure.influence[2].mountings: has no meaning for this influence`},
		{"laboratory.toml", "key = \"loading\"", "key = \"loading\"\ndof = 3", `procedure.influence[9].dof: not_applicable says that "loading" has no size`},
		{"laboratory.toml", `distribution = "rectangular"`, `distribution = "uniform"`, `procedure.influence[1].distribution: found "uniform", allowed are "normal"`},
		{"laboratory.toml", `rule = "wary"`, `rule = "weary"`, `laboratory.toml:@:8: procedure.settling.rule: found "weary", allowed are "wary", "averaged" or "skip"`},
		{"laboratory.toml", "modulus = \"0.05 %\"\nphase", "modulus = \"0 %\"\nphase", `procedure.settling.modulus: found "0 %", allowed are values above zero`},
		{"laboratory.toml", "modulus = \"0.05 %\"\nphase = \"0.05°\"", "modulus = \"0.05 %\"", `procedure.settling.phase: missing: the reference certificate states phase, so the half width wanted`},
		{"laboratory.toml", "modulus = \"0.05 %\"\nphase = \"0.05°\"", "modulus = \"0.05 %\"\nphase = \"-1°\"", `procedure.settling.phase: found "-1°"`},
		{"laboratory.toml", "level = true\n", "", `procedure.settling.level: missing`},
		{"laboratory.toml", "level = true\n", "level = \"yes\"\n", `procedure.settling.level: found a text "yes", allowed is true or false`},
		{"laboratory.toml", `time = "1 s" }`, `time = "0 s" }`, `procedure.settling.time_constant[1].time: found "0 s"`},
		{"laboratory.toml", `[{ source = "example: warming of the power amplifier after the drive begins", `, `[{ `, `procedure.settling.time_constant[1].source: missing`},
		{"laboratory.toml", `rule = "wary"`, "not_applicable = \"waited\"\nrule = \"wary\"", `procedure.settling.rule: not_applicable says that steadiness is not judged`},
		{"laboratory.toml", `rule = "wary"`, "rules = 1\nrule = \"wary\"", `procedure.settling.rules: unknown key`},
		{"job.toml", `recording = "p1.wav"`, "recording = \"p1.wav\"\nrepeat = true", `point[1].repeat: repeats`},
		{"job.toml", `recording = "p1.wav"`, "recording = \"p1.wav\"\nrepeat = 1", `point[1].repeat: found a whole number "1", allowed is true or false`},
		{"job.toml", `corner = "0.5 Hz"`, "time_constant = \"0.3 s\"\ndamping = 0.7", `device.damping: belongs to the corner`},
		{"job.toml", `corner = "0.5 Hz"`, "corner = \"0.5 Hz\"\ndamping = 0", `device.damping: found a whole number "0", allowed are numbers from 0.01 to 100`},
		{"laboratory.toml", `least_points = 6`, "least_points = 6\nleast_points = 7", `laboratory.toml:@:`},
	} {
		t.Run(c.want, func(t *testing.T) {
			fsys := full(t)
			replace(t, fsys, c.file, c.old, c.new)
			planted := c.new
			if i := strings.LastIndex(planted, "\n"); i >= 0 && !strings.HasPrefix(planted, "[") {
				planted = planted[i+1:]
			}
			want := strings.Replace(c.want, "@", fmt.Sprint(lineOf(fsys, c.file, planted)), 1)
			_, err := Load(FromFS(fsys), "job.toml")
			if err == nil || !strings.Contains(err.Error(), want) {
				t.Errorf("want %s in\n%v", want, err)
			}
		})
	}
}

// TestReadingProblems does the same with the job of a display.
func TestReadingProblems(t *testing.T) {
	for _, c := range []struct{ file, old, new, want string }{
		{"job.toml", `readings = "readings.csv"`, `recording = "a.wav"`, `point[1].recording: the reference is an instrument whose display is read, so the points have readings`},
		{"job.toml", `readings = "readings.csv"`, ``, `found neither`},
		{"job.toml", "[conditions]", "[channels]\ndevice = { column = 1, recorder = \"1\" }\n[conditions]", `channels: the reference is an instrument whose display is read`},
		{"job.toml", `frequency = "3 Hz"`, `frequency = "4 Hz"`, `point[5].readings.file: holds no readings at 4 Hz`},
		{"job.toml", `frequency = "3 Hz"`, `frequency = "4 Hz"`, `readings.csv:50:1: frequency: this row belongs to no point of the job`},
		{"job.toml", "[decision]\nrule = \"guard band\"\nr = 1.0", "", `decision: missing: the device has a tolerance`},
		{"exciter.toml", `sensitivity_step = "0.01 V/g"`, `sensitivity_step = "0.01 pC/g"`, `reference.display.sensitivity_step: found "0.01 pC/g", allowed is a step of the device's sensitivity`},
		{"exciter.toml", `serial = "X-03"`, "serial = \"X-03\"\nsensitivity = \"1 V/g\"", `reference.sensitivity: is not said of an instrument whose display is read`},
		{"exciter-certificate.csv", "modulus_1", "modulus_percent", `allowed is the factor true to displayed, in the unit 1`},
		{"exciter-certificate.csv", "modulus_1", "modulus_V_per_g", `V/g is not a unit of a relative value`},
		{"exciter-certificate.csv", ",U_modulus_percent", ",spread_percent", `exciter-certificate.csv:1:1: column U_modulus is missing`},
		{"readings.csv", "level_g_peak", "level_g", `readings.csv:1:41: column level: "1 g": a level must say peak`},
		{"readings.csv", "sensitivity_V_per_g", "sensitivity_pC_per_g", `readings.csv:1:21: column sensitivity: found "1 pC/g", allowed is a sensitivity of the same quantities as the device's, in units such as V/g`},
		{"readings.csv", "100,5,", "100,0,", `reading 2: time 0 s does not follow 0 s`},
		{"readings.csv", "100,5,10.21,0.0992", "100,5,,0.0992", `readings.csv:3:7: sensitivity: blank`},
		{"readings.csv", "100,5,10.21,0.0992", "abc,5,10.21,0.0992", `frequency: "abc Hz": starts with no number`},
		{"readings.csv", "frequency_Hz,", "number,", `unknown column "number"`},
	} {
		t.Run(c.want, func(t *testing.T) {
			fsys := readings(t)
			replace(t, fsys, c.file, c.old, c.new)
			_, err := Load(FromFS(fsys), "job.toml")
			if err == nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("want %s in\n%v", c.want, err)
			}
		})
	}
}

// TestAllAtOnce checks that every problem of every file is reported in one go, in the order of files and lines.
func TestAllAtOnce(t *testing.T) {
	fsys := full(t)
	replace(t, fsys, "job.toml", `"28 mV/(mm/s)"`, `28`)
	replace(t, fsys, "job.toml", `k = 2.5`, `k = 0`)
	replace(t, fsys, "amplifier.toml", `serial = "CA-11"`, ``)
	replace(t, fsys, "transfer.csv", "0.999", "x")
	replace(t, fsys, "laboratory.toml", "drift = 1", "drift = 9")
	_, err := Load(FromFS(fsys), "job.toml")
	ps, ok := err.(Problems)
	if !ok || len(ps) != 5 {
		t.Fatalf("%d problems: %v", len(ps), err)
	}
	var places []string
	for _, p := range ps {
		places = append(places, p.File+" "+p.Key)
	}
	want := []string{"job.toml device.sensitivity", "job.toml reference.certificate.point[2].k", "amplifier.toml amplifier[1].serial", "transfer.csv modulus", "laboratory.toml procedure.drift"}
	if !slices.Equal(places, want) {
		t.Errorf("places %q, want %q", places, want)
	}
}

// TestMapping checks readings with a column mapping and readings in the job file itself.
func TestMapping(t *testing.T) {
	fsys := readings(t)
	replace(t, fsys, "readings.csv", "frequency_Hz,time_s,sensitivity_V_per_g,level_g_peak", "f,t,S,a")
	job := string(fsys["job.toml"].Data)
	mapped := `readings = { file = "readings.csv", columns = { frequency = { column = "f", unit = "Hz" }, time = { column = 2, unit = "s" }, sensitivity = { column = "S", unit = "V/g" }, level = { column = 4, unit = "g peak" } } }`
	fsys["job.toml"] = &fstest.MapFile{Data: []byte(strings.ReplaceAll(job, `readings = "readings.csv"`, mapped))}
	a, err := Load(FromFS(fsys), "job.toml")
	if err != nil {
		t.Fatal(err)
	}
	b, err := Load(FromFS(readings(t)), "job.toml")
	if err != nil {
		t.Fatal(err)
	}
	if got, want := fmt.Sprint(a.Calibration.Points), fmt.Sprint(b.Calibration.Points); got != want {
		t.Errorf("points with mapping\n%s\nwant\n%s", got, want)
	}
	for _, c := range []struct{ old, new, want string }{
		{`column = 2`, `column = 7`, `columns.time.column: no column number 7 in the file, which has 4 columns`},
		{`column = "S"`, `column = "T"`, `columns.sensitivity.column: no column T in the file`},
		{`unit = "g peak"`, `unit = "g"`, `columns.level.unit: "1 g": a level must say peak`},
		{`time = { column = 2, unit = "s" }, `, ``, `columns.time: missing`},
	} {
		bad := fstest.MapFS{}
		for name, f := range fsys {
			bad[name] = f
		}
		replace(t, bad, "job.toml", c.old, c.new)
		if _, err := Load(FromFS(bad), "job.toml"); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("want %s in\n%v", c.want, err)
		}
	}
	inline := readings(t)
	replace(t, inline, "job.toml", "frequency = \"100 Hz\"\nlevel = \"0.1 g peak\"\nreadings = \"readings.csv\"",
		"frequency = \"99 Hz\"\nreading = [{ time = \"0 s\", sensitivity = \"10.2 V/g\", temperature = \"17.5 °C\" }, { time = \"5 s\", sensitivity = \"10.1 V/g\", level = \"0.07 g rms\" }]")
	replace(t, inline, "readings.csv", "100,0,", "50.05,-5,")
	data := string(inline["readings.csv"].Data)
	var kept []string
	for _, line := range strings.Split(data, "\n") {
		if !strings.HasPrefix(line, "100,") && !strings.HasPrefix(line, "50.05,") {
			kept = append(kept, line)
		}
	}
	inline["readings.csv"] = &fstest.MapFile{Data: []byte(strings.Join(kept, "\r\n"))}
	j, err := Load(FromFS(inline), "job.toml")
	if err != nil {
		t.Fatal(err)
	}
	if r := j.Calibration.Points[0].Readings; len(r) != 2 || r[0].Temperature != 17.5 || r[1].Time != 5 || !close64(r[1].Sensitivity, 10.1/9.80665) {
		t.Errorf("readings %+v", r)
	}
	replace(t, inline, "job.toml", `time = "5 s"`, `time = "-5 s"`)
	if _, err := Load(FromFS(inline), "job.toml"); err == nil || !strings.Contains(err.Error(), "point[1].reading: reading 2: time -5 s does not follow 0 s") {
		t.Errorf("descending times: %v", err)
	}
}

func TestHostileFiles(t *testing.T) {
	many := strings.Builder{}
	for i := range 5000 {
		fmt.Fprintf(&many, "k%d = 1\n", i)
	}
	for _, c := range []struct{ name, text, want string }{
		{"empty", "", "job.toml:1:1: job: missing: the table [job] is mandatory"},
		{"syntax", "[job]\nnumber = \n", "job.toml:2:"},
		{"twice", "[job]\n[job]\n", "job.toml:2:"},
		{"binary", "\x00\x01", "job.toml:1:1"},
		{"deep list", "a = " + strings.Repeat("[", 20000) + strings.Repeat("]", 20000), "nested"},
		{"large", strings.Repeat("#", largestFile+1), "larger than 4194304 bytes"},
		{"many", many.String(), "and 901 more"},
		{"list for table", "job = [1]", "job: found a list, allowed is a table"},
		{"text in list of tables", "point = [1]", "point: found a whole number \"1\", allowed is a table"},
		{"table for list", "[point]", "point: found a table, allowed is a list of tables, as in [[point]]"},
		{"itself", "[device]\nfile = \"job.toml\"", "job.toml:1:2: device.device: unknown key"},
		{"blank name", "[device]\nfile = \" \"", "is blank"},
	} {
		_, err := Load(FromFS(fstest.MapFS{"job.toml": {Data: []byte(c.text)}}), "job.toml")
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: want %q in %.500v", c.name, c.want, err)
		}
	}
	if _, err := Load(OS, "testdata"); err == nil || err.Error() != "testdata:1:1: not a regular file" {
		t.Errorf("a folder: %v", err)
	}
	if _, err := Load(OS, "testdata/absent.toml"); err == nil || !strings.HasPrefix(err.Error(), "testdata/absent.toml:1:1: ") {
		t.Errorf("an absent file: %v", err)
	}
}

// TestWindowsFiles checks a byte order mark and line ends of two characters.
func TestWindowsFiles(t *testing.T) {
	fsys := full(t)
	for name, f := range fsys {
		fsys[name] = &fstest.MapFile{Data: []byte("\ufeff" + strings.ReplaceAll(string(f.Data), "\n", "\r\n"))}
	}
	if _, err := Load(FromFS(fsys), "job.toml"); err != nil {
		t.Error(err)
	}
}

func TestClosest(t *testing.T) {
	allowed := []string{"serial", "sensitivity", "range", "mass", "kind"}
	for _, c := range []struct{ word, want string }{{"seriel", "serial"}, {"Serial", "serial"}, {"sensitvity", "sensitivity"}, {"knd", "kind"}, {"completely", ""}, {"", ""}} {
		if got := closest(c.word, allowed); got != c.want {
			t.Errorf("closest to %q is %q, want %q", c.word, got, c.want)
		}
	}
}
