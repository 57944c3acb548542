package store

import (
	"cmp"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"slices"
)

// Merged says what came.
type Merged struct {
	Records int
	Files   int
	Bytes   int64 // of the files
}

// ForkError says that two stores hold different records at one place of a chain, so that one installation's chain was continued in two places.
type ForkError struct {
	Chain       Chain
	Seq         int64
	Here, There Record
	Store       string // the store merged into
	From        string // the other one
}

// Error implements error.
func (e *ForkError) Error() string {
	return fmt.Sprintf("place %d of chain %.8s: %s has %v of %s by %s, and %s has %v of %s by %s: allowed is one record at a place; the chain was continued twice, as happens where a folder "+
		"is copied and both copies are written", e.Seq, e.Chain, e.Store, e.Here, e.Here.Time.Format(timeForm), e.Here.By, e.From, e.There, e.There.Time.Format(timeForm), e.There.By)
}

// ErrOwnChain says that somebody else has records of this store's own chain that are not here.
var ErrOwnChain = errors.New("is of this store's own chain and not here: this folder is an older state, or both are copies of one that are written; restore it as a new store and merge both into that")

// Merge takes over every record of another store that is not here, with the files it names, all or nothing. It is a union: merges may be made in any order and any number
// of times. Nothing is decided about what two installations said differently of one thing; see Conflicts.
func (s *Store) Merge(ctx context.Context, from *Store) (Merged, error) {
	m, err := s.merge(ctx, from)
	if err != nil {
		return Merged{}, fmt.Errorf("merge of store %s into store %s: %w; nothing was taken over", from.where, s.where, err)
	}
	return m, nil
}

func (s *Store) merge(ctx context.Context, from *Store) (m Merged, err error) {
	if s.write == nil {
		return m, ErrReadOnly
	}
	tx, err := from.read.BeginTx(ctx, from.dialect.snapshot) // one state of the other, whatever is appended meanwhile
	if err != nil {
		return m, err
	}
	defer tx.Rollback()
	there := session{from.dialect, tx}
	theirs, err := there.places(ctx)
	if err != nil {
		return m, err
	}
	ours, err := s.look().places(ctx)
	if err != nil {
		return m, err
	}
	missing := slices.DeleteFunc(theirs, func(p place) bool {
		i, here := find(ours, p)
		return here && ours[i].digest == p.digest
	})
	for _, p := range missing {
		if i, here := find(ours, p); here {
			return m, s.fork(ctx, from, ours[i], p)
		}
	}
	if err := s.fetch(ctx, from, there, missing, &m); err != nil { // files first: a record may only name what is here
		return m, err
	}
	err = s.transaction(ctx, func(t session) error {
		a, err := s.arrival(ctx, t, from.where)
		if err != nil {
			return err
		}
		if err := a.expect(ctx, there); err != nil {
			return err
		}
		for _, p := range missing {
			r, err := there.get(ctx, p.digest)
			if err != nil {
				return err
			}
			if r.Chain != p.chain || r.Seq != p.seq {
				return fmt.Errorf("%v: %w: filed as number %d of chain %.80s", r, ErrDamaged, p.seq, p.chain)
			}
			if err := a.take(ctx, r); err != nil {
				return err
			}
		}
		m.Records = a.taken
		return nil
	})
	return m, err
}

// fork is the error of two records at one place.
func (s *Store) fork(ctx context.Context, from *Store, ours, theirs place) error {
	here, err := s.Get(ctx, ours.digest)
	if err != nil {
		return err
	}
	there, err := from.Get(ctx, theirs.digest)
	if err != nil {
		return err
	}
	return &ForkError{ours.chain, ours.seq, here, there, s.where, from.where}
}

// place is where a record stands.
type place struct {
	chain  Chain
	seq    int64
	digest Digest
}

func compare(a, b place) int { return cmp.Or(cmp.Compare(a.chain, b.chain), cmp.Compare(a.seq, b.seq)) }

func find(all []place, p place) (int, bool) { return slices.BinarySearchFunc(all, p, compare) }

// places are all records, in order.
func (t session) places(ctx context.Context) ([]place, error) {
	var all []place
	err := t.each(ctx, "select chain, seq, digest from records", nil, func(rows *sql.Rows) error {
		var p place
		err := rows.Scan(&p.chain, &p.seq, &p.digest)
		all = append(all, p)
		return err
	})
	slices.SortFunc(all, compare)
	return all, err
}

