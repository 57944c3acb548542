package calibration

import (
	"fmt"
	"math"
	"math/cmplx"
	"slices"

	"gonum.org/v1/gonum/dsp/fourier"
)

// Limits of foreign lines. The first two are those of the project's own study of faults; the others are the authors' own, no source.
const (
	foreignShare   = 2e-3    // of the fundamental, above which a line is named
	foreignMedian  = 8       // times the middle of the amplitudes about it
	foreignBins    = 16      // bins from one harmonic, or mains multiple, to the next, where memory allows
	foreignLobe    = 4       // bins on either side of a line that are its own
	foreignAbout   = 64      // bins on either side that make the middle
	foreignLongest = 1 << 16 // samples of a segment
	foreignFull    = 64      // segments that are all looked at; later ones are looked at ever more rarely
	foreignOrders  = 20      // harmonics that are left out where they lie too close to look between them
)

// spectrum is the mean power of Hann-weighted segments of one channel, in which lines show that are neither harmonics nor mains.
type spectrum struct {
	rate, frequency, mains float64
	size                   int
	fft                    *fourier.FFT
	fill                   []float64
	power                  []float64 // sum over the segments
	taken                  int       // segments in it
	seen, next             int       // segments that have passed, and the next to be looked at
	out                    []complex128
	window                 []float64
}

// newSpectrum prepares segments long enough to look between the harmonics of frequency and the multiples of mains, Hz.
func newSpectrum(frequency, mains, rate float64) *spectrum {
	apart := frequency
	if mains > 0 {
		apart = min(apart, mains)
	}
	size := 1024
	for size < foreignLongest && float64(size) < foreignBins*rate/apart {
		size *= 2
	}
	s := &spectrum{rate: rate, frequency: frequency, mains: mains, size: size, fft: fourier.NewFFT(size),
		fill: make([]float64, 0, size), power: make([]float64, size/2+1), window: make([]float64, size)}
	for i := range s.window {
		s.window[i] = math.Sin(math.Pi * (float64(i) + 0.5) / float64(size))
		s.window[i] *= s.window[i]
	}
	return s
}

// add takes the next samples.
func (s *spectrum) add(samples []float64, scale float64) {
	for len(samples) > 0 {
		n := min(len(samples), s.size-len(s.fill))
		if s.seen == s.next {
			for _, v := range samples[:n] {
				s.fill = append(s.fill, v*scale)
			}
		} else {
			s.fill = s.fill[:len(s.fill)+n]
		}
		samples = samples[n:]
		if len(s.fill) == s.size {
			s.segment()
		}
	}
}

// segment adds a full segment's power; one with missing values is passed over.
func (s *spectrum) segment() {
	if s.seen++; s.seen > s.next {
		s.next = s.seen + s.seen/foreignFull
		mean := 0.0
		for _, v := range s.fill {
			mean += v / float64(s.size)
		}
		if !math.IsNaN(mean) {
			for i := range s.fill {
				s.fill[i] = (s.fill[i] - mean) * s.window[i]
			}
			s.out = s.fft.Coefficients(s.out, s.fill)
			for k, c := range s.out {
				s.power[k] += real(c)*real(c) + imag(c)*imag(c)
			}
			s.taken++
		}
	}
	s.fill = s.fill[:0]
}

// hannSquares is the sum of the squared Hann weights over the number of samples.
const hannSquares = 3. / 8

// foreign is the largest line that is neither a harmonic of frequency nor a multiple of the mains: Hz and amplitude in V peak; 0 where none stands out.
func (s *spectrum) foreign(frequency float64) (f, amplitude float64) {
	if s.taken == 0 {
		return 0, 0
	}
	own := s.own(frequency)
	var about []float64
	for k := foreignLobe; k+foreignLobe < len(s.power); k++ {
		if own[k] || slices.Max(s.power[k-1:k+2]) != s.power[k] {
			continue
		}
		about = about[:0]
		for i := max(0, k-foreignAbout); i < min(len(s.power), k+foreignAbout+1); i++ {
			if !own[i] && (i < k-foreignLobe || i > k+foreignLobe) {
				about = append(about, s.power[i])
			}
		}
		if len(about) < foreignAbout/2 {
			continue
		}
		slices.Sort(about)
		middle := about[len(about)/2]
		if s.power[k] < foreignMedian*foreignMedian*middle {
			continue
		}
		sum := 0.0
		for i := k - 2; i <= k+2; i++ {
			sum += max(0, s.power[i]-middle)
		}
		if a := 2 * math.Sqrt(sum/float64(s.taken)/hannSquares) / float64(s.size); a > amplitude {
			f, amplitude = float64(k)*s.rate/float64(s.size), a
		}
	}
	return f, amplitude
}

// own marks the bins that belong to the mean, the harmonics of frequency and the multiples of the mains.
func (s *spectrum) own(frequency float64) []bool {
	own := make([]bool, len(s.power))
	mark := func(f float64) {
		k := f * float64(s.size) / s.rate
		for i := max(0, int(math.Floor(k))-foreignLobe); i <= min(len(own)-1, int(math.Ceil(k))+foreignLobe); i++ {
			own[i] = true
		}
	}
	mark(0)
	for _, line := range []float64{frequency, s.mains} {
		if !(line > 0) {
			continue
		}
		orders := int(s.rate / 2 / line)
		if line*float64(s.size)/s.rate < foreignBins {
			orders = min(orders, foreignOrders)
		}
		for h := range orders {
			mark(float64(h+1) * line)
		}
		for h := range foreignOrders { // those that the recorder has folded back
			folded := math.Mod(float64(h+1)*line, s.rate)
			mark(min(folded, s.rate-folded))
		}
	}
	return own
}

