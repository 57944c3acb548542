package calibration

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/interp"

	"plumbline/uncertainty"
)

// edge is how far a frequency may lie outside the first or last calibrated frequency and still count as inside, relative.
const edge = 1e-3

// interpolation is the reference's sensitivity at one frequency as a function of its errors at the calibrated frequencies lo and hi.
type interpolation struct {
	lo, hi      int     // rows of the table, equal at a calibrated frequency
	w           float64 // weight of row hi
	halfModulus float64 // largest distance to the monotone cubic on the interval, relative
	halfPhase   float64 // the same for the phase, rad
}

// interpolate places f in the reference's table: ln modulus and phase piecewise linear in ln f.
// A frequency outside the table is refused; the end points count as inside within 0.1 %.
func (r Reference) interpolate(f float64) (interpolation, error) {
	t := r.Table
	if len(t) == 0 {
		return interpolation{}, fmt.Errorf("reference %s: the certificate's table is empty", r.Serial)
	}
	for i, row := range t {
		if math.Abs(f/row.Frequency-1) <= edge {
			return interpolation{lo: i, hi: i}, nil
		}
	}
	last := len(t) - 1
	if f < t[0].Frequency || f > t[last].Frequency {
		return interpolation{}, fmt.Errorf("reference %s: %.6g Hz is outside its calibrated frequencies, %.6g Hz to %.6g Hz", r.Serial, f, t[0].Frequency, t[last].Frequency)
	}
	hi, _ := slices.BinarySearchFunc(t, f, func(row CalibratedPoint, f float64) int {
		if row.Frequency < f {
			return -1
		}
		return 1
	})
	ip := interpolation{lo: hi - 1, hi: hi}
	a, b := math.Log(t[hi-1].Frequency), math.Log(t[hi].Frequency)
	ip.w = (math.Log(f) - a) / (b - a)
	ip.halfModulus = r.distance(ip.lo, func(p CalibratedPoint) float64 { return math.Log(p.Modulus) })
	ip.halfPhase = r.distance(ip.lo, func(p CalibratedPoint) float64 { return p.Phase })
	return ip, nil
}

// distance is the largest distance, on the interval from row lo to the next, between the straight line over ln f and the other curves through
// the two rows that a transducer may follow: the monotone cubic through all rows; a line over f², as below a resonance; a line over 1/f, as
// above a corner. NaN where a row has no value.
func (r Reference) distance(lo int, value func(CalibratedPoint) float64) float64 {
	a, b := r.Table[lo], r.Table[lo+1]
	change := math.Abs(value(b) - value(a))
	return max(r.cubicDistance(lo, value), change*bend(a.Frequency, b.Frequency, 2), change*bend(a.Frequency, b.Frequency, -1))
}

// bend is the largest difference between the weights of a line over ln f and of a line over f^power on the interval from f1 to f2. The weights differ
// most where their slopes are equal: f^power = (f2^power - f1^power)/(power ln(f2/f1)).
func bend(f1, f2, power float64) float64 {
	p1, p2, octaves := math.Pow(f1, power), math.Pow(f2, power), math.Log(f2/f1)
	top := (p2 - p1) / (power * octaves)
	return math.Abs(math.Log(top/p1)/power/octaves - (top-p1)/(p2-p1))
}

// cubicDistance is the largest distance, on the interval from row lo to the next, between the straight line and the
// monotone piecewise cubic through all rows (Fritsch and Butland 1984), both over ln f. NaN where a row has no value.
func (r Reference) cubicDistance(lo int, value func(CalibratedPoint) float64) float64 {
	xs, ys := make([]float64, len(r.Table)), make([]float64, len(r.Table))
	for i, p := range r.Table {
		xs[i], ys[i] = math.Log(p.Frequency), value(p)
		if math.IsNaN(ys[i]) {
			return math.NaN()
		}
	}
	if len(xs) < 3 {
		return 0 // a cubic through two points with free ends is the line itself
	}
	var cubic interp.FritschButland
	if err := cubic.Fit(xs, ys); err != nil {
		return math.NaN()
	}
	const steps = 256
	largest := 0.0
	for i := 1; i < steps; i++ {
		w := float64(i) / steps
		line := ys[lo] + w*(ys[lo+1]-ys[lo])
		largest = max(largest, math.Abs(cubic.Predict(xs[lo]+w*(xs[lo+1]-xs[lo]))-line))
	}
	return largest
}

