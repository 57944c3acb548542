package scpi

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"
)

// Generator is the dialect of a function generator: the commands it is driven by, and what it can do. In commands a word in braces stands for a value.
type Generator struct {
	Instrument   string   `toml:"instrument"`    // text that the answer to *IDN? must contain; empty: any
	Setup        []string `toml:"setup"`         // commands after connecting, while the output is off
	Sine         []string `toml:"sine"`          // commands that select the sine
	AskSine      string   `toml:"ask_sine"`      // asks for the shape selected; empty: it is not asked for
	SineIs       string   `toml:"sine_is"`       // what the answer begins with when it is the sine, whatever the case
	Frequency    string   `toml:"frequency"`     // sets {frequency}, Hz
	AskFrequency string   `toml:"ask_frequency"` // reads it back
	Amplitude    string   `toml:"amplitude"`     // sets {amplitude}, V in the unit stated
	AskAmplitude string   `toml:"ask_amplitude"` // reads it back
	Unit         string   `toml:"unit"`          // what a number of volts means to the instrument: peak, peak-to-peak or rms
	On           string   `toml:"on"`
	Off          string   `toml:"off"`
	AskOutput    string   `toml:"ask_output"`
	ErrorQuery   string   `toml:"error_query"`

	Largest    float64 `toml:"largest"`    // V peak, the highest amplitude that is ever set
	Least      float64 `toml:"least"`      // V peak, the lowest amplitude the instrument accepts; 0: it accepts silence
	Step       float64 `toml:"step"`       // V peak, largest change of the amplitude in one go
	StepTime   float64 `toml:"step_time"`  // s, shortest time from one change to the next
	Agreement  float64 `toml:"agreement"`  // relative difference between what was set and what is read back that is accepted
	Resolution float64 `toml:"resolution"` // V peak, difference of the amplitude that is accepted besides
	Limit      float64 `toml:"limit"`      // s, longest time of one exchange, after which the instrument is lost

	Arbitrary       string   `toml:"arbitrary"`        // downloads {block}, one period of REAL,32 from -1 to 1, most significant byte first; empty: one tone only
	ArbitrarySelect []string `toml:"arbitrary_select"` // commands that select it
	ArbitraryPoints int      `toml:"arbitrary_points"` // of the period
}

// StandardGenerator is the dialect with the commands of the standard subsystems SOURce and OUTPut. Unit and Largest have no default: instruments differ in what they take a
// number of volts for, and the largest amplitude is the laboratory's to state.
func StandardGenerator() Generator {
	return Generator{
		Setup: []string{"*RST"}, Sine: []string{"SOURce:FUNCtion SINusoid"}, AskSine: "SOURce:FUNCtion?", SineIs: "SIN",
		Frequency: "SOURce:FREQuency {frequency}", AskFrequency: "SOURce:FREQuency?",
		Amplitude: "SOURce:VOLTage {amplitude}", AskAmplitude: "SOURce:VOLTage?",
		On: "OUTPut ON", Off: "OUTPut OFF", AskOutput: "OUTPut?", ErrorQuery: "SYSTem:ERRor?",
		StepTime: 0.005, Agreement: 1e-3, Resolution: 1e-4, Limit: 0.5,
	}
}

// longestFall is the time in s a halt takes for its ramp; the rest of the half second is for turning off.
const longestFall = 0.25

// steps is how many changes of the amplitude lead from silence to the largest where Step is not stated.
const steps = 20

