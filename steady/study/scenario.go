package study

import (
	"math"
	"math/rand/v2"

	"plumbline/steady"
)

// unit is the percent the scenarios are written in; target is the half width asked for, in percent, and limit the blocks after which a run is given up.
const (
	unit   = 0.01
	target = 0.1
	limit  = 800
)

// Kind says what a scenario is for.
type Kind string

// The kinds of scenario.
const (
	Design   Kind = "design"    // the rules' constants were set with it; tau_max is told right
	HoldOut  Kind = "hold-out"  // other transients and noises; tau_max is told right
	TooSmall Kind = "too small" // tau_max is told smaller than the truth
	Belief   Kind = "belief"    // every rule is told the time constant that is believed times its caution
)

// scenario draws series of one kind.
type scenario struct {
	name   string
	kind   Kind
	told   float64 // tau_max, blocks; for kind Belief the time constant that is believed
	level  bool    // the level of the reference has a transient of the same time constant, 10 % to 40 %, with noise of 0.1 %
	both   bool    // modulus and phase are judged, with series drawn one by one
	repeat bool    // the point is measured again 150 blocks after it was accepted
	draw   func(r *rand.Rand) (transient, noise)
}

// tauMax is what a rule is told.
func (s scenario) tauMax(r steady.Rule) float64 {
	if s.kind == Belief {
		return max(4, s.told*r.Caution())
	}
	return s.told
}

func sign(r *rand.Rand) float64 {
	if r.IntN(2) == 0 {
		return -1
	}
	return 1
}

func uniform(r *rand.Rand, a, b float64) float64 { return a + (b-a)*r.Float64() }

func logUniform(r *rand.Rand, a, b float64) float64 { return a * math.Pow(b/a, r.Float64()) }

// one draws a single exponential with an amplitude uniform from low to high and of either sign.
func one(tau, low, high float64) func(r *rand.Rand) transient {
	return func(r *rand.Rand) transient { return transient{{amplitude: sign(r) * uniform(r, low, high), tau: tau}} }
}

// several draws one to three exponentials with time constants up to slowest.
func several(slowest float64) func(r *rand.Rand) transient {
	return func(r *rand.Rand) (tr transient) {
		for _, share := range []float64{1, 0.6, 0.3} {
			if r.Float64() < share {
				tr = append(tr, mode{amplitude: sign(r) * logUniform(r, 0.05, 2), tau: logUniform(r, 1.5, slowest)})
			}
		}
		return tr
	}
}

func none(*rand.Rand) transient { return nil }

func opposite(r *rand.Rand) transient {
	s := sign(r)
	return transient{{amplitude: s, tau: 8}, {amplitude: -0.5 * s, tau: 30}}
}

func swinging(r *rand.Rand) transient {
	return transient{{amplitude: 1, tau: 15, period: 25, phase: uniform(r, 0, 2*math.Pi)}}
}

func gaussian(sd float64) func(*rand.Rand) noise { return func(*rand.Rand) noise { return white{sd} } }

// with joins a transient and a noise.
func with(tr func(*rand.Rand) transient, n func(*rand.Rand) noise) func(*rand.Rand) (transient, noise) {
	return func(r *rand.Rand) (transient, noise) { return tr(r), n(r) }
}

// kinds of noise of the hold-outs, in order.
func kinds() []struct {
	name string
	draw func(*rand.Rand) noise
} {
	return []struct {
		name string
		draw func(*rand.Rand) noise
	}{
		{"Gaussian", gaussian(0.15)},
		{"Student t3", func(*rand.Rand) noise { return student{0.1} }},
		{"AR(1) 0..0.9", func(r *rand.Rand) noise { return &ar1{phi: uniform(r, 0, 0.9), sd: 0.12} }},
		{"anti-correlated", func(*rand.Rand) noise { return &moving{sd: 0.15} }},
		{"bursts", func(*rand.Rand) noise { return newBursts(0.1) }},
		{"flicker, walk", func(*rand.Rand) noise { return append(flicker(0.02), white{0.12}, &walk{sd: 0.0015}) }},
	}
}

