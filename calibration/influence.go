package calibration

import (
	"fmt"
	"math"

	"plumbline/quantity"
	"plumbline/uncertainty"
)

// influence is one entry of the list of influence quantities.
type influence struct {
	key    string // in the procedure file; empty where the influence comes from assets and data alone
	name   string // row of the budget
	reason string // clause or reason why it belongs in the budget
	add    func(*builder) error
}

// influences lists every influence quantity the budget knows (ISO 16063-21:2003 annex A as far as its content is known to us, and the
// measurement model of a comparison). To add one, add an entry; where it needs a number, give it a key and state it in the procedures.
func influences() []influence {
	return []influence{
		{"", "reference certificate", "sensitivity of the reference: certificate", addReference},
		{"drift", "reference drift", "change of the reference since its calibration", addDrift},
		{"", "interpolation", "reference used between its calibrated frequencies", addInterpolation},
		{"", "input quantity", "reference and device measure different quantities of motion", addInputQuantity},
		{"temperature", "temperature", "temperature coefficients of both transducers", addTemperature},
		{"", rowGain, "gains, coupling corners and delays of the channels", addChannels},
		{"linearity", "distortion and linearity", "harmonics of the motion through nonlinear transducers", stated("linearity", ownInput)},
		{"transverse", "transverse motion", "transverse motion of the exciter times transverse sensitivity", addTransverse},
		{"base-strain", "base strain", "bending of the mounting surface", stated("base-strain", shared)},
		{"mounting", "relative motion", "mounting joint between reference and device", addMounting},
		{"", "settling left over", "the ratio moved during the recording", addTrend},
		{"", rowRepeated, "the point measured again gave another value", addUnrepeated},
		{"", "hum", "mains frequency seen by the channels", addHum},
		{"", "resolution", "quantisation or display step", addResolution},
		{"settling", "settling left over", "transients not yet died out", stated("settling", ownInput)},
		{"", "noise", "random noise of the ratio (type A)", addNoise},
		{"repeatability", "repeatability of mounting", "mounting again (type A, pooled)", addRepeatability},
		{"loading", "electrical loading", "source and input impedance, cable", stated("loading", ownInput)},
		{"magnetic", "magnetic field", "field of the exciter on transducers and cables", stated("magnetic", ownInput)},
		{"other", "other", "what the procedure adds", stated("other", ownInput)},
	}
}

// InfluenceKeys are the keys every procedure must state, in the order of the budget.
func InfluenceKeys() []string {
	var keys []string
	for _, in := range influences() {
		if in.key != "" {
			keys = append(keys, in.key)
		}
	}
	return keys
}

// nameOf is the budget's name of a key.
func nameOf(key string) string {
	for _, in := range influences() {
		if in.key == key {
			return in.name
		}
	}
	panic("calibration: unknown influence key")
}

// InfluenceName is the budget's name of a key, the key itself where there is none.
func InfluenceName(key string) string {
	for _, in := range influences() {
		if in.key == key && key != "" {
			return in.name
		}
	}
	return key
}

// Influence returns what the procedure says of a key.
func (p Procedure) Influence(key string) (Influence, bool) {
	for _, in := range p.Influences {
		if in.Key == key {
			return in, true
		}
	}
	return Influence{}, false
}

// require returns the procedure's entry for key, ok false where the procedure says with a reason that it does not apply.
func (b *builder) require(key string) (in Influence, ok bool, err error) {
	in, found := b.job.Procedure.Influence(key)
	if !found {
		return in, false, fmt.Errorf("procedure %q says nothing of %q: state its size, or not_applicable with the reason", b.job.Procedure.Name, key)
	}
	return in, in.NotApplicable == "", nil
}

// sharing says which input an influence uses at a point: the same at all points, or its own.
type sharing func(b *builder, key string) string

func shared(_ *builder, key string) string   { return key }
func ownInput(b *builder, key string) string { return b.own(key) }

