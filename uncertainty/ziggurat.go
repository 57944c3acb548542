package uncertainty

import (
	"math"
	"math/rand/v2"
)

const (
	layers    = 256
	tailStart = 3.6541528853610088 // where the lowest layer's tail begins, for layers of equal area (Marsaglia and Tsang 2000)
)

// ziggurat covers the normal density with layers of equal area: x holds their half-widths from the widest to zero, f the density at them.
// Scale is x in steps of a 53-bit integer. It takes one word a draw, which makes the normal columns of a simulation about three times as fast as the library's draws one by one.
type ziggurat struct{ x, f, scale [layers + 1]float64 }

// layered is the table of the standard normal density.
var layered = newZiggurat()

func newZiggurat() *ziggurat {
	density := func(x float64) float64 { return math.Exp(-x * x / 2) }
	area := tailStart*density(tailStart) + math.Sqrt(math.Pi/2)*math.Erfc(tailStart/math.Sqrt2)
	z := &ziggurat{}
	z.x[0], z.x[1] = area/density(tailStart), tailStart
	for i := 1; i < layers-1; i++ {
		z.x[i+1] = math.Sqrt(-2 * math.Log(area/z.x[i]+density(z.x[i])))
	}
	z.x[layers] = 0
	for i := range z.f {
		z.f[i] = density(z.x[i])
		z.scale[i] = z.x[i] * 0x1p-52
	}
	return z
}

// normal draws a standard normal value: in 99 of 100 draws the word's low byte chooses the layer and its high bits the place in it.
func (z *ziggurat) normal(pcg *rand.PCG) float64 {
	w := pcg.Uint64()
	x := float64(int64(w)>>11) * z.scale[w%layers]
	if math.Abs(x) < z.x[w%layers+1] {
		return x
	}
	return z.edge(w, pcg)
}

// edge decides the draws that fall beside the next narrower layer, and draws again where the density is missed.
func (z *ziggurat) edge(w uint64, pcg *rand.PCG) float64 {
	for {
		i := w % layers
		x := float64(int64(w)>>11) * z.scale[i]
		switch {
		case math.Abs(x) < z.x[i+1]:
			return x
		case i == 0:
			return math.Copysign(tail(pcg), x)
		case z.f[i]+unit(pcg)*(z.f[i+1]-z.f[i]) < math.Exp(-x*x/2):
			return x
		}
		w = pcg.Uint64()
	}
}

// tail draws a value beyond tailStart from two exponential ones.
func tail(pcg *rand.PCG) float64 {
	for {
		a, b := -math.Log(unit(pcg))/tailStart, -math.Log(unit(pcg))
		if 2*b > a*a {
			return tailStart + a
		}
	}
}

// unit draws a uniform value above 0 and up to 1.
func unit(pcg *rand.PCG) float64 { return float64(pcg.Uint64()>>11+1) * 0x1p-53 }
