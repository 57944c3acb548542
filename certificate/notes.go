package certificate

import "strconv"

// notes numbers remarks in the order of their first appearance; the same words have the same number.
type notes struct {
	list []Note
	mark map[string]string
}

// of returns the mark of a remark.
func (n *notes) of(text string) string {
	text = sentence(text)
	if m, ok := n.mark[text]; ok {
		return m
	}
	if n.mark == nil {
		n.mark = map[string]string{}
	}
	m := strconv.Itoa(len(n.list) + 1)
	n.mark[text] = m
	n.list = append(n.list, Note{Mark: m, Text: plain(text)})
	return m
}

// dropUnused takes the last column away where it holds marks and no row has one.
func (t *Table) dropUnused() {
	last := len(t.Columns) - 1
	if t.Columns[last].Kind != Marks {
		return
	}
	for _, r := range t.Rows {
		if len(r.Cells) > last && len(r.Cells[last]) > 0 {
			return
		}
	}
	t.Columns = t.Columns[:last]
	for i, r := range t.Rows {
		t.Rows[i].Cells = r.Cells[:min(last, len(r.Cells))]
	}
}

// all adds a note that holds for the whole table.
func (n *notes) all(text Text) { n.list = append(n.list, Note{Text: text}) }
