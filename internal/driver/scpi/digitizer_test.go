package scpi

import (
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
	"testing"

	"plumbline/bench"
	"plumbline/internal/driver/scpi/scpitest"
	"plumbline/recording"
)

// counter is a plant whose first input counts frames and whose second is the drive.
type counter struct{ n float64 }

func (p *counter) Next(drive []float64, inputs [][]float64) {
	for i, v := range drive {
		inputs[0][i], inputs[1][i] = p.n*1e-6, v
		p.n++
	}
}

func counting(float64) scpitest.Plant { return &counter{} }

// read reads frames until there are n, or an error.
func read64(r recording.Reader, n int) (x [][]float64, err error) {
	dst := recording.Block(len(r.Info().Channels), n)
	x = make([][]float64, len(dst))
	for len(x[0]) < n {
		k, err := r.Read(dst)
		if err != nil {
			return x, err
		}
		for c := range x {
			x[c] = append(x[c], dst[c][:k]...)
		}
	}
	return x, nil
}

// patientSampler gives instruments on a busy machine time to answer.
func patientSampler(d Sampler) Sampler {
	d.Limit = patience.Seconds()
	return d
}

// grant changes the limit of what is connected.
func (g *Digitizer) grant(limit float64) {
	g.dialect.Limit = limit
	for _, c := range g.clients {
		c.opts.Limit = seconds(limit)
	}
}

// TestStreamInEveryEncoding counts frames through every encoding, order and rate.
func TestStreamInEveryEncoding(t *testing.T) {
	for _, c := range []struct {
		encoding Encoding
		order    string
		scale    float64
		rate     float64
		counts   bool // the instrument says how many frames wait
	}{
		{Real64, "NORMal", 1, 1000, true}, {Real32, "SWAPped", 1, 48000, false}, {Real32, "NORMal", 1, 51200, true}, {ASCII, "NORMal", 1, 3000, false}, {Int32, "SWAPped", 10 / float64(math.MaxInt32), 1024, true},
	} {
		in, err := scpitest.Start(scpitest.NewWorld(500, 2, false, counting), scpitest.Config{Inputs: []int{0, 1}})
		must(t, err)
		d := contractDigitizer()
		d.Encoding, d.Order, d.Scale = c.encoding, c.order, c.scale
		if !c.counts {
			d.Available = ""
		}
		g, err := OpenDigitizer(t.Context(), []string{in.Address()}, patientSampler(d), Sampling{Rate: c.rate})
		must(t, err)
		r, err := g.Acquire(t.Context())
		must(t, err)
		if r.Info().Rate != c.rate {
			t.Errorf("%+v: %g samples per second", c, r.Info().Rate)
		}
		x, err := read64(r, 5000)
		must(t, err)
		for i := range x[0] {
			if want := x[0][0] + float64(i)*1e-6; math.Abs(x[0][i]-want) > 3e-8 { // rounding of REAL,32 below 0.1 V, INT,32 of 10 V
				t.Fatalf("%+v: frame %d: %.9g, want %.9g", c, i, x[0][i], want)
			}
		}
		must(t, r.Close())
		must(t, g.Close())
		in.Close()
	}
}

// TestGaps loses frames in an instrument that tells of it in one of three ways. Nothing after the gap is handed out.
func TestGaps(t *testing.T) {
	for _, way := range []func(*Sampler){
		func(d *Sampler) { d.Index = "DATA:INDex?" },
		func(d *Sampler) { d.Overflow, d.OverflowMask = "STATus:QUEStionable?", 1<<9 },
		func(d *Sampler) { d.OverflowErrors = []int{301} },
	} {
		d := StandardDigitizer()
		way(&d)
		in, err := scpitest.Start(scpitest.NewWorld(1000, 2, false, counting), scpitest.Config{Inputs: []int{0, 1}, Discreet: d.OverflowErrors == nil})
		must(t, err)
		g, err := OpenDigitizer(t.Context(), []string{in.Address()}, patientSampler(d), Sampling{Rate: 1000})
		must(t, err)
		r, err := g.Acquire(t.Context())
		must(t, err)
		_, err = read64(r, 100)
		must(t, err)
		in.Provoke(scpitest.Fault{Do: scpitest.Overflow, On: "DATA:REM", Skip: 3, Times: 1, By: 1})
		x, err := read64(r, 100000)
		if !errors.Is(err, bench.ErrGap) {
			t.Errorf("%+v: %v, want ErrGap", d, err)
		}
		for i := range x[0] {
			if want := x[0][0] + float64(i)*1e-6; math.Abs(x[0][i]-want) > 1e-8 {
				t.Fatalf("frame %d: %.9g, want %.9g", i, x[0][i], want)
			}
		}
		must(t, r.Close())
		r, err = g.Acquire(t.Context()) // and another one can be begun
		must(t, err)
		if _, err := read64(r, 10); err != nil {
			t.Errorf("after a gap: %v", err)
		}
		must(t, r.Close())
		in.Close()
	}
}

