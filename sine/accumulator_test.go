package sine

import (
	"errors"
	"math"
	"math/cmplx"
	"reflect"
	"strings"
	"testing"
)

// What the wide instructions compute is what the plain code computes, to the last bit, for tiles of every length.
func TestKernelsAgree(t *testing.T) {
	r := seeded(t, 11)
	for size := 1; size < 70; size++ {
		d := make([]float64, size)
		for i := range d {
			d[i] = 3 + r.NormFloat64()
		}
		n := (size/2 + lane) / lane * lane
		var e, o [2][]float64
		var q [2]float64
		for k := range e {
			e[k], o[k] = make([]float64, n), make([]float64, n)
		}
		q[0] = fold(e[0], o[0], d, d[0])
		part := size / 2 &^ (lane - 1)
		q[1] = foldPlain(e[1], o[1], d, part, d[0])
		for i := part; i < size/2; i++ {
			u, v := d[i]-d[0], d[size-1-i]-d[0]
			e[1][i], o[1][i] = u+v, u-v
			q[1] += u*u + v*v
		}
		if size&1 == 1 {
			u := d[size/2] - d[0]
			e[1][size/2] = u
			q[1] += u * u
		}
		if q[0] != q[1] || !reflect.DeepEqual(e[0], e[1]) || !reflect.DeepEqual(o[0], o[1]) {
			t.Fatalf("tile of %d: fold differs", size)
		}
		table := make([]float64, 6*n)
		for i := range table {
			table[i] = r.NormFloat64()
		}
		var out [2][slots * 6]float64
		v := [slots][]float64{e[0], o[0], e[1], table[:n]}
		dotLanes(out[0][:], table, &v, 6, n)
		dotPlain(out[1][:], table, &v, 6, n)
		if out[0] != out[1] {
			t.Fatalf("tile of %d: dot differs: %v, %v", size, out[0], out[1])
		}
		sum := 0.0
		for _, v := range d {
			sum += (v - d[0]) * (v - d[0])
		}
		near(t, "sum of squares", q[0], sum, 1e-13*sum)
	}
}

// Closed form: a line that obeys the model is recovered to rounding, whatever its frequency within the block phases' reach, with drift, harmonics and hum.
// Verifies: ISO 16063-11:1999 sine approximation (method 3)
func TestNoiseFree(t *testing.T) {
	for _, c := range []struct {
		name       string
		rate, f    float64
		off, T     float64 // relative error of the start value; s
		mains      float64
		freq, ampl float64 // tolerances, relative
	}{
		{"1 Hz", 1000, 1, 0, 30, 50, 1e-14, 1e-13},
		{"1 Hz, 1000 ppm off", 1000, 1, 1e-3, 30, 50, 1e-12, 1e-11},
		{"97 Hz, 500 ppm off", 5000, 97, -5e-4, 5, 50, 1e-12, 1e-11},
		{"5 kHz, 30 ppm off", 50000, 5000, 3e-5, 2, 0, 1e-13, 1e-11},
		{"three cycles, 1000 ppm off", 500, 0.1, 1e-3, 30.5, 0, 1e-9, 1e-9},
		{"two blocks, 500 ppm off", 500, 1, 5e-4, 4.6, 0, 1e-9, 1e-9},
	} {
		t.Run(c.name, func(t *testing.T) {
			f := c.f * (1 + c.off)
			third, hum := tone(0.14, 3*f, 0.4), tone(0.01, 50, 1)
			a := func(t float64) float64 {
				y := 10 + 1e-3*t + math.Cos(2*math.Pi*f*t+0.3) + third(t)
				if c.mains > 0 {
					y += hum(t)
				}
				return y
			}
			b := func(t float64) float64 { return 2*math.Cos(2*math.Pi*f*t-0.6) - 5 }
			n := int(c.T * c.rate)
			fit, err := Approximate(source(record(n, c.rate, a, b), 999), 2,
				Settings{Rate: c.rate, Frequency: c.f, Harmonics: 5, Drift: 1, Mains: c.mains, Frames: int64(n)})
			if err != nil {
				t.Fatal(err)
			}
			near(t, "frequency", fit.Frequency, f, c.freq*f)
			q := ratioOf(t, fit, 1, 0)
			near(t, "modulus of the ratio", cmplx.Abs(q.Value), 2, 2*c.ampl)
			near(t, "phase of the ratio", cmplx.Phase(q.Value), -0.9, c.ampl)
			near(t, "amplitude", cmplx.Abs(fit.Channels[0].Amplitude), 1, c.ampl)
			near(t, "phase at the first sample", cmplx.Phase(fit.Channels[0].Amplitude), 0.3, 4*math.Pi*c.freq*f*c.T+c.ampl)
			if c.mains > 0 {
				near(t, "third harmonic", cmplx.Abs(fit.Channels[0].Harmonics[2]), 0.14, 1e-10)
				near(t, "distortion", fit.Channels[0].Distortion, 0.14, 1e-10)
				near(t, "hum", real(fit.Channels[0].Mains[0].Amplitude), 0.01, 1e-10)
				near(t, "offset of the second channel", fit.Channels[1].Offset, -5, 2*2/(2*math.Pi*f*c.T)+1e-9)
			}
			if fit.Channels[0].Residual > 2e-7 || len(fit.Steps) > 0 || fit.Rejected > 0 {
				t.Errorf("residual %g, steps %v, %d rejected", fit.Channels[0].Residual, fit.Steps, fit.Rejected)
			}
		})
	}
}

