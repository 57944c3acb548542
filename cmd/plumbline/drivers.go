package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"time"

	"plumbline/internal/driver/audio"
	"plumbline/internal/driver/scpi"
	"plumbline/internal/lab"
	"plumbline/internal/simulator"
	"plumbline/quantity"
)

// openSimulator makes a bench without hardware of what the job says of exciter, transducers and recorder.
func openSimulator(_ context.Context, m *lab.Measurement) (lab.Instruments, func() error, error) {
	setup, err := simulated(m)
	if err != nil {
		return lab.Instruments{}, nil, err
	}
	live, witness, err := simulator.New(setup, m.Bench.Simulator.Seed+uint64(m.Before)) // nature does not begin again with a program
	if err != nil {
		return lab.Instruments{}, nil, err
	}
	witness.Advance(1) // the recorder was switched on before
	return lab.Instruments{Exciter: live, Digitizer: live}, func() error { return nil }, nil
}

// longStroke tells the exciter X-12 from the small one, m peak to peak.
const longStroke = 15e-3

// simulated is the invented bench, warm, with the sensitivities, ranges and masses of the job.
func simulated(m *lab.Measurement) (simulator.Setup, error) {
	r := m.Plan.Request
	scene := simulator.Scene{Exciter: "X-03", Reference: "100 mV/g", Site: 1, Warm: true}
	if r.Exciter.Stroke > longStroke {
		scene.Exciter = "X-12"
	}
	if r.Job.Reference.Nominal > 0.5/quantity.StandardGravity {
		scene.Reference = "1 V/g"
	}
	s, err := scene.Setup()
	if err != nil {
		return s, err
	}
	s.Shaker.Stroke, s.Shaker.Payload = r.Exciter.Stroke, r.Exciter.Fixture+r.Job.Device.Mass+r.Job.Reference.Mass
	if r.Exciter.Armature > 0 {
		s.Shaker.Armature = r.Exciter.Armature
	}
	for _, c := range []struct {
		name   string
		column int
		sensor *simulator.Sensor
		unit   quantity.Unit
		own    float64 // V/(m/s²)
		limit  float64 // V
	}{
		{"reference", r.Job.ReferenceChain.Column, &s.Reference, r.Job.Reference.Unit, r.Job.Reference.Nominal * r.Job.ReferenceChain.Gain(), r.Job.Reference.Range * r.Job.Reference.Nominal},
		{"device", r.Job.DeviceChain.Column, &s.Device, r.Job.Device.Unit, r.Job.Device.Nominal * r.Job.DeviceChain.Gain(), r.Job.Device.Range * r.Job.Device.Nominal},
	} {
		output, input, ok := c.unit.Per()
		if motion, known := quantity.MotionOf(input); !ok || !known || motion != quantity.Acceleration || output.Dim != volts() {
			return s, fmt.Errorf("simulated bench: the %s has its sensitivity in %s, the simulator knows accelerometers with a voltage as output", c.name, c.unit.Symbol)
		}
		if want := map[string]int{"reference": 1, "device": 2}[c.name]; c.column != want {
			return s, fmt.Errorf("simulated bench: the %s is in column %d of [channels], the simulator has it in column %d", c.name, c.column, want)
		}
		c.sensor.Midband = c.own
		if c.limit > 0 {
			c.sensor.Range = max(c.sensor.Range, c.limit)
		}
	}
	for _, p := range m.Plan.Points {
		s.Recorder.Rate = max(s.Recorder.Rate, p.Rate)
	}
	s.Recorder.FullScale = r.Job.DeviceChain.FullScale()
	if m.Bench.Simulator.RealTime {
		s.Pace = simulator.Paced(time.Now, simulator.Wait)
	}
	return s, nil
}

// volts is the dimension of a voltage.
func volts() quantity.Dimension {
	u, err := quantity.ParseUnit("V")
	if err != nil {
		panic("the volt is a unit")
	}
	return u.Dim
}

// openAudio opens an audio interface.
func openAudio(ctx context.Context, m *lab.Measurement) (lab.Instruments, func() error, error) {
	b := m.Bench.Audio
	a, err := audio.Open(ctx, audio.Config{Server: b.Server, Sink: b.Output, Source: b.Input, Rate: b.Rate, Output: b.OutputChannel, FullScale: b.FullScale,
		Counter: audio.Counter{Output: b.CounterOutput, Input: b.CounterInput}})
	if err != nil {
		return lab.Instruments{}, nil, err
	}
	return lab.Instruments{Exciter: a, Digitizer: a, FullScale: true}, a.Close, nil
}

// openSCPI opens a generator and a digitizer over the network.
func openSCPI(ctx context.Context, m *lab.Measurement) (lab.Instruments, func() error, error) {
	b := m.Bench.SCPI
	g, err := scpi.ReadGenerator(bytes.NewReader(b.GeneratorDialect))
	if err != nil {
		return lab.Instruments{}, nil, err
	}
	s, err := scpi.ReadSampler(bytes.NewReader(b.DigitizerDialect))
	if err != nil {
		return lab.Instruments{}, nil, err
	}
	exciter, err := scpi.OpenExciter(ctx, b.Generator, g)
	if err != nil {
		return lab.Instruments{}, nil, err
	}
	digitizer, err := scpi.OpenDigitizer(ctx, b.Digitizer, s, scpi.Sampling{Rate: b.Rate, Burst: b.Burst})
	if err != nil {
		return lab.Instruments{}, nil, errors.Join(err, exciter.Close())
	}
	return lab.Instruments{Exciter: exciter, Digitizer: digitizer}, func() error { return errors.Join(digitizer.Close(), exciter.Close()) }, nil
}

// offOrder is what a guard needs to turn a generator off.
type offOrder struct {
	Address string `json:"address"`
	Dialect string `json:"dialect"` // content of its file
}

func orderSCPI(m *lab.Measurement) (any, error) {
	return offOrder{m.Bench.SCPI.Generator, string(m.Bench.SCPI.GeneratorDialect)}, nil
}

// parse reads an order of a guard.
func (o *offOrder) parse(data json.RawMessage) (scpi.Generator, error) {
	if err := json.Unmarshal(data, o); err != nil {
		return scpi.Generator{}, err
	}
	return scpi.ReadGenerator(strings.NewReader(o.Dialect))
}

// reachSCPI makes sure that a guard can connect with the generator.
func reachSCPI(ctx context.Context, data json.RawMessage) error {
	var o offOrder
	d, err := o.parse(data)
	if err != nil {
		return err
	}
	c, err := scpi.Dial(ctx, o.Address, scpi.Options{Name: "generator", Limit: time.Duration(d.Limit * float64(time.Second)), ErrorQuery: d.ErrorQuery})
	if err != nil {
		return err
	}
	return c.Close()
}

func offSCPI(ctx context.Context, data json.RawMessage) error {
	var o offOrder
	d, err := o.parse(data)
	if err != nil {
		return err
	}
	return scpi.TurnOff(ctx, o.Address, d)
}
