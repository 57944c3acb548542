package calibration

import (
	"math"
	"math/cmplx"
	"strings"
	"testing"
	"time"

	"plumbline/quantity"
	"plumbline/recording"
	"plumbline/uncertainty"
)

func day(s string) time.Time {
	t, err := time.Parse("2006-01-02", s)
	if err != nil {
		panic(err)
	}
	return t
}

func unit(t *testing.T, text string) quantity.Unit {
	t.Helper()
	u, err := quantity.ParseUnit(text)
	if err != nil {
		t.Fatal(err)
	}
	return u
}

// bareJob is an invented job of the Fenwick Lane Vibration Laboratory in which no influence applies; tests switch on what they look at.
func bareJob(t *testing.T) Job {
	one := unit(t, "V/V")
	stage := func(channel string) Chain {
		return Chain{Column: int(channel[0] - '0'), Stages: []Stage{{Identity: Identity{"recorder", "", "D", "D-8"}, Channel: channel, FullScale: 10, Gain: 1, GainUnit: one}}}
	}
	j := Job{
		Number: "FL-1", Performed: day("2026-11-20"), Until: day("2026-11-20"), Subject: OfTransducer, Seed: 1, Clock: math.NaN(),
		Device: Device{Transducer: Transducer{Identity: Identity{"accelerometer", "", "S", "A-0407"}, Unit: unit(t, "V/g"), Nominal: 10 / quantity.StandardGravity, ReferenceFrequency: 80,
			Transverse: math.NaN()}, Tolerance: 0.1, Flatness: 0.05},
		Reference: Reference{Transducer: Transducer{Identity: Identity{"accelerometer", "", "R", "R-201"}, Unit: unit(t, "mV/(m/s²)"), Nominal: 0.01, Transverse: math.NaN()},
			Certificate: Document{Number: "C-1", Laboratory: "an invented institute", Date: day("2026-02-01"), ValidUntil: day("2027-02-01")},
			Table:       table([]float64{0.5, 1000}, func(float64) float64 { return 0.01 }, func(float64) float64 { return 0 })},
		ReferenceChain: stage("1"), DeviceChain: stage("2"),
		Procedure: Procedure{Name: "bare", Method: "comparison", Probability: 0.9545, Trials: 10000, Harmonics: 5, Drift: 1, Mains: 50, LeastPoints: 1, LeastPeriods: 2,
			FrequencyRange: [2]float64{0.4, 10000}, LevelRange: [2]float64{0.1, 1000}, UsableBand: 0.4},
	}
	for _, key := range InfluenceKeys() {
		j.Procedure.Influences = append(j.Procedure.Influences, Influence{Key: key, NotApplicable: "test", Dof: math.Inf(1)})
	}
	return j
}

// state replaces what the procedure says of an influence.
func (j *Job) state(in Influence) {
	for i := range j.Procedure.Influences {
		if j.Procedure.Influences[i].Key == in.Key {
			j.Procedure.Influences[i] = in
		}
	}
}

func everywhere(modulus, phase float64) []Band {
	return []Band{{From: 0, To: math.Inf(1), Modulus: modulus, Phase: phase}}
}

// pointAt is a point with a measured ratio of 100 and no noise.
func pointAt(f float64) Point {
	return Point{Plan: PointPlan{Label: "point", Frequency: f, Recording: &recording.Recording{Name: "r.wav"}}, Frequency: f, HasPhase: true,
		Evidence: Evidence{DofLnRatio: [2]float64{7, 7}, Ratio: 100, LnRatio: make([]complex128, 8), AmplitudeReference: 0.01, AmplitudeDevice: 1}}
}

func evaluated(t *testing.T, j Job, f float64) Point {
	t.Helper()
	p := pointAt(f)
	p.evaluate(&j, uncertainty.NewSet(), 0, 1)
	if p.Refused != "" {
		t.Fatal(p.Refused)
	}
	return p
}

// row finds a row of the budget.
func row(t *testing.T, b uncertainty.Budget, name string) uncertainty.Row {
	t.Helper()
	for _, r := range b.Rows {
		if r.Influence == name {
			return r
		}
	}
	t.Fatalf("the budget has no row %q", name)
	return uncertainty.Row{}
}

