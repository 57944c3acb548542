package pdf

import (
	"plumbline/certificate"
)

func paragraphSize(b certificate.Paragraph) (size, line float64) {
	if b.Small {
		return smallSize, smallLine
	}
	return textSize, textLine
}

func (p *press) paragraph(b certificate.Paragraph) {
	size, line := paragraphSize(b)
	p.lines(body, b.Text, size, line, bodyWidth, black)
}

// lines sets a text line by line, over pages where it must; the last and the first line of a longer text do not stand alone.
func (p *press) lines(x float64, t certificate.Text, size, line, width float64, c ink) {
	lines := p.wrap(t, size, width)
	for i, l := range lines {
		h := line
		if (i == 0 || i == len(lines)-2) && len(lines) > 1 {
			h = 2 * line
		}
		p.need(h - line*0.8)
		p.set(x, p.y, l, size, c)
		p.y += line
	}
}

func (p *press) list(l certificate.List) {
	for _, t := range l {
		lines := p.wrap(t, textSize, bodyWidth-4.5)
		p.need(float64(min(len(lines), 2)) * textLine)
		p.set(body, p.y, upright("–"), textSize, grey)
		p.lines(body+4.5, t, textSize, textLine, bodyWidth-4.5, black)
		p.y += 0.5
	}
}

func (p *press) listHeight(l certificate.List) (h float64) {
	for _, t := range l {
		h += float64(len(p.wrap(t, textSize, bodyWidth-4.5)))*textLine + 0.5
	}
	return h
}

const factGap = 6.0 // between the two columns of facts

// factRow is a fact with those beside it, one below the other as far as they are no higher than it; a wide fact stands alone.
type factRow struct {
	first certificate.Fact
	side  certificate.Facts
	wide  bool
}

const factHalf = (bodyWidth - factGap) / 2

func (p *press) factRows(f certificate.Facts) []factRow {
	var rows []factRow
	for i := 0; i < len(f); {
		row := factRow{first: f[i], wide: p.wideFact(f[i])}
		i++
		room := p.factHeight(row.first, factHalf)
		for !row.wide && i < len(f) && !p.wideFact(f[i]) {
			h := p.factHeight(f[i], factHalf)
			if len(row.side) > 0 && h > room+1.4 {
				break
			}
			row.side = append(row.side, f[i])
			room -= h
			i++
		}
		rows = append(rows, row)
	}
	return rows
}

// wideFact reports whether a fact needs both columns.
func (p *press) wideFact(f certificate.Fact) bool {
	for _, l := range f.Lines {
		if p.width(l, textSize) > 1.9*factHalf || p.longest(l, textSize) > factHalf {
			return true
		}
	}
	return false
}

func (p *press) factHeight(f certificate.Fact, width float64) float64 {
	n := 0
	for _, l := range f.Lines {
		n += len(p.wrap(l, textSize, width))
	}
	return 3.9 + float64(n)*textLine + 1.4
}

func (p *press) factRowHeight(r factRow) float64 {
	if r.wide {
		return p.factHeight(r.first, bodyWidth)
	}
	side := 0.0
	for _, f := range r.side {
		side += p.factHeight(f, factHalf)
	}
	return max(p.factHeight(r.first, factHalf), side)
}

func (p *press) factsHeight(f certificate.Facts) (h float64) {
	for _, row := range p.factRows(f) {
		h += p.factRowHeight(row)
	}
	return h
}

func (p *press) facts(f certificate.Facts) {
	for _, row := range p.factRows(f) {
		h := p.factRowHeight(row)
		p.need(h - 4)
		width := factHalf
		if row.wide {
			width = bodyWidth
		}
		p.fact(row.first, body, p.y, width)
		y := p.y
		for _, side := range row.side {
			p.fact(side, body+factHalf+factGap, y, factHalf)
			y += p.factHeight(side, factHalf)
		}
		p.y += h
	}
	p.y--
}

func (p *press) fact(f certificate.Fact, x, y, width float64) {
	p.set(x, y, upright(f.Label), labelSize, grey)
	y += 4.2
	for _, l := range f.Lines {
		for _, line := range p.wrap(l, textSize, width) {
			p.set(x, y, line, textSize, black)
			y += textLine
		}
	}
}

// keynote sets the first line of its first fact large.
func (p *press) keynote(k certificate.Keynote) {
	for i, fact := range k {
		p.need(20)
		p.set(body, p.y, upright(fact.Label), labelSize, grey)
		p.y += 4.2
		for j, l := range fact.Lines {
			if i == 0 && j == 0 {
				p.y += 2.6
				p.set(body-0.2, p.y, l, 16, black)
				p.y += 5.8
				continue
			}
			p.lines(body, l, textSize, textLine, bodyWidth, black)
		}
		p.y += 1.6
	}
	p.y -= 1.6
}

// signature leaves room to sign above a line.
func (p *press) signature(s certificate.Signature) {
	const line = 66.0
	p.need(30)
	p.y += 12
	p.rule(body, body+line, p.y, 0.2, grey)
	x := body + line + 8
	p.rule(x, right, p.y, 0.2, grey)
	p.set(x, p.y-1.6, upright(s.Date), textSize, black)
	p.y += 4.2
	p.set(x, p.y, upright("Date of issue"), labelSize, grey)
	for _, t := range []certificate.Text{semibold(s.Name), upright(s.Role)} {
		if t.String() != "" {
			p.lines(body, t, textSize, textLine, line, black)
		}
	}
}
