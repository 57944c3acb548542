package main

import (
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
)

// The events are those of go test -json (go doc test2json), shortened.
const events = `{"Action":"start","Package":"p/a"}
{"Action":"output","Package":"p/a","Test":"TestGood","Output":"=== RUN   TestGood\n"}
{"Action":"pass","Package":"p/a","Test":"TestGood","Elapsed":0.1}
{"Action":"output","Package":"p/a","Test":"TestBad/first","Output":"    a_test.go:7: got 1, want 2\n"}
{"Action":"fail","Package":"p/a","Test":"TestBad/first","Elapsed":0}
{"Action":"fail","Package":"p/a","Test":"TestBad","Elapsed":0}
{"Action":"output","Package":"p/a","Test":"TestAbsent","Output":"    a_test.go:9: no shared recordings in ../shared\n"}
{"Action":"skip","Package":"p/a","Test":"TestAbsent","Elapsed":0}
{"Action":"output","Package":"p/a","Test":"TestParent/lazy","Output":"    a_test.go:11: slow\n"}
{"Action":"skip","Package":"p/a","Test":"TestParent/lazy","Elapsed":0}
{"Action":"pass","Package":"p/a","Test":"TestParent","Elapsed":0}
{"Action":"fail","Package":"p/a","Elapsed":0.5}
{"ImportPath":"p/b","Action":"build-output","Output":"b.go:1: syntax error\n"}
{"ImportPath":"p/b","Action":"build-fail"}
{"Action":"fail","Package":"p/b","Elapsed":0,"FailedBuild":"p/b"}
{"Action":"skip","Package":"p/empty","Elapsed":0}
`

func TestReportCountsTopLevelTestsAndEverySkip(t *testing.T) {
	var out strings.Builder
	got, err := report(&out, strings.NewReader(events))
	if err != nil {
		t.Fatal(err)
	}
	// Passed: TestGood, TestParent. Failed: TestBad, the unexcused skip, the package that did not build. Skipped: TestAbsent.
	if want := (counts{2, 3, 1}); got != want {
		t.Errorf("counts %v, want %v\n%s", got, want, out.String())
	}
	for _, want := range []string{"got 1, want 2", "syntax error", "no shared recordings", "slow"} {
		if !strings.Contains(out.String(), want) {
			t.Errorf("the report does not show %q:\n%s", want, out.String())
		}
	}
	if s := got.String(); s != "2 passed, 3 failed, 1 skipped" {
		t.Errorf("counting line %q", s)
	}
}

func TestReportShowsWhatIsNotAnEvent(t *testing.T) {
	var out strings.Builder
	if _, err := report(&out, strings.NewReader("go: something is wrong\n")); err != nil || !strings.Contains(out.String(), "something is wrong") {
		t.Errorf("err %v, output %q", err, out.String())
	}
}

func TestSurveyFindsGoroutinesAndFuzzTargets(t *testing.T) {
	root := t.TempDir()
	for name, text := range map[string]string{
		"a/a.go":            "package a\nfunc F() { go F() }\n",
		"a/a_test.go":       "package a\nfunc FuzzTwo() {}\nfunc FuzzOne() {}\n",
		"b/b.go":            "package b\n",
		"d/d.go":            "package d\nimport \"sync\"\nfunc F() { var w sync.WaitGroup; w.Go(F) }\n",
		"c/c_test.go":       "package c\nfunc F() { go F() }\n",
		"tools/go.mod":      "module other\n",
		"tools/x.go":        "package x\n",
		"a/testdata/bad.go": "not go",
	} {
		file := filepath.Join(root, name)
		if err := os.MkdirAll(filepath.Dir(file), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(file, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	got, err := survey(root)
	want := []pkg{
		{path: "./a", tested: true, goroutines: true, fuzz: []string{"FuzzOne", "FuzzTwo"}},
		{path: "./b"},
		{path: "./c", tested: true},
		{path: "./d", goroutines: true},
	}
	if err != nil || !reflect.DeepEqual(got, want) {
		t.Errorf("survey: %+v, %v; want %+v", got, err, want)
	}
}
