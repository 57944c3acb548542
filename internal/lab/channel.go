package lab

import (
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"strings"

	"plumbline/calibration"
	"plumbline/channel"
	"plumbline/internal/format"
	"plumbline/quantity"
	"plumbline/recording"
)

// ChannelTask is a calibration of a recorder's channels with a known voltage.
type ChannelTask struct {
	Source  channel.Source
	Name    string // of the source, where its error is to cancel between channels; empty: it belongs to each channel
	Corners int    // first-order high-passes of each channel; 0 direct coupling
	Mains   float64
	Columns []int // of the recordings, from 1; nil: all
	Options format.Options
}

// ChannelResult is what a task found of one channel.
type ChannelResult struct {
	Stage    calibration.Stage
	Readings []channel.Reading
	Response channel.Response
}

// Channels calibrates channels from recordings of the voltage. A recording is named "10Hz.wav", or "10 Hz=FILE".
func (l Lab) Channels(t ChannelTask, names []string) ([]ChannelResult, error) {
	var all []recording.Recording
	var frequencies []float64
	var errs []error
	for _, name := range names {
		f, file, err := frequencyOf(name)
		if err != nil {
			errs = append(errs, err)
			continue
		}
		rec, err := l.Open(file, t.Options)
		errs = append(errs, err)
		all, frequencies = append(all, rec), append(frequencies, f)
	}
	if err := errors.Join(errs...); err != nil {
		return nil, err
	}
	return t.evaluate(all, frequencies)
}

func (t ChannelTask) evaluate(all []recording.Recording, frequencies []float64) ([]ChannelResult, error) {
	columns := t.Columns
	for i, rec := range all {
		if len(columns) == 0 {
			for c := range rec.Info.Channels {
				columns = append(columns, c+1)
			}
		}
		if bits := rec.Info.Channels[0].Bits; bits != all[0].Info.Channels[0].Bits {
			return nil, fmt.Errorf("recording %s has %d bits, %s has %d: one setting of the recorder is calibrated at a time", rec.Name, bits, all[0].Name, all[0].Info.Channels[0].Bits)
		}
		if len(rec.Info.Channels) != len(all[0].Info.Channels) {
			return nil, fmt.Errorf("recording %s has %d channels, %s has %d", all[i].Name, len(rec.Info.Channels), all[0].Name, len(all[0].Info.Channels))
		}
	}
	results := make([]ChannelResult, len(columns))
	for i, rec := range all {
		readings, err := channel.Read(rec, frequencies[i], t.Mains, columns)
		if err != nil {
			return nil, err
		}
		for c := range columns {
			results[c].Readings = append(results[c].Readings, readings[c])
		}
	}
	for c := range results {
		r := &results[c]
		var err error
		if r.Response, err = channel.Fit(t.Source, r.Readings, t.Corners); err == nil && c > 0 {
			r.Response.Delay, r.Response.StdDelay, err = channel.FitDelay(r.Readings, r.Response.Corners, results[0].Response.Corners)
		}
		if err != nil {
			return nil, fmt.Errorf("channel %d: %w", columns[c], err)
		}
		r.Stage = t.stage(fmt.Sprint(columns[c]), r.Response)
	}
	return results, nil
}

// stage is the channel as a job describes it.
func (t ChannelTask) stage(name string, r channel.Response) calibration.Stage {
	s := calibration.Stage{Channel: name, FullScale: r.FullScale, Gain: 1, StdGain: r.StdType, Delay: r.Delay, StdDelay: r.StdDelay, CoupledAC: t.Corners > 0, LargestPlausibleCorner: r.LargestPlausible}
	if t.Name != "" {
		s.Source, s.StdGainSource = t.Name, r.StdSource
	} else {
		s.StdGain = math.Hypot(r.StdType, r.StdSource)
	}
	for _, c := range r.Corners {
		s.Corners = append(s.Corners, calibration.Corner{Frequency: c.Frequency, Std: c.Std})
	}
	return s
}

// frequencyOf tells the frequency of a recording: before "=", or at the front of its name.
func frequencyOf(name string) (f float64, file string, err error) {
	text, file, said := strings.Cut(name, "=")
	if !said {
		file = name
		base := filepath.Base(name)
		before, _, found := strings.Cut(base, "Hz")
		if !found {
			return 0, "", fmt.Errorf("recording %s: at which frequency? name it like 10Hz.wav, or say 10Hz=%s", base, name)
		}
		text = strings.ReplaceAll(before, "_", " ") + "Hz"
	}
	v, err := quantity.Parse(text, quantity.Frequency)
	if err == nil && !(v.SI > 0) {
		err = fmt.Errorf("%s, allowed are values above zero", text)
	}
	if err != nil {
		return 0, "", fmt.Errorf("recording %s: frequency: %w", file, err)
	}
	return v.SI, file, nil
}
