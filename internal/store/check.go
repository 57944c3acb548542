package store

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/json"
	"fmt"
	"hash"
	"maps"
	"slices"
	"strings"
)

// Problem is something in a store that is not as it was written.
type Problem struct {
	Where string // record, file or part of the database
	What  string // what was found, and what should be
}

// String is the problem in one line.
func (p Problem) String() string { return p.Where + ": " + p.What }

// Check compares everything that is kept with its digests: every record with its own, its predecessor's and every column that repeats it; every file; the database with what
// it knows about itself. Heads are digests of records that are known from outside, as certificates carry them: a chain whose end was cut off is whole in itself and shows only
// there. The error is for a check that could not be made; a store without problems gives none.
func (s *Store) Check(ctx context.Context, heads ...Digest) ([]Problem, error) {
	db := s.read
	if s.reopen != nil { // not what a connection remembers, but what the disk holds
		fresh, err := s.reopen()
		if err != nil {
			return nil, fmt.Errorf("store %s: %w", s.where, err)
		}
		defer fresh.Close()
		db = fresh
	}
	c := &checking{store: s, named: map[Digest]string{}, known: map[Digest]bool{}, excerpts: map[Digest]bool{}, index: map[int64][sha256.Size]byte{}}
	for _, step := range []func(context.Context, *sql.DB) error{c.database, c.records, c.links, c.files} {
		if err := step(ctx, db); err != nil {
			return nil, fmt.Errorf("store %s: check: %w", s.where, err)
		}
	}
	for _, h := range heads {
		if !c.known[h] {
			c.found("record "+string(h), "not here, although its digest is known from outside: records are missing, or it is of a store that was never merged into this one")
		}
	}
	return c.problems, nil
}

// checking is one check under way.
type checking struct {
	store    *Store
	problems []Problem
	named    map[Digest]string // files that records name, with the first that does
	known    map[Digest]bool   // digests of records
	excerpts map[Digest]bool   // records that came without those before them, as the records of their import say
	index    map[int64][sha256.Size]byte
	points   []pointer
	gaps     []gap
}

// pointer is a record that points to another.
type pointer struct {
	from string
	role string
	to   Digest
}

// gap is a record whose predecessor is not here.
type gap struct {
	chain    Chain
	from, to int64 // last one before it that is here, and the record
	digest   Digest
}

func (c *checking) found(where, format string, args ...any) {
	c.problems = append(c.problems, Problem{where, fmt.Sprintf(format, args...)})
}

// unreadable turns trouble of the database into a problem; only the end of the context stops a check.
func (c *checking) unreadable(ctx context.Context, where string, err error) error {
	if err != nil && ctx.Err() == nil {
		c.found(where, "cannot be read: %v", err)
		return nil
	}
	return err
}

func (c *checking) database(ctx context.Context, db *sql.DB) error {
	found, err := c.store.dialect.check(ctx, db)
	c.problems = append(c.problems, found...)
	return c.unreadable(ctx, "database", err)
}

// records looks at every record and at its place in its chain.
func (c *checking) records(ctx context.Context, db *sql.DB) error {
	t := session{c.store.dialect, db}
	var last Head
	err := t.each(ctx, "select id, chain, seq, digest, kind, key, time, content from records order by chain, seq", nil, func(rows *sql.Rows) error {
		var id int64
		var at Head
		var kind, key, time, content string
		if err := rows.Scan(&id, &at.Chain, &at.Seq, &at.Digest, &kind, &key, &time, &content); err != nil {
			return err
		}
		c.record(id, last, at, [3]string{kind, key, time}, content)
		last = at
		return nil
	})
	if err := c.unreadable(ctx, fmt.Sprintf("records after number %d of chain %.8s", last.Seq, last.Chain), err); err != nil {
		return err
	}
	for _, p := range c.points {
		if !c.known[p.to] {
			c.found(p.from, "%s record %s, which is not here", p.role, p.to)
		}
	}
	for _, g := range c.gaps {
		if !c.excerpts[g.digest] {
			c.found(fmt.Sprintf("chain %s", g.chain), "records %d to %d are missing", g.from+1, g.to-1)
		}
	}
	for _, d := range slices.Sorted(maps.Keys(c.excerpts)) {
		if !c.known[d] {
			c.found("record "+string(d), "was imported and is not here")
		}
	}
	return c.home(ctx, t)
}

