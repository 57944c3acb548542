package store

import (
	"context"
	"database/sql"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"time"
)

// What can be wrong with a request, to be told apart by a program.
var (
	ErrNotFound = errors.New("not in this store")
	ErrDamaged  = errors.New("damaged")
	ErrReadOnly = errors.New("open for reading only")
	ErrBackup   = errors.New("a backup: it is restored into a folder of its own, or read")
	ErrReplaced = errors.New("replaced already")
	ErrNotOnly  = errors.New("another record of this kind and key is current")
)

// Store keeps records in a database and the files they name. It may be used from many goroutines; a folder, by many programs.
type Store struct {
	where   string // names it for a person
	dialect dialect
	write   *sql.DB // nil: nothing may be written
	read    *sql.DB
	files   Files
	home    Chain                   // the chain it writes; empty: a backup
	reopen  func() (*sql.DB, error) // another connection that remembers nothing; nil: read serves
	free    func() error
}

// Origin is the installation in which records will arise.
type Origin struct {
	Chain Chain     // see NewChain
	Name  string    // what people call it: "laptop 2"
	By    string    // who makes it
	Time  time.Time // when
}

// NewChain draws the name of a chain from a source of randomness that nobody can foresee, such as crypto/rand.Reader.
func NewChain(random io.Reader) (Chain, error) {
	var b [chainBytes]byte
	if _, err := io.ReadFull(random, b[:]); err != nil {
		return "", fmt.Errorf("name of a chain: %w", err)
	}
	return Chain(hex.EncodeToString(b[:])), nil
}

// Options of opening a store.
type Options struct {
	ReadOnly bool // nothing is written, so that a backup, or a medium that cannot be written to, may be opened
}

// KindChain is the kind of the first record of every chain, with a Beginning as its body.
const KindChain = "chain"

// Beginning says how a chain began.
type Beginning struct {
	Name     string `json:"name"`
	Began    string `json:"began"`              // "created" or "restored"
	Restored []Head `json:"restored,omitempty"` // what the backup held
}

// Head is the last record of a chain.
type Head struct {
	Chain  Chain  `json:"chain"`
	Seq    int64  `json:"seq"`
	Digest Digest `json:"digest"`
}

// Create makes a store in a folder that is not there or empty. A creation that was cut off is completed.
func Create(ctx context.Context, folder string, o Origin) (*Store, error) {
	return create(ctx, folder, o, Beginning{Name: o.Name, Began: "created"})
}

func create(ctx context.Context, folder string, o Origin, b Beginning) (*Store, error) {
	s, err := openFolder(ctx, folder, folderMode{create: true})
	if err != nil {
		return nil, err
	}
	if err := s.begin(ctx, o, b); err != nil {
		return nil, errors.Join(fmt.Errorf("store %s: %w", folder, err), s.Close())
	}
	return s, nil
}

// begin writes the first record of the store's own chain.
func (s *Store) begin(ctx context.Context, o Origin, b Beginning) error {
	body, err := json.Marshal(b)
	if err != nil {
		return err
	}
	first, err := Draft{Kind: KindChain, Key: string(o.Chain), Terms: []string{o.Name}, By: o.By, Time: o.Time, Body: body}.record(o.Chain, 1, "")
	if err != nil {
		return err
	}
	err = s.transaction(ctx, func(t session) error {
		var n int64
		if err := t.row(ctx, "select (select count(*) from records) + (select count(*) from home)", nil, &n); err != nil {
			return err
		}
		if n > 0 {
			return fmt.Errorf("there is a store in it already: %w", fs.ErrExist)
		}
		if err := t.exec(ctx, "insert into home (one, chain) values (1, ?)", string(o.Chain)); err != nil {
			return err
		}
		return t.insert(ctx, first)
	})
	if err == nil {
		s.home = o.Chain
	}
	return err
}

// Open opens the store in a folder.
func Open(ctx context.Context, folder string, o Options) (*Store, error) {
	s, err := openFolder(ctx, folder, folderMode{readOnly: o.ReadOnly})
	if err != nil {
		return nil, err
	}
	if s.home == "" && !o.ReadOnly {
		return nil, errors.Join(fmt.Errorf("store %s: %w", folder, ErrBackup), s.Close())
	}
	return s, nil
}

// folderMode says what may be done with a folder.
type folderMode struct{ create, readOnly bool }

