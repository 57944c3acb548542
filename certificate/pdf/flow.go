package pdf

import (
	"fmt"
	"strings"

	"plumbline/certificate"
)

// document sets everything.
func (p *press) document() {
	p.page()
	p.masthead()
	annexes := 0
	for _, s := range p.d.Sections {
		if s.Annex {
			annexes++
			p.annex(s, annexes)
		} else {
			p.section(s)
		}
		if p.err != nil {
			return
		}
	}
	p.end()
}

// page starts a page with its running head and foot.
func (p *press) page() {
	p.f.AddPage()
	n := p.f.PageNo()
	p.y = top
	if n > 1 {
		title := upright(p.d.Title + " " + p.d.Number)
		p.setRight(right, 15, title, smallSize, grey)
		p.set(left, 15, p.shorten(p.d.Laboratory.Name, smallSize, full-p.width(title, smallSize)-6), smallSize, grey)
		p.rule(left, right, 17.2, 0.15, faint)
	}
	p.rule(left, right, 281, 0.15, faint)
	p.set(left, 285.2, upright("Certificate "+p.d.Number+", issued "+p.d.Issued.Format("2 January 2006")), smallSize, grey)
	p.setRight(right, 285.2, upright(fmt.Sprintf("Page %d of %d", n, p.pages)), smallSize, grey)
	if p.d.Invented {
		p.invented()
	}
}

// invented marks a page of demo data.
func (p *press) invented() {
	p.f.SetFillColor(sand[0], sand[1], sand[2])
	p.f.Rect(left, 4.6, full, 5.4, "F")
	p.set(left+2, 8.3, semibold("Invented data: a demonstration, not a calibration certificate"), smallSize, edge)
}

// masthead is the head of the first page: the laboratory, the title, the number.
func (p *press) masthead() {
	p.y = 21
	for i, l := range p.wrap(semibold(p.d.Laboratory.Name), 11.5, full) {
		if i > 0 {
			p.y += 5.2
		}
		p.set(left, p.y, l, 11.5, black)
	}
	address := strings.Join(p.d.Laboratory.Lines, ", ")
	if c := p.d.Laboratory.Contact; c != "" {
		address += "; " + c
	}
	p.y += 4.8
	for _, l := range p.wrap(upright(address), 8.4, full) {
		p.set(left, p.y, l, 8.4, grey)
		p.y += smallLine
	}
	p.y += 11
	p.f.SetFillColor(blue[0], blue[1], blue[2])
	p.f.Rect(left, p.y-9.6, 13, 0.9, "F")
	for i, line := range p.wrap(upright(p.d.Title), 23, full-p.width(semibold(p.d.Number), 13)-8) {
		if i > 0 {
			p.y += 9.5
		}
		p.set(left-0.4, p.y, line, 23, black)
	}
	p.setRight(right, p.y, semibold(p.d.Number), 13, blue)
	p.y += 7
}

// section sets a heading in the margin and its blocks beside it.
func (p *press) section(s certificate.Section) {
	p.need(p.opening(s))
	p.rule(left, right, p.y, 0.15, faint)
	p.y += 5.2
	p.f.Bookmark(s.Heading, 0, p.y-4)
	headings := p.wrap(semibold(s.Heading), textSize, body-left-4)
	for i, l := range headings {
		p.set(left, p.y+float64(i)*textLine, l, textSize, blue)
	}
	below := p.y + float64(len(headings))*textLine
	page := p.f.PageNo()
	for i, b := range s.Blocks {
		if i > 0 {
			p.y += 2.2
		}
		p.withNext(s.Blocks, i)
		p.block(b, below, page)
	}
	if p.f.PageNo() == page {
		p.y = max(p.y, below)
	}
	p.y += 1.6
}

// opening is the height that a section needs to start on a page: its heading with the beginning of what it says.
func (p *press) opening(s certificate.Section) float64 { return 7 + p.start(s.Blocks) }

const (
	shortText = 4   // lines of a text that is kept with the table, list or text after it
	blockGap  = 2.4 // between blocks
)

// start is the height that blocks need to begin on a page: a short text together with the beginning of what it introduces.
func (p *press) start(blocks []certificate.Block) float64 {
	switch b := blocks[0].(type) {
	case certificate.Paragraph:
		size, line := paragraphSize(b)
		n := len(p.wrap(b.Text, size, bodyWidth))
		if n > shortText || len(blocks) == 1 {
			return float64(min(n, shortText)) * line
		}
		return float64(n)*line + blockGap + p.start(blocks[1:])
	case certificate.Signature:
		return 35
	case certificate.Facts:
		return p.factsHeight(b)
	case certificate.List:
		return p.listHeight(b[:min(len(b), 2)])
	case certificate.Table:
		return p.tableStart(p.grid(b))
	case certificate.Plot:
		return leastPlot*p.plotHeight(b) + p.plotCaption(b)
	}
	return 17
}

// annex starts an annex under its letter.
func (p *press) annex(s certificate.Section, n int) {
	if p.y+13+p.opening(s) > bottom {
		p.page()
	} else {
		p.y += 6
	}
	p.y += 4
	name := fmt.Sprintf("Annex %c", 'A'+n-1)
	p.f.Bookmark(name+": "+s.Heading, 0, p.y-6)
	p.set(left, p.y, upright(name), 13, grey)
	p.set(body, p.y, upright(s.Heading), 13, black)
	p.y += 2.6
	p.rule(left, right, p.y, 0.15, faint)
	p.y += 5.4
	for i, b := range s.Blocks {
		if i > 0 {
			p.y += 2.4
		}
		p.withNext(s.Blocks, i)
		p.block(b, 0, 0)
	}
}

// withNext keeps a short paragraph on the page of the list or table that it introduces.
func (p *press) withNext(blocks []certificate.Block, i int) {
	if _, ok := blocks[i].(certificate.Paragraph); !ok || i+1 == len(blocks) {
		return
	}
	switch blocks[i+1].(type) {
	case certificate.List, certificate.Table:
		p.need(p.start(blocks[i:]))
	}
}

// block sets one block; what is wider than the column beside the headings starts below the heading.
func (p *press) block(b certificate.Block, below float64, page int) {
	startBelow := func() {
		if p.f.PageNo() == page {
			p.y = max(p.y, below+1)
		}
	}
	switch b := b.(type) {
	case certificate.Facts:
		p.facts(b)
	case certificate.Keynote:
		p.keynote(b)
	case certificate.Paragraph:
		p.paragraph(b)
	case certificate.List:
		p.list(b)
	case certificate.Signature:
		p.signature(b)
	case certificate.Table:
		g := p.grid(b)
		if g.x < body {
			startBelow()
		}
		p.table(g)
	case certificate.Plot:
		startBelow()
		p.plot(b)
	default:
		p.fail(fmt.Errorf("a block of type %T cannot be set", b))
	}
}

// end is the mark of a clear end.
func (p *press) end() {
	p.need(12)
	p.y += 7
	mark := upright(p.d.End)
	w := p.width(mark, smallSize)
	middle := (left + right) / 2
	p.set(middle-w/2, p.y, mark, smallSize, grey)
	for _, x := range []float64{middle - w/2 - 22, middle + w/2 + 4} {
		p.rule(x, x+18, p.y-0.9, 0.15, grey)
	}
}
