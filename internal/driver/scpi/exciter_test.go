package scpi

import (
	"context"
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"plumbline/bench"
	"plumbline/internal/driver/scpi/scpitest"
)

// generator is a driven scriptable instrument.
func generator(t *testing.T, d Generator, cfg scpitest.Config) (*Exciter, *scpitest.Instrument) {
	t.Helper()
	cfg.Generator = true
	in, err := scpitest.Start(scpitest.NewWorld(20000, 2, false, scpitest.Wire(1e-3, 1, 0.5)), cfg)
	must(t, err)
	t.Cleanup(in.Close)
	d.Limit = patience.Seconds()
	e, err := OpenExciter(t.Context(), in.Address(), d)
	must(t, err)
	t.Cleanup(func() { e.Close() })
	return e, in
}

// grant changes the limit of what is connected.
func (e *Exciter) grant(limit float64) {
	e.dialect.Limit, e.client.opts.Limit = limit, seconds(limit)
}

func sine(f, peak float64) bench.Signal {
	return bench.Signal{{Frequency: f, Amplitude: complex(peak, 0)}}
}

// TestOutput drives in every unit and looks at the instrument's true output.
func TestOutput(t *testing.T) {
	for unit, word := range map[string]string{"peak": "VPK", "peak-to-peak": "VPP", "rms": "VRMS"} {
		d := contractGenerator()
		d.Unit, d.Setup = unit, []string{"SOURce:VOLTage:UNIT " + word}
		e, in := generator(t, d, scpitest.Config{})
		if out := in.Output(); out.On || out.Peak != 0 {
			t.Errorf("%s: after opening %+v", unit, out)
		}
		for _, s := range []bench.Signal{sine(80, 0.5), sine(80, 0.93), sine(16, 0.01)} {
			must(t, e.Drive(t.Context(), s))
			out := in.Output()
			if !out.On || out.Frequency != s[0].Frequency || math.Abs(out.Peak-s.Peak()) > 1e-8 {
				t.Errorf("%s: %+v, asked for %v", unit, out, s)
			}
		}
		must(t, e.Drive(t.Context(), nil))
		must(t, e.Halt())
		if out := in.Output(); out.On || out.Step > d.Largest/steps+1e-6 || out.Highest > 0.93+1e-6 {
			t.Errorf("%s: at the end %+v, steps of at most %g V wanted", unit, out, d.Largest/steps)
		}
	}
}

// TestFrequencyChangesInSilence looks at every command: the frequency changes only while the output is off, the amplitude while it is on never by more than a step.
func TestFrequencyChangesInSilence(t *testing.T) {
	e, in := generator(t, contractGenerator(), scpitest.Config{})
	must(t, e.Drive(t.Context(), sine(80, 1)))
	must(t, e.Drive(t.Context(), sine(16, 1)))
	must(t, e.Halt())
	on := false
	for _, c := range in.Heard() {
		switch {
		case c == "OUTPut ON":
			on = true
		case c == "OUTPut OFF":
			on = false
		case strings.HasPrefix(c, "SOURce:FREQuency ") && on:
			t.Errorf("%s while the output is on", c)
		}
	}
	if out := in.Output(); out.Step > 0.05+1e-9 {
		t.Errorf("a step of %g V", out.Step)
	}
}

// TestLeast drives an instrument that cannot go down to zero: it starts from its least amplitude, and what is less is silence: off.
func TestLeast(t *testing.T) {
	d := contractGenerator()
	d.Least = 0.005
	e, in := generator(t, d, scpitest.Config{Least: 0.005})
	for _, silent := range []bench.Signal{sine(80, 0.004), nil} {
		must(t, e.Drive(t.Context(), sine(80, 0.2)))
		must(t, e.Drive(t.Context(), silent))
		if out := in.Output(); out.On || out.Peak != 0.005 {
			t.Errorf("%v is %+v", silent, out)
		}
	}
	must(t, e.Drive(t.Context(), sine(80, 0.2)))
	must(t, e.Halt())
	if out := in.Output(); out.On {
		t.Errorf("after the halt %+v", out)
	}
}

