// Package uff58 reads time records in Universal File Format dataset 58, as text or binary.
package uff58

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"strings"

	"plumbline/internal/format"
	"plumbline/recording"
)

// Format reads Universal File Format files: every time record (dataset 58 or 58b, function type 1) is one channel.
type Format struct{}

// Name returns "UFF".
func (Format) Name() string { return "UFF" }

// Match reports whether head starts a Universal File Format file: a line -1 followed by a dataset number.
func (Format) Match(name string, head []byte) bool {
	first, rest, ok := bytes.Cut(head, []byte("\n"))
	if !ok || len(first) > 82 || strings.TrimSpace(string(first)) != "-1" {
		return false
	}
	second, _, _ := bytes.Cut(rest, []byte("\n"))
	number, _, err := datasetNumber(string(second[:min(len(second), 82)]))
	return err == nil && number > 0
}

// Open finds the datasets of src and starts reading all time records together.
func (Format) Open(src format.Source, opts format.Options) (recording.Reader, error) {
	f, err := src.Open()
	if err != nil {
		return nil, err
	}
	r, err := newReader(f, src, opts)
	if err != nil {
		return nil, errors.Join(err, f.Close())
	}
	return r, nil
}

func newReader(f io.ReadSeekCloser, src format.Source, opts format.Options) (*reader, error) {
	sets, err := scan(f, src.Size)
	if err != nil {
		return nil, fmt.Errorf("recording %s: %w", src.Name, err)
	}
	info, records, err := describe(sets, opts)
	if err != nil {
		return nil, fmt.Errorf("recording %s: %w", src.Name, err)
	}
	if err := opts.Settle(src.Name, &info); err != nil {
		return nil, err
	}
	return start(f, src, info, records), nil
}

// functions are the function types of record 6.
var functions = map[int]string{0: "general", 1: "time record", 2: "auto spectrum", 3: "cross spectrum", 4: "frequency response",
	5: "transmissibility", 6: "coherence", 7: "auto correlation", 8: "cross correlation", 9: "power spectral density", 12: "spectrum"}

// describe makes the recording of the time records among the datasets.
func describe(sets contents, opts format.Options) (recording.Info, []dataset, error) {
	records := sets.records
	if len(records) == 0 {
		return recording.Info{}, nil, fmt.Errorf("no time record (dataset 58, function type 1): the file has %s", sets)
	}
	first := records[0]
	info := recording.Info{Format: map[bool]string{false: "UFF 58", true: "UFF 58b"}[first.binary], Frames: first.n, Start: first.start}
	note := func(text string, a ...any) { info.Notes = append(info.Notes, fmt.Sprintf(text, a...)) }
	if len(records) < sets.total() {
		note("the file has %s: the time records are read", sets)
	}
	if sets.cut > 0 {
		note("the file is cut off: it ends within dataset %d, which is not read", sets.cut)
	}
	for c := range records {
		d := &records[c]
		if err := d.usable(); err != nil {
			return info, nil, fmt.Errorf("dataset %d: %w", d.place, err)
		}
		if err := d.together(first); err != nil {
			return info, nil, fmt.Errorf("datasets %d and %d: %w", first.place, d.place, err)
		}
		info.Frames = min(info.Frames, d.have)
		ch, remark, err := d.channel(c < len(opts.Units) && opts.Units[c] != "")
		if err != nil {
			return info, nil, fmt.Errorf("dataset %d: %w", d.place, err)
		}
		info.Channels = append(info.Channels, ch)
		if remark != "" {
			note("channel %d: %s", c+1, remark)
		}
	}
	if info.Frames < first.n {
		note("the file is cut off: %d samples are announced, %d are there", first.n, info.Frames)
	}
	rate, from := first.rate()
	info.Rate = rate
	note("%s", from)
	if !info.Start.IsZero() {
		note("start %s as written in the file, without a time zone", info.Start.Format("2006-01-02 15:04:05"))
	}
	return info, records, nil
}
