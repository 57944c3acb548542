package jobfile

import (
	"math"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"testing"
	"time"

	"plumbline/calibration"
	"plumbline/certificate"
	"plumbline/conformity"
	"plumbline/quantity"
)

const root = "../../"

func mustLoad(t *testing.T, name string) *Job {
	t.Helper()
	j, err := Load(OS, name)
	if err != nil {
		t.Fatal(err)
	}
	return j
}

func close64(a, b float64) bool { return a == b || math.Abs(a-b) <= 1e-14*math.Abs(b) }

// TestBench checks the jobs of the bench recordings against the nominal facts of their making.
func TestBench(t *testing.T) {
	for _, c := range []struct {
		kind             string
		nominal          float64 // V/(m/s²)
		frequencies      []float64
		first, last      string
		rows             int
		modulus10, phase float64 // of the certificate at 10 Hz
		level            float64 // of the last point, m/s²
	}{
		{"seismic", 10 / quantity.StandardGravity, []float64{100, 50, 20, 10, 5, 3, 2, 1}, "point-01-100Hz.wav", "point-08-1Hz.wav", 10, 10.16738e-3, 0.108, 0.018 * quantity.StandardGravity},
		{"general", 0.1 / quantity.StandardGravity, []float64{160, 10, 20, 40, 80, 315, 630, 1250, 2500, 5000}, "point-01-160Hz.wav", "point-10-5000Hz.wav", 16, 9.98894e-3, 0.096, 0.9 * quantity.StandardGravity},
	} {
		j := mustLoad(t, root+"testdata/bench/"+c.kind+"/job.toml")
		job := j.Calibration
		var frequencies []float64
		for i, p := range job.Points {
			frequencies = append(frequencies, p.Frequency)
			if j.Recordings[i].Point != i {
				t.Errorf("%s: recording %d belongs to point %d", c.kind, i, j.Recordings[i].Point)
			}
		}
		n := len(job.Points)
		if !slices.Equal(frequencies, c.frequencies) || j.Recordings[0].File != c.first || j.Recordings[n-1].File != c.last || !close64(job.Points[n-1].Level, c.level) {
			t.Errorf("%s: points %v, recordings %v", c.kind, frequencies, j.Recordings)
		}
		if !close64(job.Device.Nominal, c.nominal) || len(job.Reference.Table) != c.rows || job.Reference.Correlation != 0 {
			t.Errorf("%s: device %+v, reference %+v", c.kind, job.Device, job.Reference)
		}
		at10 := job.Reference.Table[slices.IndexFunc(job.Reference.Table, func(p calibration.CalibratedPoint) bool { return p.Frequency == 10 })]
		if !close64(at10.Modulus, c.modulus10) || !close64(at10.Phase, c.phase*math.Pi/180) || !close64(at10.StdModulus, 0.003) || !close64(at10.StdPhase, 0.15*math.Pi/180) {
			t.Errorf("%s: certificate at 10 Hz %+v", c.kind, at10)
		}
		for _, chain := range []calibration.Chain{job.ReferenceChain, job.DeviceChain} {
			if chain.FullScale() != 10 || chain.Gain() != 1 || len(chain.Stages) != 1 {
				t.Errorf("%s: chain %+v", c.kind, chain)
			}
		}
		if err := validateWithoutRecordings(job); err != nil {
			t.Errorf("%s: %v", c.kind, err)
		}
	}
	for _, r := range mustLoad(t, root+"testdata/bench/seismic/job.toml").Recordings {
		if _, err := os.Stat(filepath.Join(root, "testdata/bench/seismic", r.File)); err != nil {
			t.Error(err)
		}
	}
}

// validateWithoutRecordings lets the domain check a job whose recordings are not opened: with readings in their place.
func validateWithoutRecordings(job calibration.Job) error {
	job.Points = nil
	for _, e := range unjoin(job.Validate()) {
		if s := e.Error(); s != "job "+job.Number+" has no points" && !containsAny(s, "values are read off its display") {
			return e
		}
	}
	return nil
}

func unjoin(err error) []error {
	if j, ok := err.(interface{ Unwrap() []error }); ok {
		return j.Unwrap()
	}
	return nil
}

