package steady

import "math"

// fitted is the outcome of FIT for one component.
type fitted struct {
	mean float64 // m
	half float64 // h, before kappa
	dof  float64 // degrees of freedom: half = t(0.975, dof) times a standard uncertainty
	tau  float64 // longer time constant of the transient, mean over the weights, blocks
	left float64 // what is left of the averaged transient at the last block
	phi  float64 // autocorrelation of the noise, mean over the weights
}

// candidate is one pair with one phi and one ridge.
type candidate struct {
	pair, phi int
	b         triple
	lnWeight  float64
	variance  float64 // v
	dof       float64
}

// component is the memory of FIT for the real or the imaginary part.
type component struct {
	series     series
	y          []float64 // the window, less its last value
	size       float64   // largest absolute value of y
	candidates []candidate
}

// fitter is the memory of FIT; nothing is allocated after newFitter.
type fitter struct {
	grid         grid
	columns      columns
	components   [2]component
	coefficients []float64
	batch        factors
}

func newFitter(c constants) *fitter {
	f := &fitter{grid: newGrid(c, most), columns: newColumns(most), coefficients: make([]float64, len(c.taus))}
	each := cap(f.grid.pairs) * len(phis) * max(1, len(c.ridges))
	for i := range f.components {
		f.components[i] = component{series: newSeries(most), y: make([]float64, most), candidates: make([]candidate, 0, each)}
	}
	return f
}

// fit applies FIT to the windows of the two components, of equal length; a nil one is left out.
func (f *fitter) fit(windows [2][]float64) (out [2]fitted) {
	n := max(len(windows[0]), len(windows[1]))
	for i := range windows {
		f.components[i].begin(windows[i])
	}
	f.columns.begin(n)
	shorter, independent := -1, false
	for p := range f.grid.pairs {
		pair := &f.grid.pairs[p]
		a, b := &f.grid.decays[pair.a], &f.grid.decays[pair.b]
		a.extend(n)
		b.extend(n)
		if pair.a != shorter {
			shorter, independent = pair.a, f.columns.add(1, a)
		}
		if !independent || !f.columns.add(2, b) {
			continue
		}
		for i, w := range windows {
			if w != nil {
				f.try(&f.components[i], p, n)
			}
		}
	}
	for i, w := range windows {
		if w != nil {
			out[i] = f.components[i].average(f)
			f.components[i].widen(f, &out[i])
			out[i].mean += w[n-1]
		}
	}
	return out
}

// begin takes the last value off the window: the constant is in X, so b_0 moves by as much, and rounding is relative to what varies.
func (c *component) begin(window []float64) {
	c.candidates, c.y, c.size = c.candidates[:0], c.y[:len(window)], 0
	for k, v := range window {
		c.y[k] = v - window[len(window)-1]
		c.size = max(c.size, math.Abs(c.y[k]))
	}
}

// try adds the candidates of a pair, for each phi and ridge g. The whitened problem has N rows; a ridge adds the rows b_1·s = 0 and b_2·s = 0,
// s = sqrt(1-phi²)/g, which is an amplitude of standard deviation g times that of the noise. With nu = N-3, or N-1 with a ridge (s = 1 without):
//
//	v  = rss/nu·(R^-1·R^-T)_00
//	lw = -nu/2·ln(rss/nu) + ln(1-phi²)/2 + 2 ln s - Σ ln|R_ii| + ln prior
//	df = max(3, N(1-phi)/(1+phi) - spent)
func (f *fitter) try(c *component, p, n int) {
	g := &f.grid
	c.series.project(&f.columns, c.y)
	for i, phi := range phis {
		free := 1 - phi*phi
		whitened := c.series.whiten(&f.columns, phi)
		prior := g.pairs[p].lnPrior + g.lnPhi[i]
		k := candidate{pair: p, phi: i, dof: max(3, float64(n)*(1-phi)/(1+phi)-g.spent)}
		if len(g.ridges) == 0 {
			c.consider(k, whitened, float64(n-3), prior+math.Log(free)/2)
		}
		for _, ridge := range g.ridges {
			t, s := whitened, math.Sqrt(free)/ridge
			t.merge(triple{0, s, 0}, 0)
			t.merge(triple{0, 0, s}, 0)
			c.consider(k, t, float64(n-1), prior+math.Log(free)/2+2*math.Log(s))
		}
	}
}

// consider solves the problem and keeps the candidate; prior is what of its ln weight does not depend on the data.
func (c *component) consider(k candidate, t triangle, nu, prior float64) {
	b, corner, product, ok := t.solve()
	if !ok {
		return
	}
	noise := max(t.rss/nu, flattest*flattest*c.size*c.size, nothing)
	k.b, k.variance = b, noise*corner
	k.lnWeight = prior - nu/2*math.Log(noise) - math.Log(product)
	c.candidates = append(c.candidates, k)
}

// nothing is a variance that stands for none, so that a series of equal values has a logarithm.
const nothing = 1e-290

// average forms the weighted mean over the candidates:
//
//	w = softmax(lw);  m = Σ w·b_0;  V = Σ w·(v + (b_0-m)²);  1/df* = Σ w/df;  h = t(0.975, df*)·sqrt(V)
func (c *component) average(f *fitter) (out fitted) {
	top := math.Inf(-1)
	if len(c.candidates) == 0 {
		return fitted{half: math.Inf(1)}
	}
	for i := range c.candidates {
		top = max(top, c.candidates[i].lnWeight)
	}
	var sum float64
	for i := range c.candidates {
		w := math.Exp(c.candidates[i].lnWeight - top)
		c.candidates[i].lnWeight = w // the weight itself from here on
		sum += w
	}
	clear(f.coefficients) // of the averaged transient
	var inverse, slow float64
	for i := range c.candidates {
		k := &c.candidates[i]
		k.lnWeight /= sum
		w, pair := k.lnWeight, f.grid.pairs[k.pair]
		out.mean += w * k.b[0]
		out.phi += w * phis[k.phi]
		inverse += w / k.dof
		slow += w * f.grid.decays[pair.b].t
		f.coefficients[pair.a] += w * k.b[1]
		f.coefficients[pair.b] += w * k.b[2]
	}
	var total float64
	for i := range c.candidates {
		k := &c.candidates[i]
		d := k.b[0] - out.mean
		total += k.lnWeight * (k.variance + d*d)
	}
	out.tau, out.dof = slow, 1/inverse
	out.half = student(out.dof) * math.Sqrt(total)
	return out
}

// widen takes the half width of the batch means of the residual, the series less the averaged transient, where that is larger.
func (c *component) widen(f *fitter, out *fitted) {
	n := len(c.y)
	for i, b := range f.coefficients {
		if b != 0 {
			out.left += b * f.grid.decays[i].e[n-1]
			subtract(c.y, b, f.grid.decays[i].e[:n])
		}
	}
	if h, dof := f.batch.widest(c.y); h > out.half {
		out.half, out.dof = h, dof
	}
}