// TestStreamFaults reads from digitizers that go wrong.
func TestStreamFaults(t *testing.T) {
	t.Parallel() // it waits for what does not come
	for _, c := range []struct {
		fault scpitest.Fault
		is    error
		says  string
	}{
		{scpitest.Fault{Do: scpitest.Silence}, bench.ErrLost, "within 100ms"},
		{scpitest.Fault{Do: scpitest.HangUp, On: "DATA:REM"}, bench.ErrLost, "closed the connection"},
		{scpitest.Fault{Do: scpitest.CutAnswer, On: "DATA:REM"}, bench.ErrLost, "came"},
		{scpitest.Fault{Do: scpitest.WrongLength, On: "DATA:REM", By: -8}, bench.ErrLost, "expected are"},
		{scpitest.Fault{Do: scpitest.Garbage, On: "DATA:POIN", Text: "0"}, bench.ErrLost, "no frame came within 0.1 s"},
		{scpitest.Fault{Do: scpitest.Garbage, On: "DATA:REM", Text: "#10"}, bench.ErrLost, "block of 0 bytes, expected are"},
		{scpitest.Fault{Do: scpitest.Refuse, On: "DATA:REM", Code: -230, Text: "Data corrupt or stale"}, nil, `-230 "Data corrupt or stale"`},
	} {
		in, err := scpitest.Start(scpitest.NewWorld(1000, 2, false, counting), scpitest.Config{Inputs: []int{0, 1}})
		must(t, err)
		g, err := OpenDigitizer(t.Context(), []string{in.Address()}, patientSampler(contractDigitizer()), Sampling{Rate: 1000})
		must(t, err)
		r, err := g.Acquire(t.Context())
		must(t, err)
		_, err = read64(r, 100)
		must(t, err)
		in.Provoke(c.fault)
		g.grant(0.1)
		_, err = read64(r, 1000)
		g.grant(patience.Seconds())
		if err == nil || c.is != nil && !errors.Is(err, c.is) || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%+v: %v, want %v with %q", c.fault, err, c.is, c.says)
		}
		in.Calm()
		must(t, r.Close())
		r, err = g.Acquire(t.Context()) // over a new connection where the old one is gone
		must(t, err)
		if _, err := read64(r, 10); err != nil {
			t.Errorf("%+v: afterwards %v", c.fault, err)
		}
		must(t, r.Close())
		in.Close()
	}
}

// TestPaced reads from an instrument that samples by the clock, in pieces smaller than what is there.
func TestPaced(t *testing.T) {
	in, err := scpitest.Start(scpitest.NewWorld(20000, 2, true, counting), scpitest.Config{Inputs: []int{0, 1}})
	must(t, err)
	defer in.Close()
	g, err := OpenDigitizer(t.Context(), []string{in.Address()}, patientSampler(contractDigitizer()), Sampling{Rate: 20000})
	must(t, err)
	r, err := g.Acquire(t.Context())
	must(t, err)
	defer r.Close()
	if _, err := g.Acquire(t.Context()); err == nil || !strings.Contains(err.Error(), "has not been closed") {
		t.Errorf("two acquisitions at once: %v", err)
	}
	dst := recording.Block(2, 300)
	var last float64
	for frames := 0; frames < 10000; {
		n, err := r.Read(dst)
		must(t, err)
		for i, v := range dst[0][:n] {
			if frames+i > 0 && math.Abs(v-last-1e-6) > 3e-8 {
				t.Fatalf("frame %d: from %.9g to %.9g", frames+i, last, v)
			}
			last = v
		}
		frames += n
	}
}

