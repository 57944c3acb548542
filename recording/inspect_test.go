package recording

import (
	"io"
	"math"
	"math/rand/v2"
	"os"
	"strings"
	"testing"

	"plumbline/quantity"
)

var (
	volt = quantity.Unit{Symbol: "V", Factor: 1}
	fs   = quantity.Unit{Symbol: "FS", Factor: 1}
)

// inspected returns the findings of samples, added in blocks of the given size.
func inspected(ch Channel, block int, x ...[]float64) []Finding {
	info := Info{Rate: 1000}
	for range x {
		info.Channels = append(info.Channels, ch)
	}
	in := NewInspector(info)
	for at := 0; at < len(x[0]); at += block {
		part := make([][]float64, len(x))
		for c := range x {
			part[c] = x[c][at:min(at+block, len(x[0]))]
		}
		in.Add(part)
	}
	return in.Findings()
}

// sine returns n samples of a sine of the given amplitude and period in samples, with normal noise, rounded to step (0: not).
func sine(r *rand.Rand, n int, amplitude, period, phase, noise, step float64) []float64 {
	x := make([]float64, n)
	for i := range x {
		x[i] = amplitude*math.Sin(2*math.Pi*float64(i)/period+phase) + noise*r.NormFloat64()
		if step > 0 {
			x[i] = math.RoundToEven(x[i]/step) * step
		}
	}
	return x
}

func limited(x []float64, low, high float64) []float64 {
	y := make([]float64, len(x))
	for i, v := range x {
		y[i] = min(max(v, low), high)
	}
	return y
}

func one(t *testing.T, found []Finding, code Code) Finding {
	t.Helper()
	if len(found) != 1 || found[0].Code != code {
		t.Fatalf("found %+v, want one of %q", found, code)
	}
	return found[0]
}

func seeded(t *testing.T, a, b uint64) *rand.Rand {
	t.Helper()
	t.Logf("seed %d, %d", a, b)
	return rand.New(rand.NewPCG(a, b))
}

// TestFullScale: codes at the ends of a 16-bit range. 20 samples per period at 1.2 of full scale stay there for
// 2·acos(1/1.2)/(2π)·20 = 3.7 samples at each end of 240 periods.
func TestFullScale(t *testing.T) {
	r := seeded(t, 1, 1)
	ch := Channel{Unit: fs, Bits: 16}
	top := 1 - 0x1p-15
	x := limited(sine(r, 4800, 1.2, 20, 0.3, 0.001, 0x1p-15), -1, top)
	var want, first int64
	for i, v := range x {
		if v == top || v == -1 {
			if want++; want == 1 {
				first = int64(i + 1)
			}
		}
	}
	f := one(t, inspected(ch, 777, x), Clipped)
	if f.Channel != 1 || f.Count != want || f.First != first || f.Of != 4800 || !f.Refuse ||
		!strings.HasPrefix(f.Text, "channel 1: ") || !strings.HasSuffix(f.Text, "of 4800 samples at full scale, first at sample 4: clipped") {
		t.Errorf("finding %+v, want %d from %d", f, want, first)
	}

	x = sine(r, 4800, 0.9, 20, 0.3, 0.001, 0x1p-15)
	x[100], x[700] = top, -1
	f = one(t, inspected(ch, 777, x), FullScale)
	if f.Refuse || f.Count != 2 || f.First != 101 {
		t.Errorf("single samples: %+v", f)
	}
	x[702], x[1000] = 1-0x1p-15, -1
	if f = one(t, inspected(ch, 777, x), Clipped); f.Count != 4 || f.First != 101 {
		t.Errorf("more than chance: %+v", f)
	}
	x[702], x[1000] = 0, 0
	x[701] = -top // the most negative code but one: converters that are symmetrical end there
	if f = one(t, inspected(ch, 777, x), Clipped); f.Count != 3 || f.First != 101 {
		t.Errorf("two beside each other: %+v", f)
	}
}

