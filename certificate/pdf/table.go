package pdf

import (
	"plumbline/certificate"
)

const (
	thick, fine = 0.3, 0.15 // rules, mm
	rowSpace    = 0.75      // between rows
	fifth       = 1.1       // after every fifth row of a long table of numbers
)

// table sets a measured table with its caption above and its notes below; a table that breaks repeats its heads.
func (p *press) table(g *grid) {
	p.need(p.tableStart(g))
	if len(g.Caption) > 0 {
		p.lines(g.x, g.Caption, textSize, textLine, g.width, black)
		p.y += 0.6
	}
	p.heads(g)
	grouped := p.grouped(g)
	for i, r := range g.Rows {
		cells, h := p.rowLines(g, r)
		keep := h
		if i == len(g.Rows)-together { // the last rows do not stand alone on a page
			keep = p.rowsHeight(g, g.Rows[i:])
		}
		if p.y+keep-g.line > bottom-2 && i > 0 {
			p.rule(g.x, g.x+g.width, p.y-g.line+0.6, fine, grey)
			p.page()
			p.setRight(g.x+g.width, p.y-2.2, upright("continued"), labelSize, grey)
			p.y += 1.6
			p.heads(g)
		}
		if r.Ruled {
			p.rule(g.x, g.x+g.width, p.y-g.line+0.75, fine, grey)
			p.y += 0.9
		}
		if r.Spaced {
			p.y += fifth
		}
		p.row(g, r, cells)
		p.y += h
		if grouped && i%5 == 4 && i < len(g.Rows)-1 {
			p.y += fifth
		}
	}
	p.rule(g.x, g.x+g.width, p.y-g.line+0.9, thick, black)
	p.y += 0.9
	p.notes(g)
}

// together is how many rows at the beginning and at the end of a table are not parted; a table no higher than unbroken is not broken at all.
const (
	together = 4
	unbroken = 62.0
)

func (p *press) rowsHeight(g *grid, rows []certificate.Row) (h float64) {
	for _, r := range rows {
		_, one := p.rowLines(g, r)
		h += one
		if r.Ruled {
			h += 0.9
		}
		if r.Spaced {
			h += fifth
		}
	}
	return h
}

// tableStart is the height that a table needs to begin on a page: its heads with its first rows, or the whole of a low table.
func (p *press) tableStart(g *grid) float64 {
	fixed := g.headHeight() + p.captionHeight(g) + 1
	if all := p.rowsHeight(g, g.Rows); fixed+all <= unbroken {
		return fixed + all
	}
	return fixed + p.rowsHeight(g, g.Rows[:min(together, len(g.Rows))])
}

// grouped reports whether a table is long and even enough for a little space after every fifth row.
func (p *press) grouped(g *grid) bool {
	if len(g.Rows) <= 8 {
		return false
	}
	_, single := p.rowLines(g, certificate.Row{})
	for _, r := range g.Rows {
		if _, h := p.rowLines(g, r); r.Ruled || h > single {
			return false
		}
	}
	return true
}

func (p *press) captionHeight(g *grid) float64 {
	if len(g.Caption) == 0 {
		return 0
	}
	return float64(len(p.wrap(g.Caption, textSize, g.width))) * textLine
}

func (g *grid) headHeight() float64 {
	h := 2*g.line + 2
	if len(g.groups()) > 0 {
		h += g.line + 1
	}
	return h
}

// heads sets the rules and heads; afterwards y is the baseline of the first row.
func (p *press) heads(g *grid) {
	p.y -= g.line - 1.4
	p.rule(g.x, g.x+g.width, p.y, thick, black)
	p.y += g.line - 0.4
	groups := g.groups()
	if len(groups) > 0 {
		for _, s := range groups {
			a, b := g.columns[s.from], g.columns[s.to-1]
			name := g.Columns[s.from].Group
			p.set((a.x+b.x+b.w-p.width(name, g.size))/2, p.y, name, g.size, black)
			p.rule(a.x, b.x+b.w, p.y+1.3, fine, faint)
		}
		p.y += g.line + 0.5
	}
	units := false
	for i, c := range g.Columns {
		p.head(g, i, c.Head, black)
		units = units || len(c.Unit) > 0
	}
	if units {
		p.y += g.line - 0.5
		for i, c := range g.Columns {
			p.head(g, i, c.Unit, grey)
		}
	}
	p.y += 1.6
	p.rule(g.x, g.x+g.width, p.y, fine, black)
	p.y += g.line - 0.1
}

func (p *press) head(g *grid, i int, t certificate.Text, c ink) {
	col := g.columns[i]
	x := col.x
	if g.Columns[i].Kind == certificate.Number {
		x += (col.w - p.width(t, g.size)) / 2
	}
	p.set(x, p.y, t, g.size, c)
}

// rowLines breaks the cells of a row into lines and gives the row's height.
func (p *press) rowLines(g *grid, r certificate.Row) (cells [][]certificate.Text, height float64) {
	most := 1
	for i, c := range r.Cells {
		lines := []certificate.Text{c}
		switch g.Columns[i].Kind {
		case certificate.Words, certificate.Marks, certificate.Digest:
			lines = p.wrap(c, g.size, g.room(r, i)+0.01)
		}
		cells = append(cells, lines)
		most = max(most, len(lines))
	}
	return cells, float64(most)*(g.line-0.35) + 0.35 + rowSpace
}

// room is the width that a cell of words may take: it reaches over empty cells of words beside it.
func (g *grid) room(r certificate.Row, i int) float64 {
	end := g.columns[i].x + g.columns[i].w
	for k := i + 1; k < len(r.Cells) && len(r.Cells[k]) == 0 && g.Columns[k].Kind == certificate.Words; k++ {
		end = g.columns[k].x + g.columns[k].w
	}
	return end - g.columns[i].x
}

func (p *press) row(g *grid, r certificate.Row, cells [][]certificate.Text) {
	for i, lines := range cells {
		for n, l := range lines {
			y := p.y + float64(n)*(g.line-0.35)
			switch {
			case g.Columns[i].Kind == certificate.Number && r.Counts:
				p.set(g.columns[i].x+(g.columns[i].w-p.width(l, g.size))/2, y, l, g.size, grey)
			case g.Columns[i].Kind == certificate.Number:
				p.number(g, g.columns[i], l, y)
			default:
				p.set(g.columns[i].x, y, l, g.size, black)
			}
		}
	}
}

// number sets a number with its decimal point under those of its column, whose block of digits stands in the column's middle.
func (p *press) number(g *grid, c span, t certificate.Text, y float64) {
	before, _, ok := p.point(t, g.size)
	if !ok {
		p.set(c.x+(c.w-p.width(t, g.size))/2, y, t, g.size, grey)
		return
	}
	start := c.x + (c.w-c.whole-c.after)/2
	p.set(start+c.whole-before, y, t, g.size, black)
}

func (p *press) notes(g *grid) {
	const indent = 4.2
	for _, n := range g.Notes {
		x := g.x
		if n.Mark != "" {
			x += indent
		}
		p.need(smallLine)
		if n.Mark != "" {
			p.set(g.x, p.y, semibold(n.Mark), smallSize, black)
		}
		p.lines(x, n.Text, smallSize, smallLine, max(g.width, bodyWidth)-(x-g.x), black)
		p.y += 0.45
	}
	if len(g.Notes) == 0 {
		p.y -= 0.6
	}
}
