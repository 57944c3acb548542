package store_test

import (
	"database/sql"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"plumbline/internal/store"
	"plumbline/internal/store/storetest"
)

// soak is how often a test with chance in it runs: few in make test, all in make soak.
func soak(few, all int) int {
	if os.Getenv("PLUMBLINE_SOAK") != "" {
		return all
	}
	return few
}

// filled makes a store with records of every shape, closes it and returns its folder with the digest of its head.
func filled(t *testing.T, records int) (string, store.Digest) {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "store")
	s, err := store.Create(t.Context(), dir, storetest.Origin(1))
	if err != nil {
		t.Fatal(err)
	}
	var last store.Record
	for i := range records {
		d := storetest.Draft("calibration", fmt.Sprintf("A-%04d", i%14), "Aldermere", "10 V/g")
		d.Files = []store.Digest{storetest.Put(t, s, fmt.Sprint("recording ", i))}
		d.Body = []byte(`{"points": "` + strings.Repeat("0123456789", i*20) + `"}`)
		if i%3 == 2 {
			d.Replaces, d.Reason = []store.Digest{last.Digest}, "wrong cable"
		} else if i > 0 {
			d.Cites = []store.Digest{last.Digest}
		}
		last = storetest.Append(t, s, d)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	return dir, last.Digest
}

// everything is all that the tables of a database say, and the tables themselves.
func everything(t *testing.T, dir string) string {
	t.Helper()
	db, err := sql.Open("sqlite", filepath.Join(dir, "records.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	var b strings.Builder
	for _, q := range []string{"select type, name, tbl_name, sql, '', '', '', '' from sqlite_schema", "select id, chain, seq, digest, kind, key, time, content from records order by id",
		"select record, role, ord, target, '', '', '', '' from links order by 1, 2, 3", "select one, chain, '', '', '', '', '', '' from home"} {
		rows, err := db.Query(q)
		if err != nil {
			return err.Error()
		}
		for rows.Next() {
			var c [8]sql.NullString
			if err := rows.Scan(&c[0], &c[1], &c[2], &c[3], &c[4], &c[5], &c[6], &c[7]); err != nil {
				t.Fatal(err)
			}
			fmt.Fprintf(&b, "%+v\n", c)
		}
		if err := rows.Err(); err != nil {
			b.WriteString(err.Error())
		}
		rows.Close()
	}
	return b.String()
}

// problems are what opening and checking a folder say.
func problems(t *testing.T, dir string, heads ...store.Digest) []store.Problem {
	t.Helper()
	s, err := store.Open(t.Context(), dir, store.Options{ReadOnly: true})
	if err != nil {
		return []store.Problem{{Where: "open", What: err.Error()}}
	}
	defer s.Close()
	found, err := s.Check(t.Context(), heads...)
	if err != nil {
		t.Fatal(err)
	}
	return found
}

// TestFlippedByte flips bits anywhere in the file of the records. A check finds it, or nothing that the file says has changed: the bit lay where SQLite keeps nothing.
func TestFlippedByte(t *testing.T) {
	dir, head := filled(t, 60)
	name := filepath.Join(dir, "records.db")
	whole, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	if found := problems(t, dir, head); len(found) > 0 {
		t.Fatalf("before: %v", found)
	}
	before := everything(t, dir)
	const seed = 20261125
	r := rand.New(rand.NewPCG(seed, 1))
	n, found := soak(60, 5000), 0
	for range n {
		at, bit := r.IntN(len(whole)), byte(1)<<r.IntN(8)
		whole[at] ^= bit
		if err := os.WriteFile(name, whole, 0o644); err != nil {
			t.Fatal(err)
		}
		whole[at] ^= bit
		if len(problems(t, dir, head)) > 0 {
			found++
		} else if after := everything(t, dir); after != before {
			t.Errorf("seed %d: bit %#02x of byte %d of %d: nothing found, and what the file says has changed", seed, bit, at, len(whole))
		}
	}
	t.Logf("seed %d: %d of %d flipped bits found, the others lay in unused space of the file of %d bytes", seed, found, n, len(whole))
}

// TestTamperedColumn changes each column past the triggers, as somebody with a database program could.
func TestTamperedColumn(t *testing.T) {
	model, head := filled(t, 12)
	file, err := os.ReadFile(filepath.Join(model, "records.db"))
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ statement, want string }{
		{"update records set chain = replace(chain, 'a', 'b') where seq = 5", "columns"},
		{"update records set seq = 99 where seq = 13", "columns"},
		{"update records set digest = replace(digest, 'a', 'b') where seq = 5", "damaged"},
		{"update records set kind = 'asset' where seq = 5", "columns"},
		{"update records set key = 'A-9999' where seq = 5", "columns"},
		{"update records set time = '2027' where seq = 5", "columns"},
		{"update records set content = replace(content, 'wrong cable', 'right cable') where seq = 4", "damaged"},
		{"update links set target = 'a-9999' where role = 'word' and target = 'a-0003'", "index of row"},
		{"update links set ord = 77 where role = 'word' and target = 'a-0003'", "index of row"},
		{"update links set role = 'cites' where role = 'replaces'", "index of row"},
		{"delete from links where record = 5", "index of row 5: is missing"},
		{"insert into links values (5, 'word', 9, 'planted')", "index of row 5"},
		{"delete from links where record = 5; delete from records where seq = 5", "records 5 to 5 are missing"},
		{"delete from links where record = 13; delete from records where seq = 13", "known from outside"},
		{"update home set chain = 'x'", "no beginning"},
		{"delete from home", "own chain"},
		{"drop index records_by_time", "index records_by_time"},
		{"create table extra (a)", "table extra"},
		{"update goose_db_version set tstamp = 'x'", "version"},
	} {
		dir := filepath.Join(t.TempDir(), "store")
		if err := os.CopyFS(dir, os.DirFS(model)); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, "records.db"), file, 0o644); err != nil {
			t.Fatal(err)
		}
		s, err := store.Open(t.Context(), dir, store.Options{})
		if err != nil {
			t.Fatal(err)
		}
		drop := ""
		for _, trigger := range []string{"records_stay", "records_remain", "links_stay", "links_remain", "links_once", "home_stays", "home_remains"} {
			drop += "drop trigger " + trigger + ";"
		}
		if err := tamper(t, s, drop+c.statement); err != nil {
			t.Fatalf("%s: %v", c.statement, err)
		}
		found, err := s.Check(t.Context(), head)
		if err != nil {
			t.Fatal(err)
		}
		if text := fmt.Sprint(found); !strings.Contains(text, c.want) || !strings.Contains(text, "trigger records_stay") {
			t.Errorf("%s: %v, want %q and the missing trigger", c.statement, found, c.want)
		}
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	}
}