// TestFlatTops: clipping below full scale, in floating point and in text, is found from its shape; in any block size.
func TestFlatTops(t *testing.T) {
	r := seeded(t, 2, 2)
	for _, step := range []float64{0, 1e-7, 0x1p-23, 1e-4, 1e-3} {
		for _, period := range []float64{12.3, 20.07, 64.9, 333.3, 5000.1} {
			for _, limit := range []float64{0.5, 0.8, 0.9} {
				if math.Acos(limit)/math.Pi*period < 3.3 {
					continue // flat tops of less than three samples are not seen
				}
				for _, noise := range []float64{0, 1e-5, 1e-3} {
					x := limited(sine(r, 30000, 1, period, 1, noise, step), -2, limit)
					for _, block := range []int{1, 50, 4096, 30000} {
						found := inspected(Channel{Unit: volt}, block, x)
						if len(found) != 1 || found[0].Code != Clipped || !found[0].Refuse {
							t.Fatalf("period %v, step %v, limit %v, noise %v, block %d: %+v", period, step, limit, noise, block, found)
						}
					}
				}
			}
		}
	}
}

// TestShortCrests: clipping at high frequencies leaves a sample or two at the limit in each period.
func TestShortCrests(t *testing.T) {
	r := seeded(t, 11, 11)
	for _, ch := range []Channel{{Unit: fs, Bits: 24}, {Unit: fs}, {Unit: volt}} {
		step := 0.0
		if ch.Bits > 0 {
			step = math.Ldexp(1, 1-ch.Bits)
		}
		for _, period := range []float64{2.7, 4.003, 5.12, 10.24, 12.3} {
			for _, limit := range []float64{0.7, 0.9} {
				x := limited(sine(r, 3000, 1, period, 0.4, 1e-4, step), -limit, 9)
				f := one(t, inspected(ch, 1000, x), Clipped)
				if !f.Refuse || f.Channel != 1 {
					t.Errorf("period %v, limit %v: %+v", period, limit, f)
				}
			}
		}
	}
}

// TestNoFalseAlarm: sines of any size against their resolution, with and without noise, in phase on two channels.
func TestNoFalseAlarm(t *testing.T) {
	runs := 3000
	if os.Getenv("PLUMBLINE_SOAK") == "1" {
		runs = 40_000
	}
	r := seeded(t, 3, 3)
	for k := range runs {
		step := math.Exp(r.Float64()*10 - 12)
		codes := math.Exp(r.Float64() * 12) // amplitude from 1 to 160 000 steps
		period := math.Exp(1.2 + r.Float64()*8)
		if r.IntN(3) == 0 {
			period = math.Round(period) // sampled at the same phases in every period
		}
		noise := []float64{0, 0, 0.3, 1, 3}[r.IntN(5)] * step
		phase := r.Float64() * 7
		if r.IntN(4) == 0 {
			phase = math.Pi / period // two equal samples beside each crest
		}
		n := 200 + r.IntN(8000)
		ch := Channel{Unit: volt}
		if r.IntN(2) == 0 {
			ch = Channel{Unit: fs, Bits: 16}
			step = 0x1p-15
			codes = min(codes, 32000)
			noise = []float64{0, 0.3, 1, 3}[r.IntN(4)] * step
		}
		grid := step
		if ch.Bits == 0 && r.IntN(4) == 0 {
			grid = 0
		}
		amplitude := max(codes, 1.01) * step // more than the edge of the rounding, or the channel is flat
		a := sine(r, n, amplitude, period, phase, noise, grid)
		b := sine(r, n, amplitude*(0.51+0.4*r.Float64()), period, phase+0.01*r.NormFloat64(), noise, grid)
		for _, f := range inspected(ch, 1+r.IntN(5000), a, b) {
			if f.Code != Flat && f.Code != FullScale {
				t.Errorf("run %d: %d samples, %v steps, period %v, phase %v, noise %v steps, grid %v, bits %d: %s",
					k, n, codes, period, phase, noise/step, grid, ch.Bits, f.Text)
			}
		}
	}
}

