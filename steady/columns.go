package steady

import "math"

// triple is three numbers, one for each column of X = [1, exp(-(k+½)/t1), exp(-(k+½)/t2)].
type triple [3]float64

// decay is a column exp(-(k+½)/t) for k = 0, 1, …
type decay struct {
	t    float64   // time constant, blocks
	step float64   // e^(1/t), a value over the one after it
	e    []float64 // values, as many as were asked for
}

func newDecay(t float64, room int) decay {
	return decay{t: t, step: math.Exp(1 / t), e: make([]float64, 0, room)}
}

// extend makes sure of n values; it allocates nothing within the room the decay was made with.
func (d *decay) extend(n int) {
	for k := len(d.e); k < n; k++ {
		d.e = append(d.e, math.Exp(-(float64(k)+0.5)/d.t))
	}
}

// halve is the decay seen in blocks twice as long.
func (d *decay) halve() {
	d.t /= 2
	d.step = math.Exp(1 / d.t)
	d.e = d.e[:0]
}

// columns is the orthogonal factorisation X = Q·R of rows 1 … N-1 of the first p columns of X. Whitening with phi only rescales these rows, because
// w_k = x_k - phi·x_{k-1} of a column exp(-(k+½)/t) is (1 - phi·e^(1/t)) times the column: one factorisation serves every phi and both components of ln r.
type columns struct {
	p     int
	q     [3][]float64 // N-1 rows each, orthonormal
	r     [3]triple    // upper triangle
	first triple       // row 0 of X
	step  triple       // x_{k-1}/x_k of each column: 1, e^(1/t1), e^(1/t2)
}

func newColumns(longest int) columns {
	var c columns
	for j := range c.q {
		c.q[j] = make([]float64, longest)
	}
	return c
}

// dependent is what must be left of a column, relative to the column, for it to count as independent of those before it.
const dependent = 1e-10

// begin sets the columns to the constant alone, for a window of n values.
func (c *columns) begin(n int) {
	rows := n - 1
	for j := range c.q {
		c.q[j] = c.q[j][:rows]
	}
	c.p = 1
	c.r = [3]triple{{math.Sqrt(float64(rows))}}
	c.first[0], c.step[0] = 1, 1
	for k := range c.q[0] {
		c.q[0][k] = 1 / c.r[0][0]
	}
}

// add puts d after the first p columns. It reports false where the columns are then linearly dependent to rounding. Modified Gram-Schmidt with every column
// passed twice, which leaves the columns orthogonal to rounding (Giraud, Langou and Rozložník 2005; from memory).
func (c *columns) add(p int, d *decay) bool {
	column := c.q[p]
	copy(column, d.e[1:len(column)+1])
	before := math.Sqrt(dot(column, column))
	c.r[0][p], c.r[1][p] = 0, 0
	for range 2 {
		for i := range p {
			s := dot(c.q[i], column)
			c.r[i][p] += s
			subtract(column, s, c.q[i])
		}
	}
	after := math.Sqrt(dot(column, column))
	if !(after > dependent*before) {
		return false
	}
	for k := range column {
		column[k] /= after
	}
	c.r[p][p], c.first[p], c.step[p], c.p = after, d.e[0], d.step, p+1
	return true
}

// series is what the fits need to know of one component y: its projections on Q and the products of what is left, for rows 1 … N-1 and for the rows before them.
type series struct {
	now, lag               triple
	nowNow, nowLag, lagLag float64
	first                  float64
	leftNow, leftLag       []float64
}

func newSeries(longest int) series {
	return series{leftNow: make([]float64, longest), leftLag: make([]float64, longest)}
}

// project fills s from y (N values).
func (s *series) project(c *columns, y []float64) {
	rows := len(y) - 1
	s.leftNow, s.leftLag = s.leftNow[:rows], s.leftLag[:rows]
	copy(s.leftNow, y[1:])
	copy(s.leftLag, y[:rows])
	s.first = y[0]
	for j := range c.p {
		s.now[j] = dot(c.q[j], s.leftNow)
		subtract(s.leftNow, s.now[j], c.q[j])
		s.lag[j] = dot(c.q[j], s.leftLag)
		subtract(s.leftLag, s.lag[j], c.q[j])
	}
	s.nowNow = dot(s.leftNow, s.leftNow)
	s.nowLag = dot(s.leftNow, s.leftLag)
	s.lagLag = dot(s.leftLag, s.leftLag)
}

// triangle is a least-squares problem brought to R·b = z with the sum of squares that is left over.
type triangle struct {
	p   int
	r   [3]triple
	z   triple
	rss float64
}

// whiten gives the problem whose row 0 is sqrt(1-phi²) times that of X and y, and whose rows 1 … N-1 are w_k = x_k - phi·x_{k-1}.
func (s *series) whiten(c *columns, phi float64) triangle {
	t := triangle{p: c.p, rss: max(0, s.nowNow-2*phi*s.nowLag+phi*phi*s.lagLag)}
	g := math.Sqrt(1 - phi*phi)
	var row triple
	for j := range c.p {
		scale := 1 - phi*c.step[j]
		for i := 0; i <= j; i++ {
			t.r[i][j] = c.r[i][j] * scale
		}
		row[j] = g * c.first[j]
		t.z[j] = s.now[j] - phi*s.lag[j]
	}
	t.merge(row, g*s.first)
	return t
}

// merge adds one more row to the problem by Givens rotations.
func (t *triangle) merge(row triple, y float64) {
	for i := range t.p {
		if row[i] == 0 {
			continue
		}
		h := math.Sqrt(t.r[i][i]*t.r[i][i] + row[i]*row[i])
		cos, sin := t.r[i][i]/h, row[i]/h
		for j := i; j < t.p; j++ {
			t.r[i][j], row[j] = cos*t.r[i][j]+sin*row[j], cos*row[j]-sin*t.r[i][j]
		}
		t.z[i], y = cos*t.z[i]+sin*y, cos*y-sin*t.z[i]
	}
	t.rss += y * y
}

// solve returns the coefficients b, the corner (R^-1·R^-T)_00 and the product of the R_ii. It reports false where a column vanished.
func (t *triangle) solve() (b triple, corner, product float64, ok bool) {
	product = 1
	for i := range t.p {
		product *= t.r[i][i]
		if !(math.Abs(t.r[i][i]) > 1e-150) {
			return b, 0, 0, false
		}
	}
	for i := t.p - 1; i >= 0; i-- {
		sum := t.z[i]
		for j := i + 1; j < t.p; j++ {
			sum -= t.r[i][j] * b[j]
		}
		b[i] = sum / t.r[i][i]
	}
	var inverse triple // row 0 of R^-1
	for j := range t.p {
		sum := 0.0
		if j == 0 {
			sum = 1
		}
		for i := range j {
			sum -= inverse[i] * t.r[i][j]
		}
		inverse[j] = sum / t.r[j][j]
		corner += inverse[j] * inverse[j]
	}
	return b, corner, math.Abs(product), true
}

func dot(a, b []float64) float64 {
	b = b[:len(a)]
	var even, odd float64
	k := 0
	for ; k+1 < len(a); k += 2 {
		even += a[k] * b[k]
		odd += a[k+1] * b[k+1]
	}
	if k < len(a) {
		even += a[k] * b[k]
	}
	return even + odd
}

// subtract sets a to a - s·b.
func subtract(a []float64, s float64, b []float64) {
	b = b[:len(a)]
	for k := range a {
		a[k] -= s * b[k]
	}
}
