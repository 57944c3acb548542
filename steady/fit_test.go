package steady

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// plainFit is FIT written down once more: every row of every whitened problem, with a QR factorisation of another library. Batch means are left out.
func plainFit(x []float64, g *grid) (mean, variance, dof float64) {
	n := len(x)
	var lw, b0, v, df []float64
	ridges := g.ridges
	if len(ridges) == 0 {
		ridges = []float64{math.Inf(1)}
	}
	for _, p := range g.pairs {
		for i, phi := range phis {
			for _, ridge := range ridges {
				rows, nu := n, float64(n-3)
				s := math.Sqrt(1-phi*phi) / ridge
				lnS := 0.0
				if s > 0 {
					rows, nu, lnS = n+2, float64(n-1), 2*math.Log(s)
				}
				design := mat.NewDense(rows, 3, nil)
				y := mat.NewVecDense(rows, nil)
				at := func(k int) []float64 {
					t := float64(k) + 0.5
					return []float64{1, math.Exp(-t / g.decays[p.a].t), math.Exp(-t / g.decays[p.b].t)}
				}
				for k := range n {
					now := at(k)
					if k == 0 {
						for c := range now {
							design.Set(0, c, math.Sqrt(1-phi*phi)*now[c])
						}
						y.SetVec(0, math.Sqrt(1-phi*phi)*x[0])
						continue
					}
					before := at(k - 1)
					for c := range now {
						design.Set(k, c, now[c]-phi*before[c])
					}
					y.SetVec(k, x[k]-phi*x[k-1])
				}
				if s > 0 {
					design.Set(n, 1, s)
					design.Set(n+1, 2, s)
				}
				var qr mat.QR
				qr.Factorize(design)
				var b, fit, left mat.VecDense
				if err := qr.SolveVecTo(&b, false, y); err != nil {
					continue
				}
				fit.MulVec(design, &b)
				left.SubVec(y, &fit)
				noise := mat.Dot(&left, &left) / nu
				var r mat.Dense
				qr.RTo(&r)
				upper := r.Slice(0, 3, 0, 3)
				var inverse mat.Dense
				if err := inverse.Inverse(upper); err != nil {
					continue
				}
				var corner, lnR float64
				for c := range 3 {
					corner += inverse.At(0, c) * inverse.At(0, c)
					lnR += math.Log(math.Abs(upper.At(c, c)))
				}
				b0 = append(b0, b.AtVec(0))
				v = append(v, noise*corner)
				df = append(df, max(3, float64(n)*(1-phi)/(1+phi)-g.spent))
				lw = append(lw, -nu/2*math.Log(noise)+math.Log(1-phi*phi)/2+lnS-lnR+p.lnPrior+g.lnPhi[i])
			}
		}
	}
	top, sum := math.Inf(-1), 0.0
	for _, l := range lw {
		top = max(top, l)
	}
	for i := range lw {
		lw[i] = math.Exp(lw[i] - top)
		sum += lw[i]
	}
	for i := range lw {
		mean += lw[i] / sum * b0[i]
		dof += lw[i] / sum / df[i]
	}
	for i := range lw {
		variance += lw[i] / sum * (v[i] + (b0[i]-mean)*(b0[i]-mean))
	}
	return mean, variance, 1 / dof
}

// TestFitPlain compares FIT of both rules, also with merged blocks, with the same written down plainly. It agrees to rounding.
func TestFitPlain(t *testing.T) {
	const seed = 11
	t.Logf("seed %d", seed)
	r := rand.New(rand.NewPCG(seed, 0))
	for i, c := range []constants{averaged(), wary()} {
		name := (Averaged + Rule(i)).String()
		for _, tau := range []float64{4, 11, 40} {
			for merges := range 2 {
				f := newFitter(c)
				if merges == 1 {
					f.grid.halve()
				}
				f.grid.use(tau)
				x := make([]float64, 30+r.IntN(60))
				a, decay, drift := r.NormFloat64(), 3+20*r.Float64(), 0.0
				for k := range x {
					drift = 0.6*drift + 0.1*r.NormFloat64()
					x[k] = 2 + a*math.Exp(-float64(k)/decay) + drift
				}
				mean, variance, dof := plainFit(x, &f.grid)
				f.begin(x)
				got := f.bare()
				near(t, name+": mean", got.mean+x[len(x)-1], mean, 1e-9)
				near(t, name+": half width", got.half, student(dof)*math.Sqrt(variance), 1e-9)
				near(t, name+": degrees of freedom", got.dof, dof, 1e-9)
			}
		}
	}
}