// TestReaderKeepsUp reads in portions that last less than the commands of a fetch: what the reader shows stays as fresh as a fetch allows.
func TestReaderKeepsUp(t *testing.T) {
	w := scpitest.NewWorld(1000, 2, false, counting)
	in, err := scpitest.Start(w, scpitest.Config{Inputs: []int{0, 1}, Time: 0.005})
	must(t, err)
	defer in.Close()
	g, err := OpenDigitizer(t.Context(), []string{in.Address()}, patientSampler(contractDigitizer()), Sampling{Rate: 1000})
	must(t, err)
	r, err := g.Acquire(t.Context())
	must(t, err)
	defer r.Close()
	dst := recording.Block(2, 5)
	for range 500 {
		n, err := r.Read(dst)
		must(t, err)
		shown := int64(math.Round(dst[0][n-1] * 1e6))
		if age := w.Frames() - shown; age > 80 { // a fetch is six commands of five frames: what came before it and what came during it
			t.Fatalf("frame %d is shown at frame %d", shown, w.Frames())
		}
	}
}

// TestTwins streams from two instruments that sample by one clock, the second starting with the first.
func TestTwins(t *testing.T) {
	w := scpitest.NewWorld(1000, 2, false, func(float64) scpitest.Plant { return twins{&counter{}} })
	var addresses []string
	for c := range 2 {
		in, err := scpitest.Start(w, scpitest.Config{Inputs: []int{c}, Discreet: true})
		must(t, err)
		defer in.Close()
		addresses = append(addresses, in.Address())
	}
	d := contractDigitizer()
	d.Channels, d.First, d.Others, d.Trigger = 1, []string{"TRIGger:SOURce BUS"}, []string{"TRIGger:SOURce EXTernal"}, "*TRG"
	if _, err := OpenDigitizer(t.Context(), addresses, d, Sampling{Rate: 1000}); err == nil || !strings.Contains(err.Error(), "do not sample by one clock") {
		t.Errorf("two clocks: %v", err)
	}
	d.OneClock = true
	g, err := OpenDigitizer(t.Context(), addresses, patientSampler(d), Sampling{Rate: 1000})
	must(t, err)
	r, err := g.Acquire(t.Context())
	must(t, err)
	x, err := read64(r, 2000)
	must(t, err)
	for i := range x[0] {
		if x[0][i] != -x[1][i] || math.Abs(x[0][i]-x[0][0]-float64(i)*1e-6) > 1e-8 {
			t.Fatalf("frame %d: %.9g and %.9g", i, x[0][i], x[1][i])
		}
	}
	must(t, r.Close())
}

// TestPacedOverflow lets a small buffer run over.
func TestPacedOverflow(t *testing.T) {
	in, err := scpitest.Start(scpitest.NewWorld(100000, 2, true, counting), scpitest.Config{Inputs: []int{0, 1}, Capacity: 50, Discreet: true})
	must(t, err)
	defer in.Close()
	g, err := OpenDigitizer(t.Context(), []string{in.Address()}, patientSampler(contractDigitizer()), Sampling{Rate: 100000})
	must(t, err)
	r, err := g.Acquire(t.Context())
	must(t, err)
	for err == nil {
		_, err = r.Read(recording.Block(2, 10))
	}
	if !errors.Is(err, bench.ErrGap) {
		t.Errorf("error %v, want ErrGap", err)
	}
}

// TestVoltmeters takes bursts with two voltmeters that a trigger line joins: the same frames in both.
func TestVoltmeters(t *testing.T) {
	w := scpitest.NewWorld(1000, 2, false, func(float64) scpitest.Plant { return twins{&counter{}} })
	var addresses []string
	for c := range 2 {
		in, err := scpitest.Start(w, scpitest.Config{Inputs: []int{c}, Time: 0.1, Identity: fmt.Sprintf("PLUMBLINE,VOLTMETER,A-040%d,1", c+1)})
		must(t, err)
		defer in.Close()
		addresses = append(addresses, in.Address())
	}
	d := StandardVoltmeter()
	d.Encoding = Real64
	g, err := OpenDigitizer(t.Context(), addresses, patientSampler(d), Sampling{Rate: 5000, Burst: 1.5})
	must(t, err)
	for range 2 {
		r, err := g.Acquire(t.Context())
		must(t, err)
		info := r.Info()
		if info.Rate != 5000 || len(info.Channels) != 2 || info.Channels[0].Unit.Symbol != "V" {
			t.Errorf("info %+v", info)
		}
		if notes := strings.Join(info.Notes, "|"); !strings.Contains(notes, "one burst of 7500 frames; between it and any other burst lies a gap") || !strings.Contains(notes, "A-0402") {
			t.Errorf("notes %q", notes)
		}
		x, err := read64(r, 7500)
		must(t, err)
		for i := range x[0] {
			if x[0][i] != -x[1][i] || math.Abs(x[0][i]-x[0][0]-float64(i)*1e-6) > 1e-9 {
				t.Fatalf("frame %d: %.9g and %.9g", i, x[0][i], x[1][i])
			}
		}
		if n, err := r.Read(recording.Block(2, 10)); n != 0 || err != io.EOF {
			t.Errorf("after the burst: %d frames, %v", n, err)
		}
		must(t, r.Close())
	}
	must(t, g.Close())
}

