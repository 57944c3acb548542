package bench_test

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/cmplx"
	"slices"
	"strings"
	"testing"

	"plumbline/bench"
	"plumbline/bench/benchtest"
)

// told gathers the kinds of the events of a run.
func told(s *bench.Set) *[]string {
	kinds := &[]string{}
	s.Watch = func(e bench.Event) {
		if e.Kind != "block" {
			*kinds = append(*kinds, e.Kind)
		}
	}
	return kinds
}

// unsteady is a step that cannot become steady in its time.
func unsteady() bench.Step {
	s := step(10, 3)
	s.Judge.Modulus, s.Judge.Limit = 1e-7, 12
	return s
}

// TestChoices gives each answer to the question about a step that is not steady.
func TestChoices(t *testing.T) {
	for _, c := range []struct {
		name      string
		answers   []bench.Decision
		kept      int
		skipped   int
		attempts  int
		level     float64 // of the last attempt
		stopped   bool
		questions int
	}{
		{"repeat, then skip", []bench.Decision{{Choice: bench.Again}, {Choice: bench.Skip, Name: "A"}}, 0, 1, 2, 3, false, 2},
		{"lower level, then keep", []bench.Decision{{Choice: bench.Lower}, {Choice: bench.Keep, Reason: "enough for the customer", Name: "A"}}, 1, 0, 2, 3 * 0.7, false, 2},
		{"wait longer, then keep", []bench.Decision{{Choice: bench.Longer}, {Choice: bench.Keep, Reason: "enough", Name: "A"}}, 1, 0, 2, 3, false, 2},
		{"keep without a reason is asked again", []bench.Decision{{Choice: bench.Keep, Name: "A"}, {Choice: bench.Keep, Reason: "enough", Name: "A"}}, 1, 0, 1, 3, false, 2},
		{"not offered is asked again", []bench.Decision{{Choice: "dance"}, {Choice: bench.Skip}}, 0, 1, 1, 3, false, 2},
		{"stop", []bench.Decision{{Choice: bench.Stop}}, 0, 0, 1, 3, true, 1},
	} {
		t.Run(c.name, func(t *testing.T) {
			w, m, o := benchtest.NewWorld(2000, 4), &benchtest.Memory{}, &benchtest.Script{Answers: c.answers}
			s := set(w, m, o, unsteady())
			r, err := bench.Run(context.Background(), s)
			if errors.Is(err, bench.ErrStopped) != c.stopped || err != nil && !c.stopped {
				t.Fatal(err)
			}
			if len(r.Kept) != c.kept || len(r.Skipped) != c.skipped || len(m.Takes) != c.attempts || len(o.Asked) != c.questions {
				t.Errorf("%d kept, %d skipped, %d attempts, %d questions; want %d, %d, %d, %d", len(r.Kept), len(r.Skipped), len(m.Takes), len(o.Asked), c.kept, c.skipped, c.attempts, c.questions)
			}
			for _, k := range r.Kept {
				if k.Reason == "" || k.Operator != "A" || math.Abs(k.Level[0]/c.level-1) > 0.01 {
					t.Errorf("kept with reason %q of %q at %.4g m/s², want %.4g m/s²", k.Reason, k.Operator, k.Level[0], c.level)
				}
			}
			if longer := c.answers[0].Choice == bench.Longer; longer && len(m.Takes[1].Samples[0]) < len(m.Takes[0].Samples[0])*3/2 {
				t.Errorf("%d frames, then %d: not longer", len(m.Takes[0].Samples[0]), len(m.Takes[1].Samples[0]))
			}
			for _, q := range m.Takes[:len(m.Takes)-1] {
				if q.State != "discarded" {
					t.Errorf("an earlier attempt is %s", q.State)
				}
			}
		})
	}
}