// S_D = S_R X_D/X_R G_R/G_D: 0.01 V/(m/s²) times 100 is 1 V/(m/s²).
func TestModelValue(t *testing.T) {
	j := bareJob(t)
	if p := evaluated(t, j, 80); cmplx.Abs(p.Sensitivity-1) > 1e-12 {
		t.Errorf("sensitivity %v, want 1", p.Sensitivity)
	}
	j.ReferenceChain.Stages[0].Gain, j.DeviceChain.Stages[0].Gain = 10, 2
	if p := evaluated(t, j, 80); cmplx.Abs(p.Sensitivity-5) > 1e-12 {
		t.Errorf("gains 10 (reference) and 2 (device): sensitivity %v, want 5", p.Sensitivity)
	}
	j.Subject = OfChain
	if p := evaluated(t, j, 80); cmplx.Abs(p.Sensitivity-10) > 1e-12 {
		t.Errorf("of the whole chain: sensitivity %v, want 10: the device's own gain stays in", p.Sensitivity)
	}
}

// A gain that is in both channels is one input used twice and cancels by itself; what is independent does not.
func TestSharedGainCancels(t *testing.T) {
	j := bareJob(t)
	for _, c := range []*Chain{&j.ReferenceChain, &j.DeviceChain} {
		c.Stages[0].StdGainSource, c.Stages[0].Source = 0.01, "voltage standard"
	}
	if u := row(t, evaluated(t, j, 80).Budget, rowGain).Modulus; u > 1e-15 {
		t.Errorf("gains from one source: u = %g, want 0", u)
	}
	j.ReferenceChain.Stages[0].StdGain, j.DeviceChain.Stages[0].StdGain = 0.003, 0.004
	if u := row(t, evaluated(t, j, 80).Budget, rowGain).Modulus; math.Abs(u-0.005) > 1e-6 {
		t.Errorf("independent parts 0.3 %% and 0.4 %%: u = %g, want 0.005", u)
	}
}

// A delay tau in the device's channel makes the recorded phase late by 2 pi f tau, so the corrected phase is advanced: 1 us is 1.8° at 5 kHz.
func TestDelaySign(t *testing.T) {
	j := bareJob(t)
	j.Reference.Table[1].Frequency = 20000
	j.DeviceChain.Stages[0].Delay, j.DeviceChain.Stages[0].StdDelay = 1e-6, 1e-7
	p := evaluated(t, j, 5000)
	if phase := cmplx.Phase(p.Sensitivity) * 180 / math.Pi; math.Abs(phase-1.8) > 1e-9 {
		t.Errorf("phase %g°, want +1.8°", phase)
	}
	if u := row(t, p.Budget, rowPhase).Phase * 180 / math.Pi; math.Abs(u-0.18) > 1e-6 {
		t.Errorf("u of the phase %g°, want 0.18°", u)
	}
}

// The device above the joint reads high by 1/(1-(f/f_m)²), so the correction lowers the sensitivity; at 1 kHz with f_m of 8 to 20 kHz the
// correction is taken at the geometric mean, 12.65 kHz, where the standard uncertainty is 0.344 % (closed form
// 2 r²/(1-r²) ln(20/8)/2/√3 with r = 1/12.649).
func TestMountingCorrection(t *testing.T) {
	j := bareJob(t)
	j.state(Influence{Key: "mounting", Resonance: [2]float64{8000, 20000}, Dof: math.Inf(1)})
	p := evaluated(t, j, 1000)
	r := 1000 / math.Sqrt(8000*20000.)
	if got := real(p.Sensitivity); math.Abs(got-(1-r*r)) > 1e-12 || got > 1 {
		t.Errorf("sensitivity %g, want 1 - (f/f_m)² = %g", got, 1-r*r)
	}
	if u := row(t, p.Budget, "relative motion").Modulus; math.Abs(u-0.00344) > 0.0001 {
		t.Errorf("u = %g, want 0.00344", u)
	}
	if p.Reported.Evaluation != MonteCarlo {
		t.Errorf("reported %s, want Monte Carlo: the relative motion exceeds 0.1 %%", p.Reported.Evaluation)
	}
}

