package simulator

import (
	"errors"
	"io"
	"math"
	"math/cmplx"
	"slices"
	"testing"
)

func TestFaults(t *testing.T) {
	healthy := silent()
	const recorded = 10.0
	p := Point{Frequency: recorded * (1 + healthy.Recorder.Clock), Level: 1, Duration: 4}
	cycles := recorded / healthy.Recorder.Rate
	good, truth := healthy.Record(p, newRand(21))
	record := func(f Faults) [][]float64 {
		b := healthy
		b.Faults = f
		x, _ := b.Record(p, newRand(21))
		return x
	}

	if x := record(Faults{Swapped: true}); !slices.Equal(x[0], good[1]) || !slices.Equal(x[1], good[0]) {
		t.Error("swapped channels are not the healthy ones exchanged")
	}
	if x := record(Faults{Flat: 2}); !slices.Equal(x[0], good[0]) || slices.Min(x[1]) != slices.Max(x[1]) {
		t.Error("flat device channel is not flat, or the other one changed")
	}
	if x := record(Faults{GainFactor: 10}); relative(line(x[1], cycles), 10*line(good[1], cycles)) > 1e-12 {
		t.Error("gain factor 10 is not ten times the signal")
	}
	if x := record(Faults{ClipAt: 0.5}); slices.Max(x[1]) != 0.5 || slices.Min(x[1]) != -0.5 || !slices.Equal(x[0], good[0]) {
		t.Error("clipping at 0.5 V does not hold the device channel within it")
	}
	if x := record(Faults{Clicks: 1}); slices.Max(x[1]) < 15*cmplx.Abs(truth.Device) {
		t.Error("no click of 20 times the signal")
	}
}

func TestDroppedSamplesStepThePhase(t *testing.T) {
	b := silent()
	const recorded, lost = 10.0, 30
	p := Point{Frequency: recorded * (1 + b.Recorder.Clock), Level: 1, Duration: 4}
	cycles := recorded / b.Recorder.Rate
	for _, c := range []struct {
		channel int
		want    [2]float64 // phase step of each channel, rad
	}{
		{0, [2]float64{2 * math.Pi * lost * cycles, 2 * math.Pi * lost * cycles}},
		{2, [2]float64{0, 2 * math.Pi * lost * cycles}},
	} {
		b.Faults = Faults{Dropped: lost, DroppedChannel: c.channel}
		x, _ := b.Record(p, newRand(22))
		for ch := range x {
			if len(x[ch]) != 8000 {
				t.Fatalf("channel %d has %d samples", ch+1, len(x[ch]))
			}
			before, after := line(x[ch][:4000], cycles), line(x[ch][4000:], cycles) // whole cycles each
			if step := cmplx.Phase(after / before); math.Abs(step-c.want[ch]) > 1e-9 {
				t.Errorf("loss in channel %d: phase of channel %d steps by %v rad, want %v", c.channel, ch+1, step, c.want[ch])
			}
		}
	}
}

func TestHumIsALineOfTheMains(t *testing.T) {
	b := silent()
	b.Recorder.Clock = 0
	b.Hum = Hum{Frequency: 50, Reference: 0.2e-3, Device: 1e-3, Harmonics: []float64{0, 0.3}}
	b.Faults.Hum = 0.1
	x, _ := b.Record(Point{Frequency: 10, Level: 0, Duration: 2}, newRand(23))
	for _, c := range []struct {
		channel   int
		f, amount float64
	}{{0, 50, 0.2e-3}, {1, 50, 0.101}, {1, 150, 0.0303}, {1, 100, 0}} {
		if got := cmplx.Abs(line(x[c.channel], c.f/b.Recorder.Rate)); math.Abs(got-c.amount) > 1e-12 {
			t.Errorf("channel %d: %v V at %v Hz, want %v V", c.channel+1, got, c.f, c.amount)
		}
	}
}

func TestRecordingReadsWhatWasSimulated(t *testing.T) {
	b := FenwickLane()
	x, _ := b.Record(Point{Frequency: 5, Level: 0.3, Duration: 1}, newRand(24))
	r := Recording("p5.sim", x, b.Recorder.Rate, b.Recorder.Bits)
	for range 2 { // from the start each time
		rd, err := r.Open()
		if err != nil {
			t.Fatal(err)
		}
		if info := rd.Info(); info.Frames != 2000 || len(info.Channels) != 2 || info.Channels[1].Unit.Symbol != "V" || info.Channels[1].Bits != 24 {
			t.Errorf("info %+v", info)
		}
		got := make([][]float64, 2)
		buffer := [][]float64{make([]float64, 300), make([]float64, 300)}
		for {
			n, err := rd.Read(buffer)
			if errors.Is(err, io.EOF) {
				break
			}
			for c := range got {
				got[c] = append(got[c], buffer[c][:n]...)
			}
		}
		if !slices.Equal(got[0], x[0]) || !slices.Equal(got[1], x[1]) {
			t.Error("read samples differ from those simulated")
		}
	}
	y, _ := b.Record(Point{Frequency: 5, Level: 0.3, Duration: 1}, newRand(25))
	if same := Recording("other name", x, b.Recorder.Rate, 24); r.ID != same.ID || len(r.ID) != 64 {
		t.Errorf("identity %q depends on more than the samples", r.ID)
	}
	if other := Recording("p5.sim", y, b.Recorder.Rate, 24); other.ID == r.ID {
		t.Error("other samples have the same identity")
	}
}