// scenarios lists them all, in the order of the report.
func scenarios() []scenario {
	autocorrelated := func(*rand.Rand) noise { return sum{&ar1{phi: 0.8, sd: 0.15}, white{0.05}} }
	flickering := func(*rand.Rand) noise { return append(flicker(0.03), white{0.15}) }
	clicking := func(*rand.Rand) noise { return sum{clicks{0.02, 5}, white{0.15}} }
	list := []scenario{
		{name: "A white, none", kind: Design, told: 10, draw: with(none, gaussian(0.2))},
		{name: "B exp 8", kind: Design, told: 10, draw: with(one(8, 0.5, 1.5), gaussian(0.2))},
		{name: "C exp 40", kind: Design, told: 45, repeat: true, draw: with(one(40, 0.3, 0.7), gaussian(0.1))},
		{name: "D two opposite 8/30", kind: Design, told: 30, draw: with(opposite, gaussian(0.1))},
		{name: "E damped oscillation", kind: Design, told: 15, draw: with(swinging, gaussian(0.15))},
		{name: "F AR(1) 0.8, exp 10", kind: Design, told: 10, draw: with(one(10, 0.5, 1.5), autocorrelated)},
		{name: "G flicker, exp 10", kind: Design, told: 10, draw: with(one(10, 0.5, 1.5), flickering)},
		{name: "H clicks, exp 8", kind: Design, told: 10, draw: with(one(8, 0.5, 1.5), clicking)},
		{name: "B modulus and phase", kind: Design, told: 10, both: true, draw: with(one(8, 0.5, 1.5), gaussian(0.2))},
	}
	for _, told := range []float64{10, 30} {
		for _, k := range kinds() {
			list = append(list, scenario{name: k.name, kind: HoldOut, told: told, draw: with(several(told), k.draw)})
		}
	}
	list = append(list,
		scenario{name: "I exp 40", kind: TooSmall, told: 10, repeat: true, draw: with(one(40, 0.3, 0.7), gaussian(0.1))},
		scenario{name: "I with level", kind: TooSmall, told: 10, level: true, repeat: true, draw: with(one(40, 0.3, 0.7), gaussian(0.1))},
		scenario{name: "exp 20", kind: TooSmall, told: 10, repeat: true, draw: with(one(20, 0.3, 0.7), gaussian(0.1))},
		scenario{name: "exp 20 with level", kind: TooSmall, told: 10, level: true, repeat: true, draw: with(one(20, 0.3, 0.7), gaussian(0.1))},
		scenario{name: "exp 20, low noise", kind: TooSmall, told: 10, repeat: true, draw: with(one(20, 0.5, 1.5), gaussian(0.03))},
		scenario{name: "exp 40", kind: TooSmall, told: 20, repeat: true, draw: with(one(40, 0.3, 0.7), gaussian(0.1))},
		scenario{name: "up to twice", kind: TooSmall, told: 10, repeat: true, draw: with(several(20), gaussian(0.15))},
		scenario{name: "up to four times", kind: TooSmall, told: 10, repeat: true, draw: with(several(40), gaussian(0.15))},
	)
	for _, c := range []struct {
		name                  string
		tau, low, high, white float64
	}{
		{"exp 8, noise 0.2", 8, 0.5, 1.5, 0.2},
		{"exp 20, noise 0.1", 20, 0.3, 0.7, 0.1},
		{"exp 40, noise 0.1", 40, 0.3, 0.7, 0.1},
		{"exp 40, noise 0.03", 40, 0.3, 0.7, 0.03},
		{"exp 16, noise 0.4", 16, 0.5, 1.5, 0.4},
	} {
		for _, share := range []float64{2, 1, 0.5, 0.25} {
			list = append(list, scenario{name: c.name, kind: Belief, told: share * c.tau, repeat: true, draw: with(one(c.tau, c.low, c.high), gaussian(c.white))})
		}
	}
	return list
}
