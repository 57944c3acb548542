package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"strings"
)

// Append makes a record of a draft, at the end of the store's own chain. When it returns without error the record survives a power cut.
func (s *Store) Append(ctx context.Context, d Draft) (Record, error) {
	var r Record
	err := s.Together(ctx, func(w *Writer) (err error) {
		r, err = w.Append(ctx, d)
		return err
	})
	if err != nil {
		return Record{}, err
	}
	return r, nil
}

// Writer appends records that are kept together or not at all.
type Writer struct {
	store *Store
	t     session
	head  Head
	last  Draft
}

// Together runs f. Where it returns nil, everything it appended is kept; otherwise nothing is. It may append nothing where f finds that it should not: no other record comes between.
func (s *Store) Together(ctx context.Context, f func(*Writer) error) error {
	if s.home == "" {
		return fmt.Errorf("store %s: %w", s.where, ErrBackup)
	}
	var w *Writer
	refused := false // by f, which says of what
	err := s.transaction(ctx, func(t session) (err error) {
		if w, err = s.writer(ctx, t); err != nil {
			return err
		}
		err = f(w)
		refused = err != nil
		return err
	})
	switch {
	case err == nil:
		return nil
	case refused || w == nil:
		return fmt.Errorf("store %s: %w; nothing was appended", s.where, err)
	}
	return fmt.Errorf("store %s: up to record %d, %s %.80q: %w; nothing was appended", s.where, w.head.Seq, w.last.Kind, w.last.Key, err)
}

// writer appends at the head of the store's own chain.
func (s *Store) writer(ctx context.Context, t session) (*Writer, error) {
	w := &Writer{store: s, t: t, head: Head{Chain: s.home}}
	err := t.row(ctx, "select seq, digest from records where chain = ? order by seq desc limit 1", []any{string(s.home)}, &w.head.Seq, &w.head.Digest)
	if err != nil {
		return nil, fmt.Errorf("head of chain %.8s: %w", s.home, err)
	}
	return w, nil
}

// Append makes a record of a draft.
func (w *Writer) Append(ctx context.Context, d Draft) (Record, error) {
	if d.Kind == KindChain || d.Kind == KindImport {
		return Record{}, fmt.Errorf("%s %.80q: kinds %s and %s are the store's own", d.Kind, d.Key, KindChain, KindImport)
	}
	return w.append(ctx, d)
}

func (w *Writer) append(ctx context.Context, d Draft) (Record, error) {
	r, err := d.record(w.head.Chain, w.head.Seq+1, w.head.Digest)
	if err != nil {
		return Record{}, err
	}
	if err := w.admit(ctx, d); err != nil {
		return Record{}, fmt.Errorf("%s %.80q: %w", d.Kind, d.Key, err)
	}
	if err := w.t.insert(ctx, r); err != nil {
		return Record{}, fmt.Errorf("%s %.80q: %w", d.Kind, d.Key, err)
	}
	w.head, w.last = Head{r.Chain, r.Seq, r.Digest}, d
	return r, nil
}

// Current is Store.Current as the writer sees it.
func (w *Writer) Current(ctx context.Context, kind, key string) ([]Record, error) {
	return w.t.find(ctx, Query{Kind: kind, Key: key, Current: true})
}

// admit looks at what a draft points to.
func (w *Writer) admit(ctx context.Context, d Draft) error {
	for _, c := range d.Cites {
		if _, err := w.t.get(ctx, c); err != nil {
			return fmt.Errorf("cited record %s: %w", c, err)
		}
	}
	for _, old := range d.Replaces {
		r, err := w.t.get(ctx, old)
		if err != nil {
			return fmt.Errorf("replaced record %s: %w", old, err)
		}
		if r.Kind != d.Kind {
			return fmt.Errorf("replaced %v: allowed is a record of kind %s", r, d.Kind)
		}
		var by Digest
		err = w.t.row(ctx, "select digest from records where id = (select record from links where role = 'replaces' and target = ? limit 1)", []any{string(old)}, &by)
		if err == nil {
			return fmt.Errorf("%v: %w by %s: replace that one", r, ErrReplaced, by)
		}
		if !errors.Is(err, sql.ErrNoRows) {
			return err
		}
	}
	for _, f := range d.Files {
		r, _, err := w.store.files.Open(ctx, f)
		if errors.Is(err, fs.ErrNotExist) {
			err = ErrNotFound
		}
		if err != nil {
			return fmt.Errorf("file %s: %w", f, err)
		}
		r.Close()
	}
	if d.Only {
		return w.only(ctx, d)
	}
	return nil
}

// only refuses a draft beside which another record would stay current.
func (w *Writer) only(ctx context.Context, d Draft) error {
	current, err := w.Current(ctx, d.Kind, d.Key)
	if err != nil {
		return err
	}
	replaced := map[Digest]bool{}
	for _, r := range d.Replaces {
		replaced[r] = true
	}
	for _, r := range current {
		if !replaced[r.Digest] {
			return fmt.Errorf("%v of %s by %s: %w: replace it", r, r.Time.Format("2006-01-02"), r.By, ErrNotOnly)
		}
	}
	return nil
}

// insert writes a record and its index.
func (t session) insert(ctx context.Context, r Record) error {
	var id int64
	err := t.row(ctx, "insert into records (chain, seq, digest, kind, key, time, content) values (?, ?, ?, ?, ?, ?, ?) returning id",
		[]any{string(r.Chain), r.Seq, string(r.Digest), r.Kind, r.Key, r.Time.Format(timeForm), string(r.Content())}, &id)
	if err != nil {
		return err
	}
	links := r.links()
	const most = 100 // lines a statement
	for len(links) > 0 {
		n := min(most, len(links))
		args := make([]any, 0, 4*n)
		for _, l := range links[:n] {
			args = append(args, id, l.role, l.ord, l.target)
		}
		err := t.exec(ctx, "insert into links (record, role, ord, target) values "+strings.Repeat("(?, ?, ?, ?), ", n-1)+"(?, ?, ?, ?)", args...)
		if err != nil {
			return err
		}
		links = links[n:]
	}
	return nil
}
