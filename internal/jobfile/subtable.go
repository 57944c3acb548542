package jobfile

import (
	"fmt"
	"strconv"
)

func (t *table) child(key string, index int, n *node) *table {
	path, label := key, t.key(key)
	if t.path != "" {
		path = t.path + "." + key
	}
	if index > 0 {
		label += "[" + strconv.Itoa(index) + "]"
	}
	return &table{d: t.d, path: path, label: label, n: n}
}

// optionalTable reads a table in place; it is absent where it is not there.
func (t *table) optionalTable(key string) *table {
	n, ok := t.one(key, kindTable, "a table")
	if !ok {
		return t.child(key, 0, nil)
	}
	return t.child(key, 0, n)
}

func (t *table) mustTable(key string) *table {
	t.need(key, "the table ["+t.child(key, 0, nil).path+"]")
	return t.optionalTable(key)
}

// optionalAsset reads a table that may stand in a file of its own.
func (t *table) optionalAsset(key string) *table {
	c := t.optionalTable(key)
	c.include()
	return c
}

func (t *table) asset(key string) *table {
	c := t.mustTable(key)
	c.include()
	return c
}

// collect reads a list of tables. Where there is none it reads an absent one, for its keys, and drops the result.
func collect[T any](t *table, key string, asset bool, read func(*table) T) (out []T) {
	n, ok := t.one(key, kindArray, "a list of tables, as in [["+t.child(key, 0, nil).path+"]]")
	read(t.register(key, asset))
	if !ok {
		return nil
	}
	for i, item := range n.items {
		if item.kind != kindTable {
			t.d.wrong(item.at, t.key(key), "found %s, allowed is a table", item.describe())
			continue
		}
		c := t.child(key, i+1, item)
		if asset {
			c.include()
		}
		out = append(out, read(c))
	}
	return out
}

// register is an absent item of a list of tables.
func (t *table) register(key string, asset bool) *table {
	c := t.child(key, 0, nil)
	if asset {
		c.include()
	}
	return c
}

// include adds the keys of the file that the key "file" names to the table. A key may stand in one of the two places only.
func (t *table) include() {
	n, ok := t.one("file", kindText, "the name of a TOML file")
	if !ok {
		return
	}
	root, err := t.load(n)
	if err != nil {
		t.wrong("file", "%v", err)
	}
	if root == nil {
		t.n = nil // what is wrong is recorded; everything else would be reported as missing
		return
	}
	merged := newTable(t.n.at)
	for _, key := range t.n.keys {
		merged.set(key, t.n.fields[key])
	}
	for _, key := range root.keys {
		f := root.fields[key]
		if key == "file" {
			t.d.wrong(f.at, t.key(key), "a file named in another file may not name a third")
			continue
		}
		if own, twice := t.n.fields[key]; twice {
			t.d.wrong(own.at, t.key(key), "given here and in %s:%d: allowed is one of them", f.at.file, f.at.line)
			continue
		}
		merged.set(key, f)
	}
	merged.at = root.at // what is missing belongs there
	t.n = merged
}

// load parses the file that n names.
func (t *table) load(n *node) (*node, error) {
	name, err := resolve(n.at.file, n.text)
	if err != nil {
		return nil, err
	}
	t.d.refs[n] = name
	if root, done := t.d.parsed[name]; done {
		return root, nil
	}
	content, err := t.d.read(name)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	root, problem := parse(name, content)
	if problem != nil {
		t.d.problems = append(t.d.problems, *problem)
	}
	t.d.parsed[name] = root
	return root, nil
}
