// Package certificatetest makes invented calibrations by hand, for the tests of certificates.
package certificatetest

import (
	"crypto/sha256"
	"fmt"
	"math"
	"math/cmplx"
	"time"

	"plumbline/calibration"
	"plumbline/certificate"
	"plumbline/conformity"
	"plumbline/quantity"
	"plumbline/steady"
	"plumbline/uncertainty"
)

// Case is all that a certificate is made from.
type Case struct {
	Particulars certificate.Particulars
	Result      calibration.Result
	Statements  []conformity.Statement
	Origin      certificate.Origin
}

// New makes the certificate.
func (c Case) New() (certificate.Document, error) {
	return certificate.New(c.Particulars, c.Result, c.Statements, c.Origin)
}

func on(day int) time.Time { return time.Date(2026, time.November, day, 0, 0, 0, 0, time.UTC) }

func unit(symbol string) quantity.Unit {
	u, err := quantity.ParseUnit(symbol)
	if err != nil {
		panic("certificatetest: a unit written here cannot be read")
	}
	return u
}

// Fenwick is the calibration of A-0407 of the Aldermere footbridge by recordings, with phase.
func Fenwick() Case {
	c := unjudged()
	c.judge()
	return c
}

// unjudged is Fenwick without steadiness.
func unjudged() Case { return recorded(1, 2, 3, 5, 10, 20, 50, 100, 158.489, 200) }

// judge adds how steadiness was judged, one point that was too short for it, and the point at 100 Hz measured again.
func (c *Case) judge() {
	s := &c.Result.Job.Procedure.Settling
	s.Rule, s.Modulus, s.Phase, s.Level = steady.Wary, 5e-4, 5e-4, true
	for i := range c.Result.Points {
		p := &c.Result.Points[i]
		f := p.Plan.Frequency
		block := math.Max(2/f, 0.25)
		g := calibration.Judgement{Rule: s.Rule, Wanted: [2]float64{s.Modulus, s.Phase}}
		if i == 4 {
			g.Why = "the series of 12 blocks is too short"
		} else {
			g.Block, g.TauMax, g.From, g.Slowest = block, math.Max(4, 4/f/block), "level loop of exciter X-12", 4/f
			g.HalfWidth = [2]float64{0.0004 / math.Sqrt(f), 0.0003 / math.Sqrt(f)}
			g.Answers = []steady.Answer{{State: steady.Steady, Blocks: 60, TauMax: g.TauMax, Modulus: steady.Estimate{Judged: true, Discarded: 2}, Phase: steady.Estimate{Judged: true, Discarded: 2}}}
		}
		p.Evidence.Judgement = g
	}
	again := c.Result.Points[7]
	r := *again.Plan.Recording
	r.Name, r.ID = "A-0407_011_100Hz.wav", digest("repeated")
	again.Plan.Recording, again.Plan.Repeat, again.Remarks = &r, true, nil
	c.Result.Repeats = []calibration.Repetition{{Of: 7, Point: again, Modulus: steady.Check{Difference: 0.00012, Allowed: 0.00035}, Phase: steady.Check{Difference: -0.0001, Allowed: 0.0004}}}
}

// Many is Fenwick at n frequencies from 1 Hz to 400 Hz on a logarithmic scale, 100 Hz among them.
func Many(n int) Case {
	var fs []float64
	done := false
	for i := range n {
		f := math.Pow(400, float64(i)/float64(n-1))
		if !done && f >= 100 {
			f, done = 100, true
		}
		fs = append(fs, f)
	}
	return recorded(fs...)
}

// ReadOff is the calibration of the same item with a portable exciter whose display was read: no recordings, no phase.
func ReadOff() Case {
	c := recorded(5, 10, 50, 100, 200)
	j := &c.Result.Job
	j.Reference.Identity = calibration.Identity{Kind: "portable exciter with built-in reference", Model: "X-03", Serial: "X-03-117"}
	j.Reference.Certificate = calibration.Document{Number: "HL-2026-0219", Laboratory: "Higher Laboratory Westmere", Date: on(3).AddDate(0, -8, 0), ValidUntil: on(3).AddDate(0, 4, 0)}
	j.Procedure.DisplayResolution[0] = j.Device.Unit.ToSI(0.01)
	j.ReferenceChain, j.DeviceChain = calibration.Chain{}, calibration.Chain{}
	for i := range c.Result.Points {
		p := &c.Result.Points[i]
		m := cmplx.Abs(p.Sensitivity)
		p.Plan.Recording, p.HasPhase, p.Evidence = nil, false, calibration.Evidence{Blocks: 5}
		p.Sensitivity = complex(m, 0)
		p.Reported.UPhase, p.Reported.KPhase, p.Reported.EvaluationPhase = math.NaN(), math.NaN(), ""
		p.Remarks = nil
		for k := range 5 {
			p.Plan.Readings = append(p.Plan.Readings, calibration.Reading{Time: 10 * float64(k), Level: p.Level,
				Sensitivity: j.Device.Unit.ToSI(math.Round(100*j.Device.Unit.FromSI(m)+2*math.Sin(float64(k+i))) / 100), Temperature: math.NaN()})
		}
	}
	return c
}

