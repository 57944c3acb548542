package sine

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// Weighting of the samples of a Batch over the record.
type Weighting uint8

// The weightings. Uniform is the zero value and reaches the bound; Hann costs some 22 % in standard deviation and shows whether the drift model failed.
const (
	Uniform Weighting = iota
	Hann
)

const (
	mostIterations = 30
	batchSettled   = 1e-10 // change of frequency, in cycles over the record, at which the iteration stops
	batchReach     = 1     // and how far it may go from the start
)

// Batch approximates samples[c][n] as one block: least squares in the whole record, the drift of order s.Drift over all of it, the shared frequency by Gauss-Newton on what
// is left of the samples (variable projection). The start must be within about a third of 1/T of the line; ErrNotConverged is wrapped otherwise.
// Phases of the mains lines are at the first sample. s.Block and s.Frames mean nothing here.
// Clause: ISO 16063-11:1999 sine approximation (method 3)
func Batch(samples [][]float64, s Settings, w Weighting) (Fit, error) {
	if err := s.check(len(samples)); err != nil {
		return Fit{}, err
	}
	n := len(samples[0])
	for c, x := range samples {
		if len(x) != n {
			return Fit{}, fmt.Errorf("sine: channel %d: %d samples, channel 1 has %d", c+1, len(x), n)
		}
		for i, v := range x {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				return Fit{}, fmt.Errorf("sine: channel %d, sample %d: %g is no number to fit", c+1, i, v)
			}
		}
	}
	T := float64(n) / s.Rate
	d := &design{rate: s.Rate, length: T, frames: n, harmonics: s.harmonicsIn(T), drift: s.Drift, weighting: w}
	d.mains, d.shared = s.lines(d.harmonics, T), s.sharedHarmonics(d.harmonics)
	taken := slices.Clone(d.mains)
	for h := range d.harmonics {
		taken = append(taken, float64(h+1)*s.Frequency)
	}
	d.further = s.further(d.harmonics, taken, T)
	f, err := d.fit(samples, s)
	if err != nil {
		return Fit{}, fmt.Errorf("sine: %w", err)
	}
	return f, nil
}

// design is the least squares problem of a whole record. Columns: cosine and sine of every harmonic, of every mains line and of every other line, Legendre 0..drift of
// u = 2 (t - T/2)/T, then u cos and u sin of the fundamental, which are no regressors, then the samples less their first.
type design struct {
	rate      float64
	times     []float64 // s; nil for samples at n/rate
	length    float64   // T, s
	frames    int
	harmonics int
	mains     []float64 // Hz
	further   []float64 // other lines, over the fundamental
	shared    []int     // harmonics that are other lines
	drift     int
	weighting Weighting
}

// normal is the products of all columns at one frequency, and what they give.
type normal struct {
	p        int // regressors
	products []float64
	cols     int
	inverse  []float64 // of the regressors' normal matrix
	cond     float64
	beta     [][]float64 // per channel
	square   []float64   // per channel, weighted sum of squared residuals
	freedom  float64
	spread   float64 // sum of squared weights over the sum of weights
}

// fit iterates the frequency.
func (d *design) fit(samples [][]float64, s Settings) (Fit, error) {
	f := s.Frequency
	for i := 1; i <= mostIterations; i++ {
		m, err := d.solve(samples, f)
		if err != nil {
			return Fit{}, err
		}
		df, information := m.step(s.Weights, d.length)
		if s.Known {
			return d.result(m, samples, s, f, 0, i), nil
		}
		if math.Abs(df)*d.length < batchSettled || d.rounding(information, df) {
			return d.result(m, samples, s, f, 1/math.Sqrt(information), i), nil
		}
		f += df
		if !(math.Abs(f-s.Frequency)*d.length <= batchReach) || !(f > 0) {
			return Fit{}, fmt.Errorf("%w: from %.6g Hz it went to %.6g Hz in %d steps, further than 1/T = %.3g Hz", ErrNotConverged, s.Frequency, f, i, batchReach/d.length)
		}
	}
	return Fit{}, fmt.Errorf("%w: %d steps from %.6g Hz ended at %.9g Hz", ErrNotConverged, mostIterations, s.Frequency, f)
}

// rounding reports whether a step is within the rounding of the frequency itself.
func (d *design) rounding(information, df float64) bool {
	return math.Abs(df)*d.length < 1e-6 && math.Abs(df)*math.Sqrt(information) < 1e-9
}

// chunk is the number of samples whose columns are made at a time.
const chunk = 256

