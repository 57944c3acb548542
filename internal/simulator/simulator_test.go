package simulator

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"slices"
	"testing"

	"plumbline/quantity"
)

const seed = 20260301

func newRand(stream uint64) *rand.Rand { return rand.New(rand.NewPCG(seed, stream)) }

// silent is a bench without noise, hum, drift and quantisation: only the line and its harmonics are left.
func silent() Bench {
	b := FenwickLane()
	b.Ground, b.Hum = Ground{}, Hum{}
	for _, t := range []*Transducer{&b.Reference, &b.Device} {
		t.Noise, t.Bias, t.Creep, t.Drift = Noise{}, 0, 0, 0
	}
	b.Recorder.Noise, b.Recorder.Bits = Noise{}, 0
	return b
}

// line is the complex amplitude of x at cycles per sample, by the sum that defines it; exact for whole cycles.
func line(x []float64, cycles float64) complex128 {
	var sum complex128
	for i, v := range x {
		_, turn := math.Modf(cycles * float64(i))
		sum += complex(v, 0) * cmplx.Rect(1, -2*math.Pi*turn)
	}
	return sum * complex(2/float64(len(x)), 0)
}

func relative(got, want complex128) float64 { return cmplx.Abs(got-want) / cmplx.Abs(want) }

func TestLineIsTheTruth(t *testing.T) {
	b := silent()
	b.Recorder.Gain = [2]float64{1.002, 0.997}
	b.Recorder.Coupling = [2]float64{0.01, 0.02}
	b.Recorder.Delay = [2]float64{0, 3e-6}
	for _, recorded := range []float64{0.5, 1, 10, 97, 400} { // Hz on the recorder's clock: whole cycles in 10 s
		p := Point{Frequency: recorded * (1 + b.Recorder.Clock), Level: 0.2, Duration: 10}
		x, truth := b.Record(p, newRand(1))
		if len(x) != 2 || len(x[0]) != 20000 || len(x[1]) != 20000 {
			t.Fatalf("%v Hz: %d channels of %d samples", recorded, len(x), len(x[0]))
		}
		if math.Abs(truth.RecordedFrequency/recorded-1) > 1e-14 {
			t.Errorf("%v Hz: recorded frequency %v", recorded, truth.RecordedFrequency)
		}
		cycles := recorded / b.Recorder.Rate
		ref, dev := line(x[0], cycles), line(x[1], cycles)
		// 1e-10: rounding of 20000 terms with a phase known to 1e-12 cycles.
		if d := relative(dev/ref, truth.Ratio); d > 1e-10 {
			t.Errorf("%v Hz: ratio off by %.1e", recorded, d)
		}
		want := truth.Level * cmplx.Abs(truth.Reference*b.Recorder.transfer(0, truth.Frequency))
		if d := math.Abs(cmplx.Abs(ref)/want - 1); d > 1e-10 {
			t.Errorf("%v Hz: amplitude of the reference channel off by %.1e", recorded, d)
		}
		if truth.Ratio != truth.Device*b.Recorder.transfer(1, truth.Frequency)/(truth.Reference*b.Recorder.transfer(0, truth.Frequency)) {
			t.Errorf("%v Hz: the ratio of the truth is not made of its parts", recorded)
		}
		for h, size := range map[int]float64{2: truth.Second, 3: truth.Third} {
			f := truth.Frequency * float64(h)
			want := truth.Level * size * cmplx.Abs(b.transfer(1, f))
			if f < b.Recorder.Rate/2 {
				if got := cmplx.Abs(line(x[1], cycles*float64(h))); math.Abs(got/want-1) > 1e-8 {
					t.Errorf("%v Hz: harmonic %d is %v, want %v", recorded, h, got, want)
				}
			}
		}
	}
}