// TestCommands gives a command in the middle of the first of two steps.
func TestCommands(t *testing.T) {
	for _, c := range []struct {
		name     string
		commands []bench.Command
		kept     []int
		skipped  []int
		takes    int
		stopped  bool
		kind     string // of an event that is expected
	}{
		{"pause and resume", []bench.Command{{Kind: "pause"}, {Kind: "resume"}}, []int{0, 1}, nil, 3, false, "resumed"},
		{"pause and skip", []bench.Command{{Kind: "pause"}, {Kind: "skip"}, {Kind: "resume"}}, []int{1}, []int{0}, 2, false, "skipped"},
		{"repeat the running step", []bench.Command{{Kind: "repeat", Step: 0}}, []int{0, 0, 1}, nil, 3, false, ""},
		{"repeat what is not there", []bench.Command{{Kind: "repeat", Step: 7}}, []int{0, 1}, nil, 2, false, "refused"},
		{"skip", []bench.Command{{Kind: "skip"}}, []int{1}, []int{0}, 2, false, "skipped"},
		{"note", []bench.Command{{Kind: "note", Text: "door slammed", Name: "A"}}, []int{0, 1}, nil, 2, false, "noted"},
		{"keep", []bench.Command{{Kind: "keep", Text: "enough", Name: "A"}}, []int{0, 1}, nil, 2, false, ""},
		{"keep without reason", []bench.Command{{Kind: "keep"}}, []int{0, 1}, nil, 2, false, "refused"},
		{"longer", []bench.Command{{Kind: "longer"}}, []int{0, 1}, nil, 2, false, ""},
		{"unknown", []bench.Command{{Kind: "sing"}}, []int{0, 1}, nil, 2, false, "refused"},
		{"stop", []bench.Command{{Kind: "stop"}}, nil, nil, 1, true, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			w, m := benchtest.NewWorld(2000, 4), &benchtest.Memory{}
			s := set(w, m, &benchtest.Script{}, step(10, 3), step(5, 2))
			commands := make(chan bench.Command, 10)
			s.Commands = commands
			var kinds []string
			given := false
			s.Watch = func(e bench.Event) {
				kinds = append(kinds, e.Kind)
				if e.Kind == "block" && e.Block.Number == 4 && !given {
					given = true
					for _, q := range c.commands {
						commands <- q
					}
				}
			}
			r, err := bench.Run(context.Background(), s)
			if errors.Is(err, bench.ErrStopped) != c.stopped || err != nil && !c.stopped {
				t.Fatal(err)
			}
			var kept []int
			for _, k := range r.Kept {
				kept = append(kept, k.Step)
			}
			if !slices.Equal(kept, c.kept) || !slices.Equal(r.Skipped, c.skipped) || len(m.Takes) != c.takes {
				t.Errorf("kept %v, skipped %v, %d attempts; want %v, %v, %d", kept, r.Skipped, len(m.Takes), c.kept, c.skipped, c.takes)
			}
			if c.kind != "" && !slices.Contains(kinds, c.kind) {
				t.Errorf("events %v, want a %q", kinds, c.kind)
			}
			if c.name == "note" && !slices.ContainsFunc(m.Entries, func(e bench.Entry) bool { return e.Kind == "note" && e.Text == "door slammed" }) {
				t.Errorf("the note is not kept: %v", m.Entries)
			}
		})
	}
}

// TestPausedWithNobodyThere ends the run where the channel of commands is closed.
func TestPausedWithNobodyThere(t *testing.T) {
	w := benchtest.NewWorld(2000, 4)
	s := set(w, &benchtest.Memory{}, &benchtest.Script{}, step(10, 3))
	commands := make(chan bench.Command, 1)
	commands <- bench.Command{Kind: "pause"}
	close(commands)
	s.Commands = commands
	if _, err := bench.Run(context.Background(), s); !errors.Is(err, bench.ErrStopped) {
		t.Errorf("%v, want %v", err, bench.ErrStopped)
	}
}

