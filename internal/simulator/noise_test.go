package simulator

import (
	"math"
	"math/cmplx"
	"testing"

	"gonum.org/v1/gonum/dsp/fourier"
)

// spectra are the averaged one-sided power and cross densities of two signals from Hann segments that overlap by half.
type spectra struct {
	resolution float64 // Hz
	segments   int
	xx, yy     []float64
	xy         []complex128 // conj(X) Y
}

func estimate(x, y []float64, rate float64, n int) spectra {
	s := spectra{resolution: rate / float64(n), xx: make([]float64, n/2), yy: make([]float64, n/2), xy: make([]complex128, n/2)}
	fft := fourier.NewFFT(n)
	a, b := make([]float64, n), make([]float64, n)
	var power float64
	for first := 0; first+n <= len(x); first += n / 2 {
		power = 0
		for i := range n {
			w := 0.5 - 0.5*math.Cos(2*math.Pi*float64(i)/float64(n))
			a[i], b[i] = w*x[first+i], w*y[first+i]
			power += w * w
		}
		fa, fb := fft.Coefficients(nil, a), fft.Coefficients(nil, b)
		for k := range n / 2 {
			s.xx[k] += real(fa[k])*real(fa[k]) + imag(fa[k])*imag(fa[k])
			s.yy[k] += real(fb[k])*real(fb[k]) + imag(fb[k])*imag(fb[k])
			s.xy[k] += cmplx.Conj(fa[k]) * fb[k]
		}
		s.segments++
	}
	scale := 2 / (rate * power * float64(s.segments))
	for k := range n / 2 {
		s.xx[k] *= scale
		s.yy[k] *= scale
		s.xy[k] *= complex(scale, 0)
	}
	return s
}

// bins are the indices of the frequencies from lo to hi in Hz.
func (s spectra) bins(lo, hi float64) (first, last int) {
	return int(math.Ceil(lo / s.resolution)), int(math.Floor(hi / s.resolution))
}

// quiet is a bench of which only the named sources act.
func quiet(p Point) (Bench, Point) {
	b := silent()
	b.Exciter = Exciter{}
	p.Level = 0
	return b, p
}

func TestNoiseDensities(t *testing.T) {
	const rate = 2000.0
	bands := [][2]float64{{2, 5}, {10, 20}, {40, 80}, {300, 800}}
	for _, c := range []struct {
		name    string
		set     func(*Bench)
		density func(b Bench, channel int, f float64) float64 // V/√Hz
	}{
		{"recorder", func(b *Bench) { b.Recorder.Noise = Noise{White: 1e-7, Corner: 10} },
			func(_ Bench, _ int, f float64) float64 { return 1e-7 * math.Sqrt(1+10/f) }},
		{"self-noise", func(b *Bench) {
			b.Reference.Noise, b.Device.Noise = WorkingReference().Noise, Seismic().Noise
		}, func(b Bench, channel int, f float64) float64 {
			tr := [2]Transducer{b.Reference, b.Device}[channel]
			return cmplx.Abs(tr.Sensitivity(f)) * tr.Noise.White * math.Sqrt(1+100/f)
		}},
		{"ground", func(b *Bench) { b.Ground = Ground{Density: 4.6e-5} },
			func(b Bench, channel int, f float64) float64 {
				return cmplx.Abs(b.transfer(channel, f)) * 4.6e-5 * math.Sqrt(f/(1+f*f/144))
			}},
	} {
		b, p := quiet(Point{Frequency: 10, Duration: 400})
		b.Recorder.Clock = 0
		c.set(&b)
		x, _ := b.Record(p, newRand(11))
		s := estimate(x[0], x[1], rate, 1<<13)
		for channel, power := range [][]float64{s.xx, s.yy} {
			for _, band := range bands {
				first, last := s.bins(band[0], band[1])
				var got, want float64
				for k := first; k <= last; k++ {
					d := c.density(b, channel, float64(k)*s.resolution)
					got += power[k]
					want += d * d
				}
				// A mean over n bins and m half-overlapping Hann segments has a relative standard deviation near sqrt(1.06/(n m)) times
				// sqrt(2) for neighbouring bins (Welch 1967, from memory); 5 of them, plus 0.5 % for slopes within a bin.
				allowed := 5*math.Sqrt(2*1.06/float64((last-first+1)*s.segments)) + 0.005
				if d := got/want - 1; math.Abs(d) > allowed {
					t.Errorf("%s, channel %d, %v Hz: power off by %.1f %%, allowed %.1f %% (seed %d)", c.name, channel+1, band, 100*d, 100*allowed, seed)
				}
			}
		}
	}
}

// Common ground motion is what cancels in the ratio: both channels see it through their own transfer.
func TestGroundIsCommonExceptForItsShare(t *testing.T) {
	b, p := quiet(Point{Frequency: 10, Duration: 400})
	b.Recorder.Clock = 0
	b.Ground = Ground{Density: 4.6e-5, NotCommon: 0.1}
	x, _ := b.Record(p, newRand(12))
	s := estimate(x[0], x[1], b.Recorder.Rate, 1<<13)
	first, last := s.bins(20, 60)
	var coherence float64
	for k := first; k <= last; k++ {
		f := float64(k) * s.resolution
		coherence += real(s.xy[k]*cmplx.Conj(s.xy[k])) / (s.xx[k] * s.yy[k]) / float64(last-first+1)
		transfer := s.xy[k] / complex(s.xx[k], 0) * 1.01 // a share of 0.1 in both channels lowers the transfer by 1/(1+0.1²)
		if d := relative(transfer, b.transfer(1, f)/b.transfer(0, f)); d > 0.06 {
			t.Errorf("%.2f Hz: transfer between the channels off by %.1f %% (seed %d)", f, 100*d, seed)
		}
	}
	if want := 1 / (1.01 * 1.01); math.Abs(coherence-want) > 0.002 {
		t.Errorf("coherence %.4f, want %.4f (seed %d)", coherence, want, seed)
	}
}

func TestWholeLength(t *testing.T) {
	for n, want := range map[int]int{1: 2, 5: 6, 9: 10, 1000: 1024, 1100: 1280, 1300: 1536} {
		if got := wholeLength(n); got != want {
			t.Errorf("length for %d: %d, want %d", n, got, want)
		}
	}
}
