package main

import (
	"context"
	"encoding/json"
	"fmt"

	"plumbline/internal/format"
	"plumbline/internal/format/csv"
	"plumbline/internal/format/flac"
	"plumbline/internal/format/uff58"
	"plumbline/internal/format/wav"
	"plumbline/internal/guard"
	"plumbline/internal/jobfile"
	"plumbline/internal/lab"
)

// formats is every kind of recording file that is read, in the order they are asked; text, which has no signature, last.
func formats() []format.Format {
	return []format.Format{wav.Format{}, flac.Format{}, uff58.Format{}, csv.Format{}}
}

func newLab() lab.Lab { return lab.Lab{Formats: formats(), Version: version} }

// driver is one kind of instrument that is driven.
type driver struct {
	open   func(ctx context.Context, m *lab.Measurement) (i lab.Instruments, shut func() error, err error)
	order  func(m *lab.Measurement) (any, error) // what the guard's switch needs; nil: nothing
	turned guard.Switch                          // turns the output off when the program cannot
}

// drivers is every kind of instrument that is driven, by its name in the job file.
func drivers() map[string]driver {
	gone := guard.Switch{Off: func(context.Context, json.RawMessage) error { return nil }} // an output that ends with the program
	return map[string]driver{
		jobfile.DriverSimulator: {open: openSimulator, turned: gone},
		jobfile.DriverAudio:     {open: openAudio, turned: gone},
		jobfile.DriverSCPI:      {open: openSCPI, order: orderSCPI, turned: guard.Switch{Reach: reachSCPI, Off: offSCPI}},
	}
}

// switches turn the output of each kind of instrument off.
func switches() map[string]guard.Switch {
	all := map[string]guard.Switch{}
	for name, d := range drivers() {
		all[name] = d.turned
	}
	return all
}

// openBench opens the instruments of a job.
func openBench(ctx context.Context, m *lab.Measurement) (lab.Instruments, func() error, error) {
	d, known := drivers()[m.Bench.Driver]
	if !known {
		return lab.Instruments{}, nil, fmt.Errorf("driver %q drives nothing", m.Bench.Driver)
	}
	return d.open(ctx, m)
}

// guardOrder is what the guard of a job is told.
func guardOrder(m *lab.Measurement) (guard.Order, error) {
	o := guard.Order{Driver: m.Bench.Driver}
	d := drivers()[m.Bench.Driver]
	if d.order == nil {
		return o, nil
	}
	data, err := d.order(m)
	if err != nil {
		return o, err
	}
	o.Data, err = json.Marshal(data)
	return o, err
}
