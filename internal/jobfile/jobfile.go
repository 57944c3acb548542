// Package jobfile reads the files a laboratory writes for a calibration: job, assets, procedure, certificate tables and readings.
package jobfile

import (
	"fmt"
	"math"
	"path"

	"plumbline/calibration"
	"plumbline/certificate"
	"plumbline/conformity"
	"plumbline/plan"
)

// Job is what the files say. The recordings are named, not opened: Calibration.Points[i].Recording and
// Exchanged are nil throughout.
type Job struct {
	Calibration calibration.Job
	Particulars certificate.Particulars
	Rule        RuleSpec
	Items       conformity.Items // what is known of items like the device, for the global risk
	Recordings  []PointRecording
	Files       []File // every file read, the job file first, in order of reading
	plan        plan.Request
	bench       Bench
	root        *node            // tree of the job file
	refs        map[*node]string // its values that name files, with the names they were read by
}

// PointRecording says which file holds the recording of a point.
type PointRecording struct {
	Point     int    // index into Calibration.Points
	Exchanged bool   // the second recording of the point, with the transducers exchanged between the channels
	File      string // as written, with slashes, relative to the job file or to the folder of recordings
	Options   Options
	Where     string // file:line:column of the name, for messages
}

// Options overrule what a recording's file says of itself or what would be guessed. The zero value overrules nothing.
type Options struct {
	Rate  float64  // samples per second; 0 as the file says
	Units []string // unit of each channel in order, "" as the file says

	// Text files only.
	Delimiter   string // "tab", "blank", ";", ",", "|"
	DecimalMark string // "." or ","
	Encoding    string // "utf-8", "utf-16le", "utf-16be", "windows-1252"
	HeaderLines *int
	TimeColumn  string // name or number from 1, or "none"
}

// Load reads a job file and the files it names. The error is a Problems with everything that is wrong in them.
func Load(open Opener, name string) (*Job, error) {
	job, d := load(open, name)
	return job, d.err()
}

func load(open Opener, name string) (*Job, *decoder) {
	d := newDecoder(open)
	return d.load(path.Clean(name)), d
}

func newDecoder(open Opener) *decoder {
	return &decoder{open: open, known: map[string][]string{}, parsed: map[string]*node{}, sheets: map[string]*sheet{}, refs: map[*node]string{}}
}

// load reads the job file and what it names; nil where something is wrong.
func (d *decoder) load(name string) *Job {
	content, err := d.read(name)
	if err != nil {
		d.wrong(position{name, 1, 1}, "", "%v", err)
		return nil
	}
	root, problem := parse(name, content)
	if problem != nil {
		d.problems = append(d.problems, *problem)
		return nil
	}
	job := readJob(&table{d: d, n: root})
	job.Files, job.root, job.refs = d.files, root, d.refs
	if len(d.problems) > 0 {
		return nil
	}
	return job
}

// readJob reads all tables of a job file.
func readJob(t *table) *Job {
	j := &Job{}
	c := &j.Calibration
	c.Clock = math.NaN()
	readHead(t.mustTable("job"), j)
	readLaboratory(t.asset("laboratory"), j)
	j.Particulars.Customer = readAddress(t.asset("customer"))
	c.Device, j.Particulars.CustomerData = readDevice(t.asset("device"))
	reference := t.asset("reference")
	standard := standardOf(reference)
	var steps [2]float64
	c.Reference, steps = readReference(reference, standard, c.Device.Unit)
	readChannels(t, c, standard)
	c.Conditions = readConditions(t.asset("conditions"))
	j.Particulars.Mounting = readMounting(t.asset("mounting"))
	var open openQuestions
	c.Procedure, open = readProcedure(t.asset("procedure"))
	c.Procedure.DisplayResolution = steps
	readPoints(t, j, standard)
	j.Rule, j.Items = readDecision(t, c.Device)
	c.ValidityOverride = readOverride(t.optionalTable("override"))
	j.bench = readBench(t)
	checkBench(t, j.bench, standard)
	j.plan = readPlan(t, c, j.bench)
	t.close()
	open.settle(t.d, c.Reference)
	return j
}

func readOverride(t *table) string {
	defer t.close()
	person, reason := t.text("person"), t.text("reason")
	if t.absent() {
		return ""
	}
	return fmt.Sprintf("%s (%s)", reason, person)
}
