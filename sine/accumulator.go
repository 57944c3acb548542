package sine

import (
	"fmt"
	"math"
	"slices"
)

const (
	mostBlocks = 4096 // blocks kept before pairs of them are merged
	// roundoff is the part of a block's sum of squares that the residual cannot be told from zero by.
	roundoff = 4e-16
)

// Accumulator makes a Fit of samples that arrive in pieces; its memory does not grow with the record.
type Accumulator struct {
	set      Settings
	channels int
	basis    *basis
	shared   []int // harmonics that are other lines
	frames   int64
	limit    int // blocks kept

	// the block being taken
	next  int         // its next tile
	fill  int         // samples of that tile waiting in wait
	wait  [][]float64 // per channel
	view  [][]float64 // per channel, of the caller's samples
	first []float64   // per channel, first sample of the block: subtracted
	sums  [2][][]float64
	q     []float64 // per channel, sum of squares

	folded [2][slots][]float64 // even and odd parts of the tiles that wait to be multiplied
	whose  [slots]place
	filled int
	local  [2][]float64 // their sums over their own columns
	beta   [2][]float64

	taken   int64 // blocks finished
	blocks  series
	level   uint   // 2^level elementary blocks in each of blocks
	pending series // elementary blocks, waiting to be merged to the same level
	history history
	scratch []complex128
	hum     humSteps
	each    func(Completed)
}

// Completed is one block as it was completed, before anything is known of those after it: at the frequency of the settings, none rejected.
type Completed struct {
	Time      float64        // centre, s from the first sample
	Harmonics [][]complex128 // per channel, from the fundamental on: peak amplitude, phase at the centre of the block
	Variance  []float64      // per channel: of the residual; not a number where samples were none
}

// Each makes Add tell of every block it completes. The values are the caller's to keep.
func (a *Accumulator) Each(f func(Completed)) { a.each = f }

// tell reports the block just solved, number i of s.
func (a *Accumulator) tell(s *series, i int) {
	b := Completed{Time: float64(s.at[i]) / (2 * a.set.Rate)}
	for c := range a.channels {
		b.Harmonics = append(b.Harmonics, slices.Clone(s.lines(i, c)))
		b.Variance = append(b.Variance, s.variance[i*a.channels+c])
	}
	a.each(b)
}

// place is what a folded tile belongs to.
type place struct {
	tile    *tile
	channel int
}

// NewAccumulator prepares an approximation of the given number of channels. It refuses settings whose regressors cannot be told apart in a block, naming them.
func NewAccumulator(s Settings, channels int) (*Accumulator, error) {
	if err := s.check(channels); err != nil {
		return nil, err
	}
	size, err := s.blockSize()
	if err != nil {
		return nil, err
	}
	if size > mostTaken {
		return nil, fmt.Errorf("sine: %d cycles of %g Hz at %g samples per second: more than the %d samples a block may hold", leastCycles, s.Frequency, s.Rate, mostTaken)
	}
	freq, harmonics := s.regressors(size)
	drift := s.driftIn(float64(size) / s.Rate)
	if p := 2*len(freq) + drift + 1; size <= p {
		return nil, fmt.Errorf("sine: block of %d samples: must be longer than the number of regressors, %d", size, p)
	}
	slopes := s.Frames <= 0 || s.Frames/int64(size) < slopeBlocks
	b, err := newBasis(s.Rate, size, freq, harmonics, drift, slopes)
	if err != nil {
		return nil, fmt.Errorf("sine: %w", err)
	}
	a := &Accumulator{set: s, channels: channels, basis: b, limit: mostBlocks}
	nominal := s.lines(harmonics, float64(size)/s.Rate)
	a.shared = s.sharedHarmonics(harmonics)
	a.blocks = newSeries(channels, harmonics, len(nominal), int(max(0, min(mostBlocks, s.Frames/int64(size)))))
	a.pending = newSeries(channels, harmonics, len(nominal), 0)
	a.history.frequency = s.Frequency
	a.hum = newHumSteps(nominal, channels)
	a.room()
	return a, nil
}

// room makes the space Add works in.
func (a *Accumulator) room() {
	t := a.basis.tables[0]
	a.wait, a.view = make([][]float64, a.channels), make([][]float64, a.channels)
	a.first, a.q = make([]float64, a.channels), make([]float64, a.channels)
	for c := range a.wait {
		a.wait[c] = make([]float64, t.size)
	}
	for p, cols := range t.cols {
		for k := range slots {
			a.folded[p][k] = make([]float64, t.stride)
		}
		a.local[p] = make([]float64, slots*cols)
		a.beta[p] = make([]float64, cols)
		a.sums[p] = make([][]float64, a.channels)
		for c := range a.channels {
			a.sums[p][c] = make([]float64, cols)
		}
	}
	a.scratch = make([]complex128, a.basis.harmonics)
}