// TestSmallSquare: a sine of few codes looks like a square wave and is not clipped; the same at full scale is.
func TestSmallSquare(t *testing.T) {
	r := seeded(t, 4, 4)
	step := 0x1p-15
	for _, codes := range []float64{1, 1.4, 2.2, 3.7, 10} {
		x := sine(r, 8000, codes*step, 200.3, 0, 0, step)
		if found := inspected(Channel{Unit: fs, Bits: 16}, 1000, x); len(found) > 0 {
			t.Errorf("%v codes: %+v", codes, found)
		}
		for i := range x {
			x[i] /= step
		}
		if found := inspected(Channel{Unit: volt}, 1000, x); len(found) > 0 {
			t.Errorf("%v codes as text: %+v", codes, found)
		}
	}
}

// TestGrowingSignal: the resolution of numbers written with few digits is finer where the signal is small.
func TestGrowingSignal(t *testing.T) {
	x := make([]float64, 40_000)
	for i := range x {
		v := 0.001
		if i > 5000 {
			v = min(float64(i-5000)/1000, 2)
		}
		v *= math.Sin(2 * math.Pi * float64(i) / 999.7)
		if e := math.Pow(10, math.Floor(math.Log10(math.Abs(v)))-3); v != 0 { // four digits
			v = math.Round(v/e) * e
		}
		x[i] = v
	}
	if found := inspected(Channel{Unit: volt}, 512, x); len(found) > 0 {
		t.Errorf("found %+v", found)
	}
}

func TestFlatAndMissing(t *testing.T) {
	r := seeded(t, 5, 5)
	good := sine(r, 5000, 1, 33.3, 0, 1e-4, 0)
	flat := make([]float64, 5000)
	for i := range flat {
		flat[i] = 0.25
	}
	f := one(t, inspected(Channel{Unit: volt}, 100, good, flat), Flat)
	if f.Channel != 2 || !f.Refuse || f.Text != "channel 2: constant at 0.25 V over 5000 samples: no signal" {
		t.Errorf("flat: %+v", f)
	}
	bad := append([]float64{}, good...)
	bad[41], bad[42], bad[4999] = math.NaN(), math.Inf(1), math.NaN()
	f = one(t, inspected(Channel{Unit: volt}, 100, good, bad), Missing)
	if f.Channel != 2 || f.First != 42 || f.Count != 3 || !f.Refuse || f.Text != "channel 2: 3 of 5000 values missing, first at sample 42" {
		t.Errorf("missing: %+v", f)
	}
	for i := range bad {
		bad[i] = math.NaN()
	}
	if f = one(t, inspected(Channel{Unit: volt}, 100, good, bad), Missing); f.Count != 5000 {
		t.Errorf("all missing: %+v", f)
	}
}

func TestEmptyAndOpened(t *testing.T) {
	info := Info{Channels: make([]Channel, 2), Findings: []Finding{{Code: Gap, Text: "a gap"}}}
	in := NewInspector(info)
	in.Add([][]float64{{}, {}})
	found := in.Findings()
	if len(found) != 2 || found[0].Code != Gap || found[1].Code != Empty || !found[1].Refuse {
		t.Errorf("found %+v", found)
	}
}

// repeated returns x in which n samples from at are lost and the sample before stands in for them.
func repeated(x []float64, at, n int, with float64) []float64 {
	y := append([]float64{}, x...)
	for i := at; i < at+n; i++ {
		if y[i] = with; math.IsNaN(with) {
			y[i] = x[at-1]
		}
	}
	return y
}

