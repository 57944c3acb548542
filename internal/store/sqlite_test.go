package store_test

import (
	"database/sql"
	"os"
	"path/filepath"
	"testing"

	_ "modernc.org/sqlite"

	"plumbline/internal/store"
	"plumbline/internal/store/storetest"
)

func newStore(t *testing.T, o store.Origin) *store.Store {
	t.Helper()
	s, err := store.Create(t.Context(), filepath.Join(t.TempDir(), "store"), o)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	})
	return s
}

func again(t *testing.T, s *store.Store) *store.Store {
	t.Helper()
	other, err := store.Open(t.Context(), s.Where(), store.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := other.Close(); err != nil {
			t.Error(err)
		}
	})
	return other
}

func tamper(t *testing.T, s *store.Store, statement string) error {
	t.Helper()
	db, err := sql.Open("sqlite", filepath.Join(s.Where(), "records.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	_, err = db.Exec(statement)
	return err
}

// kept is the file of a digest.
func kept(s *store.Store, d store.Digest) string {
	return filepath.Join(s.Where(), "files", "sha256", string(d[:2]), string(d))
}

func spoil(t *testing.T, s *store.Store, d store.Digest) {
	t.Helper()
	flip(t, kept(s, d), 4, 0x10)
}

// flip changes bits of the byte at a place of a file.
func flip(t *testing.T, name string, at int64, bits byte) {
	t.Helper()
	if err := os.Chmod(name, 0o640); err != nil {
		t.Fatal(err)
	}
	f, err := os.OpenFile(name, os.O_RDWR, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	var b [1]byte
	if _, err := f.ReadAt(b[:], at); err != nil {
		t.Fatal(err)
	}
	b[0] ^= bits
	if _, err := f.WriteAt(b[:], at); err != nil {
		t.Fatal(err)
	}
}

// folders is the rig of stores in folders.
var folders = storetest.Rig{New: newStore, Again: again, Tamper: tamper, Spoil: spoil,
	Lose: func(t *testing.T, s *store.Store, d store.Digest) {
		if err := os.Remove(kept(s, d)); err != nil {
			t.Fatal(err)
		}
	}}

func TestSQLite(t *testing.T) { storetest.Run(t, folders) }