// complete fills in what follows from the rest, and refuses what cannot be worked with.
func (d Generator) complete() (Generator, error) {
	if d.Step == 0 {
		d.Step = d.Largest / steps
	}
	var errs []error
	wrong := func(key, format string, args ...any) { errs = append(errs, fmt.Errorf(key+": "+format, args...)) }
	if !slices.Contains([]string{"peak", "peak-to-peak", "rms"}, d.Unit) {
		wrong("unit", "%q, allowed are peak, peak-to-peak and rms: what the instrument takes a number of volts for", d.Unit)
	}
	for _, c := range []struct{ key, command, word string }{
		{"frequency", d.Frequency, "{frequency}"}, {"amplitude", d.Amplitude, "{amplitude}"},
		{"ask_frequency", d.AskFrequency, "?"}, {"ask_amplitude", d.AskAmplitude, "?"}, {"ask_output", d.AskOutput, "?"}, {"error_query", d.ErrorQuery, "?"},
		{"on", d.On, ""}, {"off", d.Off, ""},
	} {
		if c.command == "" || !strings.Contains(c.command, c.word) {
			wrong(c.key, "%q, allowed is a command with %q in it", c.command, c.word)
		}
	}
	if d.AskSine != "" && d.SineIs == "" {
		wrong("sine_is", "%q, allowed is what the answer to %q begins with", d.SineIs, d.AskSine)
	}
	if !(d.Largest > 0) || math.IsInf(d.Largest, 1) {
		wrong("largest", "%g V peak, allowed are values above zero", d.Largest)
	}
	if !(d.Least >= 0 && d.Least < d.Largest) {
		wrong("least", "%g V peak, allowed is zero and above, below the largest", d.Least)
	}
	if !(d.Step > 0 && d.Step <= d.Largest) {
		wrong("step", "%g V peak, allowed are values above zero up to the largest", d.Step)
	}
	if !(d.StepTime >= 0) || d.Largest/d.Step*d.StepTime > longestFall {
		wrong("step_time", "%g s: from the largest amplitude of %g V peak to silence in steps of %g V takes longer than %g s", d.StepTime, d.Largest, d.Step, longestFall)
	}
	if !(d.Agreement > 0 && d.Agreement <= 0.02) {
		wrong("agreement", "%g, allowed are values above 0 up to 0.02", d.Agreement)
	}
	if !(d.Resolution >= 0 && d.Resolution <= 0.02*d.Largest) {
		wrong("resolution", "%g V peak, allowed is zero up to a fiftieth of the largest amplitude", d.Resolution)
	}
	if err := checkLimit(d.Limit); err != nil {
		wrong("limit", "%w", err)
	}
	if d.Arbitrary != "" && (!strings.Contains(d.Arbitrary, "{block}") || len(d.ArbitrarySelect) == 0 || d.ArbitraryPoints < 64 || d.ArbitraryPoints > 1<<20 || d.Unit == "rms") {
		wrong("arbitrary", "%q with %d points and %d commands to select it, unit %s; allowed are a command with {block} in it, 64 to 1048576 points, at least one command, and peak or peak-to-peak", d.Arbitrary, d.ArbitraryPoints, len(d.ArbitrarySelect), d.Unit)
	}
	if err := errors.Join(errs...); err != nil {
		return d, fmt.Errorf("dialect of the generator: %w", err)
	}
	return d, nil
}

func checkLimit(s float64) error {
	if !(s >= 0.01 && s <= 10) {
		return fmt.Errorf("%g s, allowed are 0.01 s to 10 s", s)
	}
	return nil
}

// perPeak is the number the instrument is told for an amplitude of 1 V peak.
func (d Generator) perPeak() float64 {
	switch d.Unit {
	case "peak-to-peak":
		return 2
	case "rms":
		return math.Sqrt2 / 2
	}
	return 1
}

func (d Generator) options() Options {
	return Options{Name: "generator", Limit: seconds(d.Limit), ErrorQuery: d.ErrorQuery}
}

func seconds(s float64) time.Duration { return time.Duration(s * float64(time.Second)) }

// fill puts values for words into a command: word, value, word, value ...
func fill(command string, values ...string) string {
	return strings.NewReplacer(values...).Replace(command)
}

// decimal writes a number for a command, with more digits than instruments resolve.
func decimal(x float64) string { return fmt.Sprintf("%.9G", x) }
