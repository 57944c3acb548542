package scpitest

import (
	"encoding/binary"
	"fmt"
	"math"
	"strings"
)

func (in *Instrument) setFormat(data string) error {
	format, err := choose(strings.ReplaceAll(data, " ", ""), "ASCii", "REAL,32", "REAL,64", "INT,32")
	if err == nil {
		in.format = format
	}
	return err
}

func (in *Instrument) askOrder(string) (string, error) {
	if in.swapped {
		return "SWAP", nil
	}
	return "NORM", nil
}

func (in *Instrument) setOrder(data string) error {
	order, err := choose(data, "NORMal", "SWAPped")
	if err == nil {
		in.swapped = order == "SWAP"
	}
	return err
}

func (in *Instrument) setInterval(data string) error {
	x, err := parse(data)
	if err == nil && !(x >= 1e-6 && x <= 1) {
		err = refuse(-222, "Data out of range")
	}
	if err != nil {
		return err
	}
	rate := 1 / x
	if whole := math.Round(rate); math.Abs(rate-whole) < 1e-6*rate {
		rate = whole // the sample clock is divided from a crystal
	}
	return in.world.setRate(rate)
}

func (in *Instrument) askCount(string) (string, error) {
	if in.acq.count == 0 {
		return "9.9E37", nil
	}
	return fmt.Sprint(in.acq.count), nil
}

func (in *Instrument) setCount(data string) error {
	x, err := parse(data)
	switch {
	case err != nil:
		return err
	case math.IsInf(x, 1):
		in.acq.count = 0
	case x < 1 || x != math.Trunc(x):
		return refuse(-222, "Data out of range")
	case int64(x) > in.acq.capacity:
		return refuse(-225, "Out of memory")
	default:
		in.acq.count = int64(x)
	}
	return nil
}

func (in *Instrument) setSource(data string) error {
	source, err := choose(data, "IMMediate", "BUS", "EXTernal")
	if err == nil {
		in.acq.source = source
	}
	return err
}

func (in *Instrument) initiate(string) error {
	switch {
	case len(in.acq.inputs) == 0:
		return refuse(-241, "Hardware missing")
	case in.acq.running || in.acq.armed:
		return refuse(-213, "Init ignored")
	}
	in.acq.arm()
	return nil
}

// softTrigger starts what waits for it, and pulls the trigger line of the world so that other instruments start at the same frame.
func (in *Instrument) softTrigger(string) error {
	if !in.acq.armed || in.acq.source != "BUS" {
		return refuse(-211, "Trigger ignored")
	}
	in.acq.begin()
	in.world.trigger()
	return nil
}

// remove hands out the oldest frames, so many at most. Where time passes by itself it waits for one.
func (in *Instrument) remove(data string) (string, error) {
	x, err := parse(data)
	if err != nil {
		return "", err
	}
	if !(x >= 1 && x <= 1e9) {
		return "", refuse(-222, "Data out of range")
	}
	if len(in.acq.frames) == 0 && in.acq.running && !in.world.paced {
		in.world.run(1)
	}
	return in.block(in.acq.remove(int64(x))), nil
}

// fetch hands out a complete burst. In a paced world it does not wait for the end of one.
func (in *Instrument) fetch(string) (string, error) {
	if _, err := in.complete(""); err != nil {
		return "", err
	}
	if !in.acq.done {
		return "", refuse(-230, "Data corrupt or stale")
	}
	return in.block(in.acq.frames), nil
}

// block writes frames, channel beside channel, in the format chosen.
func (in *Instrument) block(frames [][]float64) string {
	var items []float64
	for _, f := range frames {
		items = append(items, f...)
	}
	var order binary.AppendByteOrder = binary.BigEndian
	if in.swapped {
		order = binary.LittleEndian
	}
	var b []byte
	words := make([]string, len(items))
	for i, x := range items {
		switch in.format {
		case "REAL,32":
			b = order.AppendUint32(b, math.Float32bits(float32(x)))
		case "REAL,64":
			b = order.AppendUint64(b, math.Float64bits(x))
		case "INT,32":
			b = order.AppendUint32(b, uint32(int32(math.Round(x/in.cfg.Range*math.MaxInt32))))
		default:
			words[i] = number(x)
		}
	}
	if in.format == "ASC" {
		return strings.Join(words, ",")
	}
	digits := fmt.Sprint(len(b))
	return fmt.Sprintf("#%d%s%s", len(digits), digits, b)
}
