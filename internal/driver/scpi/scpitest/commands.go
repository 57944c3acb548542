package scpitest

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// command is one header of the instrument's language. ask or set is nil where there is no query or no command.
type command struct {
	pattern string
	ask     func(in *Instrument, data string) (string, error)
	set     func(in *Instrument, data string) error
}

// commands is the language: the common commands of IEEE 488.2 and those of the standard subsystems of SCPI-99 that a generator and a digitizer need.
// Source: SCPI-99 volume 2, FORMat, INITiate, OUTPut, SENSe, SOURce, STATus, SYSTem, TRACe, TRIGger (from memory).
var commands = []command{
	{"*IDN", func(in *Instrument, _ string) (string, error) { return in.cfg.Identity, nil }, nil},
	{"*RST", nil, func(in *Instrument, _ string) error { in.reset(); return nil }},
	{"*CLS", nil, func(in *Instrument, _ string) error { in.queue, in.esr, in.opc = nil, 0, false; return nil }},
	{"*ESR", (*Instrument).takeEvents, nil},
	{"*ESE", func(in *Instrument, _ string) (string, error) { return fmt.Sprint(in.ese), nil }, func(in *Instrument, d string) error { return setMask(&in.ese, d) }},
	{"*SRE", func(in *Instrument, _ string) (string, error) { return fmt.Sprint(in.sre), nil }, func(in *Instrument, d string) error { return setMask(&in.sre, d) }},
	{"*STB", func(in *Instrument, _ string) (string, error) { return fmt.Sprint(in.status()), nil }, nil},
	{"*TST", func(*Instrument, string) (string, error) { return "0", nil }, nil},
	{"*OPC", (*Instrument).complete, func(in *Instrument, _ string) error { in.opc = true; return nil }},
	{"*WAI", nil, func(in *Instrument, _ string) error { _, err := in.complete(""); return err }},
	{"*TRG", nil, (*Instrument).softTrigger},
	{"SYSTem:ERRor[:NEXT]", (*Instrument).nextError, nil},
	{"SYSTem:VERSion", func(*Instrument, string) (string, error) { return "1999.0", nil }, nil},
	{"STATus:QUEStionable[:EVENt]", (*Instrument).questionable, nil},

	{"[SOURce]:FUNCtion[:SHAPe]", (*Instrument).askShape, (*Instrument).setShape},
	{"[SOURce]:FREQuency[:CW]", asker(func(o Output) float64 { return o.Frequency }), (*Instrument).setFrequency},
	{"[SOURce]:VOLTage[:LEVel][:IMMediate][:AMPLitude]", (*Instrument).askAmplitude, (*Instrument).setAmplitude},
	{"[SOURce]:VOLTage:UNIT", func(in *Instrument, _ string) (string, error) { return in.unit, nil }, (*Instrument).setUnit},
	{"[SOURce]:VOLTage[:LEVel][:IMMediate]:OFFSet", func(*Instrument, string) (string, error) { return "0", nil }, (*Instrument).setOffset},
	{"OUTPut[:STATe]", (*Instrument).askOutput, (*Instrument).setOutput},
	{"TRACe[:DATA]", nil, (*Instrument).download},

	{"FORMat[:DATA]", func(in *Instrument, _ string) (string, error) { return in.format, nil }, (*Instrument).setFormat},
	{"FORMat:BORDer", (*Instrument).askOrder, (*Instrument).setOrder},
	{"[SENSe]:SWEep:TINTerval", func(in *Instrument, _ string) (string, error) { return number(1 / in.world.rate), nil }, (*Instrument).setInterval},
	{"SAMPle:COUNt", (*Instrument).askCount, (*Instrument).setCount},
	{"TRIGger:SOURce", func(in *Instrument, _ string) (string, error) { return in.acq.source, nil }, (*Instrument).setSource},
	{"INITiate[:IMMediate]", nil, (*Instrument).initiate},
	{"ABORt", nil, func(in *Instrument, _ string) error { in.acq.stop(); return nil }},
	{"DATA:POINts", func(in *Instrument, _ string) (string, error) { return fmt.Sprint(len(in.acq.frames)), nil }, nil},
	{"DATA:INDex", func(in *Instrument, _ string) (string, error) { return fmt.Sprint(in.acq.removed), nil }, nil},
	{"DATA:REMove", (*Instrument).remove, nil},
	{"FETCh", (*Instrument).fetch, nil},
	{"READ", func(in *Instrument, d string) (string, error) {
		if err := in.initiate(""); err != nil {
			return "", err
		}
		return in.fetch(d)
	}, nil},
}

