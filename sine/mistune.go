package sine

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/mat"
)

// mistuning is what regressors at one frequency make of a line at another. Coefficients estimated with the former are G times the true ones
// (even: cosines, odd: sines, both about the block's centre), and the line leaves a'Ra in the sum of squared residuals.
// For a single line far from others G is sinc(df T) on the diagonal; the rest is the image of the line and of its harmonics.
type mistuning struct {
	invert   [2][]float64 // inverse of G, harmonics x harmonics
	residual [2][]float64 // R
}

// mistuned returns the mistuning of b for a fundamental at f Hz.
func (b *basis) mistuned(f float64) mistuning {
	var m mistuning
	h := b.harmonics
	cross := b.crossGram(f)
	for p := range cross {
		n := [2]int{b.even, b.odd}[p]
		gain, rest := mat.NewDense(h, h, nil), make([]float64, h*h)
		for j, v := range cross[p] {
			along := make([]float64, n)
			multiply(along, b.inverse[p], v)
			for i := range h {
				gain.Set(i, j, along[i])
				rest[i*h+j] = b.lineProduct(f, i+1, j+1, p)
				for k, x := range cross[p][i] {
					rest[i*h+j] -= x * along[k]
				}
			}
		}
		var inv mat.Dense
		if err := inv.Inverse(gain); err != nil && !isCondition(err) {
			inv = *mat.NewDense(h, h, nil)
		}
		m.invert[p], m.residual[p] = inv.RawMatrix().Data, rest
	}
	return m
}

func isCondition(err error) bool {
	var c mat.Condition
	return errors.As(err, &c) && !math.IsInf(float64(c), 0)
}

// crossGram is the products of the block's even (odd) regressors with the cosines (sines) of the harmonics of f: [parity][harmonic][regressor].
func (b *basis) crossGram(f float64) [2][][]float64 {
	extra := 0
	if b.slopes {
		extra = 1
	}
	var cross, turned [2][][]float64
	for p, n := range [2]int{b.even + extra, b.odd + extra} {
		cross[p], turned[p] = make([][]float64, b.harmonics), make([][]float64, 2)
		for h := range cross[p] {
			cross[p][h] = make([]float64, n)
		}
	}
	local := map[*table][2][][]float64{}
	for _, t := range b.tables {
		local[t] = t.lineProducts(f, b.rate, b.harmonics)
		for p := range turned {
			turned[p][0], turned[p][1] = make([]float64, t.cols[p]), make([]float64, t.cols[p])
		}
	}
	ve, vo := make([]float64, b.even+extra), make([]float64, b.odd+extra)
	for i := range b.tiles {
		t := &b.tiles[i]
		u := local[t.table]
		base := turns(f, b.rate, int64(2*t.start+t.table.size-b.size))
		for h := range b.harmonics {
			w := unit(wrap(float64(h+1) * base))
			scale(turned[0], real(w), imag(w), u[0][h])
			scale(turned[1], -imag(w), real(w), u[1][h])
			b.add(t, turned[0][0], turned[1][0], cross[0][h], vo)
			b.add(t, turned[0][1], turned[1][1], ve, cross[1][h])
		}
	}
	for h := range b.harmonics {
		cross[0][h], cross[1][h] = cross[0][h][:b.even], cross[1][h][:b.odd]
	}
	return cross
}

// scale sets dst[0] to a x and dst[1] to b x.
func scale(dst [][]float64, a, b float64, x []float64) {
	for i, v := range x {
		dst[0][i], dst[1][i] = a*v, b*v
	}
}

// lineProducts is the sums of the table's even columns with the cosine and of its odd columns with the sine of every harmonic of f, about the tile's centre.
func (t *table) lineProducts(f, rate float64, harmonics int) [2][][]float64 {
	var waves [2][][]float64
	w := make([]complex128, (t.size+1)/2)
	for h := range harmonics {
		wave(w, float64(h+1)*f, rate, int64(1-t.size))
		cosine, sine := make([]float64, t.stride), make([]float64, t.stride)
		for i, v := range w {
			cosine[i], sine[i] = real(v), imag(v)
		}
		waves[0], waves[1] = append(waves[0], cosine), append(waves[1], sine)
	}
	var sums [2][][]float64
	for p := range sums {
		sums[p] = t.products(p, harmonics, func(i int) []float64 { return waves[p][i] })
	}
	return sums
}

// lineProduct is the sum over the block of cos(2 pi i f tau) cos(2 pi j f tau), or of the sines for parity 1.
func (b *basis) lineProduct(f float64, i, j, parity int) float64 {
	s, d := b.dirichlet(float64(i+j)*f), b.dirichlet(float64(i-j)*f)
	if parity == 1 {
		return (d - s) / 2
	}
	return (d + s) / 2
}

// dirichlet is the sum over the block of cos(2 pi f tau): sin(pi f L/fs)/sin(pi f/fs).
func (b *basis) dirichlet(f float64) float64 {
	if f == 0 {
		return float64(b.size)
	}
	return math.Sin(2*math.Pi*turns(f, b.rate, int64(b.size))) / math.Sin(math.Pi*f/b.rate)
}

// correct takes the mistuning out of the harmonics z of one channel in one block, phases about the block's centre.
// It returns how much the line added to the sum of squared residuals.
func (m *mistuning) correct(z, room []complex128) float64 {
	h := len(z)
	for i := range h {
		var re, im float64
		for j, v := range z {
			re += m.invert[0][i*h+j] * real(v)
			im += m.invert[1][i*h+j] * imag(v)
		}
		room[i] = complex(re, im)
	}
	copy(z, room[:h])
	sum := 0.0
	for i, x := range z {
		for j, y := range z {
			sum += m.residual[0][i*h+j]*real(x)*real(y) + m.residual[1][i*h+j]*imag(x)*imag(y)
		}
	}
	return max(0, sum)
}
