package sine

import (
	"errors"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
)

// several is a recording of several lines by two channels.
type several struct {
	lines  []float64                 // Hz, nominal
	size   [2][]float64              // V
	phase  [2][]float64              // rad
	sigma  [2]float64                // V, white
	off    float64                   // relative, of the generator's clock against the recorder's
	beside []func(t float64) float64 // in both channels
}

// quickSet is six of the lines of the project's own study of multisines, odd multiples of 0.1 Hz, in proportion to a noise that rises towards low frequencies.
func quickSet(off float64) several {
	s := several{lines: []float64{0.7, 1.1, 1.9, 3.1, 5.1, 9.9}, sigma: [2]float64{1e-3, 1.5e-3}, off: off}
	for i := range s.lines {
		a := []float64{1, 0.8, 0.6, 0.5, 0.45, 0.4}[i]
		s.size[0], s.size[1] = append(s.size[0], a), append(s.size[1], a*(1.3+0.01*float64(i)))
		s.phase[0], s.phase[1] = append(s.phase[0], 2.4*float64(i*i)), append(s.phase[1], 2.4*float64(i*i)+0.1-0.02*float64(i))
	}
	return s
}

func (s several) record(n int, rate float64, r *rand.Rand) [][]float64 {
	var channels []func(float64) float64
	for c := range s.size {
		channels = append(channels, noisy(r, s.sigma[c], func(t float64) float64 {
			v := 0.0
			for i, f := range s.lines {
				v += tone(s.size[c][i], f*(1+s.off), s.phase[c][i])(t)
			}
			for _, b := range s.beside {
				v += b(t)
			}
			return v
		}))
	}
	return record(n, rate, channels...)
}

// settings are those of the line at f among the lines.
func (s several) settings(f, rate float64, n int) Settings {
	set := Settings{Rate: rate, Frequency: f, Harmonics: 5, Drift: 1, Mains: 50, Frames: int64(n)}
	for _, g := range s.lines {
		if g != f {
			set.Beside = append(set.Beside, g/f)
		}
	}
	return set
}

// approximate takes the clock from the highest line and approximates all.
func (s several) approximate(t *testing.T, x [][]float64, rate float64) []Fit {
	t.Helper()
	n := len(x[0])
	clock := s.lines[len(s.lines)-1]
	top, err := Approximate(source(x, 1000), len(x), s.settings(clock, rate, n))
	if err != nil {
		t.Fatal(err)
	}
	fits := make([]Fit, len(s.lines))
	for i, f := range s.lines[:len(s.lines)-1] {
		set := s.settings(f, rate, n)
		set.Frequency, set.Known = f*top.Frequency/clock, true
		if fits[i], err = Approximate(source(x, 1000), len(x), set); err != nil {
			t.Fatal(err)
		}
	}
	fits[len(fits)-1] = top
	return fits
}

// TestTogetherBound: at a clock 100 ppm off every line scatters as the Cramér-Rao bound of a single line of known frequency says, var ln r = sum over the channels of
// 2 sigma²/(N a²), that is e²/T, within 10 %, and is biased by less than a tenth of it.
func TestTogetherBound(t *testing.T) {
	const rate, n, runs, seed = 50.0, 1500, 500, 31
	t.Logf("seed %d", seed)
	r := rand.New(rand.NewPCG(seed, 0))
	s := quickSet(1e-4)
	sums, squares := make([]complex128, len(s.lines)), make([][2]float64, len(s.lines))
	for range runs {
		for i, f := range s.approximate(t, s.record(n, rate, r), rate) {
			truth := cmplx.Rect(s.size[1][i]/s.size[0][i], s.phase[1][i]-s.phase[0][i])
			d := cmplx.Log(ratioOf(t, f, 1, 0).Value / truth)
			sums[i] += d
			squares[i][0] += real(d) * real(d)
			squares[i][1] += imag(d) * imag(d)
		}
	}
	for i, f := range s.lines {
		bound := 0.0
		for c := range s.size {
			bound = math.Hypot(bound, s.sigma[c]/s.size[c][i]*math.Sqrt(2.0/n))
		}
		mean := sums[i] / runs
		for k, m := range []float64{real(mean), imag(mean)} {
			scatter := math.Sqrt(squares[i][k]/runs - m*m)
			t.Logf("%g Hz, component %d: scatter %.3f of the bound, bias %+.3f", f, k, scatter/bound, m/bound)
			if math.Abs(scatter/bound-1) > 0.1 || math.Abs(m) > 0.1*bound {
				t.Errorf("%g Hz, component %d: scatter %.3f of the bound, bias %+.3f of it", f, k, scatter/bound, m/bound)
			}
		}
	}
}

