package channel

import (
	"errors"
	"fmt"
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"
)

// What a fit decides by.
const (
	MostCorners = 2
	clearly     = 2    // standard deviations from which something is there
	surely      = 3    // and from which a model is given up
	leastChance = 0.01 // of readings that scatter as much, below which the model does not hold
)

// Fit finds full scale and the given number of first-order high-pass corners, 0 for a direct coupling, by weighted least squares. With the amplitude V of the voltage and
// the readings a(f)
//
//	(V/a)² = F²·Π(1 + (fc/f)²) = A + B/f² + C/f⁴,   A = F², B = F²·Σfc², C = F²·Πfc²
//
// is linear in A, B, C. Weights come from the readings' scatter and the flatness of the voltage; its common error goes to the full scale alone. Two corners that cannot be told apart are fitted as
// equal ones, by V/a = F·(1 + (fc/f)²), and each then carries √2 of the uncertainty, because whoever uses them takes them as independent. Readings that do not follow the model, of which less than
// one set in a hundred would scatter as much by chance, are refused.
func Fit(s Source, readings []Reading, corners int) (Response, error) {
	if err := errors.Join(s.check(), check(readings, s.Flatness)); err != nil {
		return Response{}, err
	}
	if corners < 0 || corners > MostCorners {
		return Response{}, fmt.Errorf("%d corners, allowed are 0 to %d", corners, MostCorners)
	}
	if len(readings) < corners+1 {
		return Response{}, fmt.Errorf("%d frequencies for full scale and %d corners: %d at least are needed", len(readings), corners, corners+1)
	}
	var r Response
	var err error
	switch corners {
	case 2:
		r, err = fitTwo(s, readings)
	default:
		r = fitOne(s, readings, corners)
	}
	if err != nil {
		return Response{}, err
	}
	r.StdSource = s.Std
	return r, r.judge(s, readings, corners)
}

// polynomial is y = Σ p_k·x^k in x = 1/f², fitted with relative standard deviations u of y.
type polynomial struct {
	p          []float64
	covariance *mat.SymDense
}

// fitPolynomial solves with x in units of its largest value, which the result is free of again.
func fitPolynomial(readings []Reading, degree int, y, u func(Reading) float64) polynomial {
	unit := 0.0
	for _, r := range readings {
		unit = max(unit, 1/(r.Frequency*r.Frequency))
	}
	n := degree + 1
	rows, right := mat.NewDense(len(readings), n, nil), mat.NewVecDense(len(readings), nil)
	for i, r := range readings {
		w := 1 / (y(r) * u(r))
		right.SetVec(i, y(r)*w)
		for k := range n {
			rows.Set(i, k, w*math.Pow(1/(r.Frequency*r.Frequency*unit), float64(k)))
		}
	}
	var qr mat.QR
	qr.Factorize(rows)
	var p mat.VecDense
	if err := qr.SolveVecTo(&p, false, right); err != nil { // different frequencies, fewer parameters than readings
		panic("channel: singular")
	}
	var inverse, triangle mat.Dense
	qr.RTo(&triangle)
	if err := inverse.Inverse(triangle.Slice(0, n, 0, n)); err != nil {
		panic("channel: singular")
	}
	out := polynomial{covariance: mat.NewSymDense(n, nil)}
	for k := range n {
		out.p = append(out.p, p.AtVec(k)/math.Pow(unit, float64(k)))
		for l := k; l < n; l++ {
			out.covariance.SetSym(k, l, mat.Dot(inverse.RowView(k), inverse.RowView(l))/math.Pow(unit, float64(k+l)))
		}
	}
	return out
}

func (q polynomial) std(k int) float64 { return math.Sqrt(q.covariance.At(k, k)) }

// of is the standard uncertainty of a function with the given gradient.
func (q polynomial) of(gradient ...float64) float64 {
	g := mat.NewVecDense(len(gradient), gradient)
	return math.Sqrt(max(0, mat.Inner(g, q.covariance, g)))
}

// squared and its relative standard deviation, twice that of the amplitude.
func squared(s Source) (y, u func(Reading) float64) {
	return func(r Reading) float64 { return math.Pow(s.Amplitude/r.Amplitude, 2) }, func(r Reading) float64 { return 2 * math.Hypot(r.Std, s.Flatness) }
}

// fitOne fits a direct coupling or one corner.
func fitOne(s Source, readings []Reading, corners int) Response {
	y, u := squared(s)
	q := fitPolynomial(readings, corners, y, u)
	r := Response{FullScale: math.Sqrt(q.p[0]), StdType: q.std(0) / q.p[0] / 2}
	if corners == 0 {
		return r
	}
	a, b := q.p[0], q.p[1]
	if b <= clearly*q.std(1) {
		r.LargestPlausible = math.Sqrt((max(0, b) + clearly*q.std(1)) / a)
		return r
	}
	r.Corners = []Corner{{math.Sqrt(b / a), q.of(-1/a, 1/b) / 2}}
	return r
}