// TestRepeated: samples lost and filled with the last one or with zeros.
func TestRepeated(t *testing.T) {
	r := seeded(t, 6, 6)
	for _, ch := range []Channel{{Unit: fs, Bits: 16}, {Unit: fs, Bits: 24}, {Unit: volt}} {
		step := 0.0
		if ch.Bits > 0 {
			step = math.Ldexp(1, 1-ch.Bits)
		}
		a := sine(r, 20_000, 0.5, 57.3, 0, 3e-5, step)
		b := sine(r, 20_000, 0.3, 57.3, 0.02, 3e-5, step)
		if found := inspected(ch, 1000, a, b); len(found) > 0 {
			t.Fatalf("bits %d, untouched: %+v", ch.Bits, found)
		}
		for _, at := range []int{57 * 5, 1999, 2047, 2056, 57*100 + 1, 19_000} { // on slopes
			for _, n := range []int{2, 3, 10, 64, 100} {
				for _, with := range []float64{math.NaN(), 0} {
					if with == 0 && n == 2 {
						continue // two zeros: one repetition, out of and back into the signal, may be a crest
					}
					f := one(t, inspected(ch, 1000, repeated(a, at, n, with), repeated(b, at, n, with)), Repeated)
					want, first := int64(n), int64(at+1)
					if with == 0 { // the first zero repeats nothing
						want, first = want-1, first+1
					}
					if f.Channel != 0 || f.First != first || f.Count != want || !f.Refuse {
						t.Fatalf("bits %d, %d frames from %d filled with %v: %+v", ch.Bits, n, at, with, f)
					}
				}
			}
		}
		if ch.Bits != 16 { // with 16 bits, single repetitions occur by chance
			if f := one(t, inspected(ch, 1000, repeated(a, 8, 1, math.NaN()), repeated(b, 8, 1, math.NaN())), Repeated); f.Count != 1 || f.First != 9 {
				t.Errorf("one frame: %+v", f)
			}
		}
		if found := inspected(ch, 1000, repeated(a, 5000, 40, 0), b); len(found) > 0 {
			t.Errorf("one channel only: %+v", found)
		}
	}
}

// TestRepeatedEnds: a recorder that started late or stopped early.
func TestRepeatedEnds(t *testing.T) {
	r := seeded(t, 7, 7)
	a := sine(r, 20_000, 0.5, 57.3, 0, 3e-5, 0)
	for i := range 300 {
		a[i], a[len(a)-1-i] = 0, 0.123
	}
	f := one(t, inspected(Channel{Unit: volt}, 1000, a), Repeated)
	if f.First != 2 || f.Count != 299+299 {
		t.Errorf("%+v", f)
	}
}

// memory is a recording in memory.
type memory struct {
	info Info
	x    [][]float64
	at   int
}

func (m *memory) Info() Info   { return m.info }
func (m *memory) Close() error { return nil }
func (m *memory) Read(dst [][]float64) (int, error) {
	n := 0
	for c := range dst {
		n = copy(dst[c], m.x[c][m.at:])
	}
	if m.at += n; n == 0 {
		return 0, io.EOF
	}
	return n, nil
}

func TestInspect(t *testing.T) {
	r := seeded(t, 8, 8)
	x := [][]float64{sine(r, 10_000, 1, 31.4, 0, 1e-3, 0), limited(sine(r, 10_000, 1, 31.4, 0, 1e-3, 0), -0.7, 0.7)}
	info := Info{Channels: []Channel{{Unit: volt}, {Unit: volt}}}
	found, err := Inspect(New("a", "", info, func() (Reader, error) { return &memory{info: info, x: x}, nil }))
	if err != nil || len(found) != 2 || found[0].Channel != 2 || found[1].Code != Clipped {
		t.Errorf("found %+v, %v", found, err)
	}
}

// TestInspectorAllocates: memory does not grow with the recording.
func TestInspectorAllocates(t *testing.T) {
	r := seeded(t, 9, 9)
	x := [][]float64{sine(r, 4096, 1, 31.4, 0, 1e-3, 0), sine(r, 4096, 1, 31.4, 0, 1e-3, 0)}
	in := NewInspector(Info{Channels: make([]Channel, 2)})
	in.Add(x)
	if n := testing.AllocsPerRun(50, func() { in.Add(x) }); n > 0 {
		t.Errorf("%v allocations per block", n)
	}
}

func BenchmarkInspector(b *testing.B) {
	r := rand.New(rand.NewPCG(10, 10))
	x := [][]float64{sine(r, 4096, 1, 31.4, 0, 1e-3, 0), sine(r, 4096, 1, 31.4, 0, 1e-3, 0)}
	in := NewInspector(Info{Channels: make([]Channel, 2)})
	b.SetBytes(2 * 8 * 4096)
	for b.Loop() {
		in.Add(x)
	}
}
