package scpi

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/cmplx"
	"testing"

	"plumbline/bench"
	"plumbline/bench/benchtest"
	"plumbline/internal/driver/scpi/scpitest"
	"plumbline/internal/simulator"
	"plumbline/recording"
	"plumbline/steady"
)

// laboratory is the simulated bench between the socket of the generator and the inputs of the digitizer. It follows the output with the simulator's own sine.
type laboratory struct {
	t      *testing.T
	live   *simulator.Live
	reader recording.Reader
}

func (l *laboratory) Follow(o scpitest.Output) {
	var s bench.Signal
	if o.Heard() > 0 {
		s = bench.Signal{{Frequency: o.Frequency, Amplitude: complex(o.Heard(), 0)}}
	}
	if err := l.live.Drive(context.Background(), s); err != nil {
		l.t.Error("simulated exciter:", err)
	}
}

func (l *laboratory) Next(_ []float64, inputs [][]float64) {
	for from := 0; from < len(inputs[0]); {
		n, err := l.reader.Read([][]float64{inputs[0][from:], inputs[1][from:]})
		if err != nil {
			l.t.Error("simulated digitizer:", err)
			return
		}
		from += n
	}
}

// simulated is an instrument whose generator drives the simulated exciter and whose inputs are the simulated transducers, after hours of warming up.
func simulated(t *testing.T, paced bool) (*scpitest.Instrument, *simulator.Live, *simulator.Witness, float64) {
	t.Helper()
	setup, err := simulator.Scene{Exciter: "X-03", Reference: "100 mV/g", Site: 1, Warm: true}.Setup()
	must(t, err)
	live, witness, err := simulator.New(setup, 11)
	must(t, err)
	reader, err := live.Acquire(t.Context())
	must(t, err)
	w := scpitest.NewWorld(setup.Recorder.Rate, 2, paced, func(float64) scpitest.Plant { return &laboratory{t, live, reader} })
	in, err := scpitest.Start(w, scpitest.Config{Generator: true, Inputs: []int{0, 1}, Range: 20})
	must(t, err)
	t.Cleanup(in.Close)
	return in, live, witness, setup.Recorder.Rate
}

// runOver is a set of steps on the instrument.
func runOver(t *testing.T, in *scpitest.Instrument, w *simulator.Witness, rate float64, m *benchtest.Memory, lines ...bench.Line) bench.Set {
	t.Helper()
	d := contractGenerator()
	d.Least, d.Step, d.StepTime, d.Limit = 1e-4, 0.01, 0.0001, patience.Seconds()
	e, err := OpenExciter(t.Context(), in.Address(), d)
	must(t, err)
	t.Cleanup(func() { e.Close() })
	s := contractDigitizer()
	s.Encoding, s.FullScale, s.Limit = Real64, 20, patience.Seconds()
	g, err := OpenDigitizer(t.Context(), []string{in.Address()}, s, Sampling{Rate: rate})
	must(t, err)
	t.Cleanup(func() { g.Close() })
	set := bench.Set{
		Exciter: e, Digitizer: g, Archive: m, Operator: &benchtest.Script{}, Harmonics: 5, Drift: 1, Mains: 50,
		Limits:    bench.Limits{Drive: 1, Slew: 1, Level: func(f float64) float64 { return math.Min(10, 0.004*math.Pow(2*math.Pi*f, 2)) }},
		Reference: bench.Input{Column: 1, Scale: 1, Limit: 9.5, Sensitivity: w.Reference},
		Device:    bench.Input{Column: 2, Scale: 1, Limit: 9.5, Sensitivity: w.Device},
		Watch:     func(e bench.Event) { t.Logf("%7.2f s %s step %d: %s", e.Seconds, e.Kind, e.Step, e.Text) },
	}
	for i, l := range lines {
		cycles := math.Max(2, math.Ceil(0.25*l.Frequency))
		set.Steps = append(set.Steps, bench.Step{
			Points: []int{i}, Label: fmt.Sprintf("%g Hz", l.Frequency), Lines: []bench.Line{l}, Block: cycles / l.Frequency, Longest: 120,
			Judge: steady.Settings{Rule: steady.Wary, Modulus: 3e-3, Phase: 5e-3, TauMax: 4},
		})
	}
	return set
}

