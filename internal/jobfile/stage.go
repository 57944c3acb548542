package jobfile

import (
	"math"
	"strings"

	"plumbline/calibration"
	"plumbline/quantity"
)

// namedStage is a stage with the name the channels call it by.
type namedStage struct {
	name  string
	stage calibration.Stage
	at    position
}

// readChannels reads amplifiers and recorder and puts the channels of reference and device together. A display is read without them, and an
// exciter that states its level has no channel of the reference.
func readChannels(root *table, c *calibration.Job, by standard) {
	amplifiers := collect(root, "amplifier", true, readAmplifier)
	recorderTable, t := root.optionalAsset("recorder"), root.optionalAsset("channels")
	channels, clock := readRecorder(recorderTable)
	c.Clock = clock
	checkNames(root, "amplifier", amplifiers)
	checkNames(recorderTable, "channel", channels)
	defer t.close()
	if by == readDisplay {
		for _, key := range []string{"amplifier", "recorder", "channels"} {
			if root.has(key) {
				root.wrong(key, "the reference is an instrument whose display is read, whose certificate holds its channels: leave [%s] out", key)
			}
		}
		t.n = nil
	} else {
		root.need("recorder", "the table [recorder]")
		root.need("channels", "the table [channels]")
	}
	reference := t.child("reference", 0, nil)
	if by != statedLevel {
		reference = t.mustTable("reference")
	} else if t.has("reference") {
		t.wrong("reference", "the reference is an exciter that states its level, so only the device is recorded: leave it out")
	}
	c.ReferenceChain = readChain(reference, amplifiers, channels)
	c.DeviceChain = readChain(t.mustTable("device"), amplifiers, channels)
	if t.absent() || c.DeviceChain.Column == 0 {
		return
	}
	if c.DeviceChain.Column == c.ReferenceChain.Column {
		t.wrong("device", "reference and device are both in column %d of the recordings", c.DeviceChain.Column)
	}
	r, d := c.ReferenceChain.Stages, c.DeviceChain.Stages
	if len(r) > 0 && len(d) > 0 && r[len(r)-1].ID() == d[len(d)-1].ID() {
		t.wrong("device", "reference and device are both at recorder channel %q", d[len(d)-1].Channel)
	}
}

func checkNames(t *table, key string, stages []namedStage) {
	seen := map[string]bool{}
	for _, s := range stages {
		if seen[s.name] && s.name != "" {
			t.d.wrong(s.at, t.key(key), "name %q stands twice", s.name)
		}
		seen[s.name] = true
	}
}

// readChain reads which pieces a signal passes.
func readChain(t *table, amplifiers, channels []namedStage) (c calibration.Chain) {
	defer t.close()
	c.Column = int(t.whole("column", 1, 1024))
	for _, name := range t.lines("amplifiers") {
		if s, ok := findStage(t, "amplifiers", name, amplifiers); ok {
			c.Stages = append(c.Stages, s)
		}
	}
	name := t.text("recorder")
	if name == "" {
		return c
	}
	if s, ok := findStage(t, "recorder", name, channels); ok {
		c.Stages = append(c.Stages, s)
	}
	return c
}

func findStage(t *table, key, name string, among []namedStage) (calibration.Stage, bool) {
	var names []string
	for _, s := range among {
		if s.name == name {
			return s.stage, true
		}
		names = append(names, s.name)
	}
	allowed := "none is described"
	if len(names) > 0 {
		allowed = "allowed are " + quoted(names)
	}
	t.wrong(key, "found %q, %s", name, allowed)
	return calibration.Stage{}, false
}

func readAmplifier(t *table) namedStage {
	defer t.close()
	s := namedStage{name: t.text("name"), at: t.place()}
	s.stage.Identity = readIdentity(t)
	s.stage.Channel = t.optionalText("channel")
	readStage(t, &s.stage)
	s.stage.Certificate = readStageCertificate(t.optionalTable("certificate"))
	return s
}

func (t *table) place() position {
	if t.n == nil {
		return position{}
	}
	return t.n.at
}

