package history

import (
	"math"
	"time"

	"plumbline/conformity"
)

// Prediction is what the drift line says of the sensitivity on a day. Its numbers are NaN where the line says nothing of that day.
type Prediction struct {
	Date        time.Time
	Modulus     float64 // coherent SI
	Std         float64 // standard uncertainty, relative; both parts in quadrature, by the convention u = s whatever the degrees of freedom
	U           float64 // half the width of the interval of Probability of ln modulus, relative
	Low, High   float64 // that interval, coherent SI
	Probability float64
	Unknown     string // why there are no numbers

	s spread
}

// Predict is the distribution of the true sensitivity on a day, before or after the last calibration: the line with its uncertainty, the common part of the references
// included, and the sensor's own changes that no line follows where the results scatter more than their certificates explain. It assumes that the sensor goes
// on as the line says: no fall or repair in between.
//
// Clause: GUM H.3.4
func (l Line) Predict(date time.Time) Prediction {
	p := l.on(date)
	if p.Unknown == "" {
		p.Std, p.U = p.s.std(), p.s.half(p.Probability)
		p.Low, p.High = p.Modulus*math.Exp(-p.U), p.Modulus*math.Exp(p.U)
	}
	return p
}

// on is the prediction without its interval, which takes longest.
func (l Line) on(date time.Time) Prediction {
	nan := math.NaN()
	p := Prediction{Date: date, Modulus: nan, Std: nan, U: nan, Low: nan, High: nan, Probability: l.set.Probability}
	n, t := len(l.Results), years(l.Origin, date)
	switch {
	case n == 1 && (t == 0 || l.set.Assumed != nil):
		p.Modulus = l.Modulus
		p.s = spread{normal: l.Results[0].Std, dof: math.Inf(1)}
		if t != 0 {
			p.s.normal = math.Hypot(p.s.normal, l.set.Assumed.Std*t)
		}
	case l.Unknown != "":
		p.Unknown = l.Unknown
		return p
	default:
		y, _ := l.fit.At(t)
		p.Modulus = l.Results[0].Modulus * math.Exp(y)
		p.s = l.spreadOf(l.fit.Weights(t))
		p.s.scale = math.Sqrt(p.s.scale*p.s.scale + l.excess)
	}
	return p
}

// Along is the predictions on evenly spaced days from one to another, both among them, for a figure. There are none where the line says nothing of those days,
// or where the days are not in order.
func (l Line) Along(from, to time.Time, steps int) []Prediction {
	if steps < 1 || !to.After(from) || l.on(to).Unknown != "" {
		return nil
	}
	all := make([]Prediction, steps+1)
	for i := range all {
		all[i] = l.Predict(after(from, days(from, to)*float64(i)/float64(steps)))
	}
	return all
}

// Below is the probability that the sensitivity is below a limit in coherent SI; NaN where the prediction has no numbers.
func (p Prediction) Below(limit float64) float64 {
	switch {
	case p.Unknown != "":
		return math.NaN()
	case limit <= 0:
		return 0
	}
	return p.s.cdf(math.Log(limit / p.Modulus))
}

// Within is the probability that the sensitivity is within limits in coherent SI: the probability of conformity; NaN where the prediction has no numbers.
//
// Clause: JCGM 106 7
func (p Prediction) Within(limits conformity.Limits) float64 {
	upper := 1.0
	if !math.IsInf(limits.Upper, 1) {
		upper = p.Below(limits.Upper)
	}
	if p.Unknown != "" {
		return math.NaN()
	}
	return math.Max(0, upper-p.Below(limits.Lower))
}
