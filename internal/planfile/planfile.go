// Package planfile is the machine-readable plan: versioned JSON, and its points as a job file has them.
package planfile

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"strings"

	"plumbline/calibration"
	"plumbline/plan"
)

// Schema names this version of the format. A reader refuses a schema it does not know.
const Schema = "plumbline/plan/1"

// File is the plan. Levels are accelerations, peak; uncertainties are relative unless their key says otherwise. Numbers that do not exist are absent.
type File struct {
	Schema      string     `json:"schema"`
	Program     string     `json:"program"` // version
	Job         string     `json:"job"`
	Device      string     `json:"device"`    // serial
	Reference   string     `json:"reference"` // serial
	Exciter     string     `json:"exciter"`   // serial
	Probability float64    `json:"coverage_probability"`
	Wanted      Wanted     `json:"wanted"`
	Points      []Point    `json:"points"` // in the order of measuring
	Infeasible  []Point    `json:"infeasible"`
	Multisine   *Multisine `json:"multisine,omitempty"`
	WarmUp      float64    `json:"warm_up_s"`
	Bench       float64    `json:"bench_s"`
	ChangeOver  float64    `json:"change_over_s"`
	Total       float64    `json:"total_s"`
	Distinct    int        `json:"distinct_points"`
	LeastPoints int        `json:"least_points"`
	Enough      bool       `json:"enough_points"`
	MeetsTarget bool       `json:"meets_target"`
	Remarks     []Remark   `json:"remarks"`
	Deviations  []Remark   `json:"deviations_from_method"`
}

// Wanted is what was asked of the set.
type Wanted struct {
	TypeA   float64 `json:"type_a_expanded,omitempty"`
	U       float64 `json:"U,omitempty"`
	Time    float64 `json:"time_s,omitempty"`
	Longest float64 `json:"longest_point_s"`
}

// Point is one frequency.
type Point struct {
	Frequency    float64  `json:"frequency_Hz"`
	Wanted       float64  `json:"wanted_Hz"`
	Level        float64  `json:"level_m_per_s2,omitempty"`
	LevelFrom    string   `json:"level_from,omitempty"`
	Displacement float64  `json:"displacement_m,omitempty"`
	Velocity     float64  `json:"velocity_m_per_s,omitempty"`
	Highest      float64  `json:"highest_level_m_per_s2,omitempty"`
	Binding      string   `json:"binding_limit,omitempty"`
	Limits       []Limit  `json:"limits,omitempty"`
	Noise        *Noise   `json:"noise_per_root_Hz,omitempty"`
	Settling     float64  `json:"settling_s,omitempty"`
	Measuring    float64  `json:"measuring_s,omitempty"`
	Cycles       float64  `json:"cycles,omitempty"`
	Block        float64  `json:"block_s,omitempty"`
	TauMax       float64  `json:"longest_time_constant_blocks,omitempty"`
	Rate         float64  `json:"rate_per_s,omitempty"`
	TypeA        float64  `json:"type_a_standard,omitempty"`
	Claim        float64  `json:"type_a_claim_expanded,omitempty"`
	U            *float64 `json:"U,omitempty"`
	K            *float64 `json:"k,omitempty"`
	UPhase       *float64 `json:"U_phase_rad,omitempty"`
	Evaluation   string   `json:"evaluation,omitempty"`
	Largest      string   `json:"largest_influence,omitempty"`
	LargestShare float64  `json:"largest_share_of_variance,omitempty"`
	MeetsTarget  bool     `json:"meets_target"`
	Together     bool     `json:"in_multisine,omitempty"`
	Repeat       bool     `json:"repeat,omitempty"`
	Reason       string   `json:"infeasible,omitempty"`
	Remedies     []string `json:"remedies,omitempty"`
	Remarks      []Remark `json:"remarks,omitempty"`
}

// Limit is the highest level that one cause admits.
type Limit struct {
	Name  string  `json:"name"`
	Level float64 `json:"level_m_per_s2"`
}

// Noise is the noise of the ratio referred to the level, in 1/√Hz.
type Noise struct {
	Total             float64 `json:"total"`
	Reference         float64 `json:"reference"`
	Device            float64 `json:"device"`
	ReferenceRecorder float64 `json:"recorder_reference_channel"`
	DeviceRecorder    float64 `json:"recorder_device_channel"`
	Ground            float64 `json:"ground_not_common"`
}

// Multisine is the points measured together.
type Multisine struct {
	Period    float64 `json:"period_s"`
	Periods   int     `json:"periods"`
	Settling  float64 `json:"settling_s"`
	Measuring float64 `json:"measuring_s"`
	Bench     float64 `json:"bench_s"`
	OneByOne  float64 `json:"one_by_one_s"`
	TypeA     float64 `json:"type_a_standard"`
	Binding   string  `json:"binding_limit"`
	Crest     float64 `json:"peak_over_sum_of_lines"`
	Seed      uint64  `json:"seed"`
	Lines     []Line  `json:"lines"`
}

// Line is one sine of the multisine, acceleration Level cos(2πft + Phase).
type Line struct {
	Frequency float64 `json:"frequency_Hz"`
	Wanted    float64 `json:"wanted_Hz"`
	Level     float64 `json:"level_m_per_s2"`
	Phase     float64 `json:"phase_rad"`
}

