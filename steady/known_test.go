package steady

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

// TestTauMax: tau_max = 2 max(tau)/T_b, at least 4 (study of the settling rules); Wary is told the time constant as it is.
func TestTauMax(t *testing.T) {
	loop := TimeConstant{"level control", 8}
	coupling := TimeConstant{"AC coupling", 3.2}
	for _, c := range []struct {
		rule  Rule
		block float64
		slow  []TimeConstant
		want  float64
	}{
		{Averaged, 2, []TimeConstant{coupling, loop}, 8},
		{Skip, 2, []TimeConstant{loop, coupling}, 8},
		{Wary, 2, []TimeConstant{loop, coupling}, 4},
		{Wary, 0.5, []TimeConstant{loop, coupling}, 16},
		{Averaged, 10, []TimeConstant{loop}, 4},
		{Wary, 1, []TimeConstant{{"nothing", 0}}, 4},
	} {
		got, err := TauMax(c.rule, c.block, c.slow...)
		if err != nil || got != c.want {
			t.Errorf("%v, %g s: %g, %v; want %g", c.rule, c.block, got, err, c.want)
		}
	}
	for want, err := range map[string]error{
		"rule is Rule(0)":                 second(TauMax(0, 1, loop)),
		"a block of 0 s":                  second(TauMax(Wary, 0, loop)),
		"a block of NaN s":                second(TauMax(Wary, math.NaN(), loop)),
		"no time constant is known":       second(TauMax(Wary, 1)),
		"warming is -1 s":                 second(TauMax(Wary, 1, loop, TimeConstant{"warming", -1})),
		"warming of 3000 s makes 600 blo": second(TauMax(Wary, 5, loop, TimeConstant{"warming", 3000})),
		"corner is 0 Hz":                  second(HighPass(0, 1)),
		"damping is -1":                   second(HighPass(1, -1)),
	} {
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%v, want %q", err, want)
		}
	}
}

func second(_ float64, err error) error { return err }

// TestHighPass: the poles of s² + 2 zeta ω s + ω² are -ω(zeta ± sqrt(zeta²-1)); the slower one has the real part whose inverse is the time constant.
func TestHighPass(t *testing.T) {
	for _, c := range []struct{ corner, zeta, want float64 }{
		{0.1, 0.7, 1 / (2 * math.Pi * 0.1 * 0.7)},
		{0.1, 1, 1.5915494309189535},   // 1/(2π·0.1)
		{0.1, 1.25, 3.183098861837907}, // poles at 0.5 ω and 2 ω
		{0.1, 0.1, 15.915494309189535},
	} {
		got, err := HighPass(c.corner, c.zeta)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "time constant", got, c.want, 1e-12)
	}
}

// TestRepeat: |a-b| > sqrt(ha²+hb²) is flagged (study of the settling rules); 3-4-5 makes sqrt(ha²+hb²) = 5. Phases are compared across ±π.
func TestRepeat(t *testing.T) {
	at := func(mean, half float64) Answer {
		return Answer{Modulus: Estimate{Judged: true, Mean: mean, HalfWidth: half}, Phase: Estimate{Judged: true, Mean: mean, HalfWidth: half}}
	}
	modulus, phase := Repeat(at(1, 3e-3), at(1.0049, 4e-3))
	if modulus.Flagged || phase.Flagged || math.Abs(modulus.Allowed-5e-3) > 1e-15 {
		t.Errorf("%+v %+v", modulus, phase)
	}
	modulus, phase = Repeat(at(1, 3e-3), at(0.9949, 4e-3))
	if !modulus.Flagged || !phase.Flagged || math.Abs(modulus.Difference-5.1e-3) > 1e-12 {
		t.Errorf("%+v %+v", modulus, phase)
	}
	modulus, phase = Repeat(at(math.Pi-1e-3, 3e-3), at(1e-3-math.Pi, 4e-3))
	if !modulus.Flagged || phase.Flagged || math.Abs(phase.Difference+2e-3) > 1e-12 {
		t.Errorf("%+v %+v", modulus, phase)
	}
	if modulus, _ = Repeat(at(0, 1), Answer{}); modulus != (Check{}) {
		t.Errorf("%+v of what was not judged", modulus)
	}
}