// TestDoneStepsAreNotMeasured goes on with a run: attempts are counted on.
func TestDoneStepsAreNotMeasured(t *testing.T) {
	w, m := benchtest.NewWorld(2000, 4), &benchtest.Memory{}
	s := set(w, m, &benchtest.Script{}, step(10, 3), step(5, 2), step(20, 3))
	s.Done, s.Tried = []int{0, 2}, []int{1, 3, 1}
	r, err := bench.Run(context.Background(), s)
	if err != nil || len(r.Kept) != 1 || r.Kept[0].Step != 1 || r.Kept[0].Attempt != 4 {
		t.Errorf("%v, kept %v; want step 1 in attempt 4", err, r.Kept)
	}
}

// TestPreDistortion compares the distortion of the last block without and with it: a suspension that makes some ten per cent of third harmonic.
func TestPreDistortion(t *testing.T) {
	distortion := func(wanted float64) (before, after float64, r bench.Report) {
		w := benchtest.NewWorld(2000, 9)
		w.Cubic = 1.5e7
		p := step(1, 0.12)
		p.Distortion = wanted
		s := set(w, &benchtest.Memory{}, &benchtest.Script{}, p)
		s.Watch = func(e bench.Event) {
			if e.Block != nil {
				after = e.Block.Distortion[0]
				before = max(before, after)
			}
		}
		r, err := bench.Run(context.Background(), s)
		if err != nil {
			t.Fatal(err)
		}
		return before, after, r
	}
	_, without, _ := distortion(0)
	_, with, r := distortion(0.005)
	t.Logf("distortion %.2g without, %.2g with", without, with)
	if without < 0.05 {
		t.Errorf("%.3g without pre-distortion: nothing to take away", without)
	}
	if with > 0.005 {
		t.Errorf("%.3g with pre-distortion, at most 0.005 is wanted", with)
	}
	if l := r.Kept[0].Level[0]; math.Abs(l/0.12-1) > 0.01 {
		t.Errorf("level %.4g m/s², wanted 0.12 m/s²", l)
	}
}

// oneTone is an exciter that puts out one tone at a time.
type oneTone struct{ bench.Exciter }

func (o oneTone) Drive(ctx context.Context, s bench.Signal) error {
	if len(s) > 1 {
		return fmt.Errorf("drive: %w", bench.ErrTones)
	}
	return o.Exciter.Drive(ctx, s)
}

// TestOneToneExciter does without pre-distortion, and measures no multisine.
func TestOneToneExciter(t *testing.T) {
	w := benchtest.NewWorld(2000, 9)
	p := step(10, 3)
	p.Distortion = 0.001
	s := set(w, &benchtest.Memory{}, &benchtest.Script{}, p)
	s.Exciter = oneTone{w}
	if r, err := bench.Run(context.Background(), s); err != nil || len(r.Kept) != 1 {
		t.Errorf("%v, %d kept, want one", err, len(r.Kept))
	}
	w = benchtest.NewWorld(2000, 9)
	s = set(w, &benchtest.Memory{}, &benchtest.Script{}, together())
	s.Exciter = oneTone{w}
	if _, err := bench.Run(context.Background(), s); !errors.Is(err, bench.ErrTones) {
		t.Errorf("a multisine: %v, want %v", err, bench.ErrTones)
	}
}

// together is a step of three lines in blocks of two seconds.
func together() bench.Step {
	return bench.Step{
		Points: []int{0, 1, 2}, Label: "three lines", Block: 2, Longest: 120, Judge: rule,
		Lines: []bench.Line{{Frequency: 1, Level: 0.03}, {Frequency: 2.5, Level: 0.2, Phase: 2}, {Frequency: 7, Level: 1, Phase: 4}},
	}
}