// The result does not depend on how the samples arrive, to the last bit.
func TestPiecesDoNotMatter(t *testing.T) {
	r := seeded(t, 5)
	x := record(5003, 500, noisy(r, 0.01, tone(1, 3.001, 0.2)), noisy(r, 0.01, tone(2, 3.001, 0.9)), noisy(r, 0.01, tone(0.1, 3.001, 2)))
	for _, s := range []Settings{
		{Rate: 500, Frequency: 3, Harmonics: 5, Drift: 1, Mains: 50, Frames: 5003},
		{Rate: 500, Frequency: 3, Harmonics: 5, Drift: 2, Block: 1111},
	} {
		want := accumulate(t, x, s, 5003)
		for _, size := range []int{1, 7, 333, 512, 4096} {
			if got := accumulate(t, x, s, size); !reflect.DeepEqual(got, want) {
				t.Errorf("block %d, pieces of %d: %v, want %v", s.Block, size, got.Channels, want.Channels)
			}
		}
	}
}

// Merged blocks give what unmerged ones give. With few blocks kept they are merged at a frequency that noise has moved, so there the signal has none.
func TestMergedEqualsUnmerged(t *testing.T) {
	const rate, f, block = 200., 5.0002, 80
	for _, c := range []struct {
		blocks, limit int
		sigma         float64
	}{{1000, 16, 0}, {1000, 64, 0}, {1001, 64, 0}, {10007, mostBlocks, 0.01}} {
		r := seeded(t, 6)
		n := c.blocks * block
		x := record(n, rate, noisy(r, c.sigma, tone(1, f, 0.2)), noisy(r, c.sigma, tone(2, f, 0.9)))
		for _, k := range []int{n / 7, n / 3, n / 4 * 3} { // clicks
			x[0][k] += 20
		}
		s := Settings{Rate: rate, Frequency: 5, Harmonics: 3, Drift: 1, Mains: 50, Block: block, Frames: int64(n)}
		var fits [2]Fit
		for i, limit := range []int{1 << 20, c.limit} {
			a, err := NewAccumulator(s, 2)
			if err != nil {
				t.Fatal(err)
			}
			a.limit = limit
			addAll(t, a, x, 1000)
			if fits[i], err = a.Fit(); err != nil {
				t.Fatal(err)
			}
		}
		equalFits(t, fits[1], fits[0], c.limit)
	}
}