// stated adds an influence whose size the procedure states by frequency.
func stated(key string, id sharing) func(*builder) error {
	return func(b *builder) error {
		in, ok, err := b.require(key)
		if err != nil || !ok {
			return err
		}
		band, err := b.band(in)
		if err != nil {
			return err
		}
		dist, err := in.form()
		if err != nil {
			return err
		}
		b.effect(nameOf(key), id(b, key), band, dist, dofOf(in))
		return nil
	}
}

// band finds the procedure's numbers for this point's frequency.
func (b *builder) band(in Influence) (Band, error) {
	band, ok := in.At(b.point.Frequency)
	if !ok {
		return band, fmt.Errorf("procedure %q states %q for no band that holds %.6g Hz", b.job.Procedure.Name, in.Key, b.point.Frequency)
	}
	return band, nil
}

func dofOf(in Influence) float64 {
	if in.Dof > 0 {
		return in.Dof
	}
	return math.Inf(1)
}

// form makes distributions of the stated form for a half-width, or a standard or expanded uncertainty where it is normal or Student's t.
func (in Influence) form() (func(float64) uncertainty.Distribution, error) {
	f := in.Form
	f.Name = in.Distribution
	if f.Name == (uncertainty.StudentT{}).String() {
		f.Dof = in.Dof
	}
	if _, err := f.Of(1); err != nil {
		return nil, fmt.Errorf("influence %q: %w", in.Key, err)
	}
	return func(size float64) uncertainty.Distribution {
		d, _ := f.Of(size)
		return d
	}, nil
}

// addTemperature corrects both transducers' sensitivities to their reference temperature.
func addTemperature(b *builder) error {
	in, ok, err := b.require("temperature")
	if err != nil || !ok {
		return err
	}
	name := nameOf(in.Key)
	ref, dev, c := b.job.Reference.Transducer, b.job.Device.Transducer, b.job.Conditions
	if !ref.Temperature.Stated && !b.point.Method.display && !b.point.Method.statedLevel {
		return fmt.Errorf("reference %s states no temperature coefficient", ref.Serial)
	}
	temp := b.input("temperature", name, c.Temperature, uncertainty.Rectangular{HalfWidth: c.TemperatureHalfWidth}, math.Inf(1))
	correct := func(t Transducer, id string, inverse bool) {
		if !t.Temperature.Stated {
			return
		}
		a := b.input("temperature coefficient of "+id, name, t.Temperature.Value, uncertainty.Normal{Sigma: t.Temperature.Std}, math.Inf(1))
		b.factor(func(x []float64) complex128 {
			k := 1 + x[a]*(x[temp]-t.ReferenceTemperature)
			if inverse {
				k = 1 / k
			}
			return complex(k, 0)
		})
	}
	correct(ref, "reference", false)
	correct(dev, "device", true)
	return nil
}

// addTransverse adds, for each transducer, the exciter's transverse motion times the transducer's transverse sensitivity: arcsine, since the
// direction of the transverse motion against the axis of largest transverse sensitivity is unknown.
func addTransverse(b *builder) error {
	in, ok, err := b.require("transverse")
	if err != nil || !ok {
		return err
	}
	motion, err := b.band(in)
	if err != nil {
		return err
	}
	for _, t := range []struct {
		id string
		s  Transducer
	}{{"device", b.job.Device.Transducer}, {"reference", b.job.Reference.Transducer}} {
		if math.IsNaN(t.s.Transverse) {
			return fmt.Errorf("%s %s states no transverse sensitivity, which the transverse motion of procedure %q needs", t.id, t.s.Serial, b.job.Procedure.Name)
		}
		half := motion.Modulus * t.s.Transverse
		b.effect(nameOf(in.Key), b.own("transverse."+t.id), Band{Modulus: half, Phase: half}, arcsine, math.Inf(1))
	}
	return nil
}

