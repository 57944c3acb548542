package uncertainty

import (
	"fmt"
	"math"
	"slices"
)

// SmallestRegion is an approximation to the smallest coverage region of modulus and phase together, of any form, in one piece or several: small parallelograms of
// equal size, rectangles where both are made uncorrelated. All numbers are differences from the value: modulus relative, phase in rad.
type SmallestRegion struct {
	Probability float64 // asked for
	Fraction    float64 // of the trials within
	Area        float64 // rad
	Cells       int     // in the region
	grid        cellGrid
	within      map[int]bool
}

// cellGrid divides the trials, made uncorrelated and of unit variance, into side by side cells.
type cellGrid struct {
	region Region
	side   int
	low    [2]float64
	width  [2]float64
}

// SmallestRegion sorts the cells of a grid that covers every trial by the number of trials they hold and takes them, the fullest first, until they hold the probability
// p; of the last equals, in order of their place. Side is the number of cells along each direction: the region is known to one cell all around, and cells at its edge should
// hold some tens of trials. It is an error where the sample was not kept, has no finite variance, or modulus and phase are multiples of each other.
//
// Clause: JCGM 102 7.7.4
func (s Simulation) SmallestRegion(p float64, side int) (SmallestRegion, error) {
	region, err := s.Region(p)
	switch {
	case err != nil:
		return SmallestRegion{}, err
	case side < 2:
		return SmallestRegion{}, fmt.Errorf("smallest coverage region on a grid of %d cells a side, want 2 or more", side)
	}
	g, err := newCellGrid(region, side, s)
	if err != nil {
		return SmallestRegion{}, err
	}
	counts := map[int]int{}
	for t, m := range s.ModulusSample {
		cell, _ := g.cell(m-1, s.PhaseSample[t])
		counts[cell]++
	}
	cells := make([]int, 0, len(counts))
	for c := range counts {
		cells = append(cells, c)
	}
	slices.SortFunc(cells, func(a, b int) int {
		if counts[a] != counts[b] {
			return counts[b] - counts[a]
		}
		return a - b
	})
	out := SmallestRegion{Probability: p, grid: g, within: map[int]bool{}}
	n, need := 0, int(math.Ceil(p*float64(len(s.ModulusSample))))
	for _, c := range cells {
		if n >= need {
			break
		}
		n += counts[c]
		out.within[c] = true
	}
	out.Cells, out.Fraction = len(out.within), float64(n)/float64(len(s.ModulusSample))
	out.Area = float64(out.Cells) * g.width[0] * g.width[1] * region.unitArea()
	return out, nil
}

func newCellGrid(region Region, side int, s Simulation) (cellGrid, error) {
	if !(region.unitArea() > 0) {
		return cellGrid{}, fmt.Errorf("smallest coverage region: modulus and phase fill no area, since one is a multiple of the other or does not vary")
	}
	g := cellGrid{region: region, side: side}
	low, high := [2]float64{math.Inf(1), math.Inf(1)}, [2]float64{math.Inf(-1), math.Inf(-1)}
	for t, m := range s.ModulusSample {
		for k, v := range region.uncorrelated(m-1, s.PhaseSample[t]) {
			low[k], high[k] = math.Min(low[k], v), math.Max(high[k], v)
		}
	}
	for k := range low {
		g.low[k], g.width[k] = low[k], (high[k]-low[k])/float64(side)
	}
	return g, nil
}

// cell is the number of the cell a point lies in; ok is false outside of the grid.
func (g cellGrid) cell(modulus, phase float64) (n int, ok bool) {
	for k, v := range g.region.uncorrelated(modulus, phase) {
		place := (v - g.low[k]) / g.width[k]
		if !(place >= 0 && place <= float64(g.side)) {
			return 0, false
		}
		n = n*g.side + min(int(place), g.side-1)
	}
	return n, true
}

// uncorrelated is a point as two coordinates without correlation and of unit variance.
func (r Region) uncorrelated(modulus, phase float64) [2]float64 {
	a, b := math.Sqrt(r.Covariance[0][0]), math.Sqrt(r.Covariance[1][1])
	rho := r.Covariance[0][1] / (a * b)
	x, y := (modulus-r.Modulus)/a, (phase-r.Phase)/b
	return [2]float64{x, (y - rho*x) / math.Sqrt((1-rho)*(1+rho))}
}

// unitArea is the root of the determinant of the covariance: the area that a unit square of uncorrelated coordinates has. It is 0 without area.
func (r Region) unitArea() float64 {
	a, b := math.Sqrt(r.Covariance[0][0]), math.Sqrt(r.Covariance[1][1])
	rho := ratio(r.Covariance[0][1], a*b)
	rest := (1 - rho) * (1 + rho)
	if rest < 1e-12 {
		return 0
	}
	return a * b * math.Sqrt(rest)
}

// Holds says whether a point, as differences from the value, lies in the region.
func (r SmallestRegion) Holds(modulus, phase float64) bool {
	n, ok := r.grid.cell(modulus, phase)
	return ok && r.within[n]
}

// EllipseArea is the area of the ellipse, in rad: k² π times the root of the determinant of the covariance.
func (r Region) EllipseArea() float64 { return math.Pi * r.Ellipse * r.Ellipse * r.unitArea() }

// RectangleArea is the area of the rectangle, in rad.
func (r Region) RectangleArea() float64 {
	a, b := r.HalfWidths()
	return 4 * a * b
}