// influence is one row of the invented budget: relative size of modulus, phase in rad, as a function of frequency.
type influence struct {
	name, distribution string
	modulus, phase     func(f float64) float64
	dof                float64
}

func constant(x float64) func(float64) float64 { return func(float64) float64 { return x } }

// influences are invented, of the size that such budgets have (common practice, no source).
var influences = []influence{
	{"reference certificate", "normal", func(f float64) float64 {
		if f < 5 {
			return 0.005
		}
		return 0.0025
	}, constant(0.0035), math.Inf(1)},
	{"reference drift", "rectangular", constant(0.00115), constant(0), math.Inf(1)},
	{"interpolation", "rectangular", constant(0.0006), constant(0.0009), math.Inf(1)},
	{"temperature", "rectangular", constant(0.00092), constant(0), math.Inf(1)},
	{"gain of the channels", "normal", constant(0.0005), func(f float64) float64 { return 1e-6 * f }, 60},
	{"distortion and linearity", "rectangular", func(f float64) float64 { return 0.00035 / math.Sqrt(f) }, constant(0), math.Inf(1)},
	{"transverse motion", "arcsine", func(f float64) float64 { return 0.0005 + 4e-6*f }, func(f float64) float64 { return 0.0005 + 4e-6*f }, math.Inf(1)},
	{"base strain", "rectangular", constant(0.00029), constant(0), math.Inf(1)},
	{"relative motion", "rectangular", func(f float64) float64 { return 1e-9 * f * f }, constant(0), math.Inf(1)},
	{"hum", "arcsine", constant(0.00014), constant(0.00014), math.Inf(1)},
	{"settling left over", "rectangular", func(f float64) float64 { return 0.00029 / f }, func(f float64) float64 { return 0.00029 / f }, math.Inf(1)},
	{"noise", "Student t", func(f float64) float64 { return 0.0012 / f }, func(f float64) float64 { return 0.0012 / f }, 14},
	{"repeatability of mounting", "Student t", constant(0.00058), constant(0.0006), 9},
}

func budget(f float64, value complex128, phase bool) uncertainty.Budget {
	const k = 2.0
	b := uncertainty.Budget{Value: value, Probability: 0.9545}
	vm, vp := 0.0, 0.0
	for _, in := range influences {
		r := uncertainty.Row{Influence: in.name, Distribution: in.distribution, Modulus: in.modulus(f), DofModulus: in.dof, DofPhase: in.dof}
		if phase {
			r.Phase = in.phase(f)
		}
		vm, vp = vm+r.Modulus*r.Modulus, vp+r.Phase*r.Phase
		b.Rows = append(b.Rows, r)
	}
	for i := range b.Rows {
		r := &b.Rows[i]
		r.ShareModulus = r.Modulus * r.Modulus / vm
		if phase {
			r.SharePhase = r.Phase * r.Phase / vp
		}
	}
	b.Modulus = uncertainty.Combined{Std: math.Sqrt(vm), Dof: 812, K: k, Expanded: k * math.Sqrt(vm)}
	b.Phase = uncertainty.Combined{Std: math.Sqrt(vp), Dof: 405, K: k, Expanded: k * math.Sqrt(vp)}
	return b
}

func simulation(b uncertainty.Budget, seed uint64) uncertainty.Simulation {
	m, p := 1.97*b.Modulus.Std, 1.98*b.Phase.Std
	return uncertainty.Simulation{Trials: 200000, Seed: seed, Probability: b.Probability,
		Modulus: uncertainty.Interval{Mean: 1, Std: b.Modulus.Std, Low: 1 - m, High: 1 + m},
		Phase:   uncertainty.Interval{Std: b.Phase.Std, Low: -p, High: p}}
}

func stated(b uncertainty.Budget, s uncertainty.Simulation, simulated bool) calibration.Reported {
	r := calibration.Reported{Evaluation: calibration.FirstOrder, Reason: "no influence calls for Monte Carlo", EvaluationPhase: calibration.FirstOrder,
		ReasonPhase: "no influence calls for Monte Carlo", UModulus: b.Modulus.Expanded, KModulus: b.Modulus.K, UPhase: b.Phase.Expanded, KPhase: b.Phase.K}
	if simulated {
		r.Evaluation, r.Reason = calibration.MonteCarlo, "transverse motion (arcsine) holds 61 % of the variance"
		r.UModulus = s.Modulus.High - 1
		r.KModulus = r.UModulus / b.Modulus.Std
	}
	return r
}