// remarkForeign names the largest line in the channels that is neither signal nor mains.
func (p *Point) remarkForeign(a *acquisition) {
	if len(p.Plan.Together) > 0 {
		return // sums and differences of the lines would be named; remarkTogether says so
	}
	most, at, channels := 0.0, 0.0, ""
	for i, ch := range a.fit.Channels {
		f, amplitude := a.spectra[i].foreign(a.fit.Frequency)
		share := amplitude / modulus(ch.Amplitude)
		if share < foreignShare {
			continue
		}
		if channels != "" {
			channels += " and "
		}
		channels += fmt.Sprintf("%d", a.columns[i])
		if share > most {
			most, at = share, f
		}
	}
	if channels != "" {
		p.remark("foreign-line", "a line near %.4g Hz, up to %.2g %% of the signal and neither a harmonic nor mains, is in channel %s: a machine, another source or an alias; one that moves with the sampling rate is an alias",
			at, 100*most, channels)
	}
}

// Limits of what the set of points shows together, those of the project's own study of faults.
const (
	couplingLead  = 8 * math.Pi / 180 // lead of the lowest point over that about ten times higher: less is usual for a device's own corner (authors' own)
	couplingLoss  = 0.7               // share of the loss of modulus that belongs to such a lead of a first-order high-pass (authors' own)
	couplingBelow = 3.0               // Hz, where it is looked for
	alonePhase    = 1.5 * math.Pi / 180
	aloneModulus  = 0.015
)

// remarkResponse looks at the points together: a low end that falls like an AC coupling nobody has declared, and a point that stands alone.
func (r *Result) remarkResponse() {
	var points []*Point
	for i := range r.Points {
		if p := &r.Points[i]; p.Refused == "" && p.Sensitivity != 0 {
			points = append(points, p)
		}
	}
	slices.SortStableFunc(points, func(a, b *Point) int {
		switch {
		case a.Frequency < b.Frequency:
			return -1
		case a.Frequency > b.Frequency:
			return 1
		}
		return 0
	})
	r.remarkCoupling(points)
	for i := 1; i+1 < len(points); i++ {
		points[i].remarkAlone(points[i-1], points[i+1])
	}
}

// remarkCoupling compares the lowest point with the one nearest to ten times its frequency. What the device's own discharge explains is taken off.
func (r *Result) remarkCoupling(points []*Point) {
	if len(points) < 2 {
		return
	}
	low, high := points[0], points[0]
	for _, p := range points[1:] {
		if math.Abs(math.Log(p.Frequency/low.Frequency/10)) < math.Abs(math.Log(high.Frequency/low.Frequency/10)) {
			high = p
		}
	}
	if low.Frequency > couplingBelow || high.Frequency < 2*low.Frequency || !low.HasPhase || !high.HasPhase {
		return
	}
	own := complex(1, 0)
	if tau := r.Job.Device.TimeConstant; tau > 0 {
		of := func(f float64) complex128 { q := complex(0, 2*math.Pi*f*tau); return q / (1 + q) }
		own = of(low.Frequency) / of(high.Frequency)
	}
	change := low.Sensitivity / high.Sensitivity / own
	lead, loss := cmplx.Phase(change), 1-modulus(change)
	if lead < couplingLead || loss < couplingLoss*(1-math.Cos(lead)) {
		return
	}
	explained := ""
	if r.Job.Device.TimeConstant > 0 {
		explained = fmt.Sprintf(" beyond its discharge time constant of %.3g s", r.Job.Device.TimeConstant)
	}
	low.remark("low-end", "at %.4g Hz the device leads by %.2g° more and reads %.2g %% less than at %.4g Hz%s: like an AC coupling with a corner near %.2g Hz, in the device or in a channel that does not state one; nothing was corrected",
		low.Frequency, lead*180/math.Pi, 100*loss, high.Frequency, explained, low.Frequency*math.Tan(lead))
}

// remarkAlone names a point that is off while its neighbours agree with each other.
func (p *Point) remarkAlone(before, after *Point) {
	if after.Frequency/before.Frequency > 30 { // too far to say what lies between
		return
	}
	t := math.Log(p.Frequency/before.Frequency) / math.Log(after.Frequency/before.Frequency)
	off := func(at func(*Point) float64) (own, neighbours float64) {
		b, a := at(before), at(after)
		return at(p) - (b + t*(a-b)), a - b
	}
	ln, between := off(func(q *Point) float64 { return math.Log(modulus(q.Sensitivity)) })
	odd := math.Abs(ln) > max(aloneModulus, 2*p.Reported.UModulus) && math.Abs(between) < math.Abs(ln)/2
	text := fmt.Sprintf("%+.2g %%", 100*math.Expm1(ln))
	if p.HasPhase && before.HasPhase && after.HasPhase {
		phase, apart := off(func(q *Point) float64 { return cmplx.Phase(q.Sensitivity / before.Sensitivity) })
		odd = odd || math.Abs(phase) > max(alonePhase, 2*p.Reported.UPhase) && math.Abs(apart) < math.Abs(phase)/2
		text += fmt.Sprintf(" and %+.2g°", phase*180/math.Pi)
	}
	if odd {
		p.remark("stands-alone", "the point is off the line between its neighbours, which agree, by %s: look for a resonance of cable, fixture or exciter at %.4g Hz", text, p.Frequency)
	}
}