// TestReadings checks the example of a display: six points of twelve readings from one file.
func TestReadings(t *testing.T) {
	j := mustLoad(t, root+"examples/readings/job.toml")
	job := j.Calibration
	if err := job.Validate(); err != nil {
		t.Error(err)
	}
	if len(job.Points) != 6 || len(j.Recordings) != 0 || job.Reference.Unit.Symbol != "1" || len(job.DeviceChain.Stages) != 0 {
		t.Fatalf("%+v", job)
	}
	g := quantity.StandardGravity
	for _, p := range job.Points {
		if len(p.Readings) != 12 {
			t.Errorf("%s: %d readings, want 12", p.Label, len(p.Readings))
		}
		for i, r := range p.Readings {
			if math.Abs(r.Sensitivity*g/10-1) > 0.05 || math.Abs(r.Level/p.Level-1) > 0.05 || !math.IsNaN(r.Temperature) || i > 0 && r.Time <= p.Readings[i-1].Time {
				t.Errorf("%s: reading %d is %+v", p.Label, i+1, r)
			}
		}
	}
	if steps := job.Procedure.DisplayResolution; !close64(steps[0], 0.01/g) || !close64(steps[1], 1e-4*g) {
		t.Errorf("steps of the display %v", steps)
	}
	first := job.Reference.Table[0]
	if first.Modulus != 1.01 || !close64(first.StdModulus, 0.01) || !math.IsNaN(first.Phase) || !math.IsNaN(first.StdPhase) {
		t.Errorf("first row of the certificate %+v", first)
	}
	want := []string{"sensitivity of the device: 10 V/g", "tolerance of the device: ±10 %", "temperature coefficient of the device: 0.02 %/K", "transverse sensitivity of the device: 5 %"}
	if !slices.Equal(j.Particulars.CustomerData, want) {
		t.Errorf("data of the customer %q, want %q", j.Particulars.CustomerData, want)
	}
	if names := fileNames(j); !slices.Equal(names, []string{"job.toml", "exciter.toml", "exciter-certificate.csv", "field.toml", "readings.csv"}) {
		t.Errorf("files read: %v", names)
	}
}

func fileNames(j *Job) (names []string) {
	for _, f := range j.Files {
		names = append(names, filepath.Base(f.Name))
	}
	return names
}

func day(y int, m time.Month, d int) time.Time { return time.Date(y, m, d, 0, 0, 0, 0, time.UTC) }

// TestFullHead checks that administrative data arrive where they belong.
func TestFullHead(t *testing.T) {
	j := mustLoad(t, "testdata/full/job.toml")
	want := certificate.Particulars{
		Number: "FL-1", Title: "Calibration certificate",
		Laboratory: certificate.Address{Name: "Fenwick Lane Vibration Laboratory", Lines: []string{"Fenwick Lane 4", "Aldermere"}, Contact: "R. Ashdown"},
		Location:   "room 2", Customer: certificate.Address{Name: "Aldermere Footbridge Trust", Lines: []string{"Bridge House"}}, OrderReference: "AT-77",
		Received: day(2026, 5, 8), Performed: day(2026, 5, 11), Until: day(2026, 5, 12), Issued: day(2026, 5, 13),
		PerformedBy: "T. Marlow", AuthorisedBy: "R. Ashdown", AuthorisedRole: "Head of laboratory", Traceability: "as entered",
		Mounting:   "back to back; torque 2 N·m; coupling thin oil; cable clamped; orientation vertical; cleaned before",
		Statements: []string{"first", "second"}, CustomerData: []string{"sensitivity of the device: 28 mV/(mm/s)", "mass of the device: 200 g"},
		Deviations: []string{"warm-up shortened"}, Invented: true,
	}
	if !reflect.DeepEqual(j.Particulars, want) {
		t.Errorf("got  %+v\nwant %+v", j.Particulars, want)
	}
	c := j.Calibration
	if c.Number != "J-1" || c.Subject != calibration.OfChain || c.Seed != 7 || c.ValidityOverride != "recalibration is under way (R. Ashdown)" || !c.Performed.Equal(want.Performed) || !c.Until.Equal(want.Until) {
		t.Errorf("job %+v", c)
	}
	if c.Conditions != (calibration.Conditions{Temperature: 22.5, TemperatureHalfWidth: 1.5, Humidity: 0.45, Pressure: 101300}) {
		t.Errorf("conditions %+v", c.Conditions)
	}
	if len(c.Scope) != 2 || c.Scope[0] != (calibration.Scope{From: 0.5, To: 10, Modulus: 0.01, Phase: math.Pi / 180}) || !math.IsNaN(c.Scope[1].Phase) {
		t.Errorf("scope %+v", c.Scope)
	}
	if (j.Rule != RuleSpec{Name: "guard band", R: 0.5}) || j.Rule.Rule() != (conformity.GuardBand{R: 0.5}) {
		t.Errorf("rule %+v", j.Rule)
	}
}

