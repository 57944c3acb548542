package jobfile

import (
	"math"
	"plumbline/uncertainty"
	"slices"
	"strings"
	"testing"

	"plumbline/calibration"
	"plumbline/conformity"
)

const withLimits = `flatness_band = ["10 Hz", "1 kHz"]
phase_tolerance = "±2°"
phase_nominal = "180°"
phase_band = ["5 Hz", "500 Hz"]
limit = [
  { of = "sensitivity", from = "10 Hz", to = "1 kHz", lower = "-10 %", upper = "+5 %" },
  { of = "deviation", frequency = "2 kHz", tolerance = "±12 %" },
  { of = "phase", from = "1 kHz", to = "2 kHz", upper = "10°" },
]`

// TestLimits checks that phase and table of limits arrive in radians and fractions.
func TestLimits(t *testing.T) {
	fsys := full(t)
	replace(t, fsys, "job.toml", `flatness_band = ["10 Hz", "1 kHz"]`, withLimits)
	replace(t, fsys, "job.toml", `from_customer = ["sensitivity", "mass"]`, `from_customer = ["sensitivity", "limit"]`)
	j, err := Load(FromFS(fsys), "job.toml")
	if err != nil {
		t.Fatal(err)
	}
	d := j.Calibration.Device
	if !close64(d.PhaseTolerance, math.Pi/90) || !close64(d.PhaseNominal, math.Pi) || d.PhaseBand != [2]float64{5, 500} || len(d.Limits) != 3 {
		t.Fatalf("device %+v", d)
	}
	want := []calibration.FrequencyLimit{
		{Of: calibration.LimitedSensitivity, From: 10, To: 1000, Lower: -0.1, Upper: 0.05},
		{Of: calibration.LimitedDeviation, From: 2000, To: 2000, Lower: -0.12, Upper: 0.12},
		{Of: calibration.LimitedPhase, From: 1000, To: 2000, Lower: math.Inf(-1), Upper: math.Pi / 18},
	}
	if !slices.EqualFunc(d.Limits, want, func(a, b calibration.FrequencyLimit) bool {
		return a.Of == b.Of && a.From == b.From && a.To == b.To && a.Lower == b.Lower && close64(a.Upper, b.Upper)
	}) {
		t.Errorf("limits %+v, want %+v", d.Limits, want)
	}
	if !slices.Contains(j.Particulars.CustomerData, "limit of the device: 3 lines") {
		t.Errorf("data of the customer %q", j.Particulars.CustomerData)
	}
}

// TestLimitProblems plants one fault in the limits and expects it, and nothing else, to be named.
func TestLimitProblems(t *testing.T) {
	for _, c := range []struct{ old, new, want string }{
		{`phase_tolerance = "±2°"`, `phase_tolerance = "0°"`, `device.phase_tolerance: found "0°", allowed are values above 0° and below 180°`},
		{`phase_tolerance = "±2°"`, `phase_tolerance = "2 %"`, `device.phase_tolerance`},
		{`phase_tolerance = "±2°"`, ``, `device.phase_band: stated without phase_tolerance`},
		{`phase_nominal = "180°"`, ``, `device.phase_nominal: missing: the phase has a limit`},
		{`phase_nominal = "180°"`, `phase_nominal = "200°"`, `device.phase_nominal: found "200°"`},
		{"phase_tolerance = \"±2°\"\nphase_nominal = \"180°\"\nphase_band = [\"5 Hz\", \"500 Hz\"]\n", "phase_nominal = \"180°\"\n", ``},
		{`of = "deviation"`, `of = "level"`, `device.limit[2].of: found "level", allowed are "sensitivity", "deviation" or "phase"`},
		{`frequency = "2 kHz"`, `frequency = "2 kHz", from = "1 Hz"`, `device.limit[2].frequency: frequency, and from with to, are the same fact`},
		{`frequency = "2 kHz", `, ``, `device.limit[2].frequency: missing: frequency, or from and to`},
		{`from = "10 Hz", to = "1 kHz", lower`, `from = "1 kHz", to = "1 kHz", lower`, `device.limit[1].to: does not lie above from`},
		{`tolerance = "±12 %"`, `tolerance = "±12 %", upper = "5 %"`, `device.limit[2].tolerance: tolerance, and lower or upper, are the same fact`},
		{`tolerance = "±12 %"`, `tolerance = "0 %"`, `device.limit[2].tolerance: found "0 %"`},
		{`, tolerance = "±12 %"`, ``, `device.limit[2].tolerance: missing: tolerance, or lower or upper or both`},
		{`lower = "-10 %"`, `lower = "-100 %"`, `device.limit[1].lower: found "-100 %"`},
		{`upper = "+5 %"`, `upper = "500 %"`, `device.limit[1].upper: found "500 %"`},
		{`upper = "+5 %"`, `upper = "-10 %"`, `device.limit[1].upper: does not lie above lower`},
		{`upper = "10°"`, `upper = "10 %"`, `device.limit[3].upper`},
		{`upper = "10°"`, `upper = "10°", level = 1`, `device.limit[3].level: unknown key`},
	} {
		fsys := full(t)
		replace(t, fsys, "job.toml", `flatness_band = ["10 Hz", "1 kHz"]`, withLimits)
		replace(t, fsys, "job.toml", c.old, c.new)
		_, err := Load(FromFS(fsys), "job.toml")
		switch {
		case c.want == "" && err != nil:
			t.Errorf("%q for %q: %v", c.new, c.old, err)
		case c.want != "" && (err == nil || !strings.Contains(err.Error(), c.want)):
			t.Errorf("%q for %q: %v, want %q", c.new, c.old, err, c.want)
		case err != nil && strings.Contains(err.Error(), "\n"):
			t.Errorf("%q for %q: more than one problem: %v", c.new, c.old, err)
		}
	}
	fsys := full(t)
	replace(t, fsys, "job.toml", "tolerance = \"±5 %\"\nflatness = \"±10 %\"\nflatness_band = [\"10 Hz\", \"1 kHz\"]", "phase_nominal = \"0°\"")
	if _, err := Load(FromFS(fsys), "job.toml"); err == nil || !strings.Contains(err.Error(), "device.phase_nominal: stated without a limit of the phase") {
		t.Errorf("nominal phase alone: %v", err)
	}
}

