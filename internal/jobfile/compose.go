package jobfile

import (
	"slices"
	"strconv"
	"strings"
)

// Measured is a point as it stands in a job file that was made of measurements.
type Measured struct {
	Of        int       // number of the job's point, from 0, whose other keys are kept; -1: none
	Frequency float64   // Hz, where Of is -1
	Level     string    // with unit and peak, where Of is -1
	Recording string    // name of the file; empty: readings
	Rate      float64   // samples per second, where the file cannot say them; 0: it does
	Units     []string  // of the channels, where the file cannot say them
	Readings  string    // name of a CSV file of readings
	Block     float64   // s, of the approximation; 0: it chooses
	Held      float64   // s, within which the level was led to its value; 0: none
	Together  []float64 // Hz, every line of a recording that holds several; nil: it holds one
	Repeat    bool      // of an earlier point
	Comment   string    // what a person should know of it, one line; may be empty
}

// Compose writes the job file again with the points that were measured in the place of its own, and with further deviations. named gives the place of a file that the
// job file names. Comments and the order of keys are those of no file: what the job says is the same.
func (j *Job) Compose(points []Measured, deviations []string, named func(name string) string) string {
	c := composer{refs: j.refs, named: named}
	root := newTable(position{})
	for _, key := range j.root.keys {
		if key != "point" {
			root.set(key, j.root.fields[key])
		}
	}
	if len(deviations) > 0 {
		head := copied(root.fields["job"].value)
		list := &node{kind: kindArray}
		if f, there := head.fields["deviations"]; there {
			list.items = slices.Clone(f.value.items)
		}
		for _, text := range deviations {
			list.items = append(list.items, textNode(text))
		}
		head.set("deviations", field{value: list})
		root.set("job", field{value: head})
	}
	c.table(nil, root)
	for _, m := range points {
		c.line("")
		if m.Comment != "" {
			c.line("# " + strings.Map(printable, m.Comment))
		}
		c.line("[[point]]")
		c.table([]string{"point"}, j.pointNode(m))
	}
	return strings.TrimLeft(c.b.String(), "\n")
}

// printable keeps a comment on its line.
func printable(r rune) rune {
	if r < ' ' || r == 0x7f {
		return ' '
	}
	return r
}

// pointNode is the table of a measured point.
func (j *Job) pointNode(m Measured) *node {
	n := newTable(position{})
	set := func(key string, v *node) { n.set(key, field{value: v}) }
	if m.Of >= 0 {
		own := j.root.fields["point"].value.items[m.Of]
		for _, key := range own.keys {
			if !slices.Contains([]string{"recording", "exchanged", "reading", "readings", "repeat", "block", "held_from", "together"}, key) {
				set(key, own.fields[key].value)
			}
		}
	} else {
		set("frequency", textNode(strconv.FormatFloat(m.Frequency, 'g', -1, 64)+" Hz"))
		set("level", textNode(m.Level))
	}
	if m.Block > 0 {
		set("block", textNode(strconv.FormatFloat(m.Block, 'g', -1, 64)+" s"))
	}
	if m.Held > 0 {
		set("held_from", textNode(strconv.FormatFloat(m.Held, 'g', -1, 64)+" s"))
	}
	if len(m.Together) > 0 {
		lines := &node{kind: kindArray}
		for _, f := range m.Together {
			lines.items = append(lines.items, textNode(strconv.FormatFloat(f, 'g', -1, 64)+" Hz"))
		}
		set("together", lines)
	}
	if m.Repeat {
		set("repeat", &node{kind: kindBool, text: "true"})
	}
	if m.Recording == "" {
		set("readings", textNode(m.Readings))
		return n
	}
	recording := newTable(position{})
	recording.set("file", field{value: textNode(m.Recording)})
	if m.Rate > 0 {
		recording.set("rate", field{value: textNode(strconv.FormatFloat(m.Rate, 'g', -1, 64) + " Hz")})
	}
	if len(m.Units) > 0 {
		units := &node{kind: kindArray}
		for _, u := range m.Units {
			units.items = append(units.items, textNode(u))
		}
		recording.set("units", field{value: units})
	}
	if len(recording.keys) == 1 {
		recording = textNode(m.Recording)
	}
	set("recording", recording)
	return n
}

func textNode(text string) *node { return &node{kind: kindText, text: text} }

// copied is a table whose keys can be changed without changing n.
func copied(n *node) *node {
	out := newTable(n.at)
	for _, key := range n.keys {
		out.set(key, n.fields[key])
	}
	return out
}

// composer writes a tree as TOML.
type composer struct {
	b     strings.Builder
	refs  map[*node]string // values that name files, with the names they were read by
	named func(string) string
}

func (c *composer) line(text string) {
	c.b.WriteString(text)
	c.b.WriteByte('\n')
}

// table writes the keys of a table whose heading, if it has one, is written: values first, then the tables below it.
func (c *composer) table(path []string, n *node) {
	var below []string
	for _, key := range n.keys {
		if v := n.fields[key].value; v.kind == kindTable || tables(v) {
			below = append(below, key)
			continue
		}
		c.line(bareKey(key) + " = " + c.value(n.fields[key].value))
	}
	for _, key := range below {
		v, name := n.fields[key].value, append(slices.Clone(path), key)
		items, heading := v.items, "[["+joined(name)+"]]"
		if v.kind == kindTable {
			items, heading = []*node{v}, "["+joined(name)+"]"
		}
		for _, item := range items {
			c.line("")
			c.line(heading)
			c.table(name, item)
		}
	}
}

// tables reports whether a value is a list of tables.
func tables(n *node) bool {
	return n.kind == kindArray && len(n.items) > 0 && !slices.ContainsFunc(n.items, func(i *node) bool { return i.kind != kindTable })
}

func (c *composer) value(n *node) string {
	switch n.kind {
	case kindArray:
		parts := make([]string, len(n.items))
		for i, item := range n.items {
			parts[i] = c.value(item)
		}
		return "[" + strings.Join(parts, ", ") + "]"
	case kindTable:
		parts := make([]string, len(n.keys))
		for i, key := range n.keys {
			parts[i] = bareKey(key) + " = " + c.value(n.fields[key].value)
		}
		return "{ " + strings.Join(parts, ", ") + " }"
	case kindText:
		text := n.text
		if name, is := c.refs[n]; is {
			text = c.named(name)
		}
		return quoteTOML(text)
	}
	return n.text
}

func joined(path []string) string {
	parts := make([]string, len(path))
	for i, key := range path {
		parts[i] = bareKey(key)
	}
	return strings.Join(parts, ".")
}

// bareKey is a key, in quotes where it needs them.
func bareKey(key string) string {
	bare := func(r rune) bool {
		return !(r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || r == '_' || r == '-')
	}
	if key == "" || strings.ContainsFunc(key, bare) {
		return quoteTOML(key)
	}
	return key
}