// Add takes the next frames, block[c][n] being sample n of channel c. Pieces may have any length; the result does not depend on it, to the last bit.
// Samples that are no numbers disturb their block.
func (a *Accumulator) Add(block [][]float64) error {
	if len(block) != a.channels {
		return fmt.Errorf("sine: samples of %d channels, want %d", len(block), a.channels)
	}
	n := len(block[0])
	for c := range block {
		if len(block[c]) != n {
			return fmt.Errorf("sine: channel %d: %d samples, channel 1 has %d", c+1, len(block[c]), n)
		}
	}
	for i := 0; i < n; {
		t := &a.basis.tiles[a.next]
		size := t.table.size
		if a.fill == 0 && n-i >= size {
			for c := range a.view {
				a.view[c] = block[c][i : i+size]
			}
			a.take(t, a.view)
			i += size
			continue
		}
		k := min(size-a.fill, n-i)
		for c := range a.view {
			copy(a.wait[c][a.fill:a.fill+k], block[c][i:i+k])
			a.view[c] = a.wait[c][:size]
		}
		i += k
		if a.fill += k; a.fill == size {
			a.fill = 0
			a.take(t, a.view)
		}
	}
	a.frames += int64(n)
	return nil
}

// take folds one tile of every channel.
func (a *Accumulator) take(t *tile, d [][]float64) {
	if a.next == 0 {
		for c := range d {
			a.first[c], a.q[c] = d[c][0], 0
			clear(a.sums[0][c])
			clear(a.sums[1][c])
		}
	}
	if a.filled > 0 && a.whose[0].tile.table != t.table {
		a.project()
	}
	stride := t.table.stride
	for c := range d {
		k := a.filled
		a.q[c] += fold(a.folded[0][k][:stride], a.folded[1][k][:stride], d[c], a.first[c])
		a.whose[k] = place{t, c}
		if a.filled++; a.filled == slots {
			a.project()
		}
	}
	if a.next++; a.next == len(a.basis.tiles) {
		a.next = 0
		a.project()
		a.finish()
	}
}

// project multiplies the waiting tiles with their table and adds the sums to those of their channels.
func (a *Accumulator) project() {
	if a.filled == 0 {
		return
	}
	t := a.whose[0].tile.table
	for p, cols := range t.cols {
		dotLanes(a.local[p], t.x[p], &a.folded[p], cols, t.stride)
	}
	for k, w := range a.whose[:a.filled] {
		a.basis.add(w.tile, a.local[0][k*t.cols[0]:], a.local[1][k*t.cols[1]:], a.sums[0][w.channel], a.sums[1][w.channel])
	}
	a.filled = 0
}

// finish solves the block just completed and keeps it.
func (a *Accumulator) finish() {
	b := a.basis
	dst := &a.blocks
	if a.level > 0 {
		dst = &a.pending
	}
	i := dst.grow(2*a.taken*int64(b.size) + int64(b.size) - 1)
	a.taken++
	freedom := float64(b.size - b.even - b.odd)
	constant := len(b.freq) // index of Legendre_0 among the even regressors
	for c := range a.channels {
		ve, vo := a.sums[0][c], a.sums[1][c]
		be, bo := a.beta[0], a.beta[1]
		b.solve(ve, vo, be, bo)
		rest := a.q[c]
		for k, v := range be[:b.even] {
			rest -= v * ve[k]
		}
		for k, v := range bo[:b.odd] {
			rest -= v * vo[k]
		}
		z := dst.lines(i, c)
		for k := range z {
			z[k] = complex(be[k], -bo[k])
		}
		hum := dst.humOf(i, c)
		for k := range hum {
			x, y := be[b.harmonics+k], bo[b.harmonics+k]
			hum[k] = x*x + y*y
			a.hum.take(c, k, complex(x, -y))
		}
		j := i*a.channels + c
		dst.floor[j] = roundoff * a.q[c] / float64(b.size)
		dst.variance[j] = max(rest/freedom, dst.floor[j]) // not a number where samples were none
		dst.mean[j] = a.first[c] + ve[constant]/float64(b.size)
		if b.slopes {
			dst.pull[j], dst.hold[j] = b.slope(ve, vo, be, bo)
		}
	}
	a.hum.blocks++
	if a.each != nil {
		a.tell(dst, i)
	}
	a.keep()
}

// slope is the frequency of the fundamental within one block, as the two sums of its Gauss-Newton step: df = pull/hold, with hold over the
// residual variance its information. The derivative of a cos + b sin is pi T u (-a sin + b cos).
func (b *basis) slope(ve, vo, be, bo []float64) (pull, hold float64) {
	us, uc := ve[b.even], vo[b.odd]
	for k, v := range be[:b.even] {
		us -= v * b.steer[0].cross[k]
	}
	for k, v := range bo[:b.odd] {
		uc -= v * b.steer[1].cross[k]
	}
	scale := math.Pi * float64(b.size) / b.rate
	x, y := scale*be[0], scale*bo[0]
	return y*uc - x*us, x*x*b.steer[0].square + y*y*b.steer[1].square
}
