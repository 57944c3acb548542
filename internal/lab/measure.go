package lab

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"strings"

	"plumbline/bench"
	"plumbline/calibration"
	"plumbline/internal/jobfile"
	"plumbline/plan"
	"plumbline/quantity"
)

// Measurement is a job that is about to be measured.
type Measurement struct {
	Job     *jobfile.Job
	Bench   jobfile.Bench
	Plan    *plan.Plan // nil where the program does not drive the exciter and nothing is planned
	Steps   []bench.Step
	Before  int    // programs that drove the run before this one
	path    string // of the job file
	of      []int  // by point: number in the job file, from 0; -1 none
	version string
}

// Prepare reads a job for measuring and makes the steps of its points.
func (l Lab) Prepare(job string) (*Measurement, error) {
	j, request, b, err := jobfile.LoadBench(jobfile.OS, filepath.ToSlash(job))
	if err != nil {
		return nil, err
	}
	m := &Measurement{Job: j, Bench: b, path: job, version: l.Version}
	if !b.Drives() {
		return m, m.listed()
	}
	p, err := plan.Make(request)
	if err != nil {
		return nil, err
	}
	m.Plan = &p
	if len(p.Points) == 0 {
		return nil, fmt.Errorf("nothing can be measured: %s", p.Infeasible[0].Reason)
	}
	if err := m.ownLevels(); err != nil {
		return nil, err
	}
	return m, m.planned()
}

// sameFrequency is how far, relative, two frequencies may differ that a job and its plan state for the same point.
const sameFrequency = 1e-6

// ownLevels puts the levels that the job's points state in the place of the plan's.
func (m *Measurement) ownLevels() error {
	r := m.Plan.Request
	var errs []error
	for i := range m.Plan.Points {
		p := &m.Plan.Points[i]
		for _, q := range m.Job.Calibration.Points {
			if math.Abs(q.Frequency/p.Wanted-1) > sameFrequency || math.IsNaN(q.Level) || p.Together {
				continue
			}
			level := motion(m.Job.Calibration.Device.Unit).To(quantity.Acceleration, q.Level, p.Frequency)
			if level > p.Highest*(1+1e-9) {
				errs = append(errs, fmt.Errorf("%s: %s is wanted, the %s admits %s", q.Label, r.LevelText(level, p.Frequency), p.Binding, r.LevelText(p.Highest, p.Frequency)))
			}
			p.Level, p.LevelFrom = level, "job"
		}
	}
	return errors.Join(errs...)
}

// motion is the quantity of motion a transducer with sensitivities in the unit senses.
func motion(sensitivity quantity.Unit) quantity.Motion {
	_, input, _ := sensitivity.Per()
	m, _ := quantity.MotionOf(input)
	return m
}

// planned makes the steps of the plan.
func (m *Measurement) planned() error {
	p, r := m.Plan, m.Plan.Request
	var together []plan.Point
	number := map[float64]int{} // of the point, by its frequency
	for _, q := range p.Points {
		if q.Together {
			together = append(together, q)
			continue
		}
		if _, known := number[q.Frequency]; !known {
			number[q.Frequency] = m.point(-1)
		}
		c := m.Job.Calibration
		judge, err := c.LiveJudge(q.Frequency, q.Block)
		if err != nil {
			return err
		}
		m.step(bench.Step{Points: []int{number[q.Frequency]}, Label: r.PointText(q), Lines: []bench.Line{{Frequency: q.Frequency, Level: q.Level}}, Repeat: q.Repeat, Judge: judge,
			Block: q.Block, Least: c.Procedure.LeastHeld(q.Frequency, q.Block), Longest: r.Wish.Longest, Distortion: m.Bench.Distortion})
	}
	if p.Multisine == nil {
		return nil
	}
	share, err := m.shareOf(p.Multisine.Lines)
	if err != nil {
		return err
	}
	s := bench.Step{Label: fmt.Sprintf("multisine of %d lines", len(together)), Block: p.Multisine.Period, Longest: r.Wish.Longest}
	for _, l := range p.Multisine.Lines {
		s.Points, s.Lines = append(s.Points, m.point(-1)), append(s.Lines, bench.Line{Frequency: l.Frequency, Level: l.Level * min(1, mostOfLimit/share), Phase: l.Phase})
	}
	if s.Judge, err = m.Job.Calibration.LiveJudge(s.Lines[0].Frequency, s.Block); err != nil {
		return err
	}
	s.Least, s.Longest = leastPeriods*s.Block, s.Longest*float64(len(s.Lines)) // the longest time is that of one point
	last := len(m.Steps)                                                       // what is measured together comes before what is repeated
	for last > 0 && m.Steps[last-1].Repeat {
		last--
	}
	m.step(s)
	repeats := slices.Clone(m.Steps[last : len(m.Steps)-1])
	m.Steps = append(append(m.Steps[:last:last], m.Steps[len(m.Steps)-1]), repeats...)
	return nil
}

// mostOfLimit is the share of the limits that the lines of a multisine take together when all peaks meet: whoever drives it cannot rely on the phases planned.
const mostOfLimit = 0.98

// shareOf is the sum of the levels of lines over their limits.
func (m *Measurement) shareOf(lines []plan.Line) (share float64, err error) {
	for _, l := range lines {
		highest, _, err := m.Plan.Request.Highest(l.Frequency)
		if err != nil {
			return 0, err
		}
		share += l.Level / highest
	}
	return share, nil
}

