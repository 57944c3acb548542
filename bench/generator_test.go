package bench

import (
	"errors"
	"math"
	"math/cmplx"
	"testing"
)

func generator(t *testing.T, rate, ramp float64) *Generator {
	t.Helper()
	g, err := NewGenerator(rate, ramp)
	if err != nil {
		t.Fatal(err)
	}
	return g
}

func set(t *testing.T, g *Generator, s Signal) {
	t.Helper()
	if err := g.Set(s); err != nil {
		t.Fatal(err)
	}
}

// TestGeneratorIsWhatItSays compares the settled output with Re(A exp(j 2π f t)) for t from the first sample, made in pieces of odd length.
func TestGeneratorIsWhatItSays(t *testing.T) {
	const rate = 1000.0
	g := generator(t, rate, 0.1)
	a := complex(0.3, -0.4)
	set(t, g, Signal{{7.3, a}, {21.9, 0.1i}})
	var out []float64
	for n := 0; n < 5000; n += 77 {
		part := make([]float64, 77)
		g.Fill(part)
		out = append(out, part...)
	}
	for k := 100; k < len(out); k++ {
		at := float64(k) / rate
		want := real(a*cmplx.Exp(complex(0, 2*math.Pi*7.3*at))) + real(0.1i*cmplx.Exp(complex(0, 2*math.Pi*21.9*at)))
		if math.Abs(out[k]-want) > 1e-11 {
			t.Fatalf("sample %d: %.15g, want %.15g", k, out[k], want)
		}
	}
}

// TestGeneratorIsContinuous changes amplitude, phase and frequency while playing: no two samples differ by more than the steepest slope of the tones and of the ramps allows.
func TestGeneratorIsContinuous(t *testing.T) {
	const rate, ramp = 2000.0, 0.05
	g := generator(t, rate, ramp)
	last, worst := 0.0, 0.0
	for i, s := range []Signal{{{5, 1}}, {{5, -1i}}, {{80, 1}}, {{80, 0.5}, {160, 0.2i}}, nil, {{3, 1}}} {
		set(t, g, s)
		part := make([]float64, 61+40*i) // some changes come before the ramp has ended
		g.Fill(part)
		for _, x := range part {
			worst, last = math.Max(worst, math.Abs(x-last)), x
		}
	}
	if limit := 2*math.Pi*(80+160*0.2+5)/rate + 3/(rate*ramp); worst > limit {
		t.Errorf("largest step %.4g V, the slopes allow %.4g V", worst, limit)
	}
}

func TestGeneratorHalts(t *testing.T) {
	g := generator(t, 1000, 0.1)
	g.Halt() // before anything
	if err := g.Set(Signal{{10, 1}}); !errors.Is(err, ErrHalted) {
		t.Fatalf("a signal after the halt: %v, want ErrHalted", err)
	}
	g = generator(t, 1000, 0.1)
	set(t, g, Signal{{10, 1}})
	part := make([]float64, 450)
	g.Fill(part)
	g.Halt()
	g.Fill(part[:50])
	g.Halt() // in the middle of the ramp: it must not begin again
	if g.Silent() {
		t.Error("silent in the middle of the ramp")
	}
	g.Fill(part[:50])
	if !g.Silent() {
		t.Error("not silent after the ramp")
	}
	g.Fill(part)
	for k, x := range part {
		if x != 0 {
			t.Fatalf("sample %d after the halt is %g V", k, x)
		}
	}
}

func TestGeneratorRefuses(t *testing.T) {
	if _, err := NewGenerator(0, 0.1); err == nil {
		t.Error("no rate: no error")
	}
	if _, err := NewGenerator(1000, 3); err == nil {
		t.Error("ramp of 3 s: no error")
	}
	g := generator(t, 1000, 0.1)
	for _, s := range []Signal{{{0, 1}}, {{500, 1}}, {{10, cmplx.Inf()}}, {{10, 1}, {10, 1}}, {{math.NaN(), 1}}} {
		if err := g.Set(s); err == nil {
			t.Errorf("%v: no error", s)
		}
	}
	if !g.Silent() {
		t.Error("refused signals are heard")
	}
}
