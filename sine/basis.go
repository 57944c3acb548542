package sine

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
)

// tileSize is the longest run of samples projected with one table: its columns stay in the processor's nearest memory, and a block of any length needs no more.
const tileSize = 512

// basis is the regressors of a block. With tau the time from the block's centre and T its length:
//
//	cos(2 pi f_k tau), sin(2 pi f_k tau)   f_k: harmonics of the fundamental, then mains lines, then other lines
//	Legendre_k(2 tau/T)                    k = 0..drift
//
// Even and odd functions of tau are orthogonal, so there are two normal matrices of half the size. A block is a row of tiles; a tile's sums
// over its own table are turned to the block's centre (add), which is exact.
type basis struct {
	rate      float64
	size      int       // samples in a block
	freq      []float64 // Hz
	harmonics int       // of freq, the first ones
	drift     int
	slopes    bool     // two more columns, u sin and u cos of the fundamental with u = 2 tau/T: no regressors, they measure the frequency within a block
	even, odd int      // numbers of regressors
	tables    []*table // of the tiles, and of the last one where it is shorter
	tiles     []tile
	inverse   [2][]float64  // inverse normal matrices of the even and the odd regressors, row after row
	steer     [2]steer      // of the slope columns
	cond      float64       // condition number with columns of unit length
	gram      [2]*mat.Dense // normal matrices, slope columns last
}

// steer is what is needed of a slope column: its products with the regressors and the square of its part that is orthogonal to them.
type steer struct {
	cross  []float64
	square float64
}

// table is the columns of one tile, folded about its centre and padded with zeros.
type table struct {
	size, stride int
	cols         [2]int // padded numbers of even and odd columns
	x            [2][]float64
}

// tile is the place of a run of samples in its block.
type tile struct {
	table *table
	start int          // first sample in the block
	turn  []complex128 // exp(j 2 pi f_k tau_0), tau_0 the tile's centre
	u     float64      // 2 tau_0/T
	shift []float64    // Legendre_k of the block as a sum of Legendre_i of the tile: row k, column i <= k
}

// newBasis tabulates the regressors for blocks of size samples.
func newBasis(rate float64, size int, freq []float64, harmonics, drift int, slopes bool) (*basis, error) {
	b := &basis{rate: rate, size: size, freq: freq, harmonics: harmonics, drift: drift, slopes: slopes}
	b.even, b.odd = len(freq)+drift/2+1, len(freq)+(drift+1)/2
	count := (size + tileSize - 1) / tileSize
	length := tileSize
	if count <= 64 { // few tiles: equal ones
		length = (size + count - 1) / count
	}
	b.tables = []*table{b.newTable(length)}
	if r := size - (count-1)*length; r != length {
		b.tables = append(b.tables, b.newTable(r))
	}
	for i := range count {
		t := b.tables[0]
		if i == count-1 {
			t = b.tables[len(b.tables)-1]
		}
		b.tiles = append(b.tiles, b.newTile(t, i*length))
	}
	b.assemble()
	return b, b.invert()
}

func (b *basis) newTable(size int) *table {
	half := (size + 1) / 2
	t := &table{size: size, stride: (half + lane - 1) / lane * lane}
	extra := 0
	if b.slopes {
		extra = 1
	}
	t.cols = [2]int{(b.even + extra + 1) &^ 1, (b.odd + extra + 1) &^ 1}
	for p := range t.x {
		t.x[p] = make([]float64, t.cols[p]*t.stride)
	}
	w := make([]complex128, half)
	for k, f := range b.freq {
		wave(w, f, b.rate, int64(1-size))
		for i, v := range w {
			t.x[0][k*t.stride+i], t.x[1][k*t.stride+i] = real(v), imag(v)
		}
	}
	legendre := make([]float64, b.drift+1)
	for i := range half {
		n := 2*i - (size - 1) // half samples from the centre
		fillLegendre(legendre, float64(n)/float64(size))
		for k, v := range legendre {
			t.x[k&1][(len(b.freq)+k/2)*t.stride+i] = v
		}
		if b.slopes {
			u := float64(n) / float64(b.size)
			t.x[0][b.even*t.stride+i], t.x[1][b.odd*t.stride+i] = u*t.x[1][i], u*t.x[0][i]
		}
	}
	return t
}

