package plan

import (
	"fmt"
	"math"
	"slices"
)

// Model is a named model of ground motion.
type Model uint8

// The models. NoModel is the zero value.
const (
	NoModel Model = iota
	LowNoise
	HighNoise
)

// String is the model's usual abbreviation.
func (m Model) String() string {
	return [...]string{"none", "NLNM", "NHNM"}[m]
}

// ParseModel reads the usual abbreviation.
func ParseModel(text string) (Model, error) {
	for _, m := range []Model{LowNoise, HighNoise} {
		if m.String() == text {
			return m, nil
		}
	}
	return NoModel, fmt.Errorf("noise model %q: allowed are NLNM and NHNM", text)
}

// branch is a straight piece of a model: A + B log10 T from the period From in s to the next piece.
type branch struct{ from, a, b float64 }

// lowNoise are the coefficients of Peterson's New Low Noise Model.
var lowNoise = []branch{
	{0.10, -162.36, 5.64}, {0.17, -166.70, 0}, {0.40, -170.00, -8.30}, {0.80, -166.40, 28.90}, {1.24, -168.60, 52.48}, {2.40, -159.98, 29.81}, {4.30, -141.10, 0},
	{5, -71.36, -99.77}, {6, -97.26, -66.49}, {10, -132.18, -31.57}, {12, -205.27, 36.16}, {15.60, -37.65, -104.33}, {21.90, -114.37, -47.10}, {31.60, -160.58, -16.28},
	{45, -187.50, 0}, {70, -216.47, 15.70}, {101, -185.00, 0}, {154, -168.34, -7.61}, {328, -217.43, 11.90}, {600, -258.28, 26.60}, {10000, -346.88, 48.75},
}

// highNoise are the coefficients of Peterson's New High Noise Model.
var highNoise = []branch{
	{0.10, -108.73, -17.23}, {0.22, -150.34, -80.50}, {0.32, -122.31, -23.87}, {0.80, -116.85, 32.51}, {3.80, -108.48, 18.08}, {4.60, -74.66, -32.95},
	{6.30, 0.66, -127.18}, {7.90, -93.37, -22.42}, {15.40, 73.54, -162.98}, {20, -151.52, 10.01}, {354.80, -206.66, 31.63},
}

const (
	shortestPeriod = 0.1   // s, of both models
	longestPeriod  = 100e3 // s
)

// Level is the model's power density of acceleration at the period T in s, in dB re 1 (m/s²)²/Hz. A period outside 0.1 s to 100 000 s is an error.
//
// Clause: Peterson 1993 new low and high noise models
func (m Model) Level(period float64) (float64, error) {
	table := map[Model][]branch{LowNoise: lowNoise, HighNoise: highNoise}[m]
	if table == nil {
		return 0, fmt.Errorf("noise model %s has no values", m)
	}
	if !(period >= shortestPeriod*(1-1e-9) && period <= longestPeriod) {
		return 0, fmt.Errorf("noise model %s: %g Hz is outside its range, 0.00001 Hz to 10 Hz", m, 1/period)
	}
	i := len(table) - 1
	if k := slices.IndexFunc(table, func(b branch) bool { return b.from > period }); k >= 0 {
		i = max(k-1, 0)
	}
	return table[i].a + table[i].b*math.Log10(period), nil
}

// At is the model's amplitude density of acceleration at f in Hz, m/s²/√Hz. Above 10 Hz, where the models end, the value at 10 Hz is held: an
// assumption that a plan which uses it states.
func (m Model) At(f float64) (float64, error) {
	db, err := m.Level(max(1/f, shortestPeriod))
	return math.Pow(10, db/20), err
}

// Site is the motion of the ground where the calibration takes place.
type Site struct {
	Model     Model   // NoModel: Density holds
	Factor    float64 // on the density of the model; 1: as the model says
	Density   Density // m/s²/√Hz, as the quiet check measured it
	Source    string  // where it comes from, in words
	NotCommon float64 // share of the density that acts on each transducer independently (rocking, transverse leakage)
}

// At is the amplitude density of the ground's acceleration at f in Hz, m/s²/√Hz; of a site of which nothing is stated, 0.
func (s Site) At(f float64) (float64, error) {
	if s.Model != NoModel {
		d, err := s.Model.At(f)
		return d * s.Factor, err
	}
	if !s.Density.Stated() {
		return 0, nil
	}
	d, err := s.Density.At(f)
	if err != nil {
		return 0, fmt.Errorf("ground motion: %w", err)
	}
	return d, nil
}
