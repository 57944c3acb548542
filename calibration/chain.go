package calibration

import (
	"fmt"
	"math"
	"slices"

	"plumbline/uncertainty"
)

// plausibleCornerFactor: a stage that is AC coupled with unknown corner is refused below this multiple of the largest plausible corner.
const plausibleCornerFactor = 100

// ID names the stage among all stages of a job.
func (s Stage) ID() string {
	if s.Channel == "" {
		return s.Serial
	}
	return s.Serial + " channel " + s.Channel
}

// usable says whether the stage's transfer is known at f.
func (s Stage) usable(f float64) error {
	if s.CoupledAC && !s.hasHighPass() && len(s.Table) == 0 {
		if !(s.LargestPlausibleCorner > 0) {
			return fmt.Errorf("%s: AC coupled without a corner frequency: state the corner, a transfer table, or the largest plausible corner", s.ID())
		}
		if least := plausibleCornerFactor * s.LargestPlausibleCorner; f < least {
			return fmt.Errorf("%s: AC coupled with an unknown corner of up to %.6g Hz: refused below %.6g Hz, asked for %.6g Hz", s.ID(), s.LargestPlausibleCorner, least, f)
		}
	}
	if n := len(s.Table); n > 0 && (f < s.Table[0].Frequency*(1-edge) || f > s.Table[n-1].Frequency*(1+edge)) {
		return fmt.Errorf("%s: %.6g Hz is outside its transfer table, %.6g Hz to %.6g Hz", s.ID(), f, s.Table[0].Frequency, s.Table[n-1].Frequency)
	}
	return nil
}

func (s Stage) hasHighPass() bool {
	return slices.ContainsFunc(s.Corners, func(c Corner) bool { return !c.LowPass })
}

// transferAt interpolates the transfer table: modulus and phase with their standard uncertainties, linear in ln f.
func (s Stage) transferAt(f float64) TransferPoint {
	t := s.Table
	i, _ := slices.BinarySearchFunc(t, f, func(p TransferPoint, f float64) int {
		if p.Frequency < f {
			return -1
		}
		return 1
	})
	if i == 0 {
		return t[0]
	}
	if i == len(t) {
		return t[len(t)-1]
	}
	a, b := t[i-1], t[i]
	w := math.Log(f/a.Frequency) / math.Log(b.Frequency/a.Frequency)
	mix := func(x, y float64) float64 { return (1-w)*x + w*y }
	return TransferPoint{f, mix(a.Modulus, b.Modulus), mix(a.Phase, b.Phase), mix(a.StdModulus, b.StdModulus), mix(a.StdPhase, b.StdPhase)}
}

// FullScale is the recorder's full scale in V, 0 where none is stated.
func (c Chain) FullScale() float64 {
	if len(c.Stages) == 0 {
		return 0
	}
	return c.Stages[len(c.Stages)-1].FullScale
}

// Gain is the product of the stages' nominal gains, coherent SI: volts at the recorder for one unit of the transducer's output.
func (c Chain) Gain() float64 {
	g := 1.0
	for _, s := range c.Stages {
		g *= s.Gain
	}
	return g
}

// names of the budget's rows that come from the channels.
const (
	rowGain  = "channel gain"
	rowPhase = "channel phase and corners"
)

// addChannels puts the transfer of both measuring channels into the model: S_D contains G_R/G_D (the device's only where its own
// sensitivity is asked for). A stage, or a calibration source, that is in both channels is one input and cancels by itself.
func addChannels(b *builder) error {
	m, chain := b.point.Method, b.job.Subject == OfChain
	switch {
	case m.display: // the instrument's certificate holds its channel
		return nil
	case b.point.Plan.Exchanged != nil: // the ratio is that of the transducers alone
		if !chain {
			return nil
		}
		return b.addChain(b.job.DeviceChain, false)
	}
	if !m.statedLevel {
		if err := b.addChain(b.job.ReferenceChain, false); err != nil {
			return err
		}
	}
	if chain {
		return nil
	}
	return b.addChain(b.job.DeviceChain, true)
}

// addChain multiplies (or divides, inverse) the model by the transfer of all stages of a chain.
func (b *builder) addChain(c Chain, inverse bool) error {
	for _, s := range c.Stages {
		if err := b.addStage(s, inverse); err != nil {
			return err
		}
	}
	return nil
}

// addStage multiplies (or divides, inverse) the model by one stage's transfer.
func (b *builder) addStage(s Stage, inverse bool) error {
	f := b.point.Frequency
	if err := s.usable(f); err != nil {
		return err
	}
	apply := b.factor
	if inverse {
		apply = func(h factor) {
			b.factor(func(x []float64) complex128 {
				v := h(x)
				return reciprocal(real(v), imag(v))
			})
		}
	}
	b.addGain(s, apply)
	b.addCorners(s, f, apply)
	i := b.input("delay."+s.ID(), rowPhase, s.Delay, uncertainty.Normal{Sigma: s.StdDelay}, math.Inf(1))
	apply(func(x []float64) complex128 { return expUnit(-2*math.Pi*f*x[i], 1i) })
	if len(s.Table) > 0 {
		p := s.transferAt(f)
		m := b.input("transfer.modulus."+s.ID(), rowGain, 0, uncertainty.Normal{Sigma: 1}, math.Inf(1))
		q := b.input("transfer.phase."+s.ID(), rowPhase, 0, uncertainty.Normal{Sigma: 1}, math.Inf(1))
		apply(func(x []float64) complex128 {
			return complex(p.Modulus*(1+p.StdModulus*x[m]), 0) * expUnit(p.Phase+p.StdPhase*x[q], 1i)
		})
	}
	return nil
}

func (b *builder) addGain(s Stage, apply func(factor)) {
	own, source := b.input("gain."+s.ID(), rowGain, 0, uncertainty.Normal{Sigma: s.StdGain}, math.Inf(1)), -1
	if s.StdGainSource > 0 {
		source = b.input("gain source "+s.Source, rowGain, 0, uncertainty.Normal{Sigma: 1}, math.Inf(1))
	}
	apply(func(x []float64) complex128 {
		e := x[own]
		if source >= 0 {
			e += s.StdGainSource * x[source]
		}
		return complex(s.Gain*(1+e), 0)
	})
}

func (b *builder) addCorners(s Stage, f float64, apply func(factor)) {
	for n, c := range s.Corners {
		i := b.input(fmt.Sprintf("corner.%s.%d", s.ID(), n), rowPhase, 0, uncertainty.Normal{Sigma: 1}, math.Inf(1))
		apply(func(x []float64) complex128 { return firstOrder(f, c.Frequency*math.Exp(c.Std*x[i]), c.LowPass) })
	}
	if s.CoupledAC && !s.hasHighPass() && len(s.Table) == 0 {
		half := s.LargestPlausibleCorner / 2
		i := b.input("corner.unknown."+s.ID(), rowPhase, half, uncertainty.Rectangular{HalfWidth: half}, math.Inf(1))
		apply(func(x []float64) complex128 { return firstOrder(f, x[i], false) })
	}
}

// firstOrder is the transfer of a first-order low-pass, or high-pass, of corner fc at f.
func firstOrder(f, fc float64, lowPass bool) complex128 {
	if lowPass {
		return reciprocal(1, f/fc)
	}
	return reciprocal(1, -fc/f)
}