// home looks whether the store's own chain is here.
func (c *checking) home(ctx context.Context, t session) error {
	var homes []string
	err := t.each(ctx, "select chain from home", nil, func(rows *sql.Rows) error {
		var h string
		err := rows.Scan(&h)
		homes = append(homes, h)
		return err
	})
	if err := c.unreadable(ctx, "home", err); err != nil {
		return err
	}
	want := []string{string(c.store.home)}
	if c.store.home == "" {
		want = nil
	}
	if !slices.Equal(homes, want) {
		c.found("home", "the store's own chain is %q, and was %q when it was opened", homes, want)
	}
	for _, h := range homes {
		var n int
		err := t.row(ctx, "select count(*) from records where chain = ? and seq = 1 and kind = ? and key = ?", []any{h, KindChain, h}, &n)
		if err := c.unreadable(ctx, "home", err); err != nil {
			return err
		}
		if err == nil && n != 1 {
			c.found("home", "chain %.80s has no beginning here", h)
		}
	}
	return nil
}

// record looks at one row; last is the row before it.
func (c *checking) record(id int64, last, at Head, columns [3]string, content string) {
	where := fmt.Sprintf("record %d of chain %.8s (%.12s)", at.Seq, at.Chain, at.Digest)
	r, err := readAs(at.Digest, content)
	if err != nil {
		c.found(where, "%v", err)
		return
	}
	where = r.String()
	if r.Chain != at.Chain || r.Seq != at.Seq || [3]string{r.Kind, r.Key, r.Time.Format(timeForm)} != columns {
		c.found(where, "its columns say record %d of chain %s, %q: allowed is what its content says", at.Seq, at.Chain, columns)
	}
	c.known[r.Digest] = true
	switch {
	case last.Chain == r.Chain && last.Seq == r.Seq-1:
		if r.Prev != last.Digest {
			c.found(where, "names %s as the one before it, which is %s: the chain is broken", r.Prev, last.Digest)
		}
	case r.Seq > 1:
		g := gap{chain: r.Chain, to: r.Seq, digest: r.Digest}
		if last.Chain == r.Chain {
			g.from = last.Seq
		}
		c.gaps = append(c.gaps, g)
	}
	h := sha256.New()
	for _, l := range r.links() {
		l.hashInto(h)
	}
	c.index[id] = [sha256.Size]byte(h.Sum(nil))
	for _, d := range r.Files {
		if c.named[d] == "" {
			c.named[d] = where
		}
	}
	for _, d := range r.Cites {
		c.points = append(c.points, pointer{where, "cites", d})
	}
	for _, d := range r.Replaces {
		c.points = append(c.points, pointer{where, "replaces", d})
	}
	imported, err := excerptsOf(r)
	if err != nil {
		c.found(where, "%v", err)
	}
	for _, d := range imported {
		c.excerpts[d] = true
	}
}

func (l link) hashInto(h hash.Hash) {
	fmt.Fprintf(h, "%s %d %d:%s\n", l.role, l.ord, len(l.target), l.target)
}

// KindImport is the kind of a record of an import, with an Import as its body.
const KindImport = "import"

// Import says which records came from an exported file, without those before them in their chains.
type Import struct {
	Software string   `json:"software"` // that exported them
	File     Digest   `json:"file"`     // digest of the file they came in
	Records  []Digest `json:"records"`
}

// excerptsOf are the records that a record of an import names.
func excerptsOf(r Record) ([]Digest, error) {
	if r.Kind != KindImport {
		return nil, nil
	}
	var i Import
	if err := json.Unmarshal(r.Body, &i); err != nil {
		return nil, fmt.Errorf("body of an import: %w", err)
	}
	return i.Records, nil
}