func TestSensitivityAtCornerAndResonance(t *testing.T) {
	// A second-order high-pass is 1/(2 zeta) at +90° at its corner, a resonance Q at -90° at its own frequency (textbook).
	highPass := Transducer{Midband: 2, HighPass: 0.5, Damping: 0.4}
	if d := relative(highPass.Sensitivity(0.5), 2*complex(0, 1/0.8)); d > 1e-14 {
		t.Errorf("high-pass at its corner off by %.1e", d)
	}
	resonance := Transducer{Midband: 2, Resonance: 1000, Quality: 20}
	if d := relative(resonance.Sensitivity(1000), complex(0, -40)); d > 1e-14 {
		t.Errorf("resonance off by %.1e", d)
	}
	if got := (Transducer{Midband: 2, InvertedAxis: true}).Sensitivity(3); got != -2 {
		t.Errorf("inverted axis: %v", got)
	}
	// 10 V/g at the usual reference frequency of 100 Hz: 1 % of resonance is left there, 1/(1-0.1²).
	if got := cmplx.Abs(Seismic().Sensitivity(100)) * quantity.StandardGravity; math.Abs(got-10/0.99) > 1e-3 {
		t.Errorf("seismic accelerometer at 100 Hz: %v V/g", got)
	}
}

func TestReachIsLimitedByStrokeVelocityAndForce(t *testing.T) {
	// 0.018 g peak at 1 Hz is a displacement of 4.5 mm peak (common practice, no source).
	level := Exciter{Stroke: 2 * 4.5e-3}.Reach(1) / quantity.StandardGravity
	if math.Abs(level-0.018) > 0.0002 {
		t.Errorf("9 mm peak to peak reach %.4f g at 1 Hz", level)
	}
	e := Exciter{Stroke: 10e-3, Velocity: 0.1, Level: 20}
	for _, c := range []struct{ f, want float64 }{
		{1, 5e-3 * 4 * math.Pi * math.Pi}, // stroke
		{10, 0.1 * 2 * math.Pi * 10},      // velocity
		{100, 20},                         // force
	} {
		if got := e.Reach(c.f); math.Abs(got/c.want-1) > 1e-14 {
			t.Errorf("%v Hz: reach %v, want %v", c.f, got, c.want)
		}
	}
	_, truth := FenwickLane().Record(Point{Frequency: 1, Level: 5, Duration: 1}, newRand(2))
	if truth.Level != LongStroke().Reach(1) {
		t.Errorf("level %v beyond the reach", truth.Level)
	}
	// At full stroke the harmonics are those stated; far below only the floor is left.
	if math.Abs(truth.Third-0.14) > 1e-4 || math.Abs(truth.Second-0.056) > 1e-4 {
		t.Errorf("harmonics at full stroke %v, %v", truth.Second, truth.Third)
	}
	_, truth = FenwickLane().Record(Point{Frequency: 100, Level: 1, Duration: 1}, newRand(2))
	if math.Abs(truth.Third-5e-4) > 1e-6 {
		t.Errorf("third harmonic at 100 Hz %v", truth.Third)
	}
}

func TestSameSeedSameBits(t *testing.T) {
	p := Point{Frequency: 3, Level: 0.5, Duration: 4}
	b := FenwickLane()
	b.Faults.Clicks = 2
	x, _ := b.Record(p, newRand(3))
	y, _ := b.Record(p, newRand(3))
	z, _ := b.Record(p, newRand(4))
	for c := range x {
		if !slices.Equal(x[c], y[c]) {
			t.Errorf("channel %d differs between two runs with one seed", c+1)
		}
		if slices.Equal(x[c], z[c]) {
			t.Errorf("channel %d is the same with another seed", c+1)
		}
	}
}