// TestFullAssets checks device, reference and channels; numbers by hand from the definitions of the units.
func TestFullAssets(t *testing.T) {
	c := mustLoad(t, "testdata/full/job.toml").Calibration
	d := c.Device
	if d.Nominal != 28 || d.Range != 0.1 || d.Mass != 0.2 || !close64(d.TimeConstant, 1/math.Pi) || d.Temperature != (calibration.Coefficient{Value: -2e-4, Std: 1e-4, Stated: true}) ||
		d.ReferenceTemperature != 23 || d.Transverse != 0.03 || d.ReferenceFrequency != 80 || d.Tolerance != 0.05 || d.Flatness != 0.1 || d.FlatnessBand != [2]float64{10, 1000} || d.Condition != "as new" {
		t.Errorf("device %+v", d)
	}
	r := c.Reference
	g := quantity.StandardGravity
	if !close64(r.Nominal, 1.2e-12/g) || !close64(r.Range, 500*g) || r.TimeConstant != 3 || r.Correlation != 0.8 || r.Certificate != (calibration.Document{Number: "HL-1", Laboratory: "Higher Laboratory (invented)", Date: day(2026, 1, 15), ValidUntil: day(2027, 1, 14)}) {
		t.Errorf("reference %+v", r)
	}
	if p := r.Table[0]; p.Frequency != 5 || !close64(p.Modulus, 1.21e-12/g) || p.StdModulus != 0.005 || !math.IsNaN(p.Phase) {
		t.Errorf("first row %+v", p)
	}
	if p := r.Table[1]; !close64(p.Modulus, 0.1234e-12) || !close64(p.StdModulus, 0.0024) || !close64(p.Phase, -math.Pi/360) || !close64(p.StdPhase, 0.16*math.Pi/180) {
		t.Errorf("second row %+v", p)
	}
	if c.Clock != 2e-5 || c.ReferenceChain.Column != 1 || c.DeviceChain.Column != 3 || len(c.ReferenceChain.Stages) != 2 || len(c.DeviceChain.Stages) != 1 {
		t.Fatalf("chains %+v %+v", c.ReferenceChain, c.DeviceChain)
	}
	a := c.ReferenceChain.Stages[0]
	if a.Serial != "CA-11" || a.Channel != "2" || !close64(a.Gain, 1e9) || a.StdGain != 1e-3 || a.StdDelay != 1e-6 || !a.CoupledAC || a.Settings != "0.1 Hz to 30 kHz, AC coupled" ||
		!slices.Equal(a.Corners, []calibration.Corner{{Frequency: 0.1, Std: 0.05}, {Frequency: 30e3, Std: 0.1, LowPass: true}}) || a.Certificate.Number != "CA-11/26" {
		t.Errorf("amplifier %+v", a)
	}
	if !slices.Equal(a.Table, []calibration.TransferPoint{{Frequency: 1, Modulus: 0.999, Phase: 5e-3, StdModulus: 1e-4, StdPhase: 5e-4}, {Frequency: 100, Modulus: 1, StdModulus: 5e-5, StdPhase: 2.5e-4}}) {
		t.Errorf("transfer %+v", a.Table)
	}
	s := c.ReferenceChain.Stages[1]
	if s.FullScale != 10 || s.StdGain != 2e-4 || s.StdGainSource != 3e-4 || s.Source != "voltage source VS-1" || s.Delay != 2e-6 || !close64(s.StdDelay, 1e-7) || s.Certificate.Number != "D-8/26" || s.ID() != "D-8 channel 1" {
		t.Errorf("recorder channel 1 %+v", s)
	}
	s = c.DeviceChain.Stages[0]
	if s.FullScale != 5 || s.Resolution != 1e-6 || !close64(s.Gain, 10) || s.Delay != -2e-6 || s.LargestPlausibleCorner != 0.05 || s.Certificate.Number != "D-8/2" || s.Settings != "supply current 4 mA, AC coupled" {
		t.Errorf("recorder channel 2 %+v", s)
	}
	if err := validateWithoutRecordings(c); err != nil {
		t.Error(err)
	}
}