// addMounting corrects the relative motion of device and reference across the mounting joint: the device above the joint reads high by
// 1/(1-(f/f_m)^2), with ln f_m rectangular between the limits the procedure states.
func addMounting(b *builder) error {
	in, ok, err := b.require("mounting")
	if err != nil || !ok {
		return err
	}
	lo, hi, f := in.Resonance[0], in.Resonance[1], b.point.Frequency
	if !(lo > 0 && hi >= lo) {
		return fmt.Errorf("procedure %q: the mounted resonance needs two limits, lower first, found %.6g Hz and %.6g Hz", b.job.Procedure.Name, lo, hi)
	}
	if f > lo/2 {
		return fmt.Errorf("%.6g Hz is above half the lowest mounted resonance of procedure %q, %.6g Hz", f, b.job.Procedure.Name, lo)
	}
	half := math.Log(hi/lo) / 2
	i := b.input("mounting resonance", nameOf(in.Key), math.Log(lo)+half, uncertainty.Rectangular{HalfWidth: half}, math.Inf(1))
	b.factor(func(x []float64) complex128 {
		r := f * math.Exp(-x[i])
		return complex(1-r*r, 0)
	})
	if band, found := in.At(f); found && b.point.HasPhase && band.Phase > 0 {
		b.effect(nameOf(in.Key), b.own("mounting"), Band{Phase: band.Phase}, rectangular, math.Inf(1))
	}
	return nil
}

// addRepeatability adds the scatter of repeated mountings, from the procedure's pooled standard deviation.
func addRepeatability(b *builder) error {
	in, ok, err := b.require("repeatability")
	if err != nil || !ok {
		return err
	}
	if !(in.Dof > 0) || in.Mountings < 1 {
		return fmt.Errorf("procedure %q: repeatability needs degrees of freedom and the number of mountings averaged, found %g and %d", b.job.Procedure.Name, in.Dof, in.Mountings)
	}
	band, err := b.band(in)
	if err != nil {
		return err
	}
	n := math.Sqrt(float64(in.Mountings))
	size := Band{Modulus: band.Modulus / n, Phase: band.Phase / n}
	b.effect(nameOf(in.Key), b.own(in.Key), size, func(s float64) uncertainty.Distribution {
		if math.IsInf(in.Dof, 1) {
			return uncertainty.Normal{Sigma: s}
		}
		return uncertainty.StudentT{Scale: s, Dof: in.Dof}
	}, in.Dof)
	return nil
}

// addInputQuantity converts the reference's sensitivity to the device's quantity of motion, for example S per m/s² to S per m/s by jω.
func addInputQuantity(b *builder) error {
	if b.point.Method.display || b.point.Method.statedLevel {
		return nil // what is stated already is the device's own quantity
	}
	order := derivative(b.job.Device.Transducer) - derivative(b.job.Reference.Transducer) // of the device's quantity against the reference's
	if order == 0 {
		return nil
	}
	if math.IsNaN(b.job.Clock) {
		return fmt.Errorf("device %s and reference %s measure different quantities, so the frequency enters: state the accuracy of the recorder's clock", b.job.Device.Serial, b.job.Reference.Serial)
	}
	omega := 2 * math.Pi * b.point.Frequency
	i := b.input("clock", "input quantity", 0, uncertainty.Normal{Sigma: b.job.Clock}, math.Inf(1))
	b.factor(func(x []float64) complex128 {
		w := complex(0, omega*(1+x[i]))
		s := complex(1, 0)
		for range max(order, -order) {
			if order < 0 {
				s *= w
			} else {
				s /= w
			}
		}
		return s
	})
	return nil
}

// derivative is 0 for displacement, 1 for velocity, 2 for acceleration: the input quantity below the stroke of the sensitivity's unit. A unit
// without one is the factor of a display that is read: 0.
func derivative(t Transducer) int {
	_, input, ok := t.Unit.Per()
	if !ok {
		return 0
	}
	switch m, _ := quantity.MotionOf(input); m {
	case quantity.Acceleration:
		return 2
	case quantity.Velocity:
		return 1
	}
	return 0
}