// sensitivity is an invented transducer of nearly 10 V/g: a corner at 0.21 Hz and a resonance at 2.2 kHz.
func sensitivity(f float64) complex128 {
	high := complex(0, f/0.21) / complex(1, f/0.21)
	r := f / 2200
	return complex(10.021/quantity.StandardGravity, 0) * high / complex(1-r*r, 2*0.02*r)
}

func recorded(frequencies ...float64) Case {
	c := Case{Particulars: particulars(), Origin: certificate.Origin{Software: "plumbline 0.9", Record: "result.json",
		Digest: digest("result")}}
	c.Result.Job = job()
	ref := 0
	for i, f := range frequencies {
		if f == 100 {
			ref = i
		}
	}
	for i, f := range frequencies {
		c.Result.Points = append(c.Result.Points, point(i, f, len(frequencies), frequencies[ref]))
		c.Result.Job.Points = append(c.Result.Job.Points, c.Result.Points[i].Plan)
	}
	c.Result.Remarks = []calibration.Remark{{Code: "reference-on-mains", Text: "the reference frequency 100 Hz lies on a multiple of the mains frequency: its hum term enters every deviation from the value at the reference frequency and every flatness statement"}}
	c.Result.Deviations = []calibration.Remark{{Code: "level-range", Text: "at 1 Hz the level of 0.177 m/s² is below that of the other points: the stroke of the exciter X-12 allows no more"}}
	c.Statements = Statements(c.Result, ref)
	return c
}

func digest(of string) string { return fmt.Sprintf("%x", sha256.Sum256([]byte(of))) }

// fresh is a new value of the type that the pointer points to.
func fresh[T any](*T) *T { return new(T) }

func point(i int, f float64, n int, reference float64) calibration.Point {
	s := sensitivity(f)
	b := budget(f, s, true)
	level := math.Min(0.1*quantity.StandardGravity, 0.0180*quantity.StandardGravity*f*f)
	nominal := f
	if f == 158.489 {
		nominal = 160
	}
	name := fmt.Sprintf("A-0407_%03d_%gHz.wav", i+1, math.Round(f*10)/10)
	sim := simulation(b, 20261125+uint64(i))
	p := calibration.Point{
		Plan:      calibration.PointPlan{Label: fmt.Sprintf("point %d", i+1), Frequency: nominal, Level: level},
		Frequency: f, Level: level, Sensitivity: s, HasPhase: true, Budget: b, Simulation: sim, Reported: stated(b, sim, i == n-1),
		Evidence: calibration.Evidence{Duration: 60, Rate: 4096, Frames: 245760, Periods: math.Floor(60 * f), Blocks: 30, Rejected: i % 3 / 2,
			AmplitudeReference: 0.1019 * level, AmplitudeDevice: cmplx.Abs(s) * level, DistortionReference: 0.02 / f, DistortionDevice: 0.021 / f,
			ResidualReference: 21e-6, ResidualDevice: 83e-6},
	}
	p.Plan.Recording = fresh(p.Plan.Recording)
	p.Plan.Recording.Name, p.Plan.Recording.ID = name, digest(name)
	p.Remarks = []calibration.Remark{{Code: "import", Text: "recording " + name + ": the file names no unit: V taken"}}
	if f == 1 {
		p.OutOfScope = true
		p.Remarks = append(p.Remarks, calibration.Remark{Code: "outside-scope", Text: "1 Hz is outside the laboratory's scope"},
			calibration.Remark{Code: "level", Text: "level found 0.1765 m/s² peak, nominal 0.9807 m/s² peak"})
	}
	if f == 50 || f == 100 {
		p.Remarks = append(p.Remarks, calibration.Remark{Code: "mains-harmonic", Text: fmt.Sprintf("%g Hz lies on multiple %.0f of the mains frequency: hum there cannot be seen in this recording; its amplitude is taken from the recordings at other frequencies", f, f/50)})
	}
	if i%3 == 2 {
		p.Remarks = append(p.Remarks, calibration.Remark{Code: "blocks-rejected", Text: "1 of 31 blocks were disturbed and left out"})
	}
	if f == 2 {
		p.Reported.UModulus, p.Reported.RaisedModulus = 0.012, true
	}
	if f != reference {
		d := budget(f, s/sensitivity(reference), false)
		for i := range d.Rows {
			if d.Rows[i].Influence == "reference certificate" {
				d.Rows[i].Modulus *= 0.6
			}
		}
		ds := simulation(d, 20261125+uint64(n+i))
		p.Deviation = &calibration.Deviation{Value: cmplx.Abs(s/sensitivity(reference)) - 1, Budget: d, Simulation: ds, Reported: stated(d, ds, i == n-1)}
	}
	return p
}