// TestMultisine measures three lines at once.
func TestMultisine(t *testing.T) {
	w, m := benchtest.NewWorld(2000, 11), &benchtest.Memory{}
	w.HighPass = 0.05
	o := &benchtest.Script{}
	s := set(w, m, o, together())
	r, err := bench.Run(context.Background(), s)
	if err != nil {
		t.Fatal(err, o.Asked)
	}
	k := r.Kept[0]
	for i, l := range s.Steps[0].Lines {
		if math.Abs(k.Level[i]/l.Level-1) > 0.01 {
			t.Errorf("%g Hz: level %.4g m/s², wanted %.4g m/s²", l.Frequency, k.Level[i], l.Level)
		}
		want := cmplx.Log(complex(w.Sensors[1]/w.Sensors[0], 0) * highPass(w, l.Frequency))
		if d := k.Answers[i].LnRatio() - want; math.Abs(real(d)) > 2e-3 || math.Abs(imag(d)) > 4e-3 {
			t.Errorf("%g Hz: ln ratio %.6f, want %.6f", l.Frequency, k.Answers[i].LnRatio(), want)
		}
	}
}

// TestChannelsDisagree turns the device around, and gives it ten times the gain: the low-level check asks.
func TestChannelsDisagree(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(*benchtest.World)
		want   string
	}{
		{"turned", func(w *benchtest.World) { w.Sensors[1] = -w.Sensors[1] }, "polarity"},
		{"gain of ten", func(w *benchtest.World) { w.Sensors[1] *= 10 }, "sensitivity"},
		{"reference dead", func(w *benchtest.World) { w.Fault(benchtest.Fault{Pulled: [2]bool{true, false}}) }, "no response"},
	} {
		t.Run(c.name, func(t *testing.T) {
			w, o := benchtest.NewWorld(2000, 12), &benchtest.Script{}
			s := set(w, &benchtest.Memory{}, o, step(10, 3))
			sensors := w.Sensors
			s.Reference.Sensitivity = func(float64) complex128 { return complex(sensors[0], 0) }
			s.Device.Sensitivity = func(float64) complex128 { return complex(sensors[1], 0) }
			c.change(w)
			if _, err := bench.Run(context.Background(), s); !errors.Is(err, bench.ErrStopped) {
				t.Fatal(err)
			}
			if len(o.Asked) != 1 || !strings.Contains(o.Asked[0].Why, c.want) {
				t.Errorf("asked %v, want a word of %q", o.Asked, c.want)
			}
			var peak float64
			for _, v := range w.Output() {
				peak = max(peak, math.Abs(v))
			}
			if peak > 0.1*s.Limits.Drive*1.001 {
				t.Errorf("%.3g V before the check was passed, at most %.3g V are allowed", peak, 0.1*s.Limits.Drive)
			}
		})
	}
}

// TestDelayedResponse reaches the level through an instrument that shows everything a second late.
func TestDelayedResponse(t *testing.T) {
	w := benchtest.NewWorld(2000, 13)
	w.Delay, w.Cubic = 1800, 5e6
	o := &benchtest.Script{}
	s := set(w, &benchtest.Memory{}, o, step(2, 0.35), step(40, 3))
	r, err := bench.Run(context.Background(), s)
	if err != nil {
		t.Fatal(err, o.Asked)
	}
	for i, k := range r.Kept {
		if l := s.Steps[i].Lines[0]; math.Abs(k.Level[0]/l.Level-1) > 0.01 {
			t.Errorf("%g Hz: level %.4g m/s², wanted %.4g m/s²", l.Frequency, k.Level[0], l.Level)
		}
	}
}

// TestLevelOutOfReach asks where a limit keeps the level down.
func TestLevelOutOfReach(t *testing.T) {
	w, o := benchtest.NewWorld(2000, 14), &benchtest.Script{}
	s := set(w, &benchtest.Memory{}, o, step(10, 3))
	s.Limits.Drive = 0.2 // 3 m/s² take 0.3 V
	if _, err := bench.Run(context.Background(), s); !errors.Is(err, bench.ErrStopped) {
		t.Fatal(err)
	}
	if len(o.Asked) != 1 || !strings.Contains(o.Asked[0].Why, "capped") || !slices.Contains(o.Asked[0].Offers, bench.Lower) {
		t.Errorf("asked %v", o.Asked)
	}
}

