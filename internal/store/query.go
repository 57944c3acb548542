package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"iter"
	"strings"
)

// Query says which records are wanted. What is empty does not matter.
type Query struct {
	Kind    string
	Key     string
	Words   string // every word of it begins a word of the record's key or terms
	Cites   Digest // a record they rest on
	Names   Digest // a file they name
	Current bool   // only those that no other record replaces
	Limit   int    // so many, the newest; 0: all
}

// Get returns the record with a digest.
func (s *Store) Get(ctx context.Context, d Digest) (Record, error) {
	r, err := s.look().get(ctx, d)
	if err != nil {
		return Record{}, fmt.Errorf("store %s: record %.80s: %w", s.where, d, err)
	}
	return r, nil
}

// At returns the record at a place of a chain.
func (s *Store) At(ctx context.Context, c Chain, seq int64) (Record, error) {
	r, err := s.look().one(ctx, "chain = ? and seq = ?", string(c), seq)
	if err != nil {
		return Record{}, fmt.Errorf("store %s: record %d of chain %.8s: %w", s.where, seq, c, err)
	}
	return r, nil
}

// Current returns the records of a kind and key that no other record replaces, the newest first. More than one, where there should be one, is a conflict between installations.
func (s *Store) Current(ctx context.Context, kind, key string) ([]Record, error) {
	return s.Find(ctx, Query{Kind: kind, Key: key, Current: true})
}

// History returns all records of a kind and key, the newest first.
func (s *Store) History(ctx context.Context, kind, key string) ([]Record, error) {
	return s.Find(ctx, Query{Kind: kind, Key: key})
}

// Search returns the newest records of any kind whose key or terms have all words, or begin with them.
func (s *Store) Search(ctx context.Context, words string, limit int) ([]Record, error) {
	return s.Find(ctx, Query{Words: words, Limit: limit})
}

// Find returns the records of a query, the newest first.
func (s *Store) Find(ctx context.Context, q Query) ([]Record, error) {
	all, err := s.look().find(ctx, q)
	if err != nil {
		return nil, fmt.Errorf("store %s: %w", s.where, err)
	}
	return all, nil
}

// Each goes through the records of a query, the newest first, as they are now, without holding all of them.
func (s *Store) Each(ctx context.Context, q Query) iter.Seq2[Record, error] {
	return func(yield func(Record, error) bool) {
		digests, err := s.look().digests(ctx, q)
		for _, d := range digests {
			var r Record
			if r, err = s.Get(ctx, d); err != nil || !yield(r, nil) {
				break
			}
		}
		if err != nil {
			yield(Record{}, fmt.Errorf("store %s: %w", s.where, err))
		}
	}
}

// Heads returns the last record of every chain, in order of the chains.
func (s *Store) Heads(ctx context.Context) ([]Head, error) {
	var all []Head
	err := s.look().each(ctx, "select chain, seq, digest from records r where not exists (select 1 from records l where l.chain = r.chain and l.seq > r.seq) order by chain", nil, func(rows *sql.Rows) error {
		var h Head
		err := rows.Scan(&h.Chain, &h.Seq, &h.Digest)
		all = append(all, h)
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("store %s: heads: %w", s.where, err)
	}
	return all, nil
}

// Head returns the last record of the store's own chain, whose digest a certificate carries.
func (s *Store) Head(ctx context.Context) (Head, error) {
	h := Head{Chain: s.home}
	err := s.look().row(ctx, "select seq, digest from records where chain = ? order by seq desc limit 1", []any{string(s.home)}, &h.Seq, &h.Digest)
	if err != nil {
		return Head{}, fmt.Errorf("store %s: head of chain %.8s: %w", s.where, s.home, err)
	}
	return h, nil
}

// get returns the record with a digest, verified.
func (t session) get(ctx context.Context, d Digest) (Record, error) {
	if _, err := ParseDigest(string(d)); err != nil {
		return Record{}, err
	}
	return t.one(ctx, "digest = ?", string(d))
}

func (t session) one(ctx context.Context, where string, args ...any) (Record, error) {
	var d Digest
	var content string
	err := t.row(ctx, "select digest, content from records where "+where, args, &d, &content)
	if errors.Is(err, sql.ErrNoRows) {
		return Record{}, ErrNotFound
	}
	if err != nil {
		return Record{}, err
	}
	return readAs(d, content)
}

// readAs reads the content of the record that is filed under a digest.
func readAs(d Digest, content string) (Record, error) {
	if got := digestOf([]byte(content)); got != d {
		return Record{}, fmt.Errorf("record %s: %w: its content has the digest %s", d, ErrDamaged, got)
	}
	return ReadRecord([]byte(content))
}

const newestFirst = " order by time desc, chain desc, seq desc"

// choose is the part of a query behind "from records".
func (q Query) choose() (string, []any) {
	var b strings.Builder
	var args []any
	and := func(condition string, a ...any) {
		if b.Len() == 0 {
			b.WriteString(" where ")
		} else {
			b.WriteString(" and ")
		}
		b.WriteString(condition)
		args = append(args, a...)
	}
	if q.Kind != "" {
		and("kind = ?", q.Kind)
	}
	if q.Key != "" {
		and("key = ?", q.Key)
	}
	for _, w := range strings.Fields(fold(q.Words)) {
		and("id in (select record from links where role = 'word' and target >= ? and target < ?)", w, w+"\U0010ffff")
	}
	if q.Cites != "" {
		and("id in (select record from links where role = 'cites' and target = ?)", string(q.Cites))
	}
	if q.Names != "" {
		and("id in (select record from links where role = 'file' and target = ?)", string(q.Names))
	}
	if q.Current {
		and("not exists (select 1 from links where role = 'replaces' and target = records.digest)")
	}
	b.WriteString(newestFirst)
	if q.Limit > 0 {
		b.WriteString(" limit ?")
		args = append(args, q.Limit)
	}
	return b.String(), args
}

func (t session) digests(ctx context.Context, q Query) ([]Digest, error) {
	choose, args := q.choose()
	var all []Digest
	err := t.each(ctx, "select digest from records"+choose, args, func(rows *sql.Rows) error {
		var d Digest
		err := rows.Scan(&d)
		all = append(all, d)
		return err
	})
	return all, err
}

func (t session) find(ctx context.Context, q Query) ([]Record, error) {
	choose, args := q.choose()
	var all []Record
	err := t.each(ctx, "select digest, content from records where id in (select id from records"+choose+")"+newestFirst, args, func(rows *sql.Rows) error {
		var d Digest
		var content string
		if err := rows.Scan(&d, &content); err != nil {
			return err
		}
		r, err := readAs(d, content)
		all = append(all, r)
		return err
	})
	return all, err
}