// equalFits compares a fit of merged blocks, at most limit, with one of the same blocks unmerged.
func equalFits(t *testing.T, merged, whole Fit, limit int) {
	t.Helper()
	if len(merged.Blocks) > limit || merged.Rejected != whole.Rejected || merged.Rejected != 3 {
		t.Errorf("limit %d: %d blocks, %d rejected; unmerged %d rejected", limit, len(merged.Blocks), merged.Rejected, whole.Rejected)
	}
	p, q := ratioOf(t, merged, 1, 0), ratioOf(t, whole, 1, 0)
	near(t, "ratio", cmplx.Abs(p.Value/q.Value-1), 0, 1e-9)
	near(t, "frequency", merged.Frequency, whole.Frequency, 1e-9)
	near(t, "periods", merged.Periods/whole.Periods, 1, 1e-9)
	for c, ch := range merged.Channels {
		near(t, "amplitude", cmplx.Abs(ch.Amplitude)/cmplx.Abs(whole.Channels[c].Amplitude), 1, 1e-9)
		near(t, "phase", cmplx.Phase(ch.Amplitude/whole.Channels[c].Amplitude), 0, 1e-8) // at the first sample of thousands of seconds
		near(t, "third harmonic", cmplx.Abs(ch.Harmonics[2]-whole.Channels[c].Harmonics[2]), 0, 1e-9)
		near(t, "hum", cmplx.Abs(ch.Mains[0].Amplitude-whole.Channels[c].Mains[0].Amplitude), 0, 1e-9)
		near(t, "offset", ch.Offset, whole.Channels[c].Offset, 1e-9)
		near(t, "residual", ch.Residual, whole.Channels[c].Residual, 1e-7)
	}
	if whole.Channels[0].Residual > 1e-6 {
		// the scatter of merged blocks estimates the same standard deviation of the mean from fewer values: five of its own standard deviations
		near(t, "standard deviation", p.StdRe/q.StdRe, 1, 5/math.Sqrt(2*float64(p.N-1)))
	}
}

// A fit may be asked for at any time, and more samples follow.
func TestFitInBetween(t *testing.T) {
	r := seeded(t, 7)
	x := record(20000, 500, noisy(r, 0.01, tone(1, 5, 0.2)))
	s := Settings{Rate: 500, Frequency: 5, Harmonics: 3, Drift: 1, Block: 200}
	want := accumulate(t, x, s, 500)
	a, err := NewAccumulator(s, 1)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := a.Fit(); !errors.Is(err, ErrShort) {
		t.Errorf("fit of nothing: %v, want %v", err, ErrShort)
	}
	for i := 0; i < 20000; i += 500 {
		addAll(t, a, [][]float64{x[0][i : i+500]}, 500)
		if _, err := a.Fit(); err != nil {
			t.Fatal(err)
		}
	}
	if got, _ := a.Fit(); !reflect.DeepEqual(got, want) {
		t.Error("asking in between changed the fit")
	}
}

// One click of 20 times the signal, three samples long, in 30 s at 1 Hz. Source: study of the estimator, 1.2 % error without rejection, 0.016 % with it
// (its noise, 0.014 % of it, included).
func TestClickIsRejected(t *testing.T) {
	r := seeded(t, 8)
	x := record(30000, 1000, tone(1, 1, 0.2), noisy(r, 1e-3, tone(1, 1, 0.2)))
	for k := range 3 {
		x[1][13377+k] += 20
	}
	f := accumulate(t, x, Settings{Rate: 1000, Frequency: 1, Harmonics: 5, Drift: 1, Mains: 50, Frames: 30000}, 1000)
	near(t, "ratio", cmplx.Abs(ratioOf(t, f, 1, 0).Value), 1, 1.6e-4)
	if f.Rejected != 1 || !f.Blocks[6].Rejected {
		t.Errorf("%d blocks rejected, want the seventh alone", f.Rejected)
	}
}

// Missing samples cost their block, nothing else.
func TestMissingSamples(t *testing.T) {
	x := record(10000, 1000, tone(1, 2, 0.2), tone(3, 2, 0.2))
	x[1][5500], x[0][0] = math.NaN(), math.Inf(1)
	f := accumulate(t, x, Settings{Rate: 1000, Frequency: 2, Harmonics: 3, Drift: 1, Frames: 10000}, 1024)
	near(t, "ratio", cmplx.Abs(ratioOf(t, f, 1, 0).Value), 3, 1e-12)
	if f.Rejected != 2 || !f.Blocks[0].Rejected || !cmplx.IsNaN(f.Blocks[5].Z[1]) {
		t.Errorf("%d rejected, want blocks 0 and 5: %v", f.Rejected, f.Blocks)
	}
	for i := range x[0] {
		x[0][i] = math.NaN()
	}
	a, err := NewAccumulator(Settings{Rate: 1000, Frequency: 2, Harmonics: 3, Drift: 1}, 2)
	if err != nil {
		t.Fatal(err)
	}
	a.limit = 4
	addAll(t, a, x, 1000)
	if _, err := a.Fit(); !errors.Is(err, ErrDisturbed) {
		t.Errorf("only missing samples: %v, want %v", err, ErrDisturbed)
	}
}

