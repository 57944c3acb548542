package jobfile

import (
	"bytes"
	"errors"
	"slices"
	"strings"
	"unicode/utf8"

	"github.com/pelletier/go-toml/v2"
	"github.com/pelletier/go-toml/v2/unstable"
)

// kind is the type of a value in a TOML file, in words.
type kind string

const (
	kindTable   kind = "a table"
	kindArray   kind = "a list"
	kindText    kind = "a text"
	kindInteger kind = "a whole number"
	kindFloat   kind = "a number"
	kindBool    kind = "true or false"
	kindDate    kind = "a date"
	kindOther   kind = "a time"
)

// node is a value of a TOML file that knows its place.
type node struct {
	kind   kind
	at     position
	text   string   // of a text its characters, of other scalars their spelling
	keys   []string // of a table, in the order of the file
	fields map[string]field
	items  []*node
}

// field is a key of a table with its value.
type field struct {
	at    position
	value *node
}

func newTable(at position) *node { return &node{kind: kindTable, at: at, fields: map[string]field{}} }

func (n *node) set(key string, f field) {
	if _, there := n.fields[key]; !there {
		n.keys = append(n.keys, key)
	}
	n.fields[key] = f
}

// treeBuilder makes the tree of one file.
type treeBuilder struct {
	name   string
	src    []byte
	starts []int // offsets of the lines
	parser unstable.Parser
}

// parse makes the tree of a TOML file. The file is decoded once with the library first: that finds every violation of the
// language, so that building the tree meets valid files only.
func parse(name string, src []byte) (*node, *Problem) {
	b := &treeBuilder{name: name, src: bytes.TrimPrefix(src, []byte("\ufeff"))}
	b.starts = lineStarts(b.src)
	var probe map[string]any
	if err := toml.Unmarshal(b.src, &probe); err != nil {
		p := Problem{File: name, Line: 1, Column: 1, Text: strings.TrimPrefix(err.Error(), "toml: ")}
		var at *toml.DecodeError
		if errors.As(err, &at) {
			p.Line, p.Column = at.Position()
			p.Line, p.Column = max(p.Line, 1), max(p.Column, 1)
		}
		return nil, &p
	}
	root := newTable(position{name, 1, 1})
	current := root
	b.parser.Reset(b.src)
	for b.parser.NextExpression() {
		e := b.parser.Expression()
		switch e.Kind {
		case unstable.Table, unstable.ArrayTable:
			current = b.header(root, e)
		case unstable.KeyValue:
			b.keyValue(current, e)
		}
	}
	if err := b.parser.Error(); err != nil {
		return nil, &Problem{File: name, Line: 1, Column: 1, Text: err.Error()}
	}
	return root, nil
}

func lineStarts(src []byte) []int {
	starts := []int{0}
	for i, c := range src {
		if c == '\n' {
			starts = append(starts, i+1)
		}
	}
	return starts
}

func (b *treeBuilder) position(offset int) position {
	line, found := slices.BinarySearch(b.starts, offset)
	if !found {
		line--
	}
	return position{b.name, line + 1, utf8.RuneCount(b.src[b.starts[line]:offset]) + 1}
}

type keyPart struct {
	name string
	at   position
}

func (b *treeBuilder) path(it unstable.Iterator) (parts []keyPart) {
	for it.Next() {
		n := it.Node()
		parts = append(parts, keyPart{string(n.Data), b.position(int(n.Raw.Offset))})
	}
	return parts
}

// descend returns the table at key k of t, made where it is not there; of a list of tables the last.
func descend(t *node, k keyPart) *node {
	f, there := t.fields[k.name]
	if !there {
		f = field{k.at, newTable(k.at)}
		t.set(k.name, f)
	}
	if f.value.kind == kindArray {
		return f.value.items[len(f.value.items)-1]
	}
	return f.value
}

func (b *treeBuilder) header(root *node, e *unstable.Node) *node {
	parts := b.path(e.Key())
	t := root
	for _, k := range parts[:len(parts)-1] {
		t = descend(t, k)
	}
	last := parts[len(parts)-1]
	if e.Kind == unstable.Table {
		t = descend(t, last)
		t.at = parts[0].at
		return t
	}
	f, there := t.fields[last.name]
	if !there {
		f = field{last.at, &node{kind: kindArray, at: last.at}}
		t.set(last.name, f)
	}
	item := newTable(parts[0].at)
	f.value.items = append(f.value.items, item)
	return item
}

func (b *treeBuilder) keyValue(t *node, e *unstable.Node) {
	parts := b.path(e.Key())
	for _, k := range parts[:len(parts)-1] {
		t = descend(t, k)
	}
	last := parts[len(parts)-1]
	t.set(last.name, field{last.at, b.value(e.Value(), last.at)})
}

// kinds of scalars, by the library's.
var scalars = map[unstable.Kind]kind{
	unstable.String: kindText, unstable.Integer: kindInteger, unstable.Float: kindFloat, unstable.Bool: kindBool,
	unstable.LocalDate: kindDate, unstable.LocalTime: kindOther, unstable.LocalDateTime: kindOther, unstable.DateTime: kindOther,
}

// value makes the node of a value; near is the place of its key, for kinds of value whose own place the library does not tell.
func (b *treeBuilder) value(v *unstable.Node, near position) *node {
	n := &node{kind: scalars[v.Kind], at: near, text: string(v.Data)}
	if v.Raw.Length > 0 {
		n.at = b.position(int(v.Raw.Offset))
	}
	switch v.Kind {
	case unstable.InlineTable:
		n.kind, n.fields = kindTable, map[string]field{}
		for it := v.Children(); it.Next(); {
			b.keyValue(n, it.Node())
		}
	case unstable.Array:
		n.kind = kindArray
		for it := v.Children(); it.Next(); {
			if c := it.Node(); c.Kind != unstable.Comment {
				n.items = append(n.items, b.value(c, near))
			}
		}
	}
	return n
}