func openFolder(ctx context.Context, folder string, m folderMode) (s *Store, err error) {
	s = &Store{where: folder, dialect: dialect{check: checkSQLite}}
	var opened []func() error
	s.free = func() error {
		var err error
		for i := len(opened) - 1; i >= 0; i-- {
			err = errors.Join(err, opened[i]())
		}
		opened = nil
		return err
	}
	defer func() {
		if err != nil {
			err = errors.Join(fmt.Errorf("store %s: %w", folder, err), s.free())
			s = nil
		}
	}()
	file := filepath.Join(folder, databaseName)
	if m.create {
		if err := os.MkdirAll(folder, 0o755); err != nil {
			return s, err
		}
	} else if _, err := os.Stat(file); err != nil {
		return s, fmt.Errorf("no store: %w", err)
	}
	frozen := false
	lock, alone, err := lockFolder(ctx, folder)
	switch {
	case err == nil:
		opened = append(opened, lock.Close)
	case m.readOnly && unwritable(err):
		frozen = true
	default:
		return s, fmt.Errorf("lock: %w", err)
	}
	if err := s.openDatabase(ctx, file, m, frozen, alone, &opened); err != nil {
		return s, fmt.Errorf("%s: %w", databaseName, err)
	}
	files, err := OpenFolder(filepath.Join(folder, "files"), m.readOnly)
	if err != nil {
		return s, err
	}
	opened = append(opened, files.Close)
	s.files = files
	if alone && !m.readOnly {
		err = files.clean()
	}
	if err == nil && alone {
		err = flock(lock, true)
	}
	return s, err
}

// openDatabase opens the pools of connections and brings the tables up where it may.
func (s *Store) openDatabase(ctx context.Context, file string, m folderMode, frozen, alone bool, opened *[]func() error) error {
	mode := modeRead
	if frozen {
		mode = modeFrozen
		if info, err := os.Stat(file + "-wal"); err == nil && info.Size() > 0 {
			return errors.New("holds changes beside it that were not brought in, and the medium cannot be written to: open it once where it can be")
		}
	}
	if !m.readOnly {
		db, err := openSQLite(file, modeWrite, 1)
		if err != nil {
			return err
		}
		*opened = append(*opened, db.Close)
		if err := migrateSQLite(ctx, db, alone); err != nil {
			return err
		}
		s.write = db
	}
	db, err := openSQLite(file, mode, 4)
	if err != nil {
		return err
	}
	*opened = append(*opened, db.Close)
	s.read = db
	s.reopen = func() (*sql.DB, error) { return openSQLite(file, mode, 1) }
	if m.readOnly {
		if err := migrateSQLite(ctx, db, false); err != nil {
			return err
		}
	}
	var version string
	if err := db.QueryRowContext(ctx, "select sqlite_version()").Scan(&version); err != nil {
		return err
	}
	if err := soundVersion(version); err != nil {
		return err
	}
	err = db.QueryRowContext(ctx, "select chain from home").Scan(&s.home)
	if errors.Is(err, sql.ErrNoRows) {
		err = nil
	}
	return err
}

// unwritable says that a medium, or a folder, cannot be written to.
func unwritable(err error) bool { return errors.Is(err, fs.ErrPermission) || readOnlyMedium(err) }

// Close frees the store; once is enough. What was acknowledged is safe without it.
func (s *Store) Close() error { return s.free() }

// Where names the store for a person.
func (s *Store) Where() string { return s.where }

// Home is the chain this store writes; empty for a backup.
func (s *Store) Home() Chain { return s.home }

// look is a session that may only read.
func (s *Store) look() session { return session{s.dialect, s.read} }

// transaction runs f, and keeps all of what it wrote or nothing.
func (s *Store) transaction(ctx context.Context, f func(session) error) error {
	if s.write == nil {
		return ErrReadOnly
	}
	tx, err := s.write.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	defer tx.Rollback() // does nothing after Commit
	t := session{s.dialect, tx}
	if s.dialect.lock != "" {
		if err := t.exec(ctx, s.dialect.lock); err != nil {
			return err
		}
	}
	if err := f(t); err != nil {
		return err
	}
	return tx.Commit()
}

// PutFile keeps the bytes of r to its end. When it returns without error they survive a power cut.
func (s *Store) PutFile(ctx context.Context, r io.Reader) (Digest, int64, error) {
	if s.write == nil {
		return "", 0, fmt.Errorf("store %s: %w", s.where, ErrReadOnly)
	}
	d, n, err := s.files.Put(ctx, r)
	if err != nil {
		return "", n, fmt.Errorf("store %s: %w", s.where, err)
	}
	return d, n, nil
}

// OpenFile opens a file the store keeps, with its length. The digest is verified while it is read: whoever reads to the end without an error has read the bytes that were put.
func (s *Store) OpenFile(ctx context.Context, d Digest) (io.ReadCloser, int64, error) {
	r, n, err := s.files.Open(ctx, d)
	if errors.Is(err, fs.ErrNotExist) {
		err = ErrNotFound
	}
	if err != nil {
		return nil, 0, fmt.Errorf("store %s: file %s: %w", s.where, d, err)
	}
	return newVerified(r, d, s.where), n, nil
}
