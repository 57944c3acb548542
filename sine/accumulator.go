package sine

import (
	"fmt"
	"math"
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

	e, o  [2][]float64 // folded tiles of two channels
	local [2][]float64 // their sums
	beta  [2][]float64

	taken   int64 // blocks finished
	blocks  series
	level   uint   // 2^level elementary blocks in each of blocks
	pending series // elementary blocks, waiting to be merged to the same level
	history history
	scratch []complex128
	hum     humSteps
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
	freq, harmonics := s.regressors(size)
	if p := 2*len(freq) + s.Drift + 1; size <= p {
		return nil, fmt.Errorf("sine: block of %d samples: must be longer than the number of regressors, %d", size, p)
	}
	slopes := s.Frames <= 0 || s.Frames/int64(size) < slopeBlocks
	b, err := newBasis(s.Rate, size, freq, harmonics, s.Drift, slopes)
	if err != nil {
		return nil, fmt.Errorf("sine: %w", err)
	}
	a := &Accumulator{set: s, channels: channels, basis: b, limit: mostBlocks}
	a.blocks = newSeries(channels, harmonics, len(freq)-harmonics, int(max(0, min(mostBlocks, s.Frames/int64(size)))))
	a.pending = newSeries(channels, harmonics, len(freq)-harmonics, 0)
	a.history.frequency = s.Frequency
	a.hum = newHumSteps(s.lines(harmonics, float64(size)/s.Rate), channels)
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
		a.e[p], a.o[p] = make([]float64, t.stride), make([]float64, t.stride)
		a.local[p] = make([]float64, 2*cols)
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

// take projects one tile of every channel, two channels at a time.
func (a *Accumulator) take(t *tile, d [][]float64) {
	if a.next == 0 {
		for c := range d {
			a.first[c], a.q[c] = d[c][0], 0
			clear(a.sums[0][c])
			clear(a.sums[1][c])
		}
	}
	stride, cols := t.table.stride, t.table.cols
	for c := 0; c < a.channels; c += 2 {
		other := 0 // column of e and o that holds the second channel
		a.q[c] += fold(a.e[0][:stride], a.o[0][:stride], d[c], a.first[c])
		if c+1 < a.channels {
			other = 1
			a.q[c+1] += fold(a.e[1][:stride], a.o[1][:stride], d[c+1], a.first[c+1])
		}
		dotLanes(a.local[0], t.table.x[0], a.e[0], a.e[other], cols[0], stride)
		dotLanes(a.local[1], t.table.x[1], a.o[0], a.o[other], cols[1], stride)
		a.basis.add(t, a.local[0], a.local[1], a.sums[0][c], a.sums[1][c])
		if other == 1 {
			a.basis.add(t, a.local[0][cols[0]:], a.local[1][cols[1]:], a.sums[0][c+1], a.sums[1][c+1])
		}
	}
	if a.next++; a.next == len(a.basis.tiles) {
		a.next = 0
		a.finish()
	}
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