// TestFullPoints checks levels in the device's quantity and what overrules a recording.
func TestFullPoints(t *testing.T) {
	j := mustLoad(t, "testdata/full/job.toml")
	p := j.Calibration.Points
	// 1 g rms at 80 Hz as velocity: sqrt2 g / (2 pi 80 Hz), closed form
	if len(p) != 2 || p[0].Label != "point 1 (80 Hz)" || !close64(p[0].Level, math.Sqrt2*quantity.StandardGravity/(2*math.Pi*80)) || !math.IsNaN(p[1].Level) {
		t.Errorf("points %+v", p)
	}
	lines := 2
	want := Options{Rate: 2000, Units: []string{"V", "", "mV"}, Delimiter: ";", DecimalMark: ",", Encoding: "windows-1252", HeaderLines: &lines, TimeColumn: "none"}
	r := j.Recordings
	if len(r) != 2 || r[0].File != "p1.wav" || r[1].File != "sub/p2.csv" || r[1].Where != "testdata/full/job.toml:174:22" || !reflect.DeepEqual(r[1].Options, want) || !reflect.DeepEqual(r[0].Options, Options{}) {
		t.Errorf("recordings %+v", r)
	}
}

// TestProcedures checks the example procedures: every influence is stated, sizes arrive in SI.
func TestProcedures(t *testing.T) {
	lab := mustLoad(t, "testdata/full/job.toml").Calibration.Procedure
	field := mustLoad(t, root+"examples/readings/job.toml").Calibration.Procedure
	for _, p := range []calibration.Procedure{lab, field} {
		if len(p.Influences) != len(calibration.InfluenceKeys()) || p.Probability != 0.9545 || p.Trials != 200000 || p.UsableBand != 0.45 {
			t.Errorf("procedure %+v", p)
		}
	}
	if lab.Harmonics != 5 || lab.Drift != 1 || lab.Mains != 50 || lab.LeastPoints != 6 || lab.LeastPeriods != 10 || lab.FrequencyRange != [2]float64{0.4, 1e4} || lab.LevelRange != [2]float64{0.1, 1000} {
		t.Errorf("procedure %+v", lab)
	}
	for _, c := range []struct {
		key             string
		distribution    string
		f               float64
		modulus, phase  float64
		dof             float64
		mountings       int
		resonance       [2]float64
		notApplicable   bool
		withoutTheBands bool
	}{
		{key: "drift", distribution: "rectangular", f: 100, modulus: 0.002, phase: 0.05 * math.Pi / 180, dof: math.Inf(1)},
		{key: "transverse", distribution: "arcsine", f: 1000, modulus: 0.15, phase: math.NaN(), dof: math.Inf(1)},
		{key: "mounting", distribution: "rectangular", f: 1000, phase: 0.05 * math.Pi / 180, dof: math.Inf(1), resonance: [2]float64{8e3, 20e3}},
		{key: "repeatability", distribution: "normal", f: 1, modulus: 0.001, phase: 0.1 * math.Pi / 180, dof: 20, mountings: 3},
		{key: "temperature", distribution: "rectangular", dof: math.Inf(1), withoutTheBands: true},
		{key: "loading", dof: math.Inf(1), notApplicable: true, withoutTheBands: true},
	} {
		in, ok := lab.Influence(c.key)
		if !ok || (in.NotApplicable != "") != c.notApplicable || !c.notApplicable && in.Distribution != c.distribution || in.Dof != c.dof || in.Mountings != c.mountings || in.Resonance != c.resonance {
			t.Errorf("%s: %+v", c.key, in)
		}
		b, found := in.At(c.f)
		if found == c.withoutTheBands || found && (!close64(b.Modulus, c.modulus) || !close64(b.Phase, c.phase) && !math.IsNaN(c.phase)) {
			t.Errorf("%s at %g Hz: %+v %v", c.key, c.f, b, found)
		}
	}
}