// Sizes of influences become the standard uncertainties of their distributions: half-width/√3 rectangular, /√2 arcsine.
func TestStatedInfluences(t *testing.T) {
	j := bareJob(t)
	j.state(Influence{Key: "drift", Distribution: "rectangular", Bands: everywhere(0.002, 0.001), Dof: math.Inf(1)})
	j.state(Influence{Key: "transverse", Distribution: "arcsine", Bands: everywhere(0.1, 0), Dof: math.Inf(1)})
	j.state(Influence{Key: "repeatability", Distribution: "normal", Bands: everywhere(0.001, 0), Dof: 10, Mountings: 4})
	j.Device.Transverse, j.Reference.Transverse = 0.03, 0.04
	b := evaluated(t, j, 80).Budget
	for _, c := range []struct {
		name      string
		want, tol float64
	}{{"reference drift", 0.002 / math.Sqrt(3), 1e-7}, {"transverse motion", 0.1 * 0.05 / math.Sqrt2, 1e-6}, {"repeatability of mounting", 0.0005, 1e-7}} {
		if u := row(t, b, c.name).Modulus; math.Abs(u-c.want) > c.tol {
			t.Errorf("%s: u = %g, want %g", c.name, u, c.want)
		}
	}
	if dof := row(t, b, "repeatability of mounting").DofModulus; math.Abs(dof-10) > 1e-9 {
		t.Errorf("repeatability: %g degrees of freedom, want 10", dof)
	}
	j.Device.Transverse = math.NaN()
	p := pointAt(80)
	p.evaluate(&j, uncertainty.NewSet(), 0, 1)
	if !strings.Contains(p.Refused, "A-0407") || !strings.Contains(p.Refused, "transverse") {
		t.Errorf("device without transverse sensitivity: %q, want a refusal that names device and quantity", p.Refused)
	}
}

// The certificate's errors at two calibrated frequencies, half correlated: in the middle (in ln f) u² = (u²/2)(1+rho).
func TestReferenceCorrelation(t *testing.T) {
	for _, rho := range []float64{0, 0.5, 1} {
		j := bareJob(t)
		j.Reference.Correlation = rho
		j.Reference.Table = table([]float64{1, 100}, func(float64) float64 { return 0.01 }, func(float64) float64 { return 0 })
		u := row(t, evaluated(t, j, 10).Budget, "reference certificate").Modulus
		if want := 0.005 * math.Sqrt((1+rho)/2); math.Abs(u-want) > 1e-7 {
			t.Errorf("correlation %g: u = %g, want %g", rho, u, want)
		}
	}
}

// Temperature: the reference reads S(1+a_R ΔT), the device is brought back to its reference temperature by 1/(1+a_D ΔT).
func TestTemperatureCorrection(t *testing.T) {
	j := bareJob(t)
	j.state(Influence{Key: "temperature", Dof: math.Inf(1)})
	j.Conditions = Conditions{Temperature: 28, TemperatureHalfWidth: 2}
	j.Reference.Temperature, j.Reference.ReferenceTemperature = Coefficient{Value: -2e-4, Stated: true}, 23
	j.Device.Temperature, j.Device.ReferenceTemperature = Coefficient{Value: 1e-3, Stated: true}, 23
	p := evaluated(t, j, 80)
	if want := (1 - 1e-3) / (1 + 5e-3); math.Abs(real(p.Sensitivity)-want) > 1e-12 {
		t.Errorf("sensitivity %g, want %g", real(p.Sensitivity), want)
	}
	if u, want := row(t, p.Budget, "temperature").Modulus, 1.2e-3*2/math.Sqrt(3); math.Abs(u/want-1) > 0.01 {
		t.Errorf("u = %g, want about %g: the coefficients' difference times 2 K rectangular", u, want)
	}
}

// A velocity transducer against an accelerometer: S per m/s is S per m/s² times j omega.
func TestVelocityDevice(t *testing.T) {
	j := bareJob(t)
	j.Device.Unit = unit(t, "mV/(mm/s)")
	p := pointAt(10)
	p.evaluate(&j, uncertainty.NewSet(), 0, 1)
	if !strings.Contains(p.Refused, "clock") {
		t.Errorf("clock not stated: %q, want a refusal", p.Refused)
	}
	j.Clock = 3e-5
	q := evaluated(t, j, 10)
	if want := complex(0, 2*math.Pi*10); cmplx.Abs(q.Sensitivity-want) > 1e-9 {
		t.Errorf("sensitivity %v V/(m/s), want %v", q.Sensitivity, want)
	}
	if u := row(t, q.Budget, "input quantity").Modulus; math.Abs(u-3e-5) > 1e-9 {
		t.Errorf("u from the clock %g, want 3e-5", u)
	}
}