// TestRunOverTheNetwork measures two points of the simulated bench through generator and digitizer: what is kept is the true ratio, the level is the one wanted, and the output
// is off at the end. The generator grew by no more than a step at a time.
func TestRunOverTheNetwork(t *testing.T) {
	in, _, w, rate := simulated(t, false)
	m := &benchtest.Memory{}
	lines := []bench.Line{{Frequency: 16, Level: 1}, {Frequency: 78, Level: 2}}
	report, err := bench.Run(t.Context(), runOver(t, in, w, rate, m, lines...))
	must(t, err)
	if len(report.Kept) != len(lines) {
		t.Fatalf("%d steps kept of %d", len(report.Kept), len(lines))
	}
	for i, k := range report.Kept {
		l := lines[i]
		if math.Abs(k.Level[0]/l.Level-1) > 0.02 {
			t.Errorf("%g Hz: level %.5g m/s², wanted %.5g m/s²", l.Frequency, k.Level[0], l.Level)
		}
		off := k.Answers[0].LnRatio() - cmplx.Log(w.Ratio(l.Frequency))
		if math.Abs(real(off)) > 5e-3 || math.Abs(imag(off)) > 1e-2 { // the half widths asked for, and a little
			t.Errorf("%g Hz: ln ratio off by %.5f", l.Frequency, off)
		}
	}
	if out := in.Output(); out.On || out.Step > 0.01+1e-6 {
		t.Errorf("at the end %+v", out)
	}
	if got := m.Kept()[0].Info.Format; got != "SCPI stream of REAL,64" {
		t.Errorf("format %q", got)
	}
}

// TestRunLosesItsInstruments takes the network away in the middle of a run. The run ends with ErrLost and says that the output may be on; a guard outside turns it off when the network is back.
func TestRunLosesItsInstruments(t *testing.T) {
	t.Parallel() // it waits for what does not come
	in, live, w, rate := simulated(t, false)
	m := &benchtest.Memory{}
	s := runOver(t, in, w, rate, m, bench.Line{Frequency: 16, Level: 1})
	silent := false
	s.Watch = func(e bench.Event) {
		if e.Block != nil && e.Block.Level[0] > 0.9 && !silent { // at full level
			silent = true
			in.Provoke(scpitest.Fault{Do: scpitest.Silence})
			s.Exciter.(*Exciter).grant(0.2)
			s.Digitizer.(*Digitizer).grant(0.2)
		}
	}
	_, err := bench.Run(t.Context(), s)
	if !errors.Is(err, bench.ErrLost) {
		t.Errorf("error %v, want ErrLost", err)
	}
	if out := in.Output(); !out.On || len(m.Kept()) != 0 {
		t.Errorf("%+v, %d kept: the output was to be out of reach", out, len(m.Kept()))
	}
	in.Calm()
	d := contractGenerator()
	d.Limit = patience.Seconds()
	must(t, TurnOff(t.Context(), in.Address(), d))
	if out := in.Output(); out.On {
		t.Errorf("%+v after turning off", out)
	}
	must(t, live.Halt())
}

// TestRunPullsTheReference pulls the reference's cable at full level: the run halts and the output goes off.
func TestRunPullsTheReference(t *testing.T) {
	in, live, w, rate := simulated(t, false)
	s := runOver(t, in, w, rate, &benchtest.Memory{}, bench.Line{Frequency: 16, Level: 1})
	pulled := false
	s.Watch = func(e bench.Event) {
		if e.Block != nil && e.Block.Level[0] > 0.9 && !pulled {
			pulled = true
			must(t, live.Plant(simulator.Fault{Kind: simulator.Pulled, Channel: 1}))
		}
	}
	_, err := bench.Run(t.Context(), s)
	if !errors.Is(err, bench.ErrUnsafe) {
		t.Errorf("error %v, want ErrUnsafe", err)
	}
	if out := in.Output(); !pulled || out.On {
		t.Errorf("pulled %v, output %+v", pulled, out)
	}
}