// TestBeyondTheLargest is refused without a word to the instrument.
func TestBeyondTheLargest(t *testing.T) {
	e, in := generator(t, contractGenerator(), scpitest.Config{})
	must(t, e.Drive(t.Context(), sine(80, 0.5)))
	before := len(in.Heard())
	if err := e.Drive(t.Context(), sine(80, 1.01)); err == nil || !strings.Contains(err.Error(), "allows 1 V") {
		t.Errorf("1.01 V: %v", err)
	}
	if err := e.Drive(t.Context(), bench.Signal{{Frequency: 80, Amplitude: 0.2}, {Frequency: 160, Amplitude: 0.1}}); !errors.Is(err, bench.ErrTones) {
		t.Errorf("two tones: %v", err)
	}
	if n := len(in.Heard()); n != before {
		t.Errorf("%d commands for signals that are refused", n-before)
	}
	if out := in.Output(); !out.On || math.Abs(out.Peak-0.5) > 1e-9 {
		t.Errorf("output %+v, want it as before", out)
	}
}

// TestDisobedience drives instruments that do something else than they are told. Each time the drive fails, says what was found, and the output is off.
func TestDisobedience(t *testing.T) {
	t.Parallel() // it waits for what does not come
	for _, c := range []struct {
		fault scpitest.Fault
		says  string
		lost  bool
	}{
		{scpitest.Fault{Do: scpitest.Ignore, On: "VOLTage ", Skip: 4, Times: 1}, "", false}, // one step is skipped: the next makes up for it
		{scpitest.Fault{Do: scpitest.Ignore, On: "VOLTage 1"}, "amplitude is 0.45 V peak, it was told 0.5 V", false},
		{scpitest.Fault{Do: scpitest.Ignore, On: "FREQuency "}, "frequency is 1000 Hz, it was told 80 Hz", false},
		{scpitest.Fault{Do: scpitest.Ignore, On: "OUTPut ON"}, "the output is still off", false},
		{scpitest.Fault{Do: scpitest.Garbage, On: "FREQuency?", Text: "eighty"}, `found "eighty"`, false},
		{scpitest.Fault{Do: scpitest.Garbage, On: "VOLTage?", Text: "9.91E37"}, "amplitude is NaN", false},
		{scpitest.Fault{Do: scpitest.Refuse, On: "VOLTage ", Skip: 3, Times: 1, Code: -221, Text: "Settings conflict"}, `-221 "Settings conflict"`, false},
		{scpitest.Fault{Do: scpitest.Complain, On: "OUTPut ON", Code: 17, Text: "Output protection"}, `17 "Output protection"`, false},
		{scpitest.Fault{Do: scpitest.HangUp, On: "VOLTage ", Skip: 5}, "closed the connection", true},
		{scpitest.Fault{Do: scpitest.Garbage, On: "SYSTem:ERRor?", Skip: 9, Text: "\x00\xff"}, "entry of the error queue", true},
		{scpitest.Fault{Do: scpitest.Mute, On: "VOLTage?"}, "within 500ms", true},
	} {
		e, in := generator(t, contractGenerator(), scpitest.Config{})
		in.Provoke(c.fault)
		if c.fault.Do == scpitest.Mute {
			e.grant(0.5)
		}
		err := e.Drive(t.Context(), sine(80, 0.5))
		out := in.Output()
		switch {
		case c.says == "":
			if err != nil || !out.On {
				t.Errorf("%+v: %v, output %+v", c.fault, err, out)
			}
		case err == nil || !strings.Contains(err.Error(), c.says) || errors.Is(err, bench.ErrLost) != c.lost:
			t.Errorf("%+v: %v, want %q", c.fault, err, c.says)
		case out.On && !c.lost: // one that is lost went off if it obeyed
			t.Errorf("%+v: the output is still on: %+v", c.fault, out)
		}
		in.Calm()
		must(t, e.Halt())
		if in.Output().On {
			t.Errorf("%+v: the output is on after the halt", c.fault)
		}
	}
}

