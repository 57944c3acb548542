package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func TestLayOut(t *testing.T) {
	osv, out := t.TempDir(), filepath.Join(t.TempDir(), "db")
	write := func(name, text string) {
		if err := os.WriteFile(filepath.Join(osv, name), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	write("GO-2000-0002.json", `{"id":"GO-2000-0002","modified":"2001-01-01T00:00:00Z","affected":[{"package":{"name":"example.org/b"}},{"package":{"name":"example.org/b"}},{"package":{"name":"example.org/a"}}]}`)
	write("GO-2000-0001.json", `{"id":"GO-2000-0001","modified":"2002-01-01T00:00:00Z","aliases":["CVE-1"],"affected":[{"package":{"name":"example.org/b"}}]}`)
	if n, err := layOut(osv, out); err != nil || n != 2 {
		t.Fatalf("%d advisories, %v", n, err)
	}
	for file, want := range map[string]string{
		"index/db.json":      `{"modified":"2002-01-01T00:00:00Z"}`,
		"index/modules.json": `[{"path":"example.org/a","vulns":[{"id":"GO-2000-0002","modified":"2001-01-01T00:00:00Z"}]},{"path":"example.org/b","vulns":[{"id":"GO-2000-0001","modified":"2002-01-01T00:00:00Z"},{"id":"GO-2000-0002","modified":"2001-01-01T00:00:00Z"}]}]`,
		"index/vulns.json":   `[{"id":"GO-2000-0001","modified":"2002-01-01T00:00:00Z","aliases":["CVE-1"]},{"id":"GO-2000-0002","modified":"2001-01-01T00:00:00Z"}]`,
	} {
		got, err := os.ReadFile(filepath.Join(out, file))
		if err != nil || string(got) != want {
			t.Errorf("%s: %s, %v; want %s", file, got, err, want)
		}
	}
	if _, err := os.Stat(filepath.Join(out, "ID", "GO-2000-0001.json")); err != nil {
		t.Error(err)
	}

	write("GO-2000-0003.json", `{"id":"GO-2000-0004"}`)
	if _, err := layOut(osv, out); err == nil || !strings.Contains(err.Error(), "GO-2000-0004") {
		t.Errorf("an advisory in the wrong file: error %v", err)
	}
	if _, err := layOut(t.TempDir(), out); err == nil {
		t.Error("an empty database is accepted: it would find nothing")
	}
}
