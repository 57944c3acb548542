package run

import (
	"encoding/json"
	"fmt"
	"math"
	"time"

	"plumbline/bench"
	"plumbline/steady"
)

// Schema names this version of the run folder. A reader refuses a schema it does not know.
const Schema = "plumbline/run/1"

// headName is the file that says what the run is to do. It is written once.
const headName = "run.json"

// Head is what a run is to do, and from which files that follows.
type Head struct {
	Schema  string    `json:"schema"`
	Program string    `json:"program"` // version
	Created time.Time `json:"created"`
	Job     string    `json:"job"`    // number
	Device  string    `json:"device"` // serial
	Driver  string    `json:"driver"`
	Files   []File    `json:"files"` // of the job, the job file first
	Steps   []Step    `json:"steps"` // in the order of measuring
}

// File is a file of the job with its digest.
type File struct {
	Name   string `json:"name"`   // below the folder of the job's files, with slashes
	SHA256 string `json:"sha256"` // lower-case hex
}

// Step is a point, or the points of a multisine, as planned.
type Step struct {
	Label      string  `json:"label"`
	Points     []int   `json:"points"` // numbers of the points from 1
	Lines      []Tone  `json:"lines"`
	Repeat     bool    `json:"repeat,omitempty"` // of an earlier step
	Judge      Judge   `json:"judge"`
	Block      float64 `json:"block_s"`
	Least      float64 `json:"least_s,omitempty"`
	Longest    float64 `json:"longest_s"`
	Distortion float64 `json:"distortion,omitempty"`
}

// Tone is one line of the motion.
type Tone struct {
	Frequency float64 `json:"frequency_Hz"`
	Level     float64 `json:"level_m_per_s2"`
	Phase     float64 `json:"phase_rad,omitempty"`
}

// Judge is what the judge of a step is told.
type Judge struct {
	Rule    string  `json:"rule"`
	Modulus float64 `json:"half_width_modulus"`
	Phase   float64 `json:"half_width_phase_rad,omitempty"`
	TauMax  float64 `json:"longest_time_constant_blocks"`
	Limit   int     `json:"most_blocks,omitempty"`
	Level   bool    `json:"level,omitempty"`
}

// StepOf is the record of a step.
func StepOf(s bench.Step) Step {
	out := Step{Label: s.Label, Repeat: s.Repeat, Block: s.Block, Least: s.Least, Longest: s.Longest, Distortion: s.Distortion,
		Judge: Judge{s.Judge.Rule.String(), s.Judge.Modulus, s.Judge.Phase, s.Judge.TauMax, s.Judge.Limit, s.Judge.Level}}
	for _, p := range s.Points {
		out.Points = append(out.Points, p+1)
	}
	for _, l := range s.Lines {
		out.Lines = append(out.Lines, Tone(l))
	}
	return out
}

// Outcome is what a step came to.
type Outcome struct {
	Answers  []Answer  `json:"answers"`
	Level    []float64 `json:"level_m_per_s2"`
	Seconds  float64   `json:"seconds"`
	Held     float64   `json:"held_from_s,omitempty"`  // of the recording: before it the level was led to its value
	Reason   string    `json:"kept_because,omitempty"` // of a point that was not steady
	Operator string    `json:"operator,omitempty"`
}

// Answer is what the judge said of a line.
type Answer struct {
	State   string    `json:"state"`
	Blocks  int       `json:"blocks"`
	Dropped int       `json:"dropped,omitempty"`
	TauMax  float64   `json:"longest_time_constant_blocks"`
	Modulus *Estimate `json:"ln_modulus,omitempty"`
	Phase   *Estimate `json:"phase_rad,omitempty"`
}

// Estimate is one component of ln ratio. A half width that is not known is absent.
type Estimate struct {
	Mean      float64  `json:"mean"`
	HalfWidth *float64 `json:"half_width,omitempty"`
	Dof       float64  `json:"dof"`
	Discarded int      `json:"discarded,omitempty"`
	Replaced  int      `json:"replaced,omitempty"`
	Reached   bool     `json:"reached"`
}

// Steady reports whether every line was steady.
func (o Outcome) Steady() bool {
	for _, a := range o.Answers {
		if a.State != steady.Steady.String() {
			return false
		}
	}
	return len(o.Answers) > 0
}

func outcomeOf(o bench.Outcome) Outcome {
	out := Outcome{Level: o.Level, Seconds: o.Seconds, Held: o.Held, Reason: o.Reason, Operator: o.Operator}
	for _, a := range o.Answers {
		out.Answers = append(out.Answers, Answer{State: a.State.String(), Blocks: a.Blocks, Dropped: a.Dropped, TauMax: a.TauMax,
			Modulus: estimateOf(a.Modulus), Phase: estimateOf(a.Phase)})
	}
	return out
}

func estimateOf(e steady.Estimate) *Estimate {
	if !e.Judged || math.IsNaN(e.Mean) || math.IsInf(e.Mean, 0) {
		return nil
	}
	out := &Estimate{Mean: e.Mean, Dof: e.Dof, Discarded: e.Discarded, Replaced: e.Replaced, Reached: e.Reached}
	if h := e.HalfWidth; h > 0 && !math.IsInf(h, 1) {
		out.HalfWidth = &h
	}
	return out
}

// Answer is the judge's answer as far as it was kept, for comparing two measurements of a point.
func (a Answer) Answer() steady.Answer {
	back := func(e *Estimate) steady.Estimate {
		if e == nil {
			return steady.Estimate{}
		}
		half := math.Inf(1)
		if e.HalfWidth != nil {
			half = *e.HalfWidth
		}
		return steady.Estimate{Judged: true, Mean: e.Mean, HalfWidth: half, Dof: e.Dof, Discarded: e.Discarded, Replaced: e.Replaced, Reached: e.Reached}
	}
	return steady.Answer{Blocks: a.Blocks, Dropped: a.Dropped, TauMax: a.TauMax, Modulus: back(a.Modulus), Phase: back(a.Phase)}
}

// parseHead reads run.json.
func parseHead(dir string, content []byte) (h Head, err error) {
	if err := json.Unmarshal(content, &h); err != nil {
		return h, fmt.Errorf("run %s: %s: %w", dir, headName, err)
	}
	if h.Schema != Schema {
		return h, fmt.Errorf("run %s: schema %q, allowed is %q", dir, h.Schema, Schema)
	}
	return h, nil
}

// figures is the JSON of a remark's data; what JSON cannot hold, as an infinite number, is written as text.
func figures(data any) json.RawMessage {
	if data == nil {
		return nil
	}
	text, err := json.Marshal(data)
	if err != nil {
		text, _ = json.Marshal(fmt.Sprintf("%+v", data)) // a string can always be written
	}
	return text
}
