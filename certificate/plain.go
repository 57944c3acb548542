package certificate

import (
	"fmt"
	"strings"
)

// String is the document as plain text: everything that is said, in order, without the setting.
func (d Document) String() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s %s\n%s\nissued %s\n", d.Title, d.Number, words(", ", append([]string{d.Laboratory.Name}, d.Laboratory.Lines...)...), date(d.Issued))
	if d.Invented {
		b.WriteString("invented data\n")
	}
	for _, s := range d.Sections {
		annex := ""
		if s.Annex {
			annex = " (annex)"
		}
		fmt.Fprintf(&b, "\n== %s%s\n", s.Heading, annex)
		for _, block := range s.Blocks {
			b.WriteString(blockString(block))
		}
	}
	fmt.Fprintf(&b, "\n%s\n", d.End)
	return b.String()
}

func blockString(block Block) string {
	var b strings.Builder
	switch t := block.(type) {
	case Facts:
		writeFacts(&b, t)
	case Keynote:
		writeFacts(&b, t)
	case Paragraph:
		fmt.Fprintf(&b, "%s\n", t.Text)
	case List:
		for _, l := range t {
			fmt.Fprintf(&b, "- %s\n", l)
		}
	case Table:
		writeTable(&b, t)
	case Plot:
		fmt.Fprintf(&b, "[figure] %s %s\n", t.Figure.Title, t.Caption)
	case Signature:
		fmt.Fprintf(&b, "signed: %s, %s, %s\n", t.Name, t.Role, t.Date)
	}
	return b.String()
}

func writeFacts(b *strings.Builder, facts []Fact) {
	for _, f := range facts {
		var lines []string
		for _, l := range f.Lines {
			lines = append(lines, l.String())
		}
		fmt.Fprintf(b, "%s: %s\n", f.Label, strings.Join(lines, " | "))
	}
}

func writeTable(b *strings.Builder, t Table) {
	if len(t.Caption) > 0 {
		fmt.Fprintf(b, "[table] %s\n", t.Caption)
	}
	var heads []string
	for _, c := range t.Columns {
		heads = append(heads, words(" ", c.Group.String(), c.Head.String(), c.Unit.String()))
	}
	fmt.Fprintf(b, "| %s |\n", strings.Join(heads, " | "))
	for _, r := range t.Rows {
		var cells []string
		for _, c := range r.Cells {
			cells = append(cells, c.String())
		}
		fmt.Fprintf(b, "| %s |\n", strings.Join(cells, " | "))
	}
	for _, n := range t.Notes {
		fmt.Fprintf(b, "%s\n", words(" ", n.Mark, n.Text.String()))
	}
}