func TestScopeRaisesU(t *testing.T) {
	j := bareJob(t)
	j.Scope = []Scope{{From: 10, To: 100, Modulus: 0.02, Phase: 0.03}}
	p := evaluated(t, j, 80)
	if p.Reported.UModulus != 0.02 || !p.Reported.RaisedModulus || p.Reported.UPhase != 0.03 || p.OutOfScope {
		t.Errorf("inside the scope: %+v, want U raised to 2 %% and 0.03 rad", p.Reported)
	}
	if q := evaluated(t, j, 200); !q.OutOfScope || q.Reported.RaisedModulus {
		t.Errorf("200 Hz: outside scope %v, raised %v, want marked and not raised", q.OutOfScope, q.Reported.RaisedModulus)
	}
}

// An influence the procedure does not mention stops the job: nothing has a silent default.
func TestProcedureMustSayEverything(t *testing.T) {
	j := bareJob(t)
	j.Points = []PointPlan{pointAt(80).Plan}
	if err := j.Validate(); err != nil {
		t.Fatal(err)
	}
	for i := range j.Procedure.Influences {
		k := j
		k.Procedure.Influences = append(append([]Influence{}, j.Procedure.Influences[:i]...), j.Procedure.Influences[i+1:]...)
		if err := k.Validate(); err == nil || !strings.Contains(err.Error(), j.Procedure.Influences[i].Key) {
			t.Errorf("without %q: %v", j.Procedure.Influences[i].Key, err)
		}
	}
}

// The performance date counts against the reference's certificate, never a clock; a named reason allows it.
func TestReferenceValidity(t *testing.T) {
	for _, c := range []struct {
		performed, until string
		ok               bool
	}{{"2026-01-31", "2026-02-02", false}, {"2026-02-01", "2026-02-01", true}, {"2027-02-01", "2027-02-01", true}, {"2027-01-31", "2027-02-02", false}} {
		j := bareJob(t)
		j.Points = []PointPlan{pointAt(80).Plan}
		j.Performed, j.Until = day(c.performed), day(c.until)
		err := j.Validate()
		if (err == nil) != c.ok || err != nil && !strings.Contains(err.Error(), "C-1") {
			t.Errorf("performed %s to %s: %v, want accepted %v", c.performed, c.until, err, c.ok)
		}
		j.ValidityOverride = "E. Marlowe: intermediate check of 2027-01-30 within limits"
		if err := j.Validate(); err != nil {
			t.Errorf("performed %s to %s with a named reason: %v", c.performed, c.until, err)
		}
	}
}

func TestIdentityIsMandatory(t *testing.T) {
	j := bareJob(t)
	j.Points = []PointPlan{pointAt(80).Plan}
	j.Device.Serial, j.Device.Model, j.Subject = " ", "", NoSubject
	err := j.Validate()
	for _, want := range []string{"serial", "model", "transducer's or the whole chain's"} {
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%v does not name %q: all that is wrong is reported at once", err, want)
		}
	}
}

// The mounting joint without damping: the device above it reads high by 1/(1-r²), 1.041667 1.066667 1.098901 1.125 1.333333 at r = 1/5, 1/4, 0.3, 1/3, 1/2, and by 1, 2, 5
// and 10 % at r = 0.0995 0.1400 0.2182 0.3015 (closed forms); the correction divides by it.
func TestMountingFactor(t *testing.T) {
	for _, c := range []struct{ r, gain, tolerance float64 }{
		{1. / 5, 1.041667, 5e-7}, {1. / 4, 1.066667, 5e-7}, {0.3, 1.098901, 5e-7}, {1. / 3, 1.125, 5e-7}, {1. / 2, 1.333333, 5e-7},
		{0.0995, 1.01, 2e-5}, {0.1400, 1.02, 2e-5}, {0.2182, 1.05, 2e-5}, {0.3015, 1.10, 4e-5},
	} {
		j := bareJob(t)
		j.state(Influence{Key: "mounting", Resonance: [2]float64{80 / c.r, 80 / c.r}, Dof: math.Inf(1)})
		if got := 1 / cmplx.Abs(evaluated(t, j, 80).Sensitivity); math.Abs(got-c.gain) > c.tolerance {
			t.Errorf("r = %g: the device reads high by %.6f, want %g", c.r, got, c.gain)
		}
	}
}