// TestHaltOfASlowInstrument halts where every answer takes 20 ms: the ramp comes down in fewer, larger steps instead of taking its time.
func TestHaltOfASlowInstrument(t *testing.T) {
	d := contractGenerator()
	d.Step, d.StepTime = 0.01, 0.001
	e, in := generator(t, d, scpitest.Config{})
	must(t, e.Drive(t.Context(), sine(80, 1)))
	before := len(in.Heard())
	const delay = 20 * time.Millisecond
	in.Provoke(scpitest.Fault{Do: scpitest.Slow, On: "SYSTem:ERRor?", Delay: delay})
	must(t, e.Halt())
	changes := 0
	for _, c := range in.Heard()[before:] {
		if strings.HasPrefix(c, "SOURce:VOLTage ") {
			changes++
		}
	}
	if most := int(longestFall/delay.Seconds()) + 2; changes < 2 || changes > most { // 100 steps asked for; a busy machine makes fewer
		t.Errorf("%d changes of the amplitude, at most %d fit into %g s", changes, most, longestFall)
	}
	if out := in.Output(); out.On || out.Peak != 0 {
		t.Errorf("output %+v", out)
	}
}

// TestHaltThatFails says so as long as the instrument does not turn off, and turns off once it can.
func TestHaltThatFails(t *testing.T) {
	t.Parallel() // it waits for what does not come
	for _, c := range []struct {
		fault scpitest.Fault
		says  string
		lost  bool
	}{
		{scpitest.Fault{Do: scpitest.Ignore, On: "OUTPut OFF"}, "the output is still on", false},
		{scpitest.Fault{Do: scpitest.Refuse, On: "OUTPut OFF", Code: -200, Text: "Execution error"}, `-200 "Execution error"`, false},
		{scpitest.Fault{Do: scpitest.Silence}, "the output may still be on", true},
		{scpitest.Fault{Do: scpitest.HangUp}, "the output may still be on", true},
	} {
		e, in := generator(t, contractGenerator(), scpitest.Config{})
		must(t, e.Drive(t.Context(), sine(80, 0.5)))
		in.Provoke(c.fault)
		e.grant(0.1)
		for range 2 {
			if err := e.Halt(); err == nil || !strings.Contains(err.Error(), c.says) || errors.Is(err, bench.ErrLost) != c.lost {
				t.Errorf("%+v: halt: %v, want %q", c.fault, err, c.says)
			}
		}
		if err := e.Drive(t.Context(), sine(80, 0.1)); !errors.Is(err, bench.ErrHalted) {
			t.Errorf("%+v: drive after a halt that failed: %v", c.fault, err)
		}
		in.Calm()
		e.grant(patience.Seconds())
		must(t, e.Halt())
		if out := in.Output(); out.On {
			t.Errorf("%+v: %+v after the instrument obeys again", c.fault, out)
		}
	}
}

// TestHaltOverANewConnection loses the connection while the instrument lives.
func TestHaltOverANewConnection(t *testing.T) {
	e, in := generator(t, contractGenerator(), scpitest.Config{})
	must(t, e.Drive(t.Context(), sine(80, 0.5)))
	in.HangUp()
	must(t, e.Halt())
	if out := in.Output(); out.On {
		t.Errorf("output %+v", out)
	}
}

// TestIdleConnection loses the connection while the output is off, as instruments do that nobody asks for long. The next drive makes it anew; while the output is on it does not.
func TestIdleConnection(t *testing.T) {
	e, in := generator(t, contractGenerator(), scpitest.Config{})
	in.HangUp()
	must(t, e.Drive(t.Context(), sine(80, 0.5)))
	must(t, e.Drive(t.Context(), nil))
	in.HangUp()
	must(t, e.Drive(t.Context(), sine(80, 0.5)))
	if out := in.Output(); !out.On || math.Abs(out.Peak-0.5) > 1e-6 || out.Step > 0.05+1e-6 {
		t.Errorf("output %+v", out)
	}
	in.HangUp()
	if err := e.Drive(t.Context(), sine(80, 0.6)); !errors.Is(err, bench.ErrLost) {
		t.Errorf("lost while on: %v", err)
	}
	if out := in.Output(); out.On {
		t.Errorf("%+v after the loss", out)
	}
}