// begin and bare are fit for one component without the batch means.
func (f *fitter) begin(x []float64) {
	f.fit([2][]float64{x, nil})
	f.components[0].begin(x)
	f.columns.begin(len(x))
	for p, pair := range f.grid.pairs {
		if f.columns.add(1, &f.grid.decays[pair.a]) && f.columns.add(2, &f.grid.decays[pair.b]) {
			f.try(&f.components[0], p, len(x))
		}
	}
}

func (f *fitter) bare() fitted { return f.components[0].average(f) }

// TestStudent: JCGM 100 table G.2 for whole degrees of freedom (two decimals); the others from numerical integration of the density (scipy.integrate.quad).
func TestStudent(t *testing.T) {
	for dof, want := range map[float64]float64{1: 12.71, 2: 4.30, 3: 3.18, 4: 2.78, 5: 2.57, 10: 2.23, 20: 2.09, 50: 2.01, 100: 1.984} {
		if got := student(dof); math.Abs(got-want) > 0.0051 {
			t.Errorf("t(0.975, %g) = %g, want %g", dof, got, want)
		}
	}
	for dof, want := range map[float64]float64{3.3: 3.0248744618408043, 7: 2.364624251592788, 9.7: 2.2375151237001076, 15: 2.1314495455597773,
		20.1: 2.085298346435235, 33.7: 2.0329110912073216, 52.3: 2.006372862321638, 55: 2.004044783289234} {
		near(t, "t", student(dof), want, 1e-13)
	}
	z3 := normal * normal * normal
	near(t, "t of many degrees of freedom", student(1e5), normal+(z3+normal)/4e5, 1e-9) // Abramowitz and Stegun 26.7.5
}

// TestClean: worked by hand. The running medians of 0 1 0 2 90 1 0 2 1 0 1 (mirrored) leave distances whose median is 1, so s = 1.7 and only 90 goes, to the
// median 1 of 1 0 2 90 1 0 2.
func TestClean(t *testing.T) {
	x := []float64{0, 1, 0, 2, 90, 1, 0, 2, 1, 0, 1}
	out := make([]float64, len(x))
	c := newCleaner(most)
	if replaced := c.clean(out, x); replaced != 1 || out[4] != 1 {
		t.Errorf("%d replaced, %v", replaced, out)
	}
	x[4], x[0] = math.NaN(), math.NaN()
	if replaced := c.clean(out, x); replaced != 0 || math.IsNaN(out[0]) || out[4] != 1 {
		t.Errorf("missing blocks: %d replaced, %v", replaced, out)
	}
	coarse := []float64{5, 5, 5, 6, 5, 5, 5, 5, 6, 5, 5}
	if replaced := c.clean(out, coarse); replaced != 0 {
		t.Errorf("of a display with few digits %d readings were replaced", replaced)
	}
	gone := []float64{math.NaN(), math.NaN(), math.NaN(), math.NaN(), math.NaN(), math.NaN(), math.NaN(), math.NaN(), math.NaN(), math.NaN(), 7}
	if c.clean(out, gone); out[0] != 7 || out[5] != 7 {
		t.Errorf("one value left of eleven: %v", out)
	}
}

// TestBatch: batch means of 0 … 16 by eights are those of 1 … 16 in pairs, 1.5, 3.5 … 15.5, whose standard deviation is 2·sqrt(6) (variance of 0 … 7 is 6).
func TestBatch(t *testing.T) {
	x := make([]float64, 17)
	for k := range x {
		x[k] = float64(k)
	}
	near(t, "batch", batchStd(x, 8), 2*math.Sqrt(6)/math.Sqrt(8), 1e-14)
}