// point counts a point; of is its number in the job file.
func (m *Measurement) point(of int) int {
	m.of = append(m.of, of)
	return len(m.of) - 1
}

// leastPeriods is the least number of periods of a multisine at the level held: lines are told apart in six stretches of half a period.
const leastPeriods = 3

// step adds a step; its label is made different from those before it.
func (m *Measurement) step(s bench.Step) {
	for n := 2; slices.ContainsFunc(m.Steps, func(q bench.Step) bool { return q.Label == s.Label }); n++ {
		s.Label = fmt.Sprintf("%s (%d)", strings.TrimSuffix(s.Label, fmt.Sprintf(" (%d)", n-1)), n)
	}
	m.Steps = append(m.Steps, s)
}

// listed makes the steps of the points that the job lists.
func (m *Measurement) listed() error {
	first := map[float64]int{}
	for i, p := range m.Job.Calibration.Points {
		block := plan.BlockLength(p.Frequency, m.Job.Calibration.Procedure.Mains)
		if m.Bench.Driver == jobfile.DriverReadings {
			block = m.Bench.Readings.Interval
		}
		judge, err := m.Job.Calibration.LiveJudge(p.Frequency, block)
		if err != nil {
			return err
		}
		if m.Bench.Driver == jobfile.DriverReadings {
			judge.Phase, judge.Level = 0, false
		}
		number, known := first[p.Frequency]
		if !known {
			number = m.point(i)
			first[p.Frequency] = number
		}
		s := bench.Step{Points: []int{number}, Label: p.Label, Repeat: p.Repeat, Judge: judge, Block: block, Lines: []bench.Line{{Frequency: p.Frequency}}}
		if !math.IsNaN(p.Level) {
			s.Lines[0].Level = motion(m.Job.Calibration.Device.Unit).To(quantity.Acceleration, p.Level, p.Frequency)
		}
		m.step(s)
	}
	return nil
}

// Instruments is a bench that was opened.
type Instruments struct {
	Exciter   bench.Exciter
	Digitizer bench.Digitizer
	FullScale bool // samples are fractions of full scale; else volts
}

// Set is what the bench is told, without archive and people.
func (m *Measurement) Set(i Instruments) bench.Set {
	r := m.Plan.Request
	reference, device := r.Channels()
	input := func(c plan.Channel, chain calibration.Chain) bench.Input {
		in := bench.Input{Column: chain.Column, Scale: 1, Sensitivity: c.Sensitivity, Limit: c.Limit, Noise: c.Noise}
		if i.FullScale {
			in.Scale = chain.FullScale()
		}
		return in
	}
	level := func(f float64) float64 {
		highest, _, err := r.Highest(f)
		if err != nil {
			return 0 // nothing is admitted where nothing is known
		}
		return highest
	}
	return bench.Set{
		Exciter: i.Exciter, Digitizer: i.Digitizer, Limits: bench.Limits{Drive: m.Bench.Drive, Slew: m.Bench.Slew, Level: level},
		Reference: input(reference, r.Job.ReferenceChain), Device: input(device, r.Job.DeviceChain), Steps: m.Steps, Quiet: m.Bench.Quiet,
		Harmonics: r.Job.Procedure.Harmonics, Drift: r.Job.Procedure.Drift, Mains: r.Job.Procedure.Mains,
	}
}

// Checklist is what is asked before a run: a key that stays the same, and the question.
func (m *Measurement) Checklist() []Check {

	mounting := "The transducers are mounted as the procedure says, surfaces clean"
	if stated := m.Job.Particulars.Mounting; stated != "" {
		mounting += " (the job says: " + stated + ")"
	}
	list := []Check{
		{"mounting", mounting},
		{"torque", "Screws and studs are tightened with the torque stated"},
		{"cable", "Cables are fixed so that they neither pull nor rub"},
		{"orientation", "The sensing axes lie in the direction of motion"},
		{"serials", fmt.Sprintf("Device %s and reference %s are the ones mounted, each at its channel", m.Job.Calibration.Device.Serial, m.Job.Calibration.Reference.Serial)},
		{"warm-up", "Exciter, amplifiers and transducers are warm"},
	}
	if m.Plan != nil && m.Plan.WarmUp > 0 {
		list[len(list)-1].Question += fmt.Sprintf(": at least %.0f min since switching on (%s)", math.Ceil(m.Plan.WarmUp/60), m.Plan.WarmUpFrom)
	}
	list = append(list,
		Check{"emergency-stop", "A hardware emergency stop that cuts the exciter's power is within reach: no program stops an exciter when the computer or the network is dead"},
		Check{"hands-clear", "Hands, tools and loose things are clear of the table"},
		Check{"payload", "The payload is secured and within what the exciter carries"})
	for i, text := range m.Bench.Checklist {
		list = append(list, Check{fmt.Sprintf("laboratory-%d", i+1), text})
	}
	return list
}

// Check is one line of the checklist.
type Check struct {
	Key      string `json:"key"`
	Question string `json:"question"`
}

// samePlan reports whether two steps are the same to the last digit.
func samePlan(a, b any) bool {
	x, e1 := json.Marshal(a)
	y, e2 := json.Marshal(b)
	return e1 == nil && e2 == nil && string(x) == string(y)
}
