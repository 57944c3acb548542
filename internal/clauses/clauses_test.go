package clauses

import (
	"bytes"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"testing/fstest"
)

func TestPageIsCurrent(t *testing.T) {
	root := filepath.Join("..", "..")
	all, err := Gather(os.DirFS(root))
	if err != nil {
		t.Fatal(err)
	}
	if len(all) == 0 {
		t.Fatal("no clause found in the sources")
	}
	page, err := os.ReadFile(filepath.Join(root, "CLAUSES.md"))
	if err != nil {
		t.Fatal(err)
	}
	if want := Render(all); !bytes.Equal(page, want) {
		t.Errorf("CLAUSES.md is stale: run `make clauses`")
	}
}

func files(texts map[string]string) fstest.MapFS {
	tree := fstest.MapFS{}
	for name, text := range texts {
		tree[name] = &fstest.MapFile{Data: []byte(text)}
	}
	return tree
}

func TestGather(t *testing.T) {
	got, err := Gather(files(map[string]string{
		"a/a.go": `// Package a is one.
package a

// F does.
//
// Clause: ISO 16063-21:2003 5.10
// Clause: JCGM 100:2008 5.1.2
func F() {}

// Clause: GUM 5.1.2
func (t *T) M() {}

// T is.
// Clause: ISO 16063-21:2003 5.2
type T struct{}

const (
	// A is.
	A = 1
	// B is. Clause: not at the start of a line.
	// Clause: ISO/IEC 17025:2017 7.8.6.2 (b)
	B = 2
)
`,
		"a/a_test.go":       "package a\n\n// Verifies: GUM 5.1.2\nfunc TestF() {}\n",
		"a/testdata/b.go":   "not go",
		"node_modules/c.go": "not go",
	}))
	if err != nil {
		t.Fatal(err)
	}
	want := []Clause{
		{"GUM", "5.1.2", []string{"a.F", "a.T.M"}, []string{"a.TestF"}},
		{"ISO 16063-21:2003", "5.2", []string{"a.T"}, nil},
		{"ISO 16063-21:2003", "5.10", []string{"a.F"}, nil},
		{"ISO/IEC 17025:2017", "7.8.6.2 (b)", []string{"a.B"}, nil},
	}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("clauses\n%+v, want\n%+v", got, want)
	}
	page := string(Render(got))
	for _, row := range []string{"4 clauses, 1 of them", "## GUM", "| 5.1.2 | `a.F`, `a.T.M` | `a.TestF` |", "| 5.10 | `a.F` |  |"} {
		if !strings.Contains(page, row) {
			t.Errorf("the page lacks %q:\n%s", row, page)
		}
	}
}

func TestGatherRefuses(t *testing.T) {
	for want, texts := range map[string]map[string]string{
		"a.go:2: clause line \"\"":         {"a.go": "package a\n// Clause:\nfunc F() {}\n"},
		"found no clause behind":           {"a.go": "package a\n// Clause: ISO 16063-21:2003\nfunc F() {}\n"},
		"found no clause behind a":         {"a.go": "package a\n// Clause: GUM\nfunc F() {}\n"},
		"which no Clause: line implements": {"a_test.go": "package a\n// Verifies: GUM 5.1.2\nfunc F() {}\n"},
		"Verifies: lines belong in a test": {"a.go": "package a\n// Verifies: GUM 5.1.2\nfunc F() {}\n"},
		"Clause: lines belong in what":     {"a_test.go": "package a\n// Clause: GUM 5.1.2\nfunc F() {}\n"},
	} {
		if _, err := Gather(files(texts)); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("error %v, want %q", err, want)
		}
	}
}