// Sensitivity is the reference's complex sensitivity at f without corrections, interpolated as described at the type, coherent SI.
// Clause: ISO 16063-21:2003 sensitivity of the reference transducer
func (r Reference) Sensitivity(f float64) (modulus, phase float64, err error) {
	ip, err := r.interpolate(f)
	if err != nil {
		return 0, 0, err
	}
	lo, hi := r.Table[ip.lo], r.Table[ip.hi]
	return math.Exp((1-ip.w)*math.Log(lo.Modulus) + ip.w*math.Log(hi.Modulus)), (1-ip.w)*lo.Phase + ip.w*hi.Phase, nil
}

// addReference puts the reference's sensitivity into the model: one input for each calibrated frequency used, a shared one for what the
// certificate's errors have in common over frequency, and the interpolation.
func addReference(b *builder) error {
	r := b.job.Reference
	ip, err := r.interpolate(b.point.Frequency)
	if err != nil {
		return err
	}
	b.addReferencePart(ip, "modulus", func(p CalibratedPoint) (float64, float64) { return math.Log(p.Modulus), p.StdModulus }, 1)
	if b.point.HasPhase {
		b.addReferencePart(ip, "phase", func(p CalibratedPoint) (float64, float64) { return p.Phase, p.StdPhase }, 1i)
	}
	return nil
}

// addReferencePart adds one component (unit 1: ln modulus, unit j: phase) of the reference's certificate.
func (b *builder) addReferencePart(ip interpolation, part string, of func(CalibratedPoint) (value, std float64), unit complex128) {
	const name = "reference certificate"
	r := b.job.Reference
	rho := r.Correlation
	rows := []int{ip.lo}
	weights := []float64{1}
	if ip.hi != ip.lo {
		rows, weights = []int{ip.lo, ip.hi}, []float64{1 - ip.w, ip.w}
	}
	common := -1
	if rho > 0 {
		common = b.input("reference.common."+part, name, 0, uncertainty.Normal{Sigma: 1}, math.Inf(1))
	}
	value := 0.0
	type term struct {
		own        int
		own_, comm float64
	}
	var terms []term
	for i, k := range rows {
		v, u := of(r.Table[k])
		value += weights[i] * v
		t := term{own: -1, comm: weights[i] * u * math.Sqrt(rho)}
		if rho < 1 {
			t.own = b.input(fmt.Sprintf("reference.%s.%d", part, k), name, 0, uncertainty.Normal{Sigma: 1}, math.Inf(1))
			t.own_ = weights[i] * u * math.Sqrt(1-rho)
		}
		terms = append(terms, t)
	}
	if b.point.Method.statedLevel {
		unit = -unit // the factor true to stated multiplies the level, which divides
	}
	b.factor(func(x []float64) complex128 {
		e := value
		for _, t := range terms {
			if t.own >= 0 {
				e += t.own_ * x[t.own]
			}
			if common >= 0 {
				e += t.comm * x[common]
			}
		}
		return expUnit(e, unit)
	})
}

// addInterpolation adds the influence of reading the reference's table between its calibrated frequencies.
func addInterpolation(b *builder) error {
	ip, err := b.job.Reference.interpolate(b.point.Frequency)
	if err != nil {
		return err
	}
	b.effect("interpolation", b.own("interpolation"), Band{Modulus: ip.halfModulus, Phase: ip.halfPhase}, rectangular, math.Inf(1))
	return nil
}

// expUnit is exp(unit e) for unit 1, -1 and j.
func expUnit(e float64, unit complex128) complex128 {
	if imag(unit) == 0 {
		return complex(math.Exp(real(unit)*e), 0)
	}
	s, c := math.Sincos(e)
	return complex(c, s)
}
