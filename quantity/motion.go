package quantity

import "math"

// Motion is a kinematic quantity: how often displacement has been differentiated.
type Motion uint8

// The kinematic quantities a transducer may sense.
const (
	Displacement Motion = iota // m
	Velocity                   // m/s
	Acceleration               // m/s²
)

// MotionOf tells the kinematic quantity of a unit of motion, such as that below the stroke of a sensitivity (Unit.Per).
func MotionOf(u Unit) (Motion, bool) {
	switch u.Dim {
	case dimLength:
		return Displacement, true
	case dimVelocity:
		return Velocity, true
	case dimAccel:
		return Acceleration, true
	}
	return 0, false
}

// String is the quantity's name.
func (m Motion) String() string {
	switch m {
	case Displacement:
		return "displacement"
	case Velocity:
		return "velocity"
	case Acceleration:
		return "acceleration"
	}
	return "unknown motion"
}

// Unit is the coherent SI unit of the quantity.
func (m Motion) Unit() Unit {
	symbols := [...]string{"m", "m/s", "m/s²"}
	dims := [...]Dimension{dimLength, dimVelocity, dimAccel}
	return Unit{Symbol: symbols[m], Factor: 1, Dim: dims[m]}
}

// To converts the amplitude of m in a sine of frequency f in Hz to that of another quantity, both in coherent SI:
// a = ω v = ω² s with ω = 2πf.
func (m Motion) To(to Motion, amplitude, f float64) float64 {
	return amplitude * math.Pow(2*math.Pi*f, float64(to)-float64(m))
}

// Factor is the complex ratio of quantity to over quantity m in a sine exp(+iωt) of frequency f in Hz: (iω)^n,
// n the number of differentiations from m to to.
func (m Motion) Factor(to Motion, f float64) complex128 {
	size := m.To(to, 1, f)
	switch int(to) - int(m) {
	case 1:
		return complex(0, size)
	case -1:
		return complex(0, -size)
	case 2, -2:
		return complex(-size, 0)
	}
	return complex(size, 0)
}