// TestNoSine meets an instrument that stays at another shape.
func TestNoSine(t *testing.T) {
	in, err := scpitest.Start(scpitest.NewWorld(1000, 1, false, scpitest.Wire(0, 1)), scpitest.Config{Generator: true})
	must(t, err)
	defer in.Close()
	in.Provoke(scpitest.Fault{Do: scpitest.Garbage, On: "FUNCtion?", Text: "SQU"})
	if _, err := OpenExciter(t.Context(), in.Address(), contractGenerator()); err == nil || !strings.Contains(err.Error(), `is answered "SQU", a sine is "SIN"`) {
		t.Errorf("error %v", err)
	}
}

// TestHaltInTheMiddle halts while a ramp goes up: it turns round and ends in silence.
func TestHaltInTheMiddle(t *testing.T) {
	d := contractGenerator()
	d.Step, d.StepTime = 0.001, 0.0002
	e, in := generator(t, d, scpitest.Config{})
	driven := make(chan error)
	go func() { driven <- e.Drive(context.Background(), sine(80, 1)) }()
	for in.Output().Peak < 0.1 {
		must(t, t.Context().Err())
	}
	must(t, e.Halt())
	if err := <-driven; !errors.Is(err, bench.ErrHalted) {
		t.Errorf("the drive that was halted: %v", err)
	}
	if out := in.Output(); out.On || out.Peak != 0 || out.Highest >= 1 {
		t.Errorf("output %+v", out)
	}
}

// TestTurnOff turns off from outside what another left on, and tries again where the first attempts fail.
func TestTurnOff(t *testing.T) {
	t.Parallel() // it waits for what does not come
	d := contractGenerator()
	d.Limit = 0.3
	for _, fault := range []scpitest.Fault{
		{Do: scpitest.Complain, On: "OUTP", Times: 1, Code: -350, Text: "Queue overflow"},
		{Do: scpitest.HangUp, Times: 3},
		{Do: scpitest.Silence, Times: 2},
		{Do: scpitest.Ignore, On: "OUTPut OFF", Times: 2},
		{Do: scpitest.Garbage, On: "OUTPut?", Times: 2, Text: "maybe"},
	} {
		e, in := generator(t, d, scpitest.Config{})
		must(t, e.Drive(t.Context(), sine(80, 0.5)))
		in.Provoke(fault)
		must(t, TurnOff(t.Context(), in.Address(), d))
		if out := in.Output(); out.On {
			t.Errorf("%+v: output %+v", fault, out)
		}
	}
}