// twins gives the second input the first with the other sign.
type twins struct{ *counter }

func (p twins) Next(drive []float64, inputs [][]float64) {
	p.counter.Next(drive, inputs)
	for i, v := range inputs[0] {
		inputs[1][i] = -v
	}
}

// TestBurstThatNeverEnds waits for a trigger that does not come.
func TestBurstThatNeverEnds(t *testing.T) {
	in, err := scpitest.Start(scpitest.NewWorld(1000, 1, false, scpitest.Wire(0, 1)), scpitest.Config{Inputs: []int{0}})
	must(t, err)
	defer in.Close()
	d := StandardVoltmeter()
	d.Trigger = ""
	g, err := OpenDigitizer(t.Context(), []string{in.Address()}, patientSampler(d), Sampling{Rate: 1000, Burst: 0.01})
	must(t, err)
	r, err := g.Acquire(t.Context())
	must(t, err)
	g.dialect.Limit = 0.05 // of the burst; an exchange may take longer
	if _, err := r.Read(recording.Block(1, 10)); !errors.Is(err, bench.ErrLost) || !strings.Contains(err.Error(), "burst of 10 frames is not complete") {
		t.Errorf("error %v", err)
	}
	must(t, r.Close())
}

// TestSamplingIsReadBack refuses a rate that the instrument does not keep, and takes one that it rounds.
func TestSamplingIsReadBack(t *testing.T) {
	in, err := scpitest.Start(scpitest.NewWorld(1000, 2, false, counting), scpitest.Config{Inputs: []int{0, 1}})
	must(t, err)
	defer in.Close()
	open := func(interval string) (*Digitizer, error) {
		in.Calm()
		in.Provoke(scpitest.Fault{Do: scpitest.Garbage, On: "TINTerval?", Text: interval})
		return OpenDigitizer(t.Context(), []string{in.Address()}, patientSampler(contractDigitizer()), Sampling{Rate: 48000})
	}
	if _, err := open("2.1E-5"); err == nil || !strings.Contains(err.Error(), "it was told 48000") {
		t.Errorf("47.6 kHz: %v", err)
	}
	g, err := open("2.083E-5")
	must(t, err)
	r, err := g.Acquire(t.Context())
	must(t, err)
	if info := r.Info(); math.Abs(info.Rate-48007.681) > 1e-3 || !strings.Contains(strings.Join(info.Notes, " "), "the instrument says 48007.681") { // 1/2.083e-5
		t.Errorf("rate %g, notes %q", info.Rate, info.Notes)
	}
	must(t, r.Close())
}

func TestDigitizerRefuses(t *testing.T) {
	for _, c := range []struct {
		change    func(*Sampler)
		sampling  Sampling
		addresses int
		says      string
	}{
		{func(*Sampler) {}, Sampling{}, 1, "samples per second"},
		{func(*Sampler) {}, Sampling{Rate: 1000}, 0, "no address"},
		{func(*Sampler) {}, Sampling{Rate: 1000}, 2, "do not sample by one clock"},
		{func(d *Sampler) { *d = StandardVoltmeter() }, Sampling{Rate: 1000}, 1, "burst of 0 s"},
		{func(d *Sampler) { *d = StandardVoltmeter() }, Sampling{Rate: 1000, Burst: 1e9}, 1, "burst of 1e+09 s"},
		{func(d *Sampler) { *d = StandardVoltmeter() }, Sampling{Rate: 1000, Burst: 1}, 0, "no address"},
	} {
		d := contractDigitizer()
		c.change(&d)
		if _, err := OpenDigitizer(t.Context(), make([]string, c.addresses), d, c.sampling); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%+v: %v, want %q", c.sampling, err, c.says)
		}
	}
}
