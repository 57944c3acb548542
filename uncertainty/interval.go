package uncertainty

import (
	"fmt"
	"math"
	"slices"
)

// moments says which moments the inputs' distributions have.
type moments struct{ mean, variance bool }

// momentsOf looks for Student's t with too few degrees of freedom.
func momentsOf(set *Set, uses []int) moments {
	m := moments{mean: true, variance: true}
	for _, i := range uses {
		m = m.and(set.inputs[i].Dist)
	}
	return m
}

func (m moments) and(d Distribution) moments {
	var dof float64
	switch d := d.(type) {
	case StudentT:
		dof = d.Dof
	case spreadOfT:
		dof = d.dof
	case Product:
		return m.and(d.A).and(d.B)
	default:
		return m
	}
	return moments{mean: m.mean && dof > 1, variance: m.variance && dof > 2}
}

// summarise computes mean, standard deviation and coverage intervals of a sample. Unless the sample is kept it is left in another order.
//
// Clause: JCGM 101 7.6
func summarise(sample []float64, s SimulationSettings, exist moments) (Interval, error) {
	mean, std := meanAndStd(sample)
	if !finite(std) {
		for t, y := range sample {
			if !finite(y) {
				return Interval{}, fmt.Errorf("trial %d (seed %d): model is %g, want a finite value", t+1, s.Seed, y)
			}
		}
		return Interval{}, fmt.Errorf("%d trials (seed %d): standard deviation is %g, want a finite value", len(sample), s.Seed, std)
	}
	in := Interval{Mean: mean, Std: std}
	if !exist.mean {
		in.Mean = math.NaN()
	}
	if !exist.variance {
		in.Std = math.NaN()
	}
	if std == 0 {
		in.Low, in.High, in.ShortestLow, in.ShortestHigh = mean, mean, mean, mean
		return in, nil
	}
	if s.Keep {
		sample = slices.Clone(sample)
	}
	in.cover(sample, s.Probability)
	return in, nil
}

// cover sets both coverage intervals. With M trials and q the nearest integer to pM, an interval reaches from an ordered trial to the one q places
// above: symmetric with equal numbers of trials outside on both sides, shortest at the place where it is shortest. Only the M-q lowest and
// the M-q highest trials can be ends; selection finds and sorting orders those alone.
//
// Clause: JCGM 101 7.7.2
// Clause: JCGM 101 7.7.4
func (in *Interval) cover(y []float64, p float64) {
	m := len(y)
	q := int(p*float64(m) + 0.5)
	q = min(max(q, 1), m-1)
	if tail := m - q; tail < q {
		partition(y, tail-1)
		partition(y[tail:], q-tail)
		slices.Sort(y[:tail])
		slices.Sort(y[q:])
	} else {
		slices.Sort(y)
	}
	low := (m - q) / 2 // number of ordered trials below the symmetric interval's lower end, counted from one
	if (m-q)%2 == 1 {
		low = (m - q + 1) / 2
	}
	low = max(low, 1)
	in.Low, in.High = y[low-1], y[low-1+q]
	best := 0
	for r := 1; r+q < m; r++ {
		if y[r+q]-y[r] < y[best+q]-y[best] {
			best = r
		}
	}
	in.ShortestLow, in.ShortestHigh = y[best], y[best+q]
}

// meanAndStd is the mean and the standard deviation of a long sample, in the order it has.
func meanAndStd(y []float64) (mean, std float64) {
	mean = Mean(y)
	var sum, rest float64
	for _, v := range y {
		d := v - mean
		sum += d * d
		rest += d
	}
	n := float64(len(y))
	return mean, math.Sqrt(math.Max(0, sum-rest*rest/n) / (n - 1))
}

// partition reorders y so that y[k] is the value it would hold in ascending order, with nothing larger before and nothing smaller after it
// (Floyd and Rivest's selection: a sample of the range chooses pivots close to the value sought).
func partition(y []float64, k int) { partitionRange(y, 0, len(y)-1, k) }

func partitionRange(y []float64, left, right, k int) {
	for left < right {
		if right-left > 600 {
			n, i := float64(right-left+1), float64(k-left+1)
			z := math.Log(n)
			s := 0.5 * math.Exp(2*z/3)
			sd := 0.5 * math.Sqrt(z*s*(n-s)/n) * math.Copysign(1, i-n/2)
			partitionRange(y, max(left, int(float64(k)-i*s/n+sd)), min(right, int(float64(k)+(n-i)*s/n+sd)), k)
		}
		pivot := y[k]
		i, j := left, right
		for i <= j {
			for y[i] < pivot {
				i++
			}
			for y[j] > pivot {
				j--
			}
			if i <= j {
				y[i], y[j] = y[j], y[i]
				i++
				j--
			}
		}
		if j < k {
			left = i
		}
		if k < i {
			right = j
		}
	}
}
