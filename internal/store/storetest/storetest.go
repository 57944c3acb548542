// Package storetest holds what every kind of store is tried with.
package storetest

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"reflect"
	"strings"
	"sync"
	"testing"
	"time"

	"plumbline/internal/store"
)

// Rig is one kind of store.
type Rig struct {
	// New makes a store that is empty but for the beginning of its chain, and cleans up with the test.
	New func(t *testing.T, o store.Origin) *store.Store
	// Again opens the same store once more, as another program would.
	Again func(t *testing.T, s *store.Store) *store.Store
	// Tamper runs a statement past the store, on the database itself; the error is the database's.
	Tamper func(t *testing.T, s *store.Store, statement string) error
	// Spoil changes a byte of a file that is kept; Lose takes the file away.
	Spoil, Lose func(t *testing.T, s *store.Store, d store.Digest)
}

// Time is when the suite's records are made; each draft adds what it likes.
var Time = time.Date(2026, 3, 2, 9, 30, 0, 0, time.UTC)

// Chain is the name of a chain for tests, of a number.
func Chain(n int) store.Chain { return store.Chain(fmt.Sprintf("%032x", 0xa0000000+n)) }

// Origin is an installation for tests.
func Origin(n int) store.Origin {
	return store.Origin{Chain: Chain(n), Name: fmt.Sprintf("laptop %d", n), By: "J. Marsh", Time: Time}
}

// Draft is a draft for tests.
func Draft(kind, key string, more ...string) store.Draft {
	return store.Draft{Kind: kind, Key: key, Terms: more, By: "J. Marsh", Time: Time, Body: []byte(`{"serial": "` + key + `",  "spaces": "stay"}`)}
}

// Run tries the contract.
func Run(t *testing.T, rig Rig) {
	for _, c := range []struct {
		name string
		try  func(*testing.T, Rig)
	}{
		{"a record comes back as it was", roundTrip},
		{"a chain names each predecessor", chained},
		{"bad drafts are refused", refuses},
		{"corrections", corrections},
		{"only one current", only},
		{"together or not at all", together},
		{"queries", queries},
		{"files", files},
		{"files that fail half way", brokenFiles},
		{"nothing is changed or deleted", appendOnly},
		{"a sound store has no problems", sound},
		{"spoilt and lost files are found", spoilt},
		{"a cut tail shows against a head", cutTail},
		{"many writers", manyWriters},
		{"a cancelled context ends it", cancelled},
	} {
		t.Run(c.name, func(t *testing.T) { c.try(t, rig) })
	}
}

