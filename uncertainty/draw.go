package uncertainty

import (
	"math"
	"math/rand/v2"
)

// source is one random stream: the bare generator for the fast columns, and the same generator behind the library's draws.
type source struct {
	pcg *rand.PCG
	r   *rand.Rand
}

func newSource(seed uint64, block int) *source {
	pcg := rand.NewPCG(seed, uint64(block))
	return &source{pcg: pcg, r: rand.New(pcg)}
}

// filler draws a column of trials: value plus a draw into rows[first], rows[first+stride] ...
type filler interface {
	fill(s *source, rows []float64, first, stride int, value float64)
}

// fillerOf is the fast column of a distribution where there is one, otherwise its single draws.
func fillerOf(d Distribution) filler {
	if f, ok := d.(filler); ok {
		return f
	}
	return oneByOne{d}
}

type oneByOne struct{ d Distribution }

func (o oneByOne) fill(s *source, rows []float64, first, stride int, value float64) {
	for j := first; j < len(rows); j += stride {
		rows[j] = value + o.d.Sample(s.r)
	}
}

// halves makes two uniform values within ±1 of one random word: 32 bits each, symmetric about zero. Their step is 5e-10, where a million
// trials know a standard deviation to 7e-4.
func halves(w uint64) (float64, float64) {
	return (float64(int32(w)) + 0.5) * 0x1p-31, (float64(int32(w>>32)) + 0.5) * 0x1p-31
}

func (d Rectangular) fill(s *source, rows []float64, first, stride int, value float64) {
	for j := first; j < len(rows); j += stride {
		a, b := halves(s.pcg.Uint64())
		rows[j] = value + d.HalfWidth*a
		if j += stride; j < len(rows) {
			rows[j] = value + d.HalfWidth*b
		}
	}
}

func (d Trapezoidal) fill(s *source, rows []float64, first, stride int, value float64) {
	wide, narrow := d.HalfWidth*(1+d.Beta)/2, d.HalfWidth*(1-d.Beta)/2
	for j := first; j < len(rows); j += stride {
		a, b := halves(s.pcg.Uint64())
		rows[j] = value + wide*a + narrow*b
	}
}

func (d CurvilinearTrapezoid) fill(s *source, rows []float64, first, stride int, value float64) {
	for j := first; j < len(rows); j += stride {
		a, b := halves(s.pcg.Uint64())
		rows[j] = value + (d.HalfWidth+d.LimitHalfWidth*a)*b
	}
}

func (d Arcsine) fill(s *source, rows []float64, first, stride int, value float64) {
	for j := first; j < len(rows); j += stride {
		a, b := halves(s.pcg.Uint64())
		rows[j] = value + d.HalfWidth*sineQuarter(a)
		if j += stride; j < len(rows) {
			rows[j] = value + d.HalfWidth*sineQuarter(b)
		}
	}
}

// sineQuarter is sin(πa/2) for -1 ≤ a ≤ 1 by its series, without the branches of a general sine, in pairs of terms that do not wait for each
// other; the error is below 1e-13.
func sineQuarter(a float64) float64 {
	const c3, c5, c7, c9, c11, c13, c15, c17 = -1.0 / 6, 1.0 / 120, -1.0 / 5040, 1.0 / 362880, -1.0 / 39916800, 1.0 / 6227020800, -1.0 / 1307674368000, 1.0 / 355687428096000
	t := math.Pi / 2 * a
	s := t * t
	s2 := s * s
	s4 := s2 * s2
	return t * ((1 + c3*s + (c5+c7*s)*s2) + (c9+c11*s+(c13+c15*s)*s2+c17*s4)*s4)
}

func (d Triangular) fill(s *source, rows []float64, first, stride int, value float64) {
	for j := first; j < len(rows); j += stride {
		a, b := halves(s.pcg.Uint64())
		rows[j] = value + d.HalfWidth/2*(a+b)
	}
}

// fill spells out the common case of ziggurat.normal: the compiler does not, and the call would cost a quarter of the time.
func (d Normal) fill(s *source, rows []float64, first, stride int, value float64) {
	z, pcg := layered, s.pcg
	for j := first; j < len(rows); j += stride {
		w := pcg.Uint64()
		x := float64(int64(w)>>11) * z.scale[w%layers]
		if !(math.Abs(x) < z.x[w%layers+1]) {
			x = z.edge(w, pcg)
		}
		rows[j] = value + d.Sigma*x
	}
}

// fill divides a normal value by the root of a gamma one (Marsaglia and Tsang's cube of a normal, which needs half the degrees of freedom not below 1).
func (d StudentT) fill(s *source, rows []float64, first, stride int, value float64) {
	if d.Dof < 2 || math.IsInf(d.Dof, 1) {
		oneByOne{d}.fill(s, rows, first, stride, value)
		return
	}
	shape := d.Dof/2 - 1.0/3
	width := 1 / math.Sqrt(9*shape)
	for j := first; j < len(rows); j += stride {
		rows[j] = value + d.Scale*layered.normal(s.pcg)*math.Sqrt(d.Dof/2/(shape*cubeOfNormal(s.pcg, shape, width)))
	}
}

// cubeOfNormal draws v so that shape·v is gamma distributed with shape + 1/3.
func cubeOfNormal(pcg *rand.PCG, shape, width float64) float64 {
	for {
		z := layered.normal(pcg)
		v := 1 + width*z
		if v <= 0 {
			continue
		}
		v = v * v * v
		u, zz := unit(pcg), z*z
		if u < 1-0.0331*zz*zz || math.Log(u) < zz/2+shape*(1-v+math.Log(v)) {
			return v
		}
	}
}

func (Constant) fill(_ *source, rows []float64, first, stride int, value float64) {
	for j := first; j < len(rows); j += stride {
		rows[j] = value
	}
}