// fetch copies the files of records that are missing here.
func (s *Store) fetch(ctx context.Context, from *Store, there session, missing []place, m *Merged) error {
	done := map[Digest]bool{}
	for _, p := range missing {
		r, err := there.get(ctx, p.digest)
		if err != nil {
			return err
		}
		for _, d := range r.Files {
			if done[d] {
				continue
			}
			n, err := s.copyFile(ctx, from, d)
			if err != nil {
				return fmt.Errorf("file %s of %v: %w", d, r, err)
			}
			if n >= 0 {
				m.Files++
				m.Bytes += n
			}
			done[d] = true
		}
	}
	return nil
}

// copyFile brings a file here, verified. Its length is -1 where it was here already.
func (s *Store) copyFile(ctx context.Context, from *Store, d Digest) (int64, error) {
	switch r, _, err := s.files.Open(ctx, d); {
	case err == nil:
		return -1, r.Close()
	case !errors.Is(err, fs.ErrNotExist):
		return 0, err
	}
	r, _, err := from.OpenFile(ctx, d)
	if err != nil {
		return 0, err
	}
	defer r.Close()
	_, n, err := s.files.Put(ctx, r)
	return n, err
}

// arrival takes records of other installations into a store, within one transaction.
type arrival struct {
	t        session
	home     Chain
	store    string
	from     string
	excerpts map[Digest]bool // records that may come without those before them
	taken    int
}

func (s *Store) arrival(ctx context.Context, t session, from string) (*arrival, error) {
	a := &arrival{t: t, home: s.home, store: s.where, from: from, excerpts: map[Digest]bool{}}
	return a, a.expect(ctx, t)
}

// expect learns from the records of imports which records may come without those before them.
func (a *arrival) expect(ctx context.Context, t session) error {
	imports, err := t.find(ctx, Query{Kind: KindImport})
	if err != nil {
		return err
	}
	for _, r := range imports {
		all, err := excerptsOf(r)
		if err != nil {
			return fmt.Errorf("%v: %w", r, err)
		}
		for _, d := range all {
			a.excerpts[d] = true
		}
	}
	return nil
}

// take inserts a record that is not here. Records of one chain come in its order.
func (a *arrival) take(ctx context.Context, r Record) error {
	const at = "chain = ? and seq = ?"
	here, err := a.t.one(ctx, at, string(r.Chain), r.Seq)
	switch {
	case err == nil && here.Digest == r.Digest:
		return nil
	case err == nil:
		return &ForkError{r.Chain, r.Seq, here, r, a.store, a.from}
	case !errors.Is(err, ErrNotFound):
		return err
	case r.Chain == a.home:
		return fmt.Errorf("%v of %s %w", r, a.from, ErrOwnChain)
	}
	if r.Seq > 1 {
		before, err := a.t.one(ctx, at, string(r.Chain), r.Seq-1)
		switch {
		case err == nil && before.Digest != r.Prev:
			return fmt.Errorf("%v of %s: %w: names %s as the one before it, which is %s", r, a.from, ErrDamaged, r.Prev, before.Digest)
		case errors.Is(err, ErrNotFound) && !a.excerpts[r.Digest]:
			return fmt.Errorf("%v of %s: %w: the record before it is missing", r, a.from, ErrDamaged)
		case err != nil && !errors.Is(err, ErrNotFound):
			return err
		}
	}
	after, err := a.t.one(ctx, at, string(r.Chain), r.Seq+1)
	switch {
	case err == nil && after.Prev != r.Digest:
		return fmt.Errorf("%v of %s: %w: %v here names %s as the one before it", r, a.from, ErrDamaged, after, after.Prev)
	case err != nil && !errors.Is(err, ErrNotFound):
		return err
	}
	a.taken++
	return a.t.insert(ctx, r)
}

// Conflict is one thing of which several records are current, although each says all of it.
type Conflict struct {
	Kind, Key string
	Records   []Record // the newest first
}

// Conflicts lists, of kinds of which one record should be current, what two installations have said without knowing of each other. A person resolves it with a record that
// replaces all of them.
func (s *Store) Conflicts(ctx context.Context, kinds ...string) ([]Conflict, error) {
	var all []Conflict
	for _, kind := range kinds {
		err := s.look().each(ctx, "select key from records where kind = ? and not exists (select 1 from links where role = 'replaces' and target = records.digest) group by key having count(*) > 1 order by key",
			[]any{kind}, func(rows *sql.Rows) error {
				c := Conflict{Kind: kind}
				err := rows.Scan(&c.Key)
				all = append(all, c)
				return err
			})
		if err != nil {
			return nil, fmt.Errorf("store %s: conflicts: %w", s.where, err)
		}
	}
	for i, c := range all {
		var err error
		if all[i].Records, err = s.Current(ctx, c.Kind, c.Key); err != nil {
			return nil, err
		}
	}
	return all, nil
}