func TestSamplesAreWholeStepsWithinFullScale(t *testing.T) {
	b := FenwickLane()
	b.Recorder.Bits, b.Recorder.FullScale = 12, 2
	x, _ := b.Record(Point{Frequency: 20, Level: 5, Duration: 1}, newRand(5)) // 5.1 V peak into ±2 V
	step := b.Recorder.Step()
	if step != 2.0/2048 {
		t.Fatalf("step %v", step)
	}
	for c := range x {
		for i, v := range x[c] {
			if n := v / step; n != math.Round(n) || n < -2048 || n > 2047 {
				t.Fatalf("channel %d, sample %d: %v steps", c+1, i, n)
			}
		}
	}
	if lo, hi := slices.Min(x[1]), slices.Max(x[1]); lo != -2 || hi != 2-step {
		t.Errorf("clipped device channel spans %v to %v", lo, hi)
	}
}

func TestSettlingLoopApproachesTheLevel(t *testing.T) {
	b := silent()
	b.Exciter.Settling, b.Exciter.Start = 2, 0.4
	f := 10 * (1 + b.Recorder.Clock)
	x, truth := b.Record(Point{Frequency: f, Level: 1, Duration: 20}, newRand(6))
	want := truth.Level * cmplx.Abs(truth.Device)
	for _, c := range []struct{ from, relative float64 }{{0, 1 - 0.4*math.Exp(-0.25/2)}, {2, 1 - 0.4*math.Exp(-2.25/2)}, {19, 1}} {
		first := int(c.from * b.Recorder.Rate)
		got := cmplx.Abs(line(x[1][first:first+1000], 10/b.Recorder.Rate)) / want // half a second: the mean over it is the middle to 0.1 %
		if math.Abs(got-c.relative) > 2e-3 {
			t.Errorf("level at %v s is %.4f of the settled one, want %.4f", c.from, got, c.relative)
		}
	}
}

func BenchmarkRecordOneMinute(b *testing.B) {
	bench := FenwickLane()
	for b.Loop() {
		bench.Record(Point{Frequency: 1, Level: 0.2, Duration: 60}, newRand(7))
	}
}

// The sensitivity of a transducer that is warming is Warming·exp(-t/WarmTime) off, counted from switching on.
func TestWarming(t *testing.T) {
	b := silent()
	b.Device.Warming, b.Device.WarmTime = 0.02, 10
	f := 20 * (1 + b.Recorder.Clock)
	for _, warm := range []float64{0, 20} {
		x, truth := b.Record(Point{Frequency: f, Level: 1, Duration: 2, Warm: warm}, newRand(8))
		n := int(0.2 * b.Recorder.Rate) // four periods: the mean over them is their middle to 1e-6
		got := cmplx.Abs(line(x[1][:n], 20/b.Recorder.Rate)/line(x[0][:n], 20/b.Recorder.Rate)) / cmplx.Abs(truth.Ratio)
		if want := 1 + 0.02*math.Exp(-(warm+0.1)/10); math.Abs(got-want) > 1e-5 {
			t.Errorf("%g s after switching on: ratio %.6f of the warm one, want %.6f", warm, got, want)
		}
	}
}

// A resonance of damping 0.7 at r = 0.2, 0.3, 0.5: gains 1.000000, 0.997758, 0.974740 and phases -16.26°, -24.78°, -43.03° (closed form; Thomson, Theory of Vibration
// p. 82 has an error below 0.01 % up to r = 0.20); +3 dB at r = 0.5404 without damping.
func TestResonanceOfTransducer(t *testing.T) {
	for _, c := range []struct{ r, zeta, gain, phase float64 }{{0.2, 0.7, 1.000000, -16.26}, {0.3, 0.7, 0.997758, -24.78}, {0.5, 0.7, 0.974740, -43.03}, {0.5404, 1e-9, 1.41254, 0}} {
		s := Transducer{Midband: 1, Resonance: 1, Quality: 1 / (2 * c.zeta)}.Sensitivity(c.r)
		if gain, phase := cmplx.Abs(s), cmplx.Phase(s)*180/math.Pi; math.Abs(gain-c.gain) > 2e-4 || math.Abs(phase-c.phase) > 0.006 {
			t.Errorf("r = %g, damping %g: %.6f at %.3f°, want %g at %g°", c.r, c.zeta, gain, phase, c.gain, c.phase)
		}
	}
}