// TestTogetherExact: without noise every line is found beside mains 30 ppm off, drift and the harmonics of another line, at a clock 100 ppm off.
func TestTogetherExact(t *testing.T) {
	const rate, n = 200.0, 8000
	s := quickSet(1e-4)
	s.sigma = [2]float64{1e-9, 1e-9}
	s.beside = []func(float64) float64{tone(0.2, 50*1.00003, 1), func(t float64) float64 { return 3 + 1e-3*t }, tone(1e-3, 2*5.1*(1+s.off), 0.3)}
	for i, f := range s.approximate(t, s.record(n, rate, rand.New(rand.NewPCG(1, 1))), rate) {
		for c := range s.size {
			if a := cmplx.Abs(f.Channels[c].Amplitude); math.Abs(a/s.size[c][i]-1) > 2e-6 {
				t.Errorf("%g Hz, channel %d: amplitude off by %.3g", s.lines[i], c+1, a/s.size[c][i]-1)
			}
		}
		if want := s.lines[i] * (1 + s.off); math.Abs(f.Frequency/want-1) > 1e-8 {
			t.Errorf("%g Hz: frequency off by %.3g", s.lines[i], f.Frequency/want-1)
		}
		if d := f.Channels[1].Distortion; d > 5e-3 {
			t.Errorf("%g Hz: distortion %.3g, there is at most 0.0025", s.lines[i], d)
		}
		if f.Rejected > 0 || len(f.Steps) > 0 {
			t.Errorf("%g Hz: %d blocks rejected, steps %v", s.lines[i], f.Rejected, f.Steps)
		}
	}
}

// TestTogetherBlocks: blocks are those in which lines are orthogonal where there are enough of them, and lines that cannot be told apart are named.
func TestTogetherBlocks(t *testing.T) {
	for _, c := range []struct {
		name   string
		lines  []float64
		length float64 // s
		block  float64 // s; 0: refused
		want   string
	}{
		{"odd multiples of 0.1 Hz, half a period", quickSet(0).lines, 60, 5, ""},
		{"odd multiples of 0.1 Hz, whole periods", quickSet(0).lines, 120, 10, ""},
		{"multiples of 1 Hz", []float64{2, 3, 5, 8}, 30, 1, ""},
		{"no common block: two cycles of the slowest", []float64{1, 1.618034, 2.718282}, 20, 2, ""},
		{"lines too near", []float64{1, 1.02, 2}, 20, 0, "lines at 1 Hz and 1.02 Hz in a recording of 20 s, at least 50 s are needed"},
		{"too short", []float64{0.1, 1}, 15, 0, "1.5 cycles of the line at 0.1 Hz, at least 2 are needed"},
	} {
		const rate = 500.0
		s := several{lines: c.lines}.settings(c.lines[0], rate, int(c.length*rate))
		s.Harmonics = 3
		size, err := s.blockSize()
		switch {
		case c.block == 0:
			if err == nil || !strings.Contains(err.Error(), c.want) || !errors.Is(err, ErrCollinear) && !errors.Is(err, ErrShort) {
				t.Errorf("%s: error %v, want %q", c.name, err, c.want)
			}
		case err != nil || math.Abs(float64(size)/rate-c.block) > 0.01:
			t.Errorf("%s: blocks of %g s, error %v, want %g s", c.name, float64(size)/rate, err, c.block)
		}
	}
}

// TestTogetherShared: a harmonic that is another line is fitted once and is no distortion; one that cannot be told from another line ends the harmonics.
func TestTogetherShared(t *testing.T) {
	s := Settings{Rate: 100, Frequency: 1, Harmonics: 5, Drift: 1, Beside: []float64{3, 4.1}, Frames: 3000}
	freq, harmonics := s.regressors(500)
	if harmonics != 3 {
		t.Errorf("%d harmonics beside a line 0.1 Hz from the fourth in blocks of 5 s, want 3", harmonics)
	}
	if slices.Contains(freq[harmonics:], 3) || !slices.Contains(freq[harmonics:], 4.1) {
		t.Errorf("further regressors %v: want 4.1 Hz and not 3 Hz", freq[harmonics:])
	}
	x := several{lines: []float64{1, 3, 4.1}, size: [2][]float64{{1, 0.5, 0.5}, {1, 0.5, 0.5}}, phase: [2][]float64{make([]float64, 3), make([]float64, 3)}, sigma: [2]float64{1e-4, 1e-4}}
	f := x.approximate(t, x.record(3000, 100, rand.New(rand.NewPCG(3, 3))), 100)[0]
	if !slices.Equal(f.Shared, []int{3}) || f.Channels[0].Distortion > 1e-3 {
		t.Errorf("shared harmonics %v, distortion %.3g: want the third one shared and no distortion", f.Shared, f.Channels[0].Distortion)
	}
	for _, beside := range [][]float64{{1}, {-2}, {2, 2}, {60}} {
		s.Beside = beside
		if err := s.check(1); err == nil {
			t.Errorf("other lines at %v times the fundamental are accepted", beside)
		}
	}
}

// TestTogetherBatch: the fit of the whole record agrees with that in blocks.
func TestTogetherBatch(t *testing.T) {
	s := quickSet(0)
	const rate, n = 100.0, 3000
	x := s.record(n, rate, rand.New(rand.NewPCG(4, 4)))
	for i, f := range s.approximate(t, x, rate) {
		b, err := Batch(x, s.settings(s.lines[i], rate, n), Uniform)
		if err != nil {
			t.Fatal(err)
		}
		if d := cmplx.Abs(ratioOf(t, b, 1, 0).Value/ratioOf(t, f, 1, 0).Value - 1); d > 1e-4 { // the scatter of the ratio is 5e-5 to 1e-4
			t.Errorf("%g Hz: ratios differ by %.3g", s.lines[i], d)
		}
	}
}
