package uncertainty

import (
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

// coveredPlaces is the number of places between the two ends of an interval that holds the fraction p of m ordered trials: the integer nearest to pm.
func coveredPlaces(m int, p float64) int { return min(max(int(p*float64(m)+0.5), 1), m-1) }

// firstPlace is where in order, counted from 0, the symmetric interval begins that leaves m-q trials outside.
func firstPlace(m, q int) int { return max((m-q+1)/2, 1) - 1 }

// cover sets both coverage intervals. With M trials and q the nearest integer to pM, an interval reaches from an ordered trial to the one q places
// above: symmetric with equal numbers of trials outside on both sides, shortest at the place where it is shortest. Only the M-q lowest and
// the M-q highest trials can be ends; selection finds and sorting orders those alone. It reorders y.
func (in *Interval) cover(y []float64, p float64) {
	in.coverTails(tails(y, p))
}

// tails is the trials that can be ends of an interval that holds the fraction p: as many of the lowest and of the highest, in ascending order. It
// reorders y.
func tails(y []float64, p float64) (low, high []float64) {
	q := coveredPlaces(len(y), p)
	tail := len(y) - q
	if tail >= q { // the two tails overlap
		sortFloats(y)
		return y[:tail], y[q:]
	}
	partition(y, tail-1)
	return lowest(y, tail), highest(y[tail:], tail)
}

// about sets the half width of the interval about centre that holds what the tails leave: as many trials as are in one tail, the farthest from the
// centre, lie outside. Where they all come from one tail, the last of them is the end: its next neighbour inwards is not kept.
func (in *Interval) about(centre float64, low, high []float64) {
	i, j := 0, len(high)-1
	for range low {
		if below, above := centre-low[i], high[j]-centre; below >= above {
			in.Half = below
			i++
		} else {
			in.Half = above
			j--
		}
		if i == len(low) || j < 0 {
			return
		}
	}
	in.Half = max(centre-low[i], high[j]-centre)
}

// lowest is the n lowest values of y in ascending order. It reorders y.
func lowest(y []float64, n int) []float64 {
	partition(y, n-1)
	sortFloats(y[:n])
	return y[:n]
}

// highest is the n highest values of y in ascending order. It reorders y.
func highest(y []float64, n int) []float64 {
	y = y[:len(y):len(y)]
	partition(y, len(y)-n)
	y = y[len(y)-n:]
	sortFloats(y)
	return y
}

// coverTails sets both coverage intervals from the ordered trials that can be their lower and their upper ends, as many of both.
//
// Clause: JCGM 101 7.7.2
// Clause: JCGM 101 7.7.4
func (in *Interval) coverTails(low, high []float64) {
	r := firstPlace(len(low), 0)
	in.Low, in.High = low[r], high[r]
	best := 0
	for i := range low {
		if high[i]-low[i] < high[best]-low[best] {
			best = i
		}
	}
	in.ShortestLow, in.ShortestHigh = low[best], high[best]
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

const (
	digitBits   = 11
	worthDigits = 1000 // values from which on sorting by digits is faster than by comparison
)

// sortFloats sorts in ascending order. Long slices are sorted by the digits of their bit patterns, turned so that they are ordered as the numbers are;
// negative zero comes before zero, NaN at an end.
func sortFloats(y []float64) {
	if len(y) < worthDigits {
		slices.Sort(y)
		return
	}
	keys, spare := make([]uint64, len(y)), make([]uint64, len(y))
	for i, v := range y {
		b := math.Float64bits(v)
		keys[i] = b ^ (uint64(int64(b)>>63) | 1<<63)
	}
	for shift := 0; shift < 64; shift += digitBits {
		var place [1 << digitBits]int
		for _, k := range keys {
			place[k>>shift%(1<<digitBits)]++
		}
		if place[keys[0]>>shift%(1<<digitBits)] == len(keys) { // one digit for all
			continue
		}
		sum := 0
		for d, n := range place {
			place[d] = sum
			sum += n
		}
		for _, k := range keys {
			d := k >> shift % (1 << digitBits)
			spare[place[d]] = k
			place[d]++
		}
		keys, spare = spare, keys
	}
	for i, k := range keys {
		y[i] = math.Float64frombits(k ^ (uint64(^(int64(k) >> 63)) | 1<<63))
	}
}
