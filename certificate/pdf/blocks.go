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

const factGap = 6.0 // between the two columns of facts

// factRows pairs facts; a fact whose value is long stands alone over both columns.
func (p *press) factRows(f certificate.Facts) [][]certificate.Fact {
	half := (bodyWidth - factGap) / 2
	var rows [][]certificate.Fact
	var row []certificate.Fact
	for _, fact := range f {
		wide := false
		for _, l := range fact.Lines {
			wide = wide || p.width(l, textSize) > 1.9*half
		}
		if wide {
			if len(row) > 0 {
				rows, row = append(rows, row), nil
			}
			rows = append(rows, []certificate.Fact{fact, {}})
			continue
		}
		row = append(row, fact)
		if len(row) == 2 {
			rows, row = append(rows, row), nil
		}
	}
	if len(row) > 0 {
		rows = append(rows, row)
	}
	return rows
}

// factWidth is the width of the facts of a row: a fact beside an empty one has the whole column.
func factWidth(row []certificate.Fact) float64 {
	if len(row) == 2 && row[1].Label == "" {
		return bodyWidth
	}
	return (bodyWidth - factGap) / 2
}

func (p *press) factRowHeight(row []certificate.Fact) float64 {
	most := 0
	for _, f := range row {
		n := 0
		for _, l := range f.Lines {
			n += len(p.wrap(l, textSize, factWidth(row)))
		}
		most = max(most, n)
	}
	return 3.9 + float64(most)*textLine + 1.4
}

func (p *press) factsHeight(f certificate.Facts) (h float64) {
	for _, row := range p.factRows(f) {
		h += p.factRowHeight(row)
	}
	return h
}

func (p *press) facts(f certificate.Facts) {
	for _, row := range p.factRows(f) {
		h, w := p.factRowHeight(row), factWidth(row)
		p.need(h - 4)
		for i, fact := range row {
			x, y := body+float64(i)*(w+factGap), p.y
			p.set(x, y, upright(fact.Label), labelSize, grey)
			y += 4.2
			for _, l := range fact.Lines {
				for _, line := range p.wrap(l, textSize, w) {
					p.set(x, y, line, textSize, black)
					y += textLine
				}
			}
		}
		p.y += h
	}
	p.y -= 1
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
	p.y += 13
	p.rule(body, body+line, p.y, 0.2, grey)
	x := body + line + 8
	p.rule(x, right, p.y, 0.2, grey)
	p.set(x, p.y-1.6, upright(s.Date), textSize, black)
	p.y += 4.2
	p.set(body, p.y, semibold(s.Name), textSize, black)
	p.set(x, p.y, upright("Date of issue"), labelSize, grey)
	p.y += textLine
	if s.Role != "" {
		p.set(body, p.y, upright(s.Role), textSize, black)
		p.y += textLine
	}
}