// After an hour the phase is still exact. The samples are made with the phase reduced in integers: f = 9703/100 Hz, fs = 1024 per s.
func TestHourLongPhase(t *testing.T) {
	const n, rate = 3600 * 1024, 1024
	a, err := NewAccumulator(Settings{Rate: rate, Frequency: 97.03, Harmonics: 2, Drift: 1, Frames: n, Known: true}, 1)
	if err != nil {
		t.Fatal(err)
	}
	x := make([]float64, 4096)
	for from := 0; from < n; from += len(x) {
		for i := range x {
			cycles := int64(from+i) * 9703 % (100 * rate)
			x[i] = math.Cos(2*math.Pi*float64(cycles)/(100*rate) + 0.2)
		}
		if err := a.Add([][]float64{x}); err != nil {
			t.Fatal(err)
		}
	}
	f, err := a.Fit()
	if err != nil {
		t.Fatal(err)
	}
	last := f.Blocks[len(f.Blocks)-1]
	near(t, "phase after an hour", cmplx.Phase(last.Z[0]), 0.2, 3e-10) // 97.03 itself is rounded: 7e-15 Hz times 3600 s
	near(t, "amplitude", cmplx.Abs(f.Channels[0].Amplitude), 1, 1e-12)
	near(t, "turns", turns(97.03, rate, 2*3599*rate+1024), wrap(97.03*3599.5), 1e-9)
	near(t, "turns at half a sample", turns(0.25, 1, 3), 0.375, 0)
}

// Steady work makes no garbage.
func TestAddDoesNotAllocate(t *testing.T) {
	x := record(1000, 1000, tone(1, 1, 0), tone(1, 1, 1))
	a, err := NewAccumulator(Settings{Rate: 1000, Frequency: 1, Harmonics: 5, Drift: 1, Frames: 1 << 40}, 2)
	if err != nil {
		t.Fatal(err)
	}
	if n := testing.AllocsPerRun(100, func() {
		if err := a.Add(x); err != nil {
			t.Fatal(err)
		}
	}); n != 0 {
		t.Errorf("%g allocations per Add", n)
	}
}

// A tenth of a hertz at 50 kHz: a block of a million samples in a table of a few hundred.
func TestLongBlockIsTiled(t *testing.T) {
	s := Settings{Rate: 50000, Frequency: 0.1, Harmonics: 5, Drift: 1, Mains: 50, Block: 1000000}
	a, err := NewAccumulator(s, 2)
	if err != nil {
		t.Fatal(err)
	}
	if size := 2*(len(a.basis.tables[0].x[0])+len(a.basis.tables[0].x[1])) + len(a.basis.tiles)*2*len(a.basis.freq); size > 1<<20 {
		t.Errorf("%d values in the tables", size)
	}
	y := tone(1, 0.1, 0.3)
	x := [][]float64{make([]float64, 10000), make([]float64, 10000)}
	for from := 0; from < 1000000; from += 10000 {
		for i := range x[0] {
			x[0][i] = y(float64(from+i)/s.Rate) + 9
			x[1][i] = 2 * x[0][i]
		}
		if err := a.Add(x); err != nil {
			t.Fatal(err)
		}
	}
	f, err := a.Fit()
	if err != nil {
		t.Fatal(err)
	}
	near(t, "amplitude", cmplx.Abs(f.Channels[0].Amplitude), 1, 1e-12)
	near(t, "phase", cmplx.Phase(f.Channels[0].Amplitude), 0.3, 1e-11)
	near(t, "ratio", cmplx.Abs(ratioOf(t, f, 1, 0).Value), 2, 1e-12)
}

