package jobfile

import (
	"path"

	"plumbline/plan"
	"plumbline/quantity"
)

// Names of the drivers of a bench.
const (
	DriverSimulator = "simulator"
	DriverAudio     = "audio"
	DriverSCPI      = "scpi"
	DriverFolder    = "folder"
	DriverReadings  = "readings"
)

// Bench is how the points of a job are measured.
type Bench struct {
	Driver     string
	Drive      float64 // V peak at the exciter's input that is never exceeded
	Slew       float64 // V/s, fastest growth of the drive
	Quiet      float64 // s, length of the check with the exciter silent
	Distortion float64 // of the motion, relative, above which it is corrected; 0: it is not
	Checklist  []string
	Simulator  SimulatorBench
	Audio      AudioBench
	SCPI       SCPIBench
	Folder     FolderBench
	Readings   ReadingsBench
}

// Drives reports whether the program drives an exciter.
func (b Bench) Drives() bool {
	return b.Driver == DriverSimulator || b.Driver == DriverAudio || b.Driver == DriverSCPI
}

// SimulatorBench is a bench without hardware.
type SimulatorBench struct {
	Seed     uint64
	RealTime bool // as slow as a bench; else as fast as the machine allows
}

// AudioBench is an audio interface.
type AudioBench struct {
	Server                      string // empty: what the environment names
	Output, Input               string // names at the server
	Rate                        int    // samples per second
	OutputChannel               int    // from 1
	FullScale                   float64
	CounterOutput, CounterInput int // channels of the frame counter, from 1; 0: none
}

// SCPIBench is instruments with a network address. The dialects are the contents of their files.
type SCPIBench struct {
	Generator        string   // host, or host:port
	Digitizer        []string // of one digitizer, or of voltmeters whose channels follow one another
	GeneratorDialect []byte
	DigitizerDialect []byte
	Rate             float64 // samples per second
	Burst            float64 // s, length of an acquisition where the digitizer's dialect is one of bursts; 0: it is not
}

// FolderBench is a folder in which recordings made elsewhere arrive.
type FolderBench struct {
	Path   string   // as written, relative to the job file
	Stable float64  // s for which a file must not have changed
	Units  []string // of the channels, where the files cannot say them
}

// ReadingsBench is a display that a person reads.
type ReadingsBench struct {
	Interval float64 // s between readings
	Unit     string  // of the displayed sensitivity
	Level    string  // unit of the displayed level, with peak or rms; empty: it is not typed
}

// LoadBench reads a job file for measuring: as LoadPlan, with the table [bench]. Where the program does not drive the exciter, [exciter] and [plan] are not needed, and
// the points must be there; planned says whether there is a plan.
func LoadBench(open Opener, name string) (job *Job, r plan.Request, b Bench, err error) {
	d := newDecoder(open)
	d.planning, d.measuring = true, true
	job = d.load(path.Clean(name))
	if err := d.err(); err != nil {
		return nil, plan.Request{}, Bench{}, err
	}
	return job, job.plan, job.bench, nil
}

// readBench reads the table [bench].
func readBench(root *table) (b Bench) {
	t := root.optionalAsset("bench")
	if root.d.measuring {
		root.need("bench", "the table [bench]")
	}
	defer t.close()
	b.Driver = t.choice("driver", DriverSimulator, DriverAudio, DriverSCPI, DriverFolder, DriverReadings)
	b.Checklist = t.lines("checklist")
	readDrive(t, &b)
	tables := map[string]*table{}
	for _, name := range []string{DriverSimulator, DriverAudio, DriverSCPI, DriverFolder, DriverReadings} {
		tables[name] = t.optionalTable(name)
		if name != b.Driver && t.has(name) {
			t.wrong(name, "the driver is %q, so this table does not belong here", b.Driver)
		}
	}
	if b.Driver != "" {
		t.need(b.Driver, "the table [bench."+b.Driver+"]")
	}
	b.Simulator, b.Audio, b.SCPI = readSimulatorBench(tables[DriverSimulator]), readAudioBench(tables[DriverAudio]), readSCPIBench(tables[DriverSCPI])
	b.Folder, b.Readings = readFolderBench(tables[DriverFolder]), readReadingsBench(tables[DriverReadings])
	return b
}