func (b *basis) newTile(t *table, start int) tile {
	n := int64(2*start + t.size - b.size) // half samples from the block's centre to the tile's
	tl := tile{table: t, start: start, turn: make([]complex128, len(b.freq)), u: float64(n) / float64(b.size)}
	base := turns(b.freq[0], b.rate, n)
	for k, f := range b.freq {
		if k < b.harmonics {
			tl.turn[k] = unit(wrap(float64(k+1) * base))
		} else {
			tl.turn[k] = unit(turns(f, b.rate, n))
		}
	}
	tl.shift = shiftLegendre(b.drift, tl.u, float64(t.size)/float64(b.size))
	return tl
}

// add turns the sums ue, uo of a tile over its own even and odd columns to the block's columns and adds them to ve, vo.
func (b *basis) add(t *tile, ue, uo, ve, vo []float64) {
	n := len(t.turn)
	for k, w := range t.turn {
		c, s := real(w), imag(w)
		x, y := ue[k], uo[k]
		ve[k] += c*x - s*y
		vo[k] += s*x + c*y
	}
	if b.slopes {
		// u sin(w tau) and u cos(w tau) with tau = tau_0 + s
		c, s := real(t.turn[0]), imag(t.turn[0])
		us, uc := ue[b.even], uo[b.odd]
		ve[b.even] += t.u*(s*ue[0]+c*uo[0]) + s*uc + c*us
		vo[b.odd] += t.u*(c*ue[0]-s*uo[0]) + c*uc - s*us
	}
	local := [2][]float64{ue[n:], uo[n:]}
	block := [2][]float64{ve[n:], vo[n:]}
	i := 0
	for k := range b.drift + 1 {
		sum := 0.0
		for l := range k + 1 {
			sum += t.shift[i] * local[l&1][l/2]
			i++
		}
		block[k&1][k/2] += sum
	}
}

// solve sets be, bo to the least squares coefficients of the sums ve, vo.
func (b *basis) solve(ve, vo, be, bo []float64) {
	multiply(be[:b.even], b.inverse[0], ve)
	multiply(bo[:b.odd], b.inverse[1], vo)
}

func multiply(dst, m, v []float64) {
	n := len(dst)
	v = v[:n]
	for i := range dst {
		sum := 0.0
		for j, x := range m[i*n : (i+1)*n] {
			sum += x * v[j]
		}
		dst[i] = sum
	}
}

// assemble forms the normal matrices from those of the tables: N = sum over tiles of R G R', R the turning of add.
func (b *basis) assemble() {
	extra := 0
	if b.slopes {
		extra = 1
	}
	n := [2]int{b.even + extra, b.odd + extra}
	rows := n[0] + n[1]
	gram := make([][2][]float64, rows)
	half := make([][2][]float64, rows)
	for r := range gram {
		gram[r] = [2][]float64{make([]float64, n[0]), make([]float64, n[1])}
		half[r] = [2][]float64{make([]float64, n[0]), make([]float64, n[1])}
	}
	local := map[*table][2]*mat.SymDense{}
	for _, t := range b.tables {
		local[t] = t.gram(n)
	}
	for i := range b.tiles {
		t := &b.tiles[i]
		b.turnGram(t, local[t.table], n, half, gram)
	}
	for p, offset := range [2]int{0, n[0]} {
		b.gram[p] = mat.NewDense(n[p], n[p], nil)
		for i := range n[p] {
			b.gram[p].SetRow(i, gram[offset+i][p])
		}
	}
}

// turnGram adds R G R' of one tile to gram; half is room for G R'.
func (b *basis) turnGram(t *tile, local [2]*mat.SymDense, n [2]int, half, gram [][2][]float64) {
	zero := [2][]float64{make([]float64, n[0]), make([]float64, n[1])}
	column := make([]float64, max(n[0], n[1]))
	ve, vo := make([]float64, n[0]), make([]float64, n[1])
	for p := range 2 {
		for j := range n[p] {
			for i := range n[p] {
				column[i] = local[p].At(i, j)
			}
			clear(ve)
			clear(vo)
			u := zero
			u[p] = column[:n[p]]
			b.add(t, u[0], u[1], ve, vo)
			for r, v := range ve {
				half[r][p][j] = v
			}
			for r, v := range vo {
				half[n[0]+r][p][j] = v
			}
		}
	}
	for r := range gram {
		b.add(t, half[r][0], half[r][1], gram[r][0], gram[r][1])
	}
}