// Remark is something to know.
type Remark struct {
	Code string `json:"code"`
	Text string `json:"text"`
}

// Make is the file of a plan made by a version of the program.
func Make(p plan.Plan, version string) File {
	r := p.Request
	f := File{
		Schema: Schema, Program: version, Job: r.Job.Number, Device: r.Job.Device.Serial, Reference: r.Job.Reference.Serial, Exciter: r.Exciter.Serial,
		Probability: r.Job.Procedure.Probability, Wanted: Wanted{r.Wish.TypeA, r.Wish.U, r.Wish.Time, r.Wish.Longest},
		Points: points(p.Points), Infeasible: points(p.Infeasible), WarmUp: p.WarmUp, Bench: p.Bench, ChangeOver: p.ChangeOver, Total: p.Total,
		Distinct: p.Distinct, LeastPoints: r.Job.Procedure.LeastPoints, Enough: p.Enough, MeetsTarget: p.MeetsTarget,
		Remarks: remarks(p.Remarks), Deviations: remarks(p.Deviations),
	}
	if m := p.Multisine; m != nil {
		f.Multisine = &Multisine{Period: m.Period, Periods: m.Periods, Settling: m.Settling, Measuring: m.Measuring, Bench: m.Bench, OneByOne: m.Stepped,
			TypeA: m.Std, Binding: m.Binding, Crest: m.Crest, Seed: m.Seed}
		for _, l := range m.Lines {
			f.Multisine.Lines = append(f.Multisine.Lines, Line(l))
		}
	}
	return f
}

func remarks(all []calibration.Remark) []Remark {
	out := make([]Remark, 0, len(all))
	for _, m := range all {
		out = append(out, Remark(m))
	}
	return out
}

func points(all []plan.Point) []Point {
	out := make([]Point, 0, len(all))
	for _, p := range all {
		q := Point{
			Frequency: p.Frequency, Wanted: p.Wanted, Level: p.Level, LevelFrom: p.LevelFrom, Displacement: p.Displacement, Velocity: p.Velocity,
			Highest: p.Highest, Binding: p.Binding, Settling: p.Settling, Measuring: p.Measuring, Cycles: p.Cycles, Block: p.Block, TauMax: p.TauMax, Rate: p.Rate,
			TypeA: p.StdTypeA, Claim: p.Claim, Evaluation: string(p.Evaluation), Largest: p.Largest, LargestShare: p.LargestShare,
			MeetsTarget: p.MeetsTarget, Together: p.Together, Repeat: p.Repeat, Reason: p.Reason, Remedies: p.Remedies,
		}
		for _, l := range p.Limits {
			q.Limits = append(q.Limits, Limit(l))
		}
		if p.Reason == "" {
			n := p.Noise
			q.Noise = &Noise{n.Total(), n.Reference, n.Device, n.ReferenceRecorder, n.DeviceRecorder, n.Ground}
			q.U, q.K, q.UPhase = number(p.U), number(p.K), number(p.UPhase)
		}
		if len(p.Remarks) > 0 {
			q.Remarks = remarks(p.Remarks)
		}
		out = append(out, q)
	}
	return out
}

func number(x float64) *float64 {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return nil
	}
	return &x
}

// Write writes the file as indented JSON.
func Write(w io.Writer, f File) error {
	e := json.NewEncoder(w)
	e.SetIndent("", "  ")
	e.SetEscapeHTML(false)
	return e.Encode(f)
}

// Read reads a file. One of another schema is an error.
func Read(r io.Reader) (File, error) {
	var f File
	if err := json.NewDecoder(r).Decode(&f); err != nil {
		return f, fmt.Errorf("plan: %w", err)
	}
	if f.Schema != Schema {
		return f, fmt.Errorf("plan: schema %q, allowed is %q", f.Schema, Schema)
	}
	return f, nil
}

// WritePoints writes the points as tables [[point]] of a job file, in the order of measuring, repeated ones with repeat = true.
func WritePoints(w io.Writer, p plan.Plan) error {
	if _, err := fmt.Fprintf(w, "# Planned points of job %s. The names of the recordings are proposals.\n", p.Request.Job.Number); err != nil {
		return err
	}
	for i, q := range p.Points {
		level := p.Request.LevelText(q.Level, q.Frequency)
		repeat := ""
		if q.Repeat {
			repeat = "repeat = true # to be compared with the first time\n"
		}
		recording := fmt.Sprintf("point-%02d-%.4gHz.wav", i+1, q.Frequency)
		together := ""
		if q.Together { // one recording holds every line
			recording, together = "multisine.wav", "together = "+lines(p.Multisine)+"\n"
		}
		if _, err := fmt.Fprintf(w, "\n[[point]] # %.3g s to settle, %.3g s to measure\nfrequency = \"%.9g Hz\"\nlevel = %q\nrecording = %q\n%s%s",
			q.Settling, q.Measuring, q.Frequency, level, recording, together, repeat); err != nil {
			return err
		}
	}
	return nil
}

// lines is every line of a multisine as a job file has them.
func lines(m *plan.Multisine) string {
	var all []string
	for _, l := range m.Lines {
		all = append(all, fmt.Sprintf("\"%.9g Hz\"", l.Frequency))
	}
	return "[" + strings.Join(all, ", ") + "]"
}
