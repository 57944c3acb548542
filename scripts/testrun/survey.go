package main

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"path"
	"path/filepath"
	"sort"
	"strings"
)

// pkg is what the runner has to know of one package.
type pkg struct {
	path       string // as given to go test, for example ./sine
	tested     bool   // has test files
	goroutines bool   // starts goroutines outside its tests
	race       bool   // has tests named TestRace...: they alone run under the race detector, all others without
	fuzz       []string
}

// survey parses every Go file of the module below root. Folders with a go.mod of their own, hidden ones, testdata and node_modules are not part of it.
func survey(root string) ([]pkg, error) {
	found := map[string]*pkg{}
	fset := token.NewFileSet()
	err := filepath.WalkDir(root, func(name string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() {
			if name != root && outside(name, d.Name()) {
				return filepath.SkipDir
			}
			return nil
		}
		if !strings.HasSuffix(name, ".go") {
			return nil
		}
		file, err := parser.ParseFile(fset, name, nil, parser.SkipObjectResolution)
		if err != nil {
			return err
		}
		folder := filepath.Dir(name)
		rel, err := filepath.Rel(root, folder)
		if err != nil {
			return err
		}
		p := found[folder]
		if p == nil {
			p = &pkg{path: "./" + path.Clean(filepath.ToSlash(rel))}
			found[folder] = p
		}
		p.look(file, strings.HasSuffix(name, "_test.go"))
		return nil
	})
	if err != nil {
		return nil, err
	}
	all := make([]pkg, 0, len(found))
	for _, p := range found {
		sort.Strings(p.fuzz)
		all = append(all, *p)
	}
	sort.Slice(all, func(i, j int) bool { return all[i].path < all[j].path })
	return all, nil
}

func outside(folder, base string) bool {
	if strings.HasPrefix(base, ".") || strings.HasPrefix(base, "_") || base == "testdata" || base == "node_modules" {
		return true
	}
	matches, _ := filepath.Glob(filepath.Join(folder, "go.mod"))
	return len(matches) > 0
}

func (p *pkg) look(file *ast.File, test bool) {
	p.tested = p.tested || test
	ast.Inspect(file, func(n ast.Node) bool {
		if startsGoroutine(n) && !test {
			p.goroutines = true
		}
		return true
	})
	if !test {
		return
	}
	for _, d := range file.Decls {
		f, ok := d.(*ast.FuncDecl)
		if !ok || f.Recv != nil {
			continue
		}
		if strings.HasPrefix(f.Name.Name, "Fuzz") {
			p.fuzz = append(p.fuzz, f.Name.Name)
		}
		p.race = p.race || strings.HasPrefix(f.Name.Name, "TestRace")
	}
}

// startsGoroutine recognises a go statement and a call of a method named Go, as that of sync.WaitGroup.
func startsGoroutine(n ast.Node) bool {
	switch n := n.(type) {
	case *ast.GoStmt:
		return true
	case *ast.CallExpr:
		method, ok := n.Fun.(*ast.SelectorExpr)
		return ok && method.Sel.Name == "Go"
	}
	return false
}