// TestQuietCheckObjects hears a dead, a clipped and a noisy channel.
func TestQuietCheckObjects(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(*benchtest.World, *bench.Set)
		want   string
	}{
		{"dead", func(w *benchtest.World, s *bench.Set) { w.Fault(benchtest.Fault{Stuck: [2]bool{true, false}}) }, "reference: 0 V without any change"},
		{"full scale", func(w *benchtest.World, s *bench.Set) { w.Noise[1], s.Device.Limit = 1, 2 }, "device"},
		{"noisy", func(w *benchtest.World, s *bench.Set) {
			s.Reference.Noise = func(f, width float64) float64 { return 1e-9 }
		}, "reference"},
	} {
		t.Run(c.name, func(t *testing.T) {
			w, m, o := benchtest.NewWorld(2000, 15), &benchtest.Memory{}, &benchtest.Script{}
			w.Noise[0] = 1e-6
			s := set(w, m, o, step(10, 3))
			s.Quiet = 2
			c.change(w, &s)
			if c.name == "dead" {
				w.Noise[0] = 0
			}
			if _, err := bench.Run(context.Background(), s); !errors.Is(err, bench.ErrStopped) {
				t.Fatal(err)
			}
			if len(o.Asked) != 1 || !strings.HasPrefix(o.Asked[0].Why, c.want) {
				t.Errorf("asked %v, want %q", o.Asked, c.want)
			}
			if len(m.Kept()) != 1 || len(m.Entries) == 0 || m.Entries[0].Kind != "quiet-check" {
				t.Errorf("recordings %d, entries %v: the check is kept", len(m.Kept()), m.Entries)
			}
			if slices.ContainsFunc(w.Output(), func(v float64) bool { return v != 0 }) {
				t.Error("something came out during the quiet check")
			}
		})
	}
}

// TestSetsThatCannotBeRun are refused before anything moves.
func TestSetsThatCannotBeRun(t *testing.T) {
	for _, c := range []struct {
		want   string
		change func(*bench.Set)
	}{
		{"needed", func(s *bench.Set) { s.Operator = nil }},
		{"no step", func(s *bench.Set) { s.Steps = nil }},
		{"limits: drive", func(s *bench.Set) { s.Limits.Drive = 0 }},
		{"limits: slew", func(s *bench.Set) { s.Limits.Slew = math.Inf(1) }},
		{"limit of the level", func(s *bench.Set) { s.Limits.Level = nil }},
		{"whole cycles", func(s *bench.Set) { s.Steps[0].Block *= 1.1 }},
		{"the level is", func(s *bench.Set) { s.Steps[0].Lines[0].Level = 1e4 }},
		{"both in column", func(s *bench.Set) { s.Device.Column = 1 }},
		{"scale", func(s *bench.Set) { s.Reference.Scale = 0 }},
		{"rule", func(s *bench.Set) { s.Steps[0].Judge.Rule = 0 }},
		{"at most", func(s *bench.Set) { s.Steps[0].Longest = 0 }},
		{"harmonics", func(s *bench.Set) { s.Harmonics = 0 }},
		{"attempts", func(s *bench.Set) { s.Tried = []int{1, 2, 3} }},
		{"lines for", func(s *bench.Set) { s.Steps[0].Points = nil }},
	} {
		w := benchtest.NewWorld(2000, 1)
		s := set(w, &benchtest.Memory{}, &benchtest.Script{}, step(10, 3))
		c.change(&s)
		if _, err := bench.Run(context.Background(), s); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%v, want words of %q", err, c.want)
		}
		if w.Seconds() != 0 {
			t.Errorf("%s: %g s passed before the refusal", c.want, w.Seconds())
		}
	}
}