// readRecorder reads a recorder with its channels and the relative standard uncertainty of its clock, NaN where it is not stated.
func readRecorder(t *table) (channels []namedStage, clock float64) {
	defer t.close()
	id := readIdentity(t)
	clock = math.NaN()
	if t.has("u_clock") {
		clock = t.notNegative("u_clock", quantity.Relative)
	}
	certificate := readStageCertificate(t.optionalTable("certificate"))
	channels = collect(t, "channel", false, func(t *table) namedStage {
		defer t.close()
		s := namedStage{name: t.text("name"), at: t.place()}
		s.stage.Identity, s.stage.Channel, s.stage.Certificate = id, s.name, certificate
		s.stage.FullScale = t.value("full_scale", quantity.VoltageSpan).SI
		s.stage.Resolution = t.si("resolution", quantity.Voltage, 0)
		if t.has("resolution") && !(s.stage.Resolution > 0) {
			t.wrong("resolution", "allowed are values above zero; leave it out where the recording's bits tell")
		}
		readStage(t, &s.stage)
		own := t.optionalTable("certificate")
		if c := readStageCertificate(own); !own.absent() {
			s.stage.Certificate = c
		}
		return s
	})
	t.need("channel", "a list of tables [[recorder.channel]]")
	t.look("noise") // for planning, see readPlan
	t.look("rates")
	return channels, clock
}

func readStageCertificate(t *table) calibration.Document {
	defer t.close()
	return readDocument(t)
}

// readStage reads the transfer of an amplifier or a recorder channel.
func readStage(t *table, s *calibration.Stage) {
	gain := t.value("gain", quantity.Gain)
	s.Gain, s.GainUnit = gain.SI, gain.Unit
	s.StdGain = t.notNegative("u_gain", quantity.Relative)
	if t.has("u_gain_source") || t.has("source") {
		s.StdGainSource, s.Source = t.notNegative("u_gain_source", quantity.Relative), t.text("source")
	}
	s.Delay = t.value("delay", quantity.Time).SI
	s.StdDelay = t.notNegative("u_delay", quantity.Time)
	s.Corners = collect(t, "filters", false, readCorner)
	s.CoupledAC = t.choice("coupling", "DC", "AC") == "AC"
	if t.has("largest_plausible_corner") {
		s.LargestPlausibleCorner = t.positive("largest_plausible_corner", quantity.Frequency)
	}
	transfer := t.optionalTable("transfer")
	s.Table = readTransfer(transfer)
	checkCoupling(t, s)
	s.Settings = readSettings(t)
}

// checkCoupling refuses an AC coupling of which nothing is known, and facts that contradict a DC coupling.
func checkCoupling(t *table, s *calibration.Stage) {
	highPass := false
	for _, c := range s.Corners {
		highPass = highPass || !c.LowPass
	}
	known := highPass || len(s.Table) > 0
	switch {
	case s.CoupledAC && !known && s.LargestPlausibleCorner == 0 && !t.has("largest_plausible_corner"):
		t.wrong("coupling", "AC coupled: state the corner as a high_pass in filters, a transfer table, or largest_plausible_corner")
	case known && t.has("largest_plausible_corner"):
		t.wrong("largest_plausible_corner", "the corner is known from filters or transfer: allowed is one of them")
	case !s.CoupledAC && t.has("coupling") && (highPass || t.has("largest_plausible_corner")):
		t.wrong("coupling", "DC coupled, but a high-pass corner is stated: allowed is coupling = \"AC\" with it")
	}
}

func readCorner(t *table) (c calibration.Corner) {
	defer t.close()
	high, isHigh := t.optional("high_pass", quantity.Frequency)
	low, isLow := t.optional("low_pass", quantity.Frequency)
	c.Frequency, c.LowPass = high.SI, isLow
	key := "high_pass"
	if isLow {
		c.Frequency, key = low.SI, "low_pass"
	}
	switch {
	case isHigh && isLow || !t.has("high_pass") && !t.has("low_pass"):
		t.wrong("high_pass", "a filter is one first-order corner: allowed is one of high_pass and low_pass")
	case (isHigh || isLow) && !(c.Frequency > 0):
		t.wrong(key, "allowed are frequencies above zero")
	}
	c.Std = t.notNegative("u", quantity.Relative)
	return c
}

// readTransfer reads a measured transfer relative to the gain.
func readTransfer(t *table) (points []calibration.TransferPoint) {
	defer t.close()
	for _, p := range readCalibrated(t, modulus{kind: quantity.Relative, unit: one, factor: "the transfer relative to the gain"}) {
		if math.IsNaN(p.Phase) {
			t.d.wrong(t.place(), t.label, "%g Hz has no phase: a transfer needs modulus and phase", p.Frequency)
		}
		points = append(points, calibration.TransferPoint(p))
	}
	return points
}

// readSettings joins what the certificate prints of a stage's settings.
func readSettings(t *table) string {
	var parts []string
	if s := t.optionalText("settings"); s != "" {
		parts = append(parts, s)
	}
	if v, ok := t.optional("supply_current", quantity.Current); ok {
		parts = append(parts, "supply current "+v.Text)
	}
	if n, ok := t.one("coupling", kindText, ""); ok {
		parts = append(parts, n.text+" coupled")
	}
	return strings.Join(parts, ", ")
}