// Source of the condition numbers: study of the estimator (numpy), H 5: 2 cycles 1.7 for drift order 1, 2.4 for order 3; 1 cycle 5.9, 49, 526 for orders 1, 2, 3.
func TestConditionGuard(t *testing.T) {
	for _, c := range []struct {
		cycles float64
		drift  int
		want   float64
	}{{2, 0, 1.0}, {2, 1, 1.7}, {2, 3, 2.4}, {3, 3, 1.8}, {1, 1, 5.9}, {1, 2, 49}, {1, 3, 526}} {
		a, err := NewAccumulator(Settings{Rate: 1000, Frequency: 1, Harmonics: 5, Drift: c.drift, Block: int(c.cycles * 1000)}, 1)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "condition number", a.basis.cond, c.want, 0.1*c.want) // the argument of its polynomials was not centred on the samples
	}
	_, err := NewAccumulator(Settings{Rate: 1000, Frequency: 1, Harmonics: 5, Drift: 1, Block: 500}, 1)
	if !errors.Is(err, ErrCollinear) || !strings.Contains(err.Error(), "harmonic") {
		t.Errorf("half a cycle: %v, want %v and the regressors named", err, ErrCollinear)
	}
	t.Log(err)
}

func TestAccumulatorRefuses(t *testing.T) {
	good := Settings{Rate: 1000, Frequency: 1, Harmonics: 5, Drift: 1}
	for _, c := range []struct {
		what   string
		change func(s *Settings)
		want   error
	}{
		{"no rate", func(s *Settings) { s.Rate = 0 }, nil},
		{"frequency above 0.45 fs", func(s *Settings) { s.Frequency = 451 }, nil},
		{"no harmonic", func(s *Settings) { s.Harmonics = 0 }, nil},
		{"negative drift", func(s *Settings) { s.Drift = -1 }, nil},
		{"negative mains", func(s *Settings) { s.Mains = -50 }, nil},
		{"order zero of the mains", func(s *Settings) { s.Orders = []int{0} }, nil},
		{"weights", func(s *Settings) { s.Weights = []float64{1} }, nil},
		{"block of ten samples", func(s *Settings) { s.Block = 10 }, nil},
		{"a microhertz", func(s *Settings) { s.Frequency = 1e-6 }, nil},
		{"one cycle", func(s *Settings) { s.Frames = 1000 }, ErrShort},
	} {
		s := good
		c.change(&s)
		if _, err := NewAccumulator(s, 2); err == nil || c.want != nil && !errors.Is(err, c.want) {
			t.Errorf("%s: %v", c.what, err)
		} else {
			t.Logf("%s: %v", c.what, err)
		}
	}
	a, err := NewAccumulator(good, 2)
	if err != nil {
		t.Fatal(err)
	}
	if err := a.Add([][]float64{{1}}); err == nil {
		t.Error("one channel of two accepted")
	}
	if err := a.Add([][]float64{{1}, {1, 2}}); err == nil {
		t.Error("unequal channels accepted")
	}
}

// TestEachTellsEveryBlock compares what is told of blocks with the tones put in, at the centre of each block, and their ratio with that of the fit.
func TestEachTellsEveryBlock(t *testing.T) {
	const rate, f, size = 1000.0, 10.0, 200
	x := record(1930, rate, tone(2, f, 0.3), tone(5, f, -1.1))
	a, err := NewAccumulator(Settings{Rate: rate, Frequency: f, Harmonics: 3, Drift: 1, Block: size}, 2)
	if err != nil {
		t.Fatal(err)
	}
	var told []Completed
	a.Each(func(b Completed) { told = append(told, b) })
	addAll(t, a, x, 77)
	if len(told) != 9 { // whole blocks in 1930 samples
		t.Fatalf("%d blocks told of, want 9", len(told))
	}
	for k, b := range told {
		centre := (float64(k*size) + (size-1)/2.0) / rate
		if math.Abs(b.Time-centre) > 1e-12 {
			t.Errorf("block %d: centre %.6f s, want %.6f s", k, b.Time, centre)
		}
		for c, want := range []complex128{cmplx.Rect(2, 2*math.Pi*f*centre+0.3), cmplx.Rect(5, 2*math.Pi*f*centre-1.1)} {
			if d := cmplx.Abs(b.Harmonics[c][0] - want); d > 1e-9 {
				t.Errorf("block %d, channel %d: %v, want %v", k, c, b.Harmonics[c][0], want)
			}
			if n := len(b.Harmonics[c]); n != 3 || cmplx.Abs(b.Harmonics[c][1]) > 1e-9 || !(b.Variance[c] < 1e-13) {
				t.Errorf("block %d, channel %d: harmonics %v, variance %g", k, c, b.Harmonics[c], b.Variance[c])
			}
		}
	}
}
