// Package plumbline_test holds the rules of the house: what may import what, which packages only compute, how a file must look.
package plumbline_test

import (
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// room is a package, or with a pattern ending in /* every package below it, with the packages of this module it may import.
type room struct {
	name     string
	imports  []string
	computes bool // only computes: no files, network, log, database, clock or hidden randomness
}

// top are the packages that read as the measurement does.
var top = []string{"quantity", "recording", "sine", "steady", "uncertainty", "calibration", "plan", "conformity", "history", "figure", "certificate", "certificate/*", "channel"}

// rooms is the house's plan. A package that is not in it is refused: add its line here and to ARCHITECTURE.md.
var rooms = []room{
	{name: "quantity", computes: true},
	{name: "recording", computes: true, imports: []string{"quantity"}},
	{name: "sine", computes: true, imports: []string{"quantity"}},
	{name: "steady", computes: true, imports: []string{"quantity"}},
	{name: "steady/study", computes: true, imports: []string{"steady"}},
	{name: "uncertainty", computes: true, imports: []string{"quantity"}},
	{name: "calibration", computes: true, imports: []string{"quantity", "recording", "sine", "steady", "uncertainty"}},
	{name: "channel", computes: true, imports: []string{"recording", "sine", "steady"}},
	{name: "plan", computes: true, imports: []string{"quantity", "uncertainty", "calibration"}},
	{name: "conformity", computes: true, imports: []string{"quantity", "uncertainty", "calibration"}},
	{name: "history", computes: true, imports: []string{"uncertainty", "conformity"}},
	{name: "figure", computes: true, imports: []string{"quantity"}},
	{name: "certificate", computes: true, imports: []string{"quantity", "steady", "uncertainty", "calibration", "conformity", "figure"}},
	{name: "certificate/*", computes: true, imports: []string{"quantity", "steady", "uncertainty", "calibration", "conformity", "figure", "certificate"}},
	{name: "bench", imports: []string{"quantity", "recording", "sine", "steady", "plan"}},
	{name: "bench/benchtest", imports: []string{"quantity", "recording", "sine", "steady", "bench"}},
	{name: "internal/assets"},
	{name: "internal/clauses"},
	{name: "internal/clauses/cmd", imports: []string{"internal/clauses"}},
	{name: "internal/format", imports: []string{"quantity", "recording"}},
	{name: "internal/format/*", imports: []string{"quantity", "recording", "internal/format"}},
	{name: "internal/simulator", imports: []string{"quantity", "recording", "bench"}},
	{name: "internal/driver/*", imports: []string{"quantity", "recording", "bench"}},
	{name: "internal/driver/audio/audiotest"},
	{name: "internal/driver/scpi/scpitest"},
	{name: "internal/driver/scpi/scpitest/cmd", imports: []string{"internal/driver/scpi/scpitest"}},
	{name: "internal/run", imports: []string{"quantity", "recording", "steady", "bench", "internal/format", "internal/format/wav"}},
	{name: "internal/guard"},
	{name: "internal/planfile", imports: []string{"quantity", "calibration", "plan"}},
	{name: "internal/jobfile", imports: []string{"quantity", "recording", "steady", "uncertainty", "calibration", "plan", "conformity", "certificate"}},
	{name: "internal/resultfile", imports: top},
	{name: "internal/store"},
	{name: "internal/store/storetest", imports: []string{"internal/store"}},
	{name: "internal/lab", imports: append(slices.Clone(top), "bench", "internal/jobfile", "internal/resultfile", "internal/format", "internal/run")},
	{name: "internal/validation", imports: append(slices.Clone(top), "steady/study", "bench", "internal/simulator")},
	{name: "cmd/plumbline", imports: []string{wholeWorld}},
	{name: "scripts/*"},
}

// besides is what the tests of any package may import on top of that: recordings to test with come from
// the simulator and the readers, benches from their suite, instruments from the scriptable one.
var besides = append(slices.Clone(top), "bench", "bench/benchtest", "internal/simulator", "internal/format", "internal/format/*", "internal/driver/audio/audiotest", "internal/driver/scpi/scpitest", "internal/assets")

func TestHouse(t *testing.T) {
	sources, err := goFiles(".")
	if err != nil {
		t.Fatal(err)
	}
	if len(sources) < 10 { // a walk that finds nothing would pass every rule
		t.Fatalf("only %d Go files found", len(sources))
	}
	for _, f := range inspect(sources) {
		t.Error(f)
	}
}

// TestPlanIsDrawn compares the rooms with the table of ARCHITECTURE.md, in order, and looks for rooms that stand empty.
func TestPlanIsDrawn(t *testing.T) {
	page, err := os.ReadFile("ARCHITECTURE.md")
	if err != nil {
		t.Fatal(err)
	}
	_, table, _ := strings.Cut(string(page), "| package | may import |\n|---|---|\n")
	table, _, _ = strings.Cut(table, "\n\n")
	var want []string
	for _, r := range rooms {
		star, imports := "", "-"
		if r.computes {
			star = " *"
		}
		if len(r.imports) > 0 {
			imports = strings.Join(r.imports, ", ")
			imports = strings.Replace(imports, strings.Join(top, ", "), "top", 1)
			if slices.Equal(r.imports, []string{wholeWorld}) {
				imports = "everything"
			}
		}
		want = append(want, "| "+r.name+star+" | "+imports+" |")
		if found, err := filepath.Glob(r.name + "/*.go"); err != nil || len(found) == 0 {
			t.Errorf("room %s holds no Go file", r.name)
		}
	}
	if got := strings.Join(want, "\n"); got != table {
		t.Errorf("the table of ARCHITECTURE.md is\n%s\n\nthe house is\n%s", table, got)
	}
}

// TestHouseBites plants one violation of every rule and expects it to be named.
func TestHouseBites(t *testing.T) {
	const doc = "// Package p does one thing.\n"
	for _, c := range []struct{ rule, path, text, want string }{
		{"clean", "sine/a.go", doc + "package sine\nimport \"plumbline/quantity\"\nvar g = quantity.StandardGravity\n", ""},
		{"direction", "sine/a.go", doc + "package sine\nimport _ \"plumbline/calibration\"\n", "may not import plumbline/calibration"},
		{"renamed import", "quantity/a.go", doc + "package quantity\nimport x \"plumbline/sine\"\nvar y = x.Z\n", "may not import plumbline/sine"},
		{"test import", "sine/a_test.go", doc + "package sine\nimport _ \"plumbline/internal/lab\"\n", "may not import plumbline/internal/lab"},
		{"test import allowed", "sine/a_test.go", doc + "package sine_test\nimport _ \"plumbline/internal/simulator\"\n", ""},
		{"adapters", "internal/format/wav/a.go", doc + "package wav\nimport _ \"plumbline/internal/format/flac\"\n", "may not import plumbline/internal/format/flac"},
		{"unknown room", "attic/a.go", doc + "package attic\n", "no room"},
		{"files", "certificate/pdf/a.go", doc + "package pdf\nimport _ \"os\"\n", "only computes: it may not import os"},
		{"network", "sine/a.go", doc + "package sine\nimport _ \"net/http\"\n", "may not import net/http"},
		{"log", "sine/a.go", doc + "package sine\nimport _ \"log/slog\"\n", "may not import log/slog"},
		{"database", "sine/a.go", doc + "package sine\nimport _ \"database/sql\"\n", "may not import database/sql"},
		{"files in a test", "sine/a_test.go", doc + "package sine\nimport _ \"os\"\n", ""},
		{"clock", "sine/a.go", doc + "package sine\nimport \"time\"\nvar t = time.Now()\n", "time.Now"},
		{"clock by another name", "sine/a.go", doc + "package sine\nimport t \"time\"\nvar f = t.Now\n", "time.Now"},
		{"time is allowed", "sine/a.go", doc + "package sine\nimport \"time\"\nvar d time.Duration\n", ""},
		{"hidden randomness", "sine/a.go", doc + "package sine\nimport \"math/rand/v2\"\nvar x = rand.Float64()\n", "rand.Float64"},
		{"seeded randomness", "sine/a.go", doc + "package sine\nimport \"math/rand/v2\"\nvar x = rand.New(rand.NewPCG(1, 2))\n", ""},
		{"init", "internal/lab/a.go", doc + "package lab\nfunc init() {}\n", "init"},
		{"mutated variable", "internal/lab/a.go", doc + "package lab\nvar m = map[string]int{}\nfunc Add(k string) { m[k] = 1 }\n", "package variable m"},
		{"counted variable", "internal/lab/a.go", doc + "package lab\nvar n int\nfunc Add() { n++ }\n", "package variable n"},
		{"shadowing is no mutation", "internal/lab/a.go", doc + "package lab\nvar n int\nfunc Add() { n := n; n++ }\n", ""},
		{"no package comment", "sine/a.go", "package sine\n", "no package comment"},
		{"two sentences", "sine/a.go", "// Package sine does this. It does that too.\npackage sine\n", "one sentence"},
		{"long file", "sine/a.go", doc + "package sine\n" + strings.Repeat("//\n", 500), "lines"},
		{"unfinished", "sine/a.go", doc + "package sine\n// TO" + "DO: finish\n", "unfinished"},
		{"silent skip", "sine/a_test.go", doc + "package sine\nfunc f(t T) { t.Skip" + "() }\n", "skip without a reason"},
		{"machine path", "sine/a.go", doc + "package sine\nconst p = \"/wo" + "rk/main\"\n", "path of one machine"},
		{"empty name", "sine/a.go", doc + "package sine\ntype BlockManager struct{}\n", "says nothing"},
		{"empty package name", "sine/a.go", doc + "package utils\n", "says nothing"},
		{"does not parse", "sine/a.go", "package", "expected"},
	} {
		findings := inspect([]source{{c.path, c.text}})
		switch {
		case c.want == "" && len(findings) > 0:
			t.Errorf("%s: %q, want nothing", c.rule, findings)
		case c.want != "" && !strings.Contains(strings.Join(findings, "\n"), c.want):
			t.Errorf("%s: %q, want %q", c.rule, findings, c.want)
		}
	}
}

// goFiles reads every Go file of this module below root.
func goFiles(root string) ([]source, error) {
	var all []source
	err := filepath.WalkDir(root, func(name string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() {
			if name != root && (strings.HasPrefix(d.Name(), ".") || d.Name() == "testdata" || d.Name() == "node_modules") {
				return filepath.SkipDir
			}
			return nil
		}
		if !strings.HasSuffix(name, ".go") {
			return nil
		}
		text, err := os.ReadFile(name)
		if err != nil {
			return err
		}
		rel, err := filepath.Rel(root, name)
		if err != nil {
			return err
		}
		all = append(all, source{filepath.ToSlash(rel), string(text)})
		return nil
	})
	return all, err
}