// solve forms the products at the frequency f and the coefficients.
func (d *design) solve(samples [][]float64, f float64) (*normal, error) {
	p := 2*d.lines() + d.drift + 1
	if d.frames <= p+1 {
		return nil, fmt.Errorf("%w: %d samples for %d regressors", ErrShort, d.frames, p)
	}
	m := &normal{p: p, cols: (p + 2 + len(samples) + slots - 1) / slots * slots}
	m.products = make([]float64, m.cols*m.cols)
	table := make([]float64, m.cols*chunk)
	out := make([]float64, slots*m.cols)
	waves := d.waves(f)
	var total, squares float64
	for from := 0; from < d.frames; from += chunk {
		n := min(chunk, d.frames-from)
		if n < chunk {
			clear(table)
		}
		d.fill(table, waves, samples, f, from, n)
		a, b := d.weigh(table, m.cols, from, n)
		total, squares = total+a, squares+b
		for j := 0; j < m.cols; j += slots {
			var v [slots][]float64
			for k := range v {
				v[k] = table[(j+k)*chunk : (j+k+1)*chunk]
			}
			dotLanes(out, table, &v, m.cols, chunk)
			addScaled(m.products[j*m.cols:], 1, out)
		}
	}
	m.spread = squares / total
	m.freedom = total - float64(p)*m.spread
	return m, m.coefficients(len(samples), func(i int) string { return d.name(f, i) })
}

// waves tabulates exp(j 2 pi f_k i/fs), i < chunk.
func (d *design) waves(f float64) [][]complex128 {
	if d.times != nil {
		return nil
	}
	var waves [][]complex128
	for k := range d.lines() {
		w := make([]complex128, chunk)
		wave(w, d.line(k, f), d.rate, 0)
		waves = append(waves, w)
	}
	return waves
}

// line is the frequency of pair k of columns.
func (d *design) line(k int, f float64) float64 {
	if k < d.harmonics {
		return float64(k+1) * f
	}
	if k -= d.harmonics; k < len(d.mains) {
		return d.mains[k]
	}
	return d.further[k-len(d.mains)] * f
}

// lines is the number of pairs of columns.
func (d *design) lines() int { return d.harmonics + len(d.mains) + len(d.further) }

// fill makes the columns of samples from..from+n.
func (d *design) fill(table []float64, waves [][]complex128, samples [][]float64, f float64, from, n int) {
	lines := d.lines()
	for k := range lines {
		cosine, sine := table[2*k*chunk:], table[(2*k+1)*chunk:]
		var start complex128
		if d.times == nil {
			start = unit(turns(d.line(k, f), d.rate, 2*int64(from)))
		}
		for i := range n {
			var w complex128
			if d.times == nil {
				w = start * waves[k][i]
			} else {
				w = unit(d.line(k, f) * d.times[from+i])
			}
			cosine[i], sine[i] = real(w), imag(w)
		}
	}
	p := 2*lines + d.drift + 1
	legendre := make([]float64, d.drift+1)
	for i := range n {
		t := float64(from+i) / d.rate
		if d.times != nil {
			t = d.times[from+i] - d.times[0]
		}
		u := 2*t/d.length - 1
		fillLegendre(legendre, u)
		for k, v := range legendre {
			table[(2*lines+k)*chunk+i] = v
		}
		table[p*chunk+i], table[(p+1)*chunk+i] = u*table[i], u*table[chunk+i]
		for c, x := range samples {
			table[(p+2+c)*chunk+i] = x[from+i] - x[0]
		}
	}
}

// weigh multiplies the rows by the roots of their weights and returns the sums of the weights and of their squares.
func (d *design) weigh(table []float64, cols, from, n int) (sum, squares float64) {
	if d.weighting == Uniform {
		return float64(n), float64(n)
	}
	for i := range n {
		root := math.Sin(math.Pi * (float64(from+i) + 0.5) / float64(d.frames))
		w := root * root
		sum += w
		squares += w * w
		for j := range cols {
			table[j*chunk+i] *= root
		}
	}
	return sum, squares
}

func (m *normal) at(i, j int) float64 { return m.products[i*m.cols+j] }

// coefficients solves the normal equations.
func (m *normal) coefficients(channels int, name func(int) string) error {
	all := mat.NewDense(m.cols, m.cols, m.products)
	c := conditionOf(all.Slice(0, m.p, 0, m.p))
	if m.cond = math.Sqrt(c.high / c.low); !(c.low > 0 && m.cond <= mostCondition) {
		return fmt.Errorf("%w: %s", ErrCollinear, c.colliding(name))
	}
	m.inverse = inverseOf(all.Slice(0, m.p, 0, m.p))
	v := make([]float64, m.p)
	for c := range channels {
		j := m.p + 2 + c
		beta, square := make([]float64, m.p), m.at(j, j)
		for i := range v {
			v[i] = m.at(i, j)
		}
		multiply(beta, m.inverse, v)
		for i, b := range beta {
			square -= b * v[i]
		}
		m.beta = append(m.beta, beta)
		m.square = append(m.square, max(square, roundoff*m.at(j, j)))
	}
	return nil
}

