package store_test

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"plumbline/internal/store"
	"plumbline/internal/store/storetest"
)

func TestPair(t *testing.T) { storetest.RunPair(t, folders, folders) }

func TestWander(t *testing.T) {
	storetest.Wander(t, soak(50, 1000), 20261125, newStore(t, storetest.Origin(1)), newStore(t, storetest.Origin(2)))
}

// copied is a copy of a store's folder, opened as if it were another store.
func copied(t *testing.T, s *store.Store) *store.Store {
	t.Helper()
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	dir := filepath.Join(t.TempDir(), "copy")
	if err := os.CopyFS(dir, os.DirFS(s.Where())); err != nil {
		t.Fatal(err)
	}
	c, err := store.Open(t.Context(), dir, store.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { c.Close() })
	return c
}

// TestFork writes to a folder and to its copy: a third store takes one of them over, and refuses the other naming both records.
func TestFork(t *testing.T) {
	s := newStore(t, storetest.Origin(1))
	storetest.Append(t, s, storetest.Draft("asset", "A-0401"))
	b := copied(t, s)
	a := again(t, s)
	one, two := storetest.Append(t, a, storetest.Draft("asset", "A-0402")), storetest.Append(t, b, storetest.Draft("asset", "A-0403"))
	third := newStore(t, storetest.Origin(2))
	storetest.Merge(t, third, a)
	_, err := third.Merge(t.Context(), b)
	var fork *store.ForkError
	if !errors.As(err, &fork) || fork.Seq != 3 || fork.Here.Digest != one.Digest || fork.There.Digest != two.Digest {
		t.Fatalf("%v", err)
	}
	for _, want := range []string{b.Where(), third.Where(), "asset A-0402", "asset A-0403", "nothing was taken over"} {
		if !strings.Contains(err.Error(), want) {
			t.Errorf("%v, want %q in it", err, want)
		}
	}
	storetest.Append(t, b, storetest.Draft("asset", "A-0404"))
	if _, err := a.Merge(t.Context(), b); !errors.As(err, &fork) {
		t.Errorf("the two with each other: %v", err)
	}
	storetest.Same(t, third, func() *store.Store { storetest.Merge(t, a, third); return a }())
}

// TestOldState merges a later copy of a store into an earlier one: its own chain has records it never saw.
func TestOldState(t *testing.T) {
	s := newStore(t, storetest.Origin(1))
	b := copied(t, s)
	storetest.Append(t, b, storetest.Draft("asset", "A-0401"))
	old := again(t, s)
	_, err := old.Merge(t.Context(), b)
	if !errors.Is(err, store.ErrOwnChain) || !strings.Contains(err.Error(), "restore it as a new store") {
		t.Errorf("%v", err)
	}
	storetest.Sound(t, old)
}
