package pdf

import (
	"strings"

	"plumbline/certificate"
)

// sizes are the sizes of type a table may be set in, in points: the first that fits is taken.
var sizes = []float64{8.6, 8.2, 7.8, 7.4, 7, 6.6, 6.2}

const (
	between   = 3.0  // least distance of columns, mm
	loosest   = 4.5  // most that is added to it over the whole width
	looser    = 11.0 // most that is added to it beside the headings
	leastWord = 15.0 // least width of a column of words
	mostWord  = 30.0 // of a word that may not be broken
	mostMarks = 14.0
)

// grid is a table measured: where its columns lie.
type grid struct {
	certificate.Table
	size, line float64
	x, width   float64
	columns    []span
}

// span is one column: its place and, for numbers, the widths before and after the decimal point.
type span struct {
	x, w         float64
	whole, after float64
}

// grid measures a table: in the column beside the headings where it fits there, over the whole width otherwise.
func (p *press) grid(t certificate.Table) *grid {
	g := &grid{Table: t}
	var least, wanted []float64
	for _, g.size = range sizes {
		g.line = g.size / textSize * textLine
		least, wanted = p.measure(g)
		if total(least) <= full {
			break
		}
	}
	g.x, g.width = left, full
	if total(wanted) <= bodyWidth {
		g.x, g.width = body, bodyWidth
	}
	g.place(least)
	return g
}

func total(widths []float64) float64 {
	sum := between * float64(len(widths)-1)
	for _, w := range widths {
		sum += w
	}
	return sum
}

// measure is the least width of every column and the width it would like.
func (p *press) measure(g *grid) (least, wanted []float64) {
	g.columns = make([]span, len(g.Columns))
	for i, c := range g.Columns {
		head := max(p.width(c.Head, g.size), p.width(c.Unit, g.size))
		low, high := head, head
		for _, r := range g.Rows {
			if i >= len(r.Cells) {
				continue
			}
			cell := r.Cells[i]
			w := p.width(cell, g.size)
			high = max(high, w)
			switch c.Kind {
			case certificate.Words:
				low = max(low, leastWord, min(p.longest(cell, g.size), mostWord))
			case certificate.Marks:
				low = max(low, min(w, mostMarks))
			case certificate.Number:
				if before, after, ok := p.point(cell, g.size); ok {
					g.columns[i].whole = max(g.columns[i].whole, before)
					g.columns[i].after = max(g.columns[i].after, after)
				}
				low = max(low, w, g.columns[i].whole+g.columns[i].after)
			default:
				low = max(low, w)
			}
		}
		if c.Kind == certificate.Words {
			high = min(high, 60)
		}
		least, wanted = append(least, low), append(wanted, max(low, high))
	}
	p.widen(g, least)
	p.widen(g, wanted)
	return least, wanted
}

// widen makes the columns of a group wide enough for its heading.
func (p *press) widen(g *grid, widths []float64) {
	for _, s := range g.groups() {
		have := total(widths[s.from:s.to])
		if want := p.width(g.Columns[s.from].Group, g.size) + 1; want > have {
			for i := s.from; i < s.to; i++ {
				widths[i] += (want - have) / float64(s.to-s.from)
			}
		}
	}
}

// stretch is neighbouring columns, to excluded.
type stretch struct{ from, to int }

// groups is the neighbouring columns under a common heading.
func (g *grid) groups() []stretch {
	var out []stretch
	for i := 0; i < len(g.Columns); {
		j, name := i+1, g.Columns[i].Group.String()
		for j < len(g.Columns) && g.Columns[j].Group.String() == name {
			j++
		}
		if name != "" {
			out = append(out, stretch{i, j})
		}
		i = j
	}
	return out
}

// longest is the width of the longest word.
func (p *press) longest(t certificate.Text, size float64) (w float64) {
	for _, word := range splitWords(t) {
		w = max(w, p.width(word, size))
	}
	return w
}

// point divides a number at its decimal point; ok is false for what is no number.
func (p *press) point(t certificate.Text, size float64) (before, after float64, ok bool) {
	s := t.String()
	if !strings.ContainsAny(s, "0123456789") {
		return 0, 0, false
	}
	n := strings.IndexByte(s, '.')
	if n < 0 {
		n = len(s)
	}
	head, tail := cut(t, n)
	return p.width(head, size), p.width(tail, size), true
}

// place gives what is left over to the columns of words by their shares, or else to the distances.
func (g *grid) place(least []float64) {
	rest := max(0, g.width-total(least))
	shares := 0.0
	for _, c := range g.Columns {
		shares += c.Share
	}
	gap := between
	if shares == 0 && len(least) > 1 {
		most := loosest
		if g.x == body {
			most = looser
		}
		gap += min(rest/float64(len(least)-1), most)
	}
	x := g.x
	for i, c := range g.Columns {
		w := least[i]
		if shares > 0 {
			w += rest * c.Share / shares
		}
		g.columns[i].x, g.columns[i].w = x, w
		x += w + gap
	}
	g.width = x - gap - g.x
}