// links compares the index with what the records say.
func (c *checking) links(ctx context.Context, db *sql.DB) error {
	t := session{c.store.dialect, db}
	h := sha256.New()
	current, started := int64(0), false
	finish := func() {
		if !started {
			return
		}
		want, ok := c.index[current]
		if got := [sha256.Size]byte(h.Sum(nil)); !ok || got != want {
			c.found(fmt.Sprintf("index of row %d", current), "is not what the record of that row says, or has none")
		}
		delete(c.index, current)
		h.Reset()
	}
	err := t.each(ctx, "select record, role, ord, target from links order by record, role, ord", nil, func(rows *sql.Rows) error {
		var id int64
		var l link
		if err := rows.Scan(&id, &l.role, &l.ord, &l.target); err != nil {
			return err
		}
		if id != current || !started {
			finish()
			current, started = id, true
		}
		l.hashInto(h)
		return nil
	})
	finish()
	for _, id := range slices.Sorted(maps.Keys(c.index)) { // every record has a key, so every one has words
		c.found(fmt.Sprintf("index of row %d", id), "is missing")
	}
	return c.unreadable(ctx, "index", err)
}

// files reads every file and looks for those that records name.
func (c *checking) files(ctx context.Context, _ *sql.DB) error {
	for name, err := range c.store.files.Names(ctx) {
		if err != nil {
			if err := c.unreadable(ctx, "files", err); err != nil {
				return err
			}
			continue
		}
		d, err := ParseDigest(name)
		if err != nil {
			c.found("file "+name, "has no name of this store's making: allowed is sha256/ab/abcd..., the digest of its bytes")
			continue
		}
		if err := c.file(ctx, d); err != nil {
			return err
		}
		delete(c.named, d)
	}
	for _, d := range slices.Sorted(maps.Keys(c.named)) {
		c.found("file "+string(d), "is missing; %s names it", c.named[d])
	}
	return nil
}

func (c *checking) file(ctx context.Context, d Digest) error {
	where := "file " + string(d)
	if by := c.named[d]; by != "" {
		where += ", named by " + by
	}
	r, size, err := c.store.files.Open(ctx, d)
	if err != nil {
		return c.unreadable(ctx, where, err)
	}
	defer r.Close()
	got, n, err := sum(whole{ctx, r})
	switch {
	case err != nil:
		return c.unreadable(ctx, where, err)
	case got != d:
		c.found(where, "its %d bytes have the digest %s", n, got)
	case n != size:
		c.found(where, "%d bytes read of %d", n, size)
	}
	return nil
}

// checkSQLite asks the database whether its pages are sound, and compares tables, indexes and triggers with those this program makes.
func checkSQLite(ctx context.Context, db *sql.DB) ([]Problem, error) {
	var found []Problem
	for _, pragma := range []string{"integrity_check", "foreign_key_check"} {
		err := eachText(ctx, db, "pragma "+pragma, func(line string) {
			if line != "ok" {
				found = append(found, Problem{"database, " + pragma, line})
			}
		})
		if err != nil {
			if ctx.Err() != nil {
				return found, err
			}
			found = append(found, Problem{"database, " + pragma, err.Error()})
		}
	}
	got, err := schemaSQLite(ctx, db)
	if err != nil {
		return found, fmt.Errorf("tables: %w", err)
	}
	model, err := sql.Open("sqlite", ":memory:")
	if err != nil {
		return found, err
	}
	defer model.Close()
	model.SetMaxOpenConns(1) // each connection would have a memory of its own
	if err := migrateSQLite(ctx, model, true); err != nil {
		return found, err
	}
	want, err := schemaSQLite(ctx, model)
	if err != nil {
		return found, err
	}
	for _, name := range slices.Sorted(maps.Keys(want)) {
		if got[name] != want[name] {
			found = append(found, Problem{"database, " + name, fmt.Sprintf("is %q: allowed is %q", got[name], want[name])})
		}
	}
	for _, name := range slices.Sorted(maps.Keys(got)) {
		if _, ok := want[name]; !ok {
			found = append(found, Problem{"database, " + name, "is not of this program's making"})
		}
	}
	return found, nil
}

// eachText goes through the rows of a query, all columns of each as one text.
func eachText(ctx context.Context, db *sql.DB, query string, line func(string)) error {
	return session{on: db}.each(ctx, query, nil, func(rows *sql.Rows) error {
		columns, err := rows.Columns()
		if err != nil {
			return err
		}
		values := make([]sql.NullString, len(columns))
		into := make([]any, len(columns))
		for i := range values {
			into[i] = &values[i]
		}
		if err := rows.Scan(into...); err != nil {
			return err
		}
		texts := make([]string, len(values))
		for i, v := range values {
			texts[i] = v.String
		}
		line(strings.Join(texts, " "))
		return nil
	})
}