// gram is the normal matrices of the table's first n even and odd columns over the samples of the tile.
func (t *table) gram(n [2]int) [2]*mat.SymDense {
	var g [2]*mat.SymDense
	for p := range g {
		g[p] = mat.NewSymDense(n[p], nil)
		sums := t.products(p, n[p], func(i int) []float64 { return t.x[p][i*t.stride : (i+1)*t.stride] })
		for i := range n[p] {
			for j := i; j < n[p]; j++ {
				g[p].SetSym(i, j, sums[i][j])
			}
		}
	}
	return g
}

// products are the sums over all samples of the tile of n half waves of one parity, y(0) ... y(n-1), times every column of that parity.
func (t *table) products(parity, n int, y func(i int) []float64) [][]float64 {
	cols := t.cols[parity]
	all := make([]float64, (n+slots-1)*cols)
	sums := make([][]float64, n)
	for i := 0; i < n; i += slots {
		var v [slots][]float64
		for k := range v {
			v[k] = y(min(i+k, n-1))
		}
		out := make([]float64, slots*cols)
		dotLanes(out, t.x[parity], &v, cols, t.stride)
		copy(all[i*cols:], out)
	}
	for i := range sums {
		sums[i] = all[i*cols : (i+1)*cols]
		for j := range sums[i] {
			sums[i][j] *= 2
			if m := t.size / 2; t.size&1 == 1 { // the middle sample has no twin
				sums[i][j] -= t.x[parity][j*t.stride+m] * y(i)[m]
			}
		}
	}
	return sums
}

// mostCondition is the largest condition number accepted: up to there normal equations in float64 lose nothing that matters.
const mostCondition = 1e4

// ErrCollinear is wrapped when regressors cannot be told apart.
var ErrCollinear = errors.New("regressors cannot be told apart")

// invert inverts the normal matrices and refuses ill-conditioned ones.
func (b *basis) invert() error {
	low, high := math.Inf(1), 0.0
	for p, n := range [2]int{b.even, b.odd} {
		c := conditionOf(b.gram[p].Slice(0, n, 0, n))
		if !(c.low > high/(mostCondition*mostCondition)) || !(c.low > c.high/(mostCondition*mostCondition)) {
			return fmt.Errorf("block of %d samples (%.4g s, %.4g cycles): %w: %s", b.size, float64(b.size)/b.rate,
				float64(b.size)/b.rate*b.freq[0], ErrCollinear, c.colliding(func(i int) string { return b.name(p, i) }))
		}
		low, high = min(low, c.low), max(high, c.high)
		b.inverse[p] = inverseOf(b.gram[p].Slice(0, n, 0, n))
		if b.slopes {
			b.steer[p] = b.newSteer(p, n)
		}
	}
	b.cond = math.Sqrt(high / low)
	return nil
}

func (b *basis) newSteer(p, n int) steer {
	s := steer{cross: make([]float64, n), square: b.gram[p].At(n, n)}
	for i := range s.cross {
		s.cross[i] = b.gram[p].At(i, n)
	}
	along := make([]float64, n)
	multiply(along, b.inverse[p], s.cross)
	for i, v := range along {
		s.square -= v * s.cross[i]
	}
	return s
}

// name says what an even (parity 0) or odd regressor is.
func (b *basis) name(parity, i int) string {
	if i >= len(b.freq) {
		return fmt.Sprintf("drift of order %d", 2*(i-len(b.freq))+parity)
	}
	kind := "cosine"
	if parity == 1 {
		kind = "sine"
	}
	if i < b.harmonics {
		return fmt.Sprintf("%s of harmonic %d (%.6g Hz)", kind, i+1, b.freq[i])
	}
	return fmt.Sprintf("%s of the mains line or other line at %.6g Hz", kind, b.freq[i])
}