// fitTwo fits two corners: roots of t² - (B/A)·t + C/A.
func fitTwo(s Source, readings []Reading) (Response, error) {
	y, u := squared(s)
	q := fitPolynomial(readings, 2, y, u)
	a, b, c := q.p[0], q.p[1], q.p[2]
	if c <= clearly*q.std(2) {
		return Response{}, fmt.Errorf("the readings do not show a second corner: go to lower frequencies, or ask for one corner")
	}
	d := b*b - 4*a*c
	switch std := q.of(-4*c, 2*b, -4*a); {
	case d < -surely*std || b < 0:
		f0 := math.Pow(c/a, 0.25)
		return Response{}, fmt.Errorf("the readings show a resonant high-pass at %.4g Hz with a quality of %.3g, which two first-order corners cannot describe: state a measured transfer", f0, 1/math.Sqrt(b/a/f0/f0+2))
	case d < clearly*std:
		return fitEqual(s, readings), nil
	}
	r := Response{FullScale: math.Sqrt(a), StdType: q.std(0) / a / 2}
	root := math.Sqrt(d)
	for _, sign := range []float64{1, -1} {
		t := (b + sign*root) / (2 * a)
		// dt from a·t² - b·t + c = 0
		slope := 2*a*t - b
		r.Corners = append(r.Corners, Corner{math.Sqrt(t), q.of(-t*t/slope, t/slope, -1/slope) / t / 2})
	}
	return r, nil
}

// fitEqual fits two equal corners.
func fitEqual(s Source, readings []Reading) Response {
	q := fitPolynomial(readings, 1, func(r Reading) float64 { return s.Amplitude / r.Amplitude }, func(r Reading) float64 { return math.Hypot(r.Std, s.Flatness) })
	a, b := q.p[0], q.p[1]
	each := Corner{math.Sqrt(b / a), math.Sqrt2 * q.of(-1/a, 1/b) / 2}
	return Response{FullScale: a, StdType: q.std(0) / a, Corners: []Corner{each, each}}
}

// judge keeps the residuals and refuses a model that does not hold.
func (r *Response) judge(s Source, readings []Reading, corners int) error {
	var chi float64
	worst := 0
	for i, x := range readings {
		rest := x.Amplitude*r.FullScale/(s.Amplitude*cmplx.Abs(transfer(r.Corners, x.Frequency))) - 1
		r.Residuals = append(r.Residuals, rest)
		chi += math.Pow(rest/math.Hypot(x.Std, s.Flatness), 2)
		if math.Abs(rest) > math.Abs(r.Residuals[worst]) {
			worst = i
		}
	}
	dof := len(readings) - 1 - corners
	if dof < 1 || chance(chi, dof) >= leastChance {
		return nil
	}
	return fmt.Errorf("the readings do not follow %d corners: chi-squared %.3g with %d degrees of freedom, furthest off is %g Hz by %.2g %%: more corners, a larger uncertainty of the voltage between frequencies, or frequencies clear of the upper end of the channel",
		corners, chi, dof, readings[worst].Frequency, 100*r.Residuals[worst])
}

func chance(chi float64, dof int) float64 { return distuv.ChiSquared{K: float64(dof)}.Survival(chi) }

// FitDelay finds the delay of a channel against the first one from readings of one voltage on both, after what the corners of both make of the phase:
//
//	phase + Σ arg H_first - Σ arg H = -2π·f·delay
func FitDelay(readings []Reading, own, first []Corner) (delay, std float64, err error) {
	const least = 1e-9 // rad: less is not believed of any scatter
	left := func(own, first []Corner) (delay, weight, chi float64) {
		var sum float64
		rest := func(r Reading) float64 {
			return math.Remainder(r.Phase-cmplx.Phase(transfer(own, r.Frequency))+cmplx.Phase(transfer(first, r.Frequency)), 2*math.Pi)
		}
		for _, r := range readings {
			w, slope := 1/math.Pow(max(r.StdPhase, least), 2), -2*math.Pi*r.Frequency
			sum, weight = sum+w*slope*rest(r), weight+w*slope*slope
		}
		delay = sum / weight
		for _, r := range readings {
			chi += math.Pow((rest(r)+2*math.Pi*r.Frequency*delay)/max(r.StdPhase, least), 2)
			if math.Abs(rest(r)) > math.Pi/2 {
				chi = math.Inf(1)
			}
		}
		return delay, weight, chi
	}
	if len(readings) == 0 {
		return 0, 0, fmt.Errorf("no reading for a delay")
	}
	delay, weight, chi := left(own, first)
	if math.IsInf(chi, 1) {
		return 0, 0, fmt.Errorf("the phase differs by more than a right angle from that of the first channel: inverted, or not the same voltage")
	}
	variance := 1 / weight
	if dof := len(readings) - 1; dof > 0 {
		variance *= max(1, chi/float64(dof)) // what is not a delay, as far as it shows
	}
	for _, side := range []*[]Corner{&own, &first} {
		for i := range *side {
			moved := append([]Corner(nil), *side...)
			moved[i].Frequency *= 1 + moved[i].Std
			was := *side
			*side = moved
			other, _, _ := left(own, first)
			*side = was
			variance += (other - delay) * (other - delay)
		}
	}
	return delay, math.Sqrt(variance), nil
}