// step is the Gauss-Newton step of the frequency, df = sum_c w_c d_c.r_c / sum_c w_c d_c.d_c with d = pi T u (-a sin + b cos) projected off the regressors,
// and the information in the record about it.
func (m *normal) step(weights []float64, T float64) (df, information float64) {
	cross, square := m.slopes()
	var num, den float64
	for c, beta := range m.beta {
		x, y := -math.Pi*T*beta[0], math.Pi*T*beta[1]
		j := m.p + 2 + c
		pull := y*m.left(m.p, j, beta, cross[0]) + x*m.left(m.p+1, j, beta, cross[1])
		hold := y*y*square[0] + 2*x*y*square[1] + x*x*square[2]
		noise := m.square[c] / m.freedom
		w := 0.0
		if weights != nil {
			w = weights[c]
		} else if noise > 0 {
			w = 1 / noise
		}
		num += w * pull
		den += w * hold
		if noise > 0 {
			information += hold / noise / m.spread
		}
	}
	if den == 0 {
		return 0, 0
	}
	return num / den, information
}

// left is the product of slope column i with the residual of sample column j.
func (m *normal) left(i, j int, beta, cross []float64) float64 {
	sum := m.at(i, j)
	for k, b := range beta {
		sum -= b * cross[k]
	}
	return sum
}

// slopes are the products of u cos and u sin with the regressors, and the squares and product of their parts orthogonal to them.
func (m *normal) slopes() (cross [2][]float64, square [3]float64) {
	var along [2][]float64
	for s := range cross {
		cross[s], along[s] = make([]float64, m.p), make([]float64, m.p)
		for k := range cross[s] {
			cross[s][k] = m.at(k, m.p+s)
		}
		multiply(along[s], m.inverse, cross[s])
	}
	for i, s := range [3][2]int{{0, 0}, {0, 1}, {1, 1}} {
		square[i] = m.at(m.p+s[0], m.p+s[1])
		for k, v := range along[s[0]] {
			square[i] -= v * cross[s[1]][k]
		}
	}
	return cross, square
}

// result is the Fit of the solution m at f.
func (d *design) result(m *normal, samples [][]float64, s Settings, f, std float64, iterations int) Fit {
	fit := Fit{
		Rate: d.rate, Frames: int64(d.frames), Frequency: f, FrequencyStd: std, Periods: f * d.length, BlockSize: d.frames,
		Start: s.Frequency, Coherence: 1, Mains: s.Mains, Condition: m.cond, Shared: d.shared, Passes: iterations,
	}
	for c, beta := range m.beta {
		ch := Channel{Residual: math.Sqrt(m.square[c] / m.freedom)}
		for h := range d.harmonics {
			ch.Harmonics = append(ch.Harmonics, complex(beta[2*h], -beta[2*h+1]))
		}
		ch.Amplitude = ch.Harmonics[0]
		ch.Distortion = distortion(ch.Harmonics, d.shared)
		ch.Std = ch.Residual * math.Sqrt((m.inverse[0]+m.inverse[m.p+1])/2*m.spread)
		for k, line := range d.mains {
			i := 2 * (d.harmonics + k)
			ch.Mains = append(ch.Mains, Line{Frequency: line, Amplitude: complex(beta[i], -beta[i+1])})
		}
		for _, v := range samples[c] {
			ch.Offset += v - samples[c][0]
		}
		ch.Offset = samples[c][0] + ch.Offset/float64(d.frames)
		fit.Channels = append(fit.Channels, ch)
	}
	return fit
}

// name says what column i is.
func (d *design) name(f float64, i int) string {
	k := i / 2
	kind := [2]string{"cosine", "sine"}[i&1]
	switch {
	case k < d.harmonics:
		return fmt.Sprintf("%s of harmonic %d (%.6g Hz)", kind, k+1, d.line(k, f))
	case k < d.harmonics+len(d.mains):
		return fmt.Sprintf("%s of the mains line at %.6g Hz", kind, d.line(k, f))
	}
	if k < d.lines() {
		return fmt.Sprintf("%s of the other line at %.6g Hz", kind, d.line(k, f))
	}
	return fmt.Sprintf("drift of order %d", i-2*d.lines())
}
