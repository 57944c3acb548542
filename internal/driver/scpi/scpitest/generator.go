package scpitest

import (
	"encoding/binary"
	"math"
	"strings"
)

func (in *Instrument) askShape(string) (string, error) {
	if in.world.shape != nil {
		return "USER", in.generator()
	}
	return "SIN", in.generator()
}

func (in *Instrument) setShape(data string) error {
	shape, err := choose(data, "SINusoid", "USER")
	switch {
	case in.generator() != nil:
		return in.generator()
	case err != nil:
		return err
	case shape == "USER" && in.user == nil:
		return refuse(-221, "Settings conflict;no waveform was downloaded")
	case shape == "USER":
		in.world.shape = in.user
	default:
		in.world.shape = nil
	}
	return nil
}

func (in *Instrument) setFrequency(data string) error {
	x, err := parse(data)
	switch {
	case in.generator() != nil:
		return in.generator()
	case err != nil:
		return err
	case x <= 0 || x >= in.world.rate/2:
		return refuse(-222, "Data out of range")
	}
	in.world.set(func(o *Output) { o.Frequency = x })
	return nil
}

// perPeak is the amplitude in the unit chosen for an amplitude of 1 V peak.
func (in *Instrument) perPeak() float64 {
	switch in.unit {
	case "VRMS":
		return math.Sqrt2 / 2
	case "VPK":
		return 1
	}
	return 2
}

func (in *Instrument) askAmplitude(string) (string, error) {
	return number(in.world.out.Peak * in.perPeak()), in.generator()
}

func (in *Instrument) setAmplitude(data string) error {
	x, err := parse(data)
	peak := x / in.perPeak()
	switch {
	case in.generator() != nil:
		return in.generator()
	case err != nil:
		return err
	case peak < in.cfg.Least || peak > in.cfg.Largest:
		return refuse(-222, "Data out of range")
	}
	in.world.set(func(o *Output) { o.Peak = peak })
	return nil
}

func (in *Instrument) setUnit(data string) error {
	unit, err := choose(data, "VPP", "VRMS", "VPK")
	if err == nil {
		in.unit = unit
	}
	return err
}

// setOffset knows an offset of zero only.
func (in *Instrument) setOffset(data string) error {
	if x, err := parse(data); err != nil || x != 0 {
		return refuse(-222, "Data out of range")
	}
	return nil
}

func (in *Instrument) askOutput(string) (string, error) {
	if in.world.out.On {
		return "1", in.generator()
	}
	return "0", in.generator()
}

func (in *Instrument) setOutput(data string) error {
	state, err := choose(data, "ON", "OFF", "1", "0")
	if in.generator() != nil {
		return in.generator()
	}
	if err == nil {
		in.world.set(func(o *Output) { o.On = state == "ON" || state == "1" })
	}
	return err
}

// fewestPoints and mostPoints bound an arbitrary waveform.
const (
	fewestPoints = 8
	mostPoints   = 65536
)

// download takes one period of a waveform: a name and a block of REAL,32, most significant byte first, with values from -1 to 1.
func (in *Instrument) download(data string) error {
	_, block, ok := strings.Cut(data, ",")
	block = strings.TrimSpace(block)
	n := 0
	if ok && strings.HasPrefix(block, "#") {
		n = blockLength(block[1:])
	}
	if n == 0 || 1+n != len(block) {
		return refuse(-161, "Invalid block data")
	}
	content := block[2+int(block[1]-'0'):]
	if points := len(content) / 4; len(content)%4 != 0 || points < fewestPoints || points > mostPoints {
		return refuse(-161, "Invalid block data")
	}
	shape := make([]float64, len(content)/4)
	for i := range shape {
		shape[i] = float64(math.Float32frombits(binary.BigEndian.Uint32([]byte(content[4*i:]))))
		if !(math.Abs(shape[i]) <= 1) {
			return refuse(-222, "Data out of range")
		}
	}
	in.user = shape
	return in.generator()
}
