package scpi

import (
	"errors"
	"fmt"
	"math"
	"strings"
)

// Kind is how an instrument hands out what it samples.
type Kind string

// The kinds.
const (
	Stream Kind = "stream" // while it samples, without a gap
	Burst  Kind = "burst"  // a number of frames fixed beforehand, when all are there
)

// swapped is the byte order with the least significant byte first, as FORMat:BORDer has it.
const swapped = "SWAPped"

// Sampler is the dialect of a digitizer or of a sampling voltmeter. In commands {rate}, {interval}, {frames}, {encoding} and {order} stand for values.
type Sampler struct {
	Instrument string   `toml:"instrument"` // text that the answer to *IDN? must contain; empty: any
	Kind       Kind     `toml:"kind"`
	Channels   int      `toml:"channels"`   // of one instrument, channel beside channel in what it sends
	Encoding   Encoding `toml:"encoding"`   // of the numbers it sends
	Order      string   `toml:"order"`      // of the bytes: NORMal (most significant first) or SWAPped
	Scale      float64  `toml:"scale"`      // V per unit of the numbers it sends: 1 where they are volts
	FullScale  float64  `toml:"full_scale"` // V peak, largest size a sample can have; 0 not known
	Setup      []string `toml:"setup"`      // commands before every acquisition
	First      []string `toml:"first"`      // further ones for the first instrument of several
	Others     []string `toml:"others"`     // and for the others
	AskRate    string   `toml:"ask_rate"`   // reads the sampling back
	RateIs     string   `toml:"rate_is"`    // what it is answered with: rate (Hz) or interval (s)
	OneClock   bool     `toml:"one_clock"`  // several instruments sample by one clock that is wired to all: needed for streams of several
	Start      []string `toml:"start"`      // commands that start the acquisition
	Trigger    string   `toml:"trigger"`    // command to the first instrument that starts them all once they are armed; empty: they start by themselves, or from outside
	Stop       []string `toml:"stop"`       // commands that end it
	Fetch      string   `toml:"fetch"`      // asks for the samples: of a stream the next ones, {frames} at most; of a burst all
	ErrorQuery string   `toml:"error_query"`
	Limit      float64  `toml:"limit"` // s, longest time of one exchange, and longest time without a frame, after which the instrument is lost
	Poll       float64  `toml:"poll"`  // s between two questions for what is not there yet

	// of a stream
	Available      string `toml:"available"`       // asks how many frames are waiting; empty: Fetch is answered with what is there
	Index          string `toml:"index"`           // asks how many frames were handed out or overwritten since the start; empty: not known
	Overflow       string `toml:"overflow"`        // asks for a register that tells of overwritten frames; empty: none
	OverflowMask   int    `toml:"overflow_mask"`   // its bits that do
	OverflowErrors []int  `toml:"overflow_errors"` // entries of the error queue that do

	// of a burst
	Done     string `toml:"done"`      // asks for a register that tells that all frames are there
	DoneMask int    `toml:"done_mask"` // its bits that do
}

// StandardDigitizer is the dialect of a digitizer of two channels that hands out frames while it samples, with the commands of the standard subsystems and DATA:REMove?
// (common practice, no source). How it tells of overwritten frames must be added: one of Index, Overflow and OverflowErrors.
func StandardDigitizer() Sampler {
	d := standardSampler()
	d.Kind, d.Channels = Stream, 2
	d.Start = []string{"SAMPle:COUNt INFinity", "INITiate"}
	d.Fetch, d.Available = "DATA:REMove? {frames}", "DATA:POINts?"
	return d
}

// StandardVoltmeter is the dialect of a sampling voltmeter, with the commands of the standard subsystems and *OPC for the end of a burst.
func StandardVoltmeter() Sampler {
	d := standardSampler()
	d.Kind, d.Channels = Burst, 1
	d.Setup = append(d.Setup, "SAMPle:COUNt {frames}")
	d.First, d.Others, d.Trigger = []string{"TRIGger:SOURce BUS"}, []string{"TRIGger:SOURce EXTernal"}, "*TRG"
	d.Start = []string{"*CLS", "INITiate", "*OPC"}
	d.Fetch, d.Done, d.DoneMask = "FETCh?", "*ESR?", 1
	return d
}

func standardSampler() Sampler {
	return Sampler{
		Encoding: Real32, Order: "NORMal", Scale: 1,
		Setup:   []string{"FORMat:DATA {encoding}", "FORMat:BORDer {order}", "SENSe:SWEep:TINTerval {interval}"},
		AskRate: "SENSe:SWEep:TINTerval?", RateIs: "interval", Stop: []string{"ABORt"}, ErrorQuery: "SYSTem:ERRor?", Limit: 0.5, Poll: 0.01,
	}
}

// check refuses what cannot be worked with.
func (d Sampler) check() error {
	var errs []error
	wrong := func(key, format string, args ...any) { errs = append(errs, fmt.Errorf(key+": "+format, args...)) }
	if d.Kind != Stream && d.Kind != Burst {
		wrong("kind", "%q, allowed are %q and %q", d.Kind, Stream, Burst)
	}
	if d.Channels < 1 || d.Channels > 64 {
		wrong("channels", "%d, allowed are 1 to 64", d.Channels)
	}
	if _, err := d.Encoding.width(); err != nil {
		wrong("encoding", "%w", err)
	}
	if d.Order != "NORMal" && d.Order != swapped {
		wrong("order", "%q, allowed are NORMal and SWAPped", d.Order)
	}
	if !(d.Scale > 0) || math.IsInf(d.Scale, 1) || d.Encoding == Int32 && d.Scale == 1 {
		wrong("scale", "%g V, allowed are values above zero, and other than 1 for %s", d.Scale, Int32)
	}
	if !(d.FullScale >= 0) {
		wrong("full_scale", "%g V, allowed are zero and above", d.FullScale)
	}
	if d.RateIs != "rate" && d.RateIs != "interval" {
		wrong("rate_is", "%q, allowed are rate and interval", d.RateIs)
	}
	for _, c := range []struct{ key, query string }{{"ask_rate", d.AskRate}, {"fetch", d.Fetch}, {"error_query", d.ErrorQuery}} {
		if !strings.Contains(c.query, "?") {
			wrong(c.key, "%q, allowed is a query with a question mark", c.query)
		}
	}
	if len(d.Start) == 0 {
		wrong("start", "no command")
	}
	if err := checkLimit(d.Limit); err != nil {
		wrong("limit", "%w", err)
	}
	if !(d.Poll > 0 && d.Poll <= d.Limit) {
		wrong("poll", "%g s, allowed are values above zero up to the limit of %g s", d.Poll, d.Limit)
	}
	if d.Kind == Stream && d.Index == "" && d.Overflow == "" && len(d.OverflowErrors) == 0 {
		wrong("index", "none of index, overflow and overflow_errors is stated: lost frames could not be told")
	}
	if d.Overflow != "" && d.OverflowMask == 0 {
		wrong("overflow_mask", "0, allowed are the bits of %q that tell of lost frames", d.Overflow)
	}
	if d.Kind == Burst && (!strings.Contains(d.Done, "?") || d.DoneMask == 0) {
		wrong("done", "%q with mask %d, allowed is a query and the bits of its answer that tell that a burst is complete", d.Done, d.DoneMask)
	}
	if err := errors.Join(errs...); err != nil {
		return fmt.Errorf("dialect of the digitizer: %w", err)
	}
	return nil
}