// TestDecision checks every rule a job can choose, and what it must not say with it.
func TestDecision(t *testing.T) {
	const old = "rule = \"guard band\"\nr = 0.5"
	for text, want := range map[string]conformity.Rule{
		`rule = "simple acceptance"`:                   conformity.SimpleAcceptance{},
		"rule = \"guard band\"\nr = -1":                conformity.GuardBand{R: -1},
		"rule = \"guard band\"\nr = 3":                 conformity.GuardBand{R: 3},
		"rule = \"non-binary guard band\"\nr = 1.0":    conformity.NonBinary{R: 1},
		"rule = \"specific risk\"\nrisk = \"2.5 %\"":   conformity.SpecificRisk{Largest: 0.025},
		"rule = \"specific risk\"\nrisk = \"500 ppm\"": conformity.SpecificRisk{Largest: 0.0005},
		`rule = "managed guard band"`:                  conformity.ManagedGuardBand{},
	} {
		fsys := full(t)
		replace(t, fsys, "job.toml", old, text)
		j, err := Load(FromFS(fsys), "job.toml")
		if err != nil {
			t.Errorf("%s: %v", text, err)
			continue
		}
		if got := j.Rule.Rule(); got.Name() != want.Name() {
			t.Errorf("%s: %v, want %v", text, got.Name(), want.Name())
		}
	}
	for text, want := range map[string]string{
		`rule = "accept"`:                                `decision.rule: found "accept", allowed are "simple acceptance", "guard band", "non-binary guard band", "specific risk" or "managed guard band"`,
		"rule = \"managed guard band\"\nr = 1.0":         `decision.r: only a guard band has a length`,
		"rule = \"guard band\"\nr = 1.0\nrisk = \"5 %\"": `decision.risk: only the rule "specific risk" has a largest risk`,
		"rule = \"guard band\"\nr = -1.5":                `decision.r: found a number "-1.5", allowed are numbers from -1 to 3`,
		"rule = \"guard band\"\nr = 3.1":                 `decision.r: found a number "3.1", allowed are numbers from -1 to 3`,
		"rule = \"non-binary guard band\"\nr = 0.0":      `decision.r: found 0, allowed are numbers above 0`,
		`rule = "non-binary guard band"`:                 `decision.r: missing`,
		`rule = "specific risk"`:                         `decision.risk: missing`,
		"rule = \"specific risk\"\nrisk = \"60 %\"":      `decision.risk: found "60 %", allowed are values above 0 % and up to 50 %`,
	} {
		fsys := full(t)
		replace(t, fsys, "job.toml", old, text)
		if _, err := Load(FromFS(fsys), "job.toml"); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v, want %q", text, err, want)
		}
	}
	fsys := full(t)
	replace(t, fsys, "job.toml", "tolerance = \"±5 %\"\nflatness = \"±10 %\"\nflatness_band = [\"10 Hz\", \"1 kHz\"]", "phase_tolerance = \"2°\"\nphase_nominal = \"0°\"")
	replace(t, fsys, "job.toml", "[decision]\n"+old, "")
	if _, err := Load(FromFS(fsys), "job.toml"); err == nil || !strings.Contains(err.Error(), "decision: missing: the device has a tolerance or a flatness or another limit") {
		t.Errorf("phase limit without a rule: %v", err)
	}
	if (RuleSpec{}).Rule() != nil {
		t.Error("no rule named: want none")
	}
}

