package storetest

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"plumbline/internal/store"
)

// RunPair tries what two stores do with each other, of one kind or of two.
func RunPair(t *testing.T, a, b Rig) {
	for _, c := range []struct {
		name string
		try  func(*testing.T, Rig, Rig)
	}{
		{"a merge is a union", union},
		{"conflicts are shown and resolved by a person", conflicts},
		{"a damaged store is not merged", damagedMerge},
		{"backup and restore", backup},
		{"export and import", exports},
		{"an excerpt and the whole chain", excerpt},
		{"exported files that were changed", spoiltExport},
	} {
		t.Run(c.name, func(t *testing.T) { c.try(t, a, b) })
	}
}

// Merge merges or ends the test.
func Merge(t *testing.T, into, from *store.Store) store.Merged {
	t.Helper()
	m, err := into.Merge(t.Context(), from)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// Same ends the test where the stores do not hold the same records with the same files, or where one of them is not sound.
func Same(t *testing.T, stores ...*store.Store) {
	t.Helper()
	var first []store.Digest
	for i, s := range stores {
		Sound(t, s)
		var all []store.Digest
		for r, err := range s.Each(t.Context(), store.Query{}) {
			if err != nil {
				t.Fatal(err)
			}
			all = append(all, r.Digest)
		}
		if i == 0 {
			first = all
		} else if !slices.Equal(first, all) {
			t.Fatalf("%s holds %d records, %s %d, or others", stores[0].Where(), len(first), s.Where(), len(all))
		}
	}
}

func union(t *testing.T, ra, rb Rig) {
	a, b := ra.New(t, Origin(1)), rb.New(t, Origin(2))
	for i := range 5 {
		d := Draft("calibration", fmt.Sprintf("A-040%d", i))
		d.Files = []store.Digest{Put(t, a, fmt.Sprint("recording ", i)), Put(t, a, "the same everywhere")}
		Append(t, a, d)
	}
	Append(t, b, Draft("asset", "A-0401"))
	Put(t, b, "the same everywhere")
	if m := Merge(t, b, a); m.Records != 6 || m.Files != 5 || m.Bytes != 5*int64(len("recording 0")) {
		t.Errorf("first merge: %+v", m)
	}
	if m := Merge(t, b, a); m != (store.Merged{}) {
		t.Errorf("merged again: %+v", m)
	}
	if m := Merge(t, b, b); m != (store.Merged{}) {
		t.Errorf("merged with itself: %+v", m)
	}
	if m := Merge(t, a, b); m.Records != 2 || m.Files != 0 {
		t.Errorf("back: %+v", m)
	}
	Same(t, a, b)
	h, err := a.Heads(t.Context())
	if err != nil || len(h) != 2 || h[0].Seq != 6 || h[1].Seq != 2 {
		t.Errorf("heads %v, %v", h, err)
	}
	if r := Append(t, a, Draft("asset", "A-0402")); r.Chain != Chain(1) || r.Seq != 7 {
		t.Errorf("appended after a merge: %v", r)
	}
}

func conflicts(t *testing.T, ra, rb Rig) {
	a, b := ra.New(t, Origin(1)), rb.New(t, Origin(2))
	first := Append(t, a, Draft("asset", "A-0401"))
	Merge(t, b, a)
	correct := func(s *store.Store, why string, old ...store.Digest) store.Record {
		d := Draft("asset", "A-0401")
		d.Replaces, d.Reason, d.Only = old, why, true
		return Append(t, s, d)
	}
	one, two := correct(a, "new cable", first.Digest), correct(b, "new range", first.Digest)
	Append(t, b, Draft("calibration", "A-0401"))
	Append(t, b, Draft("calibration", "A-0401"))
	Merge(t, a, b)
	found, err := a.Conflicts(t.Context(), "asset", "exciter")
	if err != nil || len(found) != 1 || found[0].Key != "A-0401" || len(found[0].Records) != 2 {
		t.Fatalf("conflicts %v, %v", found, err)
	}
	d := Draft("asset", "A-0401")
	d.Replaces, d.Reason, d.Only = []store.Digest{one.Digest}, "new range", true
	if _, err := a.Append(t.Context(), d); !errors.Is(err, store.ErrNotOnly) {
		t.Errorf("half resolved: %v", err)
	}
	both := correct(a, "both are true", one.Digest, two.Digest)
	Merge(t, b, a)
	for _, s := range []*store.Store{a, b} {
		if found, err := s.Conflicts(t.Context(), "asset"); err != nil || len(found) != 0 {
			t.Errorf("after it was resolved: %v, %v", found, err)
		}
		if c, err := s.Current(t.Context(), "asset", "A-0401"); err != nil || len(c) != 1 || c[0].Digest != both.Digest {
			t.Errorf("current %v, %v", c, err)
		}
	}
}

func damagedMerge(t *testing.T, ra, rb Rig) {
	a, b := ra.New(t, Origin(1)), rb.New(t, Origin(2))
	d := Draft("calibration", "A-0401")
	d.Files = []store.Digest{Put(t, a, "recording of point 1")}
	Append(t, a, d)
	ra.Spoil(t, a, d.Files[0])
	_, err := b.Merge(t.Context(), a)
	if !errors.Is(err, store.ErrDamaged) {
		t.Errorf("spoilt file: %v", err)
	}
	wants(t, err, string(d.Files[0]), "nothing was taken over")
	Sound(t, b)
	if h, err := b.Heads(t.Context()); err != nil || len(h) != 1 {
		t.Errorf("heads %v, %v", h, err)
	}
}

func backup(t *testing.T, ra, rb Rig) {
	s, other := ra.New(t, Origin(1)), rb.New(t, Origin(2))
	d := Draft("calibration", "A-0401")
	d.Files = []store.Digest{Put(t, s, "recording of point 1")}
	Append(t, s, d)
	Append(t, other, Draft("asset", "A-0402"))
	Merge(t, s, other)
	dir := filepath.Join(t.TempDir(), "backup")
	m, err := s.Backup(t.Context(), dir)
	if err != nil || m.Records != 4 || m.Files != 1 {
		t.Fatalf("backup: %+v, %v", m, err)
	}
	after := Append(t, s, Draft("asset", "A-0403")) // the work goes on
	if m, err = s.Backup(t.Context(), dir); err != nil || m.Records != 1 || m.Files != 0 {
		t.Fatalf("brought up: %+v, %v", m, err)
	}
	if _, err := store.Open(t.Context(), dir, store.Options{}); !errors.Is(err, store.ErrBackup) {
		t.Errorf("opened to write: %v", err)
	}
	b, err := store.Open(t.Context(), dir, store.Options{ReadOnly: true})
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	Same(t, s, b)
	if _, err := b.Append(t.Context(), Draft("asset", "A-0404")); !errors.Is(err, store.ErrBackup) {
		t.Errorf("appended to a backup: %v", err)
	}
	target := filepath.Join(t.TempDir(), "restored")
	r, err := store.Restore(t.Context(), dir, target, Origin(3))
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	first, err := r.At(t.Context(), Chain(3), 1)
	if err != nil || !strings.Contains(string(first.Body), `"began":"restored"`) || !strings.Contains(string(first.Body), string(after.Digest)) {
		t.Errorf("first record of the restored store %s, %v", first.Body, err)
	}
	Append(t, r, Draft("asset", "A-0405"))
	Append(t, s, Draft("asset", "A-0406")) // the old one went on: nothing forks
	Merge(t, r, s)
	Merge(t, s, r)
	Same(t, r, s)
	if _, err := s.Backup(t.Context(), target); err == nil || !strings.Contains(err.Error(), "chain of its own") {
		t.Errorf("backup over a store: %v", err)
	}
	if _, err := store.Restore(t.Context(), dir, target, Origin(4)); !errors.Is(err, os.ErrExist) {
		t.Errorf("restore over a store: %v", err)
	}
	if _, err := os.Stat(target + ".part"); err == nil {
		t.Error("a refused restore left something")
	}
}

// exported appends a calibration with what it rests on and exports it.
func exported(t *testing.T, s *store.Store) (store.Record, []byte) {
	t.Helper()
	wrong := Append(t, s, Draft("asset", "A-0401"))
	d := Draft("asset", "A-0401")
	d.Replaces, d.Reason = []store.Digest{wrong.Digest}, "mistyped"
	asset := Append(t, s, d)
	Append(t, s, Draft("asset", "A-0402")) // of no concern
	d = Draft("reference", "R-201")
	d.Files = []store.Digest{Put(t, s, "certificate of R-201")}
	ref := Append(t, s, d)
	d = Draft("calibration", "A-0401", "Aldermere")
	d.Cites = []store.Digest{asset.Digest, ref.Digest}
	d.Files = []store.Digest{Put(t, s, "recording of point 1"), Put(t, s, "")}
	r := Append(t, s, d)
	var one, two bytes.Buffer
	for _, b := range []*bytes.Buffer{&one, &two} {
		if err := s.Export(t.Context(), b, "plumbline 0.2.0", r.Digest); err != nil {
			t.Fatal(err)
		}
	}
	if !bytes.Equal(one.Bytes(), two.Bytes()) {
		t.Error("exported twice, the bytes differ")
	}
	return r, one.Bytes()
}

func exports(t *testing.T, ra, rb Rig) {
	a, b := ra.New(t, Origin(1)), rb.New(t, Origin(2))
	r, file := exported(t, a)
	got, err := b.Import(t.Context(), bytes.NewReader(file), int64(len(file)), "J. Marsh", Time)
	if err != nil || len(got.Records) != 4 || got.Files != 3 || got.Software != "plumbline 0.2.0" || !reflect.DeepEqual(got.Asked, []store.Digest{r.Digest}) {
		t.Fatalf("import %+v, %v", got, err)
	}
	came, err := b.Get(t.Context(), r.Digest)
	if err != nil || !reflect.DeepEqual(came, r) {
		t.Errorf("came as %+v, %v", came, err)
	}
	for _, d := range r.Files {
		f, _, err := b.OpenFile(t.Context(), d)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := io.ReadAll(f); err != nil {
			t.Error(err)
		}
		f.Close()
	}
	Sound(t, b)
	h, err := b.Head(t.Context())
	if err != nil || h.Seq != 2 {
		t.Errorf("head %v, %v", h, err)
	}
	got, err = b.Import(t.Context(), bytes.NewReader(file), int64(len(file)), "J. Marsh", Time)
	if again, e := b.Head(t.Context()); err != nil || e != nil || len(got.Records) != 0 || got.Files != 0 || again != h {
		t.Errorf("again: %+v, %v; head %v", got, err, again)
	}
	var out bytes.Buffer
	if err := b.Export(t.Context(), &out, "plumbline 0.2.0", r.Digest); err != nil || !bytes.Equal(out.Bytes(), file) {
		t.Errorf("exported from the other store: %d bytes, were %d; %v", out.Len(), len(file), err)
	}
}

func excerpt(t *testing.T, ra, rb Rig) {
	a, b, c := ra.New(t, Origin(1)), rb.New(t, Origin(2)), rb.New(t, Origin(3))
	_, file := exported(t, a)
	if _, err := b.Import(t.Context(), bytes.NewReader(file), int64(len(file)), "J. Marsh", Time); err != nil {
		t.Fatal(err)
	}
	Merge(t, c, b) // the excerpt goes on, with the record of its import
	Merge(t, b, c)
	Same(t, b, c)
	Append(t, a, Draft("asset", "A-0409"))
	Merge(t, c, a) // the whole chain fills it up
	Merge(t, a, c)
	Merge(t, b, a)
	Same(t, a, b, c)
}

func spoiltExport(t *testing.T, ra, rb Rig) {
	a, b := ra.New(t, Origin(1)), rb.New(t, Origin(2))
	_, file := exported(t, a)
	for at := 0; at < len(file); at += 1 + len(file)/50 {
		spoilt := bytes.Clone(file)
		spoilt[at] ^= 4
		got, err := b.Import(t.Context(), bytes.NewReader(spoilt), int64(len(file)), "J. Marsh", Time)
		if err == nil && len(got.Records) > 0 { // a bit that nothing depends on, such as in a date of an entry
			for _, r := range got.Records {
				if whole, err := a.Get(t.Context(), r.Digest); err != nil || !reflect.DeepEqual(whole, r) {
					t.Errorf("byte %d: came as %v, %v", at, r, err)
				}
			}
		}
	}
	if _, err := b.Import(t.Context(), bytes.NewReader(file[:len(file)/2]), int64(len(file)/2), "J. Marsh", Time); err == nil {
		t.Error("half a file was imported")
	}
	Sound(t, b)
}

// Wander works at several stores at once as laptops do in the field: runs are made, corrected and merged in any order. In the end all hold the same.
func Wander(t *testing.T, runs int, seed uint64, stores ...*store.Store) {
	t.Logf("seed %d, %d runs", seed, runs)
	r := rand.New(rand.NewPCG(seed, 0))
	appended := make([]int, len(stores))
	for run := range runs {
		i := r.IntN(len(stores))
		s := stores[i]
		d := Draft("calibration", fmt.Sprintf("A-%04d", 401+r.IntN(14)), "Aldermere")
		d.Time = Time.Add(time.Duration(run) * time.Minute)
		d.Files = []store.Digest{Put(t, s, fmt.Sprintf("recording %d", run/2))} // some are on both
		current, err := s.Current(t.Context(), d.Kind, d.Key)
		if err != nil {
			t.Fatal(err)
		}
		if len(current) > 0 {
			d.Cites = []store.Digest{current[0].Digest}
			if r.IntN(3) == 0 {
				d.Replaces, d.Reason = []store.Digest{current[0].Digest}, "measured again"
			}
		}
		Append(t, s, d)
		appended[i]++
		for r.IntN(4) == 0 {
			Merge(t, stores[r.IntN(len(stores))], stores[r.IntN(len(stores))])
		}
	}
	for range 2 { // from each to the next, twice round: everything reaches everybody
		for i := range stores {
			Merge(t, stores[(i+1)%len(stores)], stores[i])
		}
	}
	Same(t, stores...)
	heads, err := stores[0].Heads(t.Context())
	if err != nil || len(heads) != len(stores) {
		t.Fatalf("heads %v, %v", heads, err)
	}
	for i, s := range stores {
		for _, h := range heads {
			if h.Chain == s.Home() && h.Seq != int64(appended[i]+1) {
				t.Errorf("%s made %d records, its chain has %d", s.Where(), appended[i]+1, h.Seq)
			}
		}
	}
}