// TestLevel: tau_max is told a quarter of what it is, and the level shows it: it is raised to about the time constant times the caution, and the point is no longer
// accepted wrongly. A level without a transient, or with one that is too small to matter, raises nothing.
func TestLevel(t *testing.T) {
	const tau = 40
	for _, rule := range []Rule{Averaged, Wary} {
		told := tau / 4 * rule.Caution()
		j := mustJudge(t, Settings{Rule: rule, Modulus: 1e-3, TauMax: told, Level: true})
		noise, moving := gaussian(21, 800, 1e-3), gaussian(22, 800, 1e-3)
		raised := 0.0
		for k := range 800 {
			d := math.Exp(-(float64(k) + 0.5) / tau)
			a := j.Add(Block{LnRatio: complex(0.005*d+noise[k], 0), LnLevel: -1 - 0.3*d + moving[k]})
			raised = max(raised, a.TauMax)
			if a.State != Settling {
				break
			}
		}
		a := j.Answer()
		if a.State != Steady || math.Abs(a.Modulus.Mean) > a.Modulus.HalfWidth || raised < 0.9*tau*rule.Caution() || raised > 1.4*tau*rule.Caution() {
			t.Errorf("%v: tau_max was raised to %g, %+v", rule, raised, a)
		}
		for _, size := range []float64{0, 0.005} {
			j := mustJudge(t, Settings{Rule: rule, Modulus: 1e-3, TauMax: told, Level: true})
			for k := range 800 {
				a := j.Add(Block{LnRatio: complex(noise[k], 0), LnLevel: size*math.Exp(-(float64(k)+0.5)/tau) + moving[k]/10})
				if a.TauMax != told {
					t.Fatalf("%v: a transient of %g in the level raised tau_max to %g at block %d", rule, size, a.TauMax, k+1)
				}
			}
		}
	}
}

// TestReadings: 95 % intervals m ± t·Std of series whose mean is known hold it in at least 93 % of cases for autocorrelations up to 0.8 (95 % less the error of
// 1000 runs); taken as independent, the same readings would claim 70 % too little at 0.6. Long independent series lose nothing.
func TestReadings(t *testing.T) {
	const seed, runs = 31, 1000
	t.Logf("seed %d", seed)
	r := rand.New(rand.NewPCG(seed, 0))
	for _, n := range []int{5, 10, 20, 50, 200} {
		for _, phi := range []float64{0, 0.3, 0.6, 0.8} {
			held, size := 0, 0.0
			for range runs {
				x := make([]float64, n)
				v := r.NormFloat64()
				for k := range x {
					x[k] = 100 + v
					v = phi*v + math.Sqrt(1-phi*phi)*r.NormFloat64()
				}
				a, err := Readings(x)
				if err != nil {
					t.Fatal(err)
				}
				if math.Abs(a.Mean-100) <= student(a.Dof)*a.Std {
					held++
				}
				size += a.Size / runs
			}
			if held < 930 {
				t.Errorf("%d readings of autocorrelation %g: %d of %d intervals hold the truth", n, phi, held, runs)
			}
			if want := 200 * (1 - phi) / (1 + phi); n == 200 && phi < 0.7 && math.Abs(size/want-1) > 0.12 { // n(1-phi)/(1+phi), large n
				t.Errorf("%d readings of autocorrelation %g count as %.0f, want about %.0f", n, phi, size, want)
			}
		}
	}
}

func TestReadingsRefused(t *testing.T) {
	if _, err := Readings([]float64{1, 2}); err == nil || !strings.Contains(err.Error(), "2 are too few") {
		t.Error(err)
	}
	if _, err := Readings([]float64{1, math.NaN(), 2}); err == nil || !strings.Contains(err.Error(), "reading 2 is NaN") {
		t.Error(err)
	}
	a, err := Readings([]float64{10.02, 10.02, 10.02, 10.02})
	if err != nil || a.Mean != 10.02 || a.Std != 0 || a.Size != 0 {
		t.Errorf("equal readings: %+v, %v", a, err)
	}
}

// FuzzJudge feeds bytes as blocks: whatever they are, the answer is finite and the judge does not panic.
func FuzzJudge(f *testing.F) {
	f.Add([]byte("settling"), uint8(2), 10.0)
	f.Add([]byte{0, 255, 0, 255, 128, 7, 7, 7, 7, 7, 200, 1}, uint8(3), 4.0)
	f.Fuzz(func(t *testing.T, data []byte, rule uint8, tau float64) {
		j, err := NewJudge(Settings{Rule: Rule(rule), Modulus: 1e-3, Phase: 1e-2, TauMax: tau})
		if err != nil || len(data) == 0 {
			return
		}
		for k := range 300 {
			d := data[k%len(data)]
			scale := math.Exp(float64(d%16) * 4)
			v := (float64(d) - 128) / scale
			a := j.Add(Block{LnRatio: complex(v, 10*v), Dropped: d == 0})
			for _, e := range []Estimate{a.Modulus, a.Phase} {
				if math.IsNaN(e.Mean) || math.IsNaN(e.HalfWidth) || math.IsNaN(e.Std()) {
					t.Fatalf("block %d: %+v", k+1, e)
				}
			}
		}
	})
}