// TestItems checks what a job can state of items like its device, for the global risk.
func TestItems(t *testing.T) {
	const old = "rule = \"guard band\"\nr = 0.5"
	fsys := full(t)
	replace(t, fsys, "job.toml", old, old+"\nitems = { conforming = \"95 %\", history = [\"9.9 V/(m/s)\", \"10.1 V/(m/s)\", \"10 V/(m/s)\"], source = \"records\" }")
	j, err := Load(FromFS(fsys), "job.toml")
	if err != nil {
		t.Fatal(err)
	}
	if i := j.Items; !close64(i.Conforming, 0.95) || len(i.History) != 3 || !close64(i.History[2], 10) || i.Source != "records" {
		t.Errorf("%+v", i)
	}
	for text, want := range map[string]string{
		`items = { source = "records" }`:                                                    `decision.items.conforming: missing: conforming or history is mandatory`,
		`items = { conforming = "95 %" }`:                                                   `decision.items.source: missing`,
		`items = { conforming = "100 %", source = "records" }`:                              `decision.items.conforming: found "100 %"`,
		`items = { history = ["9.9 V/(m/s)", "10 V/(m/s)"], source = "records" }`:           `decision.items.history: found 2 values, allowed are 3 or more`,
		`items = { history = ["9 V/(m/s)", "9 V/(m/s)", "9 V/(m/s)"], source = "records" }`: `that are not all equal`,
		`items = { history = ["9.9 V/g", "10 V/g", "10.1 V/g"], source = "records" }`:       `found "9.9 V/g", allowed are sensitivities in the unit of the device`,
		`items = { conforming = "95 %", source = "records", of = "a kind" }`:                `decision.items.of: unknown key`,
	} {
		fsys := full(t)
		replace(t, fsys, "job.toml", old, old+"\n"+text)
		if _, err := Load(FromFS(fsys), "job.toml"); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v, want %q", text, err, want)
		}
	}
}

// TestForms checks that every form of distribution and both forms of the number of trials arrive.
func TestForms(t *testing.T) {
	const old = "key = \"drift\"\ndistribution = \"rectangular\""
	for text, want := range map[string]calibration.Influence{
		`distribution = "normal"` + "\nk = 2":                                      {Distribution: "normal", Form: uncertainty.Form{K: 2}, Dof: math.Inf(1)},
		`distribution = "triangular"`:                                              {Distribution: "triangular", Dof: math.Inf(1)},
		`distribution = "trapezoidal"` + "\ntop = \"50 %\"":                        {Distribution: "trapezoidal", Form: uncertainty.Form{Top: 0.5}, Dof: math.Inf(1)},
		`distribution = "curvilinear trapezoid"` + "\nlimit_half_width = \"25 %\"": {Distribution: "curvilinear trapezoid", Form: uncertainty.Form{Limit: 0.25}, Dof: math.Inf(1)},
		`distribution = "product"` + "\nfactors = [\"arcsine\", \"rectangular\"]":  {Distribution: "product", Form: uncertainty.Form{Factors: [2]string{"arcsine", "rectangular"}}, Dof: math.Inf(1)},
		`distribution = "Student t"` + "\ndof = 2":                                 {Distribution: "Student t", Dof: 2},
	} {
		fsys := full(t)
		replace(t, fsys, "laboratory.toml", old, "key = \"drift\"\n"+text)
		replace(t, fsys, "laboratory.toml", "trials = 200000", "trials = { digits = 2, most = 2000000 }")
		j, err := Load(FromFS(fsys), "job.toml")
		if err != nil {
			t.Errorf("%s: %v", text, err)
			continue
		}
		p := j.Calibration.Procedure
		in, _ := p.Influence("drift")
		if in.Distribution != want.Distribution || in.Form != want.Form || in.Dof != want.Dof {
			t.Errorf("%s: %+v, want %+v", text, in, want)
		}
		if p.Trials != 2000000 || p.Digits != 2 {
			t.Errorf("trials %d, digits %d", p.Trials, p.Digits)
		}
	}
}