// Append appends or ends the test.
func Append(t *testing.T, s *store.Store, d store.Draft) store.Record {
	t.Helper()
	r, err := s.Append(t.Context(), d)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// Put keeps a text or ends the test.
func Put(t *testing.T, s *store.Store, text string) store.Digest {
	t.Helper()
	d, n, err := s.PutFile(t.Context(), strings.NewReader(text))
	if err != nil || n != int64(len(text)) {
		t.Fatalf("put %d bytes: %d, %v", len(text), n, err)
	}
	return d
}

// Sound ends the test where a check finds something.
func Sound(t *testing.T, s *store.Store, heads ...store.Digest) {
	t.Helper()
	found, err := s.Check(t.Context(), heads...)
	if err != nil {
		t.Fatal(err)
	}
	if len(found) > 0 {
		t.Fatalf("check: %d problems, the first %v", len(found), found[0])
	}
}

// finds wants exactly one line of problems to hold every text.
func finds(t *testing.T, s *store.Store, heads []store.Digest, texts ...string) {
	t.Helper()
	found, err := s.Check(t.Context(), heads...)
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range found {
		all := true
		for _, text := range texts {
			all = all && strings.Contains(p.String(), text)
		}
		if all {
			return
		}
	}
	t.Errorf("check found %v, want a problem with %q", found, texts)
}

// wants compares an error with texts it must hold.
func wants(t *testing.T, err error, texts ...string) {
	t.Helper()
	if err == nil {
		t.Errorf("no error, want one with %q", texts)
		return
	}
	for _, text := range texts {
		if !strings.Contains(err.Error(), text) {
			t.Errorf("%v, want %q in it", err, text)
		}
	}
}

func roundTrip(t *testing.T, rig Rig) {
	s := rig.New(t, Origin(1))
	file := Put(t, s, "samples")
	asset := Append(t, s, Draft("asset", "R-201"))
	d := store.Draft{Kind: "calibration", Key: "A-0401", Terms: []string{"Aldermere", "Ångström µ 10 V/g", "a:b\u2028c"}, Cites: []store.Digest{asset.Digest}, By: "Ö. Marsh",
		Time: time.Date(2026, 3, 2, 10, 0, 0, 123456789, time.FixedZone("", 3600)), Files: []store.Digest{file}, Body: []byte("{\n \"a\" :1.50e0,\t\"b\":\"\\u0000é\" }\n")}
	r := Append(t, s, d)
	if r.Seq != 3 || r.Chain != Chain(1) || r.Prev != asset.Digest {
		t.Errorf("place %d of chain %s after %s, want 3 of %s after %s", r.Seq, r.Chain, r.Prev, Chain(1), asset.Digest)
	}
	got, err := rig.Again(t, s).Get(t.Context(), r.Digest)
	if err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(got, r) {
		t.Errorf("came back as\n%+v, put was\n%+v", got, r)
	}
	if !bytes.Equal(got.Body, d.Body) || !got.Time.Equal(d.Time) || !reflect.DeepEqual(got.Terms, d.Terms) {
		t.Errorf("came back as %+v, drafted was %+v", got, d)
	}
	if h := sha256.Sum256(got.Content()); hex.EncodeToString(h[:]) != string(got.Digest) {
		t.Errorf("digest %s is not that of the content", got.Digest)
	}
	if at, err := s.At(t.Context(), r.Chain, r.Seq); err != nil || at.Digest != r.Digest {
		t.Errorf("at its place: %v, %v", at, err)
	}
	if _, err := s.Get(t.Context(), store.Digest(strings.Repeat("0", 64))); !errors.Is(err, store.ErrNotFound) {
		t.Errorf("unknown digest: %v", err)
	}
	if _, err := s.Get(t.Context(), "nonsense"); err == nil {
		t.Error("nonsense is no digest")
	}
}

func chained(t *testing.T, rig Rig) {
	s := rig.New(t, Origin(1))
	h, err := s.Head(t.Context())
	if err != nil || h.Seq != 1 || s.Home() != Chain(1) {
		t.Fatalf("head %+v of %s: %v", h, s.Home(), err)
	}
	first, err := s.Get(t.Context(), h.Digest)
	if err != nil || first.Kind != store.KindChain || first.Prev != "" || !strings.Contains(string(first.Body), "laptop 1") {
		t.Errorf("first record %+v: %v", first, err)
	}
	prev := h.Digest
	for i := range 5 {
		r := Append(t, s, Draft("asset", fmt.Sprintf("A-040%d", i)))
		if r.Prev != prev || r.Seq != int64(i+2) {
			t.Errorf("record %d has %s before it, want %s", r.Seq, r.Prev, prev)
		}
		prev = r.Digest
	}
	heads, err := s.Heads(t.Context())
	if want := []store.Head{{Chain: Chain(1), Seq: 6, Digest: prev}}; err != nil || !reflect.DeepEqual(heads, want) {
		t.Errorf("heads %v, %v; want %v", heads, err, want)
	}
}

func refuses(t *testing.T, rig Rig) {
	s := rig.New(t, Origin(1))
	absent := store.Digest(strings.Repeat("ab", 32))
	other := Append(t, s, Draft("exciter", "X-12"))
	for _, c := range []struct {
		spoil func(*store.Draft)
		want  []string
	}{
		{func(d *store.Draft) { d.Kind = "" }, []string{"kind"}},
		{func(d *store.Draft) { d.Kind = "Asset" }, []string{`kind "Asset"`, "lower-case"}},
		{func(d *store.Draft) { d.Kind = store.KindImport }, []string{"the store's own"}},
		{func(d *store.Draft) { d.Key = "" }, []string{"key", "empty"}},
		{func(d *store.Draft) { d.Key = " A-0401" }, []string{"key", "space"}},
		{func(d *store.Draft) { d.Key = "A\n0401" }, []string{"key", "control"}},
		{func(d *store.Draft) { d.Key = "A\xff" }, []string{"key", "UTF-8"}},
		{func(d *store.Draft) { d.Key = strings.Repeat("A", 401) }, []string{"401 bytes", "400"}},
		{func(d *store.Draft) { d.Terms = []string{""} }, []string{"term", "empty"}},
		{func(d *store.Draft) { d.By = "" }, []string{"who", "empty"}},
		{func(d *store.Draft) { d.Time = time.Time{} }, []string{"time"}},
		{func(d *store.Draft) { d.Body = nil }, []string{"body of 0 bytes", "JSON"}},
		{func(d *store.Draft) { d.Body = []byte("{") }, []string{"body", "JSON"}},
		{func(d *store.Draft) { d.Body = []byte("\"\xff\"") }, []string{"body", "UTF-8"}},
		{func(d *store.Draft) { d.Reason = "why" }, []string{"reason", "without a record"}},
		{func(d *store.Draft) { d.Cites = []store.Digest{absent} }, []string{"cited", string(absent), "not in this store"}},
		{func(d *store.Draft) { d.Cites = []store.Digest{"x"} }, []string{"cited", "64 hexadecimal"}},
		{func(d *store.Draft) { d.Files = []store.Digest{absent} }, []string{"file", string(absent), "not in this store"}},
		{func(d *store.Draft) { d.Cites = []store.Digest{other.Digest, other.Digest} }, []string{"named twice"}},
		{func(d *store.Draft) { d.Replaces, d.Reason = []store.Digest{absent}, "typing error" }, []string{"replaced", "not in this store"}},
		{func(d *store.Draft) { d.Replaces = []store.Digest{other.Digest} }, []string{"reason", "empty"}},
		{func(d *store.Draft) { d.Replaces, d.Reason = []store.Digest{other.Digest}, "typing error" }, []string{"exciter X-12", "allowed is a record of kind asset"}},
	} {
		d := Draft("asset", "A-0401")
		c.spoil(&d)
		_, err := s.Append(t.Context(), d)
		wants(t, err, c.want...)
	}
	if h, err := s.Head(t.Context()); err != nil || h.Digest != other.Digest {
		t.Errorf("head after refusals %v, %v", h, err)
	}
	Sound(t, s)
}

func corrections(t *testing.T, rig Rig) {
	s := rig.New(t, Origin(1))
	wrong := Append(t, s, Draft("asset", "A-0401"))
	d := Draft("asset", "A-0401")
	d.Replaces, d.Reason, d.Time = []store.Digest{wrong.Digest}, "nominal sensitivity mistyped", Time.Add(time.Hour)
	right := Append(t, s, d)
	current, err := s.Current(t.Context(), "asset", "A-0401")
	if err != nil || len(current) != 1 || current[0].Digest != right.Digest {
		t.Errorf("current %v, %v", current, err)
	}
	history, err := s.History(t.Context(), "asset", "A-0401")
	if err != nil || len(history) != 2 || history[0].Digest != right.Digest || history[1].Digest != wrong.Digest || history[0].Reason != d.Reason {
		t.Errorf("history %v, %v", history, err)
	}
	_, err = s.Append(t.Context(), d)
	if !errors.Is(err, store.ErrReplaced) {
		t.Errorf("replacing twice: %v", err)
	}
	wants(t, err, "record 2 of chain", string(right.Digest))
}

func only(t *testing.T, rig Rig) {
	s := rig.New(t, Origin(1))
	d := Draft("certificate", "FL-2026-001")
	d.Only = true
	first := Append(t, s, d)
	_, err := s.Append(t.Context(), d)
	if !errors.Is(err, store.ErrNotOnly) {
		t.Errorf("same number again: %v", err)
	}
	d.Replaces, d.Reason = []store.Digest{first.Digest}, "amended"
	Append(t, s, d)
}

func together(t *testing.T, rig Rig) {
	s := rig.New(t, Origin(1))
	before, err := s.Head(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	stop := errors.New("changed my mind")
	err = s.Together(t.Context(), func(w *store.Writer) error {
		if _, err := w.Append(t.Context(), Draft("asset", "A-0401")); err != nil {
			return err
		}
		return stop
	})
	if after, e := s.Head(t.Context()); !errors.Is(err, stop) || e != nil || after != before {
		t.Errorf("given up: %v, head %v, was %v", err, after, before)
	}
	err = s.Together(t.Context(), func(w *store.Writer) error {
		a, err := w.Append(t.Context(), Draft("asset", "A-0401"))
		if err != nil {
			return err
		}
		d := Draft("calibration", "A-0401")
		d.Cites = []store.Digest{a.Digest}
		_, err = w.Append(t.Context(), d)
		return err
	})
	if after, e := s.Head(t.Context()); err != nil || e != nil || after.Seq != 3 {
		t.Errorf("both kept: %v, head %v", err, after)
	}
	Sound(t, s)
}

func queries(t *testing.T, rig Rig) {
	s := rig.New(t, Origin(1))
	ref := Append(t, s, Draft("reference", "R-201", "Fenwick Lane"))
	file := Put(t, s, "samples")
	for i, key := range []string{"A-0401", "A-0402", "A-0403", "A-0401"} {
		d := Draft("calibration", key, "Aldermere footbridge", "10 V/g")
		d.Time, d.Cites = Time.Add(time.Duration(i)*time.Hour), []store.Digest{ref.Digest}
		if i == 2 {
			d.Files = []store.Digest{file}
		}
		Append(t, s, d)
	}
	for _, c := range []struct {
		name string
		q    store.Query
		want string
	}{
		{"all of a kind, newest first", store.Query{Kind: "calibration"}, "A-0401 A-0403 A-0402 A-0401"},
		{"newest two", store.Query{Kind: "calibration", Limit: 2}, "A-0401 A-0403"},
		{"key", store.Query{Key: "A-0401"}, "A-0401 A-0401"},
		{"whole key as a word", store.Query{Words: "a-0402"}, "A-0402"},
		{"part of the key", store.Query{Words: "0403"}, "A-0403"},
		{"beginning of a word", store.Query{Words: "fen"}, "R-201"},
		{"all words", store.Query{Words: "ALDERMERE foot 0401"}, "A-0401 A-0401"},
		{"one word too many", store.Query{Words: "aldermere tower"}, ""},
		{"no wildcard", store.Query{Words: "a%"}, ""},
		{"cites", store.Query{Cites: ref.Digest, Kind: "calibration", Limit: 1}, "A-0401"},
		{"names a file", store.Query{Names: file}, "A-0403"},
		{"current", store.Query{Kind: "reference", Current: true}, "R-201"},
	} {
		all, err := s.Find(t.Context(), c.q)
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
		}
		var keys, one []string
		for _, r := range all {
			keys = append(keys, r.Key)
		}
		for r, err := range s.Each(t.Context(), c.q) {
			if err != nil {
				t.Errorf("%s: %v", c.name, err)
			}
			one = append(one, r.Key)
		}
		if got := strings.Join(keys, " "); got != c.want || strings.Join(one, " ") != got {
			t.Errorf("%s: %q, one by one %q; want %q", c.name, keys, one, c.want)
		}
	}
}

func appendOnly(t *testing.T, rig Rig) {
	s := rig.New(t, Origin(1))
	Append(t, s, Draft("asset", "A-0401"))
	for _, statement := range []string{
		"update records set key = 'A-0402' where seq = 2",
		"delete from records where seq = 2",
		"update links set target = 'x'",
		"delete from links",
		"update home set chain = 'x'",
		"delete from home",
		"insert into home (one, chain) values (1, 'x')",
	} {
		if err := rig.Tamper(t, s, statement); err == nil {
			t.Errorf("%s: was done", statement)
		}
	}
	Sound(t, s)
}

func sound(t *testing.T, rig Rig) {
	s := rig.New(t, Origin(1))
	d := Draft("calibration", "A-0401", "Aldermere")
	for i := range 20 {
		d.Files = []store.Digest{Put(t, s, fmt.Sprint("recording ", i))}
		d.Cites = []store.Digest{Append(t, s, d).Digest}
	}
	Put(t, s, "named by nothing: a program ended before it came to that")
	h, err := s.Head(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	Sound(t, s, h.Digest)
}

func cutTail(t *testing.T, rig Rig) {
	s := rig.New(t, Origin(1))
	r := Append(t, s, Draft("asset", "A-0401"))
	Sound(t, s, r.Digest)
	lost := store.Digest(strings.Repeat("ab", 32))
	finds(t, s, []store.Digest{r.Digest, lost}, string(lost), "known from outside")
}

func manyWriters(t *testing.T, rig Rig) {
	s := rig.New(t, Origin(1))
	other := rig.Again(t, s)
	var group sync.WaitGroup
	const each = 15
	for i := range 4 {
		of := []*store.Store{s, other}[i%2]
		group.Go(func() {
			for j := range each {
				d := Draft("asset", fmt.Sprintf("A-%d-%d", i, j))
				file, _, err := of.PutFile(t.Context(), strings.NewReader(fmt.Sprint("shared by all ", j)))
				d.Files = []store.Digest{file}
				if err == nil {
					_, err = of.Append(t.Context(), d)
				}
				if err != nil {
					t.Error(err)
				}
				if _, err := of.Search(t.Context(), "A", 3); err != nil {
					t.Error(err)
				}
			}
		})
	}
	group.Wait()
	if h, err := s.Head(t.Context()); err != nil || h.Seq != 4*each+1 {
		t.Errorf("head %v, %v", h, err)
	}
	Sound(t, s)
}

func cancelled(t *testing.T, rig Rig) {
	s := rig.New(t, Origin(1))
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := s.Append(ctx, Draft("asset", "A-0401")); !errors.Is(err, context.Canceled) {
		t.Errorf("append: %v", err)
	}
	if _, _, err := s.PutFile(ctx, strings.NewReader("x")); !errors.Is(err, context.Canceled) {
		t.Errorf("put: %v", err)
	}
	if _, err := s.Check(ctx); !errors.Is(err, context.Canceled) {
		t.Errorf("check: %v", err)
	}
	Append(t, s, Draft("asset", "A-0401"))
	Sound(t, s)
}