func TestTurnOffFails(t *testing.T) {
	d := contractGenerator()
	d.Limit = 0.1
	e, in := generator(t, d, scpitest.Config{})
	must(t, e.Drive(t.Context(), sine(80, 0.5)))
	in.Close()
	if err := TurnOff(t.Context(), in.Address(), d); !errors.Is(err, bench.ErrLost) || !strings.Contains(err.Error(), "may still be on, after 5 attempts") {
		t.Errorf("instrument gone: %v", err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if err := TurnOff(ctx, in.Address(), d); !errors.Is(err, context.Canceled) {
		t.Errorf("context ended: %v", err)
	}
	d.Unit = ""
	if err := TurnOff(t.Context(), in.Address(), d); err == nil || !strings.Contains(err.Error(), "unit") {
		t.Errorf("no unit: %v", err)
	}
}

// TestWrongInstrument is told by its identity, before anything is set.
func TestWrongInstrument(t *testing.T) {
	in, err := scpitest.Start(scpitest.NewWorld(1000, 1, false, scpitest.Wire(0, 1)), scpitest.Config{Generator: true})
	must(t, err)
	defer in.Close()
	d := contractGenerator()
	d.Instrument = "X-12"
	if _, err := OpenExciter(t.Context(), in.Address(), d); err == nil || !strings.Contains(err.Error(), `expected was "X-12"`) {
		t.Errorf("error %v", err)
	}
	if heard := in.Heard(); strings.Join(heard, " ") != "*IDN? SYSTem:ERRor?" {
		t.Errorf("it was told %q", heard)
	}
}

// TestSum puts a sum of harmonics out as one period of an arbitrary waveform and compares what comes out with the sum.
func TestSum(t *testing.T) {
	d := contractGenerator()
	d.Arbitrary, d.ArbitrarySelect, d.ArbitraryPoints = "TRACe:DATA PLUMB,{block}", []string{"SOURce:FUNCtion USER"}, 8192
	w := scpitest.NewWorld(8192, 1, false, scpitest.Wire(0, 1))
	in, err := scpitest.Start(w, scpitest.Config{Generator: true, Time: 0.25})
	must(t, err)
	defer in.Close()
	e, err := OpenExciter(t.Context(), in.Address(), d)
	must(t, err)
	defer e.Close()
	s := bench.Signal{{Frequency: 16, Amplitude: 0.6}, {Frequency: 32, Amplitude: 0.1i}, {Frequency: 48, Amplitude: -0.05}}
	must(t, e.Drive(t.Context(), s))
	w.Keep()
	must(t, e.confirm(t.Context()))
	x := w.Sounds()[:8192]
	for _, tone := range s {
		if got := projection(x, tone.Frequency, 8192) / projection(x, 16, 8192) * 0.6; math.Abs(got-magnitude(tone)) > 1e-3 {
			t.Errorf("%g Hz: %.5g V of 0.6 V, want %.5g V", tone.Frequency, got, magnitude(tone))
		}
	}
	if got := projection(x, 16, 8192); math.Abs(got-0.6) > 1e-3 { // the period is played point after point, 16 of them a frame
		t.Errorf("fundamental %.5g V, want 0.6 V", got)
	}
	downloads := func() (n int) {
		for _, c := range in.Heard() {
			if strings.HasPrefix(c, "TRACe") {
				n++
			}
		}
		return n
	}
	for i := range s {
		s[i].Amplitude *= 0.5
	}
	must(t, e.Drive(t.Context(), s)) // another level of the same shape
	if out := in.Output(); downloads() != 1 || out.Step > 0.05+1e-9 || !out.On {
		t.Errorf("%d downloads, output %+v", downloads(), out)
	}
	must(t, e.Drive(t.Context(), sine(16, 0.5)))
	s[0].Amplitude = 0.4
	must(t, e.Drive(t.Context(), s))
	must(t, e.Halt())
	if out := in.Output(); downloads() != 2 || out.On {
		t.Errorf("%d downloads, output %+v", downloads(), out)
	}
}

func TestSumRefuses(t *testing.T) {
	d, err := contractGenerator().complete()
	must(t, err)
	d.Arbitrary, d.ArbitrarySelect, d.ArbitraryPoints = "TRACe:DATA PLUMB,{block}", []string{"SOURce:FUNCtion USER"}, 128
	for _, s := range []bench.Signal{
		{{Frequency: 16, Amplitude: 0.1}, {Frequency: 16 * math.Sqrt2, Amplitude: 0.1}},
		{{Frequency: 16, Amplitude: 0.1}, {Frequency: 160, Amplitude: 0.1}}, // 12.8 points of a period
	} {
		if _, _, err := d.wave(s); !errors.Is(err, bench.ErrTones) {
			t.Errorf("%v: %v", s, err)
		}
	}
	if w, level, err := d.wave(bench.Signal{{Frequency: 10, Amplitude: 0.1}, {Frequency: 15, Amplitude: 0.1}, {Frequency: 20, Amplitude: 0}}); err != nil || math.Abs(w.frequency-5) > 1e-12 || level > 0.2 {
		t.Errorf("%g Hz, %g V, %v", w.frequency, level, err)
	}
}

func magnitude(t bench.Tone) float64 { return math.Hypot(real(t.Amplitude), imag(t.Amplitude)) }

// projection is the amplitude at f of samples over whole cycles.
func projection(x []float64, f, rate float64) float64 {
	var s, c float64
	for i, v := range x {
		sin, cos := math.Sincos(2 * math.Pi * f * float64(i) / rate)
		s, c = s+v*sin, c+v*cos
	}
	return 2 * math.Hypot(s, c) / float64(len(x))
}