// reset brings the instrument to its state after *RST: output off, sine of 1 kHz and the least amplitude.
func (in *Instrument) reset() {
	if in.cfg.Generator {
		in.world.set(func(o *Output) { o.On, o.Frequency, o.Peak = false, 1000, in.cfg.Least })
		in.world.shape = nil
	}
	in.unit, in.format, in.swapped = "VPP", "ASC", false
	in.acq.stop()
	in.acq.source, in.acq.count = "IMM", 1
}

func number(x float64) string { return strconv.FormatFloat(x, 'E', 9, 64) }

// parse reads a parameter that is a number.
func parse(data string) (float64, error) {
	if data == "" {
		return 0, refuse(-109, "Missing parameter")
	}
	if strings.HasPrefix(strings.ToUpper(data), "INF") {
		return math.Inf(1), nil
	}
	x, err := strconv.ParseFloat(strings.TrimSpace(data), 64)
	if err != nil || math.IsNaN(x) {
		return 0, refuse(-104, "Data type error")
	}
	return x, nil
}

// choose reads a parameter that is one of some words, and returns its short form.
func choose(data string, mnemonics ...string) (string, error) {
	for _, m := range mnemonics {
		if sameWord(m, strings.TrimSpace(data)) {
			return strings.TrimRight(m, "abcdefghijklmnopqrstuvwxyz"), nil
		}
	}
	return "", refuse(-224, "Illegal parameter value")
}

func setMask(mask *int, data string) error {
	x, err := parse(data)
	if err == nil && (x < 0 || x > 255) {
		err = refuse(-222, "Data out of range")
	}
	if err == nil {
		*mask = int(x)
	}
	return err
}

func (in *Instrument) takeEvents(string) (string, error) {
	if in.opc && !in.acq.running && !in.acq.armed {
		in.esr |= operationComplete
		in.opc = false
	}
	was := in.esr
	in.esr = 0
	return fmt.Sprint(was), nil
}

// complete waits for the end of a burst. In a paced world, where it would last, it does not: the answer comes at once.
func (in *Instrument) complete(string) (string, error) {
	if in.acq.running && in.acq.count > 0 && !in.world.paced {
		in.world.run(in.acq.count - in.acq.taken)
	}
	return "1", nil
}

func (in *Instrument) nextError(string) (string, error) {
	if len(in.queue) == 0 {
		return `0,"No error"`, nil
	}
	first := in.queue[0]
	in.queue = in.queue[1:]
	return fmt.Sprintf(`%d,"%s"`, first.Code, strings.ReplaceAll(first.Text, `"`, `""`)), nil
}

// overflowed is the bit of the questionable status that tells of lost frames: the first that the standard leaves to the maker.
const overflowed = 1 << 9

func (in *Instrument) questionable(string) (string, error) {
	if in.acq.lost > 0 {
		in.acq.lost = 0
		return fmt.Sprint(overflowed), nil
	}
	return "0", nil
}

func (in *Instrument) generator() error {
	if !in.cfg.Generator {
		return refuse(-241, "Hardware missing")
	}
	return nil
}

func asker(of func(Output) float64) func(*Instrument, string) (string, error) {
	return func(in *Instrument, _ string) (string, error) { return number(of(in.world.out)), in.generator() }
}