// TestStrangeFolder tries folders that are no stores.
func TestStrangeFolder(t *testing.T) {
	dir := t.TempDir()
	for _, o := range []store.Options{{}, {ReadOnly: true}} {
		if _, err := store.Open(t.Context(), filepath.Join(dir, "nothing"), o); err == nil || !strings.Contains(err.Error(), "no store") {
			t.Errorf("nothing there: %v", err)
		}
		if _, err := os.Stat(filepath.Join(dir, "nothing")); err == nil {
			t.Error("opening made a folder")
		}
	}
	if err := os.WriteFile(filepath.Join(dir, "records.db"), []byte(strings.Repeat("no database ", 1000)), 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := store.Open(t.Context(), dir, store.Options{}); err == nil || !strings.Contains(err.Error(), "records.db") {
		t.Errorf("no database: %v", err)
	}
	model, _ := filled(t, 1)
	if _, err := store.Create(t.Context(), model, storetest.Origin(2)); err == nil || !strings.Contains(err.Error(), "already") {
		t.Errorf("created over a store: %v", err)
	}
	s, err := store.Open(t.Context(), model, store.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if err := tamper(t, s, "insert into goose_db_version (version_id, is_applied) values (99, 1)"); err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	if _, err := store.Open(t.Context(), model, store.Options{}); err == nil || !strings.Contains(err.Error(), "version 99") {
		t.Errorf("newer tables: %v", err)
	}
}
