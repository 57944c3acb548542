package plan

import (
	"fmt"
	"math"
	"slices"

	"plumbline/quantity"
)

// sameFrequency is how far two frequencies may be apart and still be one point, relative (nominal against exact third octaves differ by up to 0.95 %).
const sameFrequency = 0.01

// ThirdOctaves are the exact base-ten third octaves from low to high in Hz, the ends included where they are within 1 % of one.
//
// Clause: IEC 61260-1:2014 exact mid-band frequencies, base ten
func ThirdOctaves(low, high float64) []float64 {
	var all []float64
	for n := quantity.NearestThirdOctave(low) - 1; ; n++ {
		f := quantity.ThirdOctave(n)
		if f > high*(1+sameFrequency) {
			return all
		}
		if f >= low*(1-sameFrequency) {
			all = append(all, f)
		}
	}
}

// Decades are the powers of ten times each of the digits from low to high in Hz, for example of 1, 2 and 5.
func Decades(low, high float64, digits ...float64) []float64 {
	var all []float64
	for e := math.Floor(math.Log10(low)); e <= math.Ceil(math.Log10(high)); e++ {
		for _, d := range digits {
			if f := d * math.Pow(10, e); f >= low*(1-1e-9) && f <= high*(1+1e-9) {
				all = append(all, f)
			}
		}
	}
	return all
}

// Band are the third octaves that cover a band with as few points as the procedure allows: both ends, the reference frequency where it lies inside, and
// evenly on a logarithmic scale between, no fewer than the procedure asks for and no two more than an octave and a third apart.
func Band(low, high float64, least int) []float64 {
	all := ThirdOctaves(low, high)
	if len(all) == 0 {
		return []float64{low}
	}
	const widest = 4 // third octaves
	n := max(least, (len(all)-1+widest-1)/widest+1)
	if n >= len(all) {
		return all
	}
	var chosen []float64
	for i := range n {
		chosen = append(chosen, all[int(math.Round(float64(i)*float64(len(all)-1)/float64(max(n-1, 1))))])
	}
	return chosen
}

// offMains moves a frequency that lies on, or cannot be told from, a multiple of the mains to the nearest that keeps clear of it; ok says that it had to.
// The distance is that of the evaluation's remark: three resolutions of a record of T s, at least half a hertz and 3 %.
func offMains(f, mains, duration float64) (good float64, multiple int, on bool) {
	if !(mains > 0) {
		return f, 0, false
	}
	k := max(1, math.Round(f/mains))
	if math.Abs(f-k*mains)*duration >= 1 {
		return f, 0, false
	}
	away := min(max(3/duration, 0.5, 0.03*min(f, mains)), mains/4)
	good = k*mains - away
	if f > k*mains {
		good = k*mains + away
	}
	return good, int(k), true
}

// wanted are the frequencies asked for, descending, once each, with the reference frequency among them.
func wanted(list []float64, reference float64) ([]float64, error) {
	if len(list) == 0 {
		return nil, fmt.Errorf("no frequency is wanted: state points, or a band")
	}
	all := append(slices.Clone(list), reference)
	slices.SortStableFunc(all, func(a, b float64) int {
		switch {
		case a > b:
			return -1
		case a < b:
			return 1
		}
		return 0
	})
	out := all[:0]
	for _, f := range all {
		if !(f > 0) || math.IsInf(f, 0) {
			return nil, fmt.Errorf("frequency %g Hz is wanted, allowed are values above zero", f)
		}
		if len(out) > 0 && math.Abs(f/out[len(out)-1]-1) <= sameFrequency {
			if f == reference { // its own value, not the nominal one beside it
				out[len(out)-1] = f
			}
			continue
		}
		out = append(out, f)
	}
	return out, nil
}