// readDrive reads what belongs to driving an exciter.
func readDrive(t *table, b *Bench) {
	keys := []string{"drive_limit", "full_drive_in", "quiet", "distortion"}
	if b.Driver != "" && !b.Drives() {
		for _, key := range keys {
			if t.has(key) {
				t.wrong(key, "driver %q does not drive the exciter", b.Driver)
			}
		}
		return
	}
	b.Drive = t.positive("drive_limit", quantity.VoltageSpan)
	if rise := t.positive("full_drive_in", quantity.Time); rise > 0 {
		b.Slew = b.Drive / rise
	}
	b.Quiet = t.positive("quiet", quantity.Time)
	if t.has("distortion") {
		b.Distortion = t.positive("distortion", quantity.Relative)
	}
}

func readSimulatorBench(t *table) (s SimulatorBench) {
	defer t.close()
	s.Seed = uint64(t.whole("seed", 0, 1<<62))
	s.RealTime = t.flag("real_time")
	return s
}

func readAudioBench(t *table) (a AudioBench) {
	defer t.close()
	a.Server = t.optionalText("server")
	a.Output, a.Input = t.text("output"), t.text("input")
	a.Rate = int(t.whole("rate", 1000, 1_000_000))
	a.OutputChannel = int(t.whole("output_channel", 1, 64))
	a.FullScale = t.positive("output_full_scale", quantity.VoltageSpan)
	out, _ := t.optionalWhole("counter_output", 1, 64)
	in, _ := t.optionalWhole("counter_input", 1, 64)
	a.CounterOutput, a.CounterInput = int(out), int(in)
	if t.has("counter_output") != t.has("counter_input") {
		t.wrong("counter_output", "counter_output and counter_input belong together: the frame counter goes out at one and comes back at the other")
	}
	return a
}

func readSCPIBench(t *table) (s SCPIBench) {
	defer t.close()
	s.Generator, s.Digitizer = t.text("generator"), t.mustLines("digitizer")
	s.GeneratorDialect, s.DigitizerDialect = t.beside("generator_dialect"), t.beside("digitizer_dialect")
	s.Rate = t.positive("rate", quantity.Frequency)
	if t.has("burst") {
		s.Burst = t.positive("burst", quantity.Time)
	}
	return s
}

// beside is the content of the file that a key names.
func (t *table) beside(key string) []byte {
	t.need(key, "the name of a file")
	n, ok := t.one(key, kindText, "the name of a file")
	if !ok {
		return nil
	}
	name, err := resolve(n.at.file, n.text)
	if err != nil {
		t.wrong(key, "%v", err)
		return nil
	}
	t.d.refs[n] = name
	content, err := t.d.read(name)
	if err != nil {
		t.wrong(key, "%s: %v", name, err)
	}
	return content
}

func readFolderBench(t *table) (f FolderBench) {
	defer t.close()
	f.Path = t.text("path")
	f.Stable = t.positive("stable_for", quantity.Time)
	f.Units = t.lines("units")
	return f
}

func readReadingsBench(t *table) (r ReadingsBench) {
	defer t.close()
	r.Interval = t.positive("interval", quantity.Time)
	r.Unit, r.Level = t.text("unit"), t.optionalText("level_unit")
	for key, kind := range map[string]quantity.Kind{"unit": quantity.Sensitivity, "level_unit": quantity.Level} {
		if unit := map[string]string{"unit": r.Unit, "level_unit": r.Level}[key]; unit != "" {
			if _, err := quantity.Parse("1 "+unit, kind); err != nil {
				t.wrong(key, "%v", err)
			}
		}
	}
	return r
}

// checkBench refuses a bench that does not fit the reference.
func checkBench(root *table, b Bench, by standard) {
	switch reads := b.Driver == DriverReadings; {
	case b.Driver == "":
	case reads && by != readDisplay:
		root.wrong("bench", "driver %q reads a display, and the reference is no instrument with one: state [reference.display]", b.Driver)
	case !reads && by == readDisplay:
		root.wrong("bench", "the reference is an instrument whose display is read, so the driver is %q, found %q", DriverReadings, b.Driver)
	case b.Drives() && by == statedLevel:
		root.wrong("bench", "driver %q holds the level by a recorded reference, and the reference only states its level", b.Driver)
	}
	if root.d.measuring && b.Driver != "" && !b.Drives() && !root.has("point") {
		root.wrong("bench", "driver %q measures the points of the job: list them in [[point]] with frequency and level", b.Driver)
	}
}
