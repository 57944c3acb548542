package plumbline_test

import (
	"errors"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"go/types"
	"path"
	"regexp"
	"slices"
	"strconv"
	"strings"
)

const (
	module     = "plumbline"
	longest    = 500 // lines of a file that is not a test
	wholeWorld = "*"
)

// source is one Go file; path is relative to the repository's root, with slashes.
type source struct{ path, text string }

func (s source) test() bool { return strings.HasSuffix(s.path, "_test.go") }

// inspect returns what in the sources is against the rules of the house, one line each, in order of the sources.
func inspect(sources []source) []string {
	var found []string
	type parsed struct {
		source
		file *ast.File
	}
	fset := token.NewFileSet()
	packages := map[string][]parsed{} // by folder, tests apart
	var order []string
	for _, s := range sources {
		file, err := parser.ParseFile(fset, s.path, s.text, parser.ParseComments|parser.SkipObjectResolution)
		if err != nil {
			found = append(found, err.Error())
			continue
		}
		found = append(found, inspectText(s)...)
		found = append(found, inspectImports(s, file)...)
		found = append(found, inspectNames(s, file)...)
		if !s.test() {
			folder := path.Dir(s.path)
			if packages[folder] == nil {
				order = append(order, folder)
			}
			packages[folder] = append(packages[folder], parsed{s, file})
		}
	}
	for _, folder := range order {
		var files []*ast.File
		for _, p := range packages[folder] {
			files = append(files, p.file)
		}
		found = append(found, inspectComment(folder, files)...)
		found = append(found, inspectState(fset, folder, files)...)
	}
	return found
}

// marks are texts no Go file may contain. They are written in pieces so that this file does not contain them.
var marks = []struct {
	pattern *regexp.Regexp
	meaning string
}{
	{regexp.MustCompile(`\bTO` + `DO\b|\bFIX` + `ME\b|\bXX` + `X\b|not implement` + `ed|panic\("(todo|unimplemented)`), "unfinished"},
	{regexp.MustCompile(`\bt\.Skip(Now)?` + `\(\)`), "skip without a reason"},
	{regexp.MustCompile(`"/(wo` + `rk|fa` + `rm|ro` + `ot|ho` + `me)/|/tmp/ba` + `sh_jobs`), "path of one machine"},
}

func inspectText(s source) []string {
	var found []string
	lines := strings.Split(s.text, "\n")
	if !s.test() && len(lines) > longest {
		found = append(found, fmt.Sprintf("%s: %d lines; %d at most", s.path, len(lines), longest))
	}
	for i, line := range lines {
		for _, m := range marks {
			if m.pattern.MatchString(line) {
				found = append(found, fmt.Sprintf("%s:%d: %s: %s", s.path, i+1, m.meaning, strings.TrimSpace(line)))
			}
		}
	}
	return found
}

// roomOf returns the room of a folder; an exact name wins over a pattern.
func roomOf(folder string) (room, bool) {
	for _, r := range rooms {
		if r.name == folder {
			return r, true
		}
	}
	for _, r := range rooms {
		if below, ok := strings.CutSuffix(r.name, "/*"); ok && strings.HasPrefix(folder, below+"/") {
			return r, true
		}
	}
	return room{}, false
}

func allowed(list []string, folder string) bool {
	return slices.ContainsFunc(list, func(pattern string) bool {
		below, ok := strings.CutSuffix(pattern, "/*")
		return pattern == wholeWorld || pattern == folder || ok && strings.HasPrefix(folder, below+"/")
	})
}

// forbidden says whether a package that only computes may not import the path of the standard library.
func forbidden(imported string) bool {
	for _, p := range []string{"os", "net", "log", "database/sql", "syscall", "crypto/rand", "math/rand"} {
		if imported == p || p != "math/rand" && strings.HasPrefix(imported, p+"/") {
			return true
		}
	}
	return false
}

func inspectImports(s source, file *ast.File) []string {
	folder := path.Dir(s.path)
	if folder == "." && s.test() { // this package
		return nil
	}
	r, ok := roomOf(folder)
	if !ok {
		return []string{fmt.Sprintf("%s: package %s has no room in the house: add its line to house_test.go and ARCHITECTURE.md", s.path, folder)}
	}
	var found []string
	for _, spec := range file.Imports {
		imported, err := strconv.Unquote(spec.Path.Value)
		if err != nil {
			found = append(found, fmt.Sprintf("%s: import %s: %v", s.path, spec.Path.Value, err))
			continue
		}
		ours, isOurs := strings.CutPrefix(imported, module+"/")
		switch {
		case isOurs && (ours == folder || allowed(r.imports, ours) || s.test() && allowed(besides, ours) || s.test() && strings.HasPrefix(ours, folder+"/")):
		case isOurs:
			found = append(found, fmt.Sprintf("%s: package %s may not import %s", s.path, folder, imported))
		case r.computes && !s.test() && forbidden(imported):
			found = append(found, fmt.Sprintf("%s: package %s only computes: it may not import %s", s.path, folder, imported))
		}
	}
	if r.computes && !s.test() {
		found = append(found, inspectHidden(s, file)...)
	}
	return found
}

// hidden are the functions by which time or chance would enter a computation without being an argument.
var hidden = map[string]func(name string) bool{
	"time": func(name string) bool {
		return slices.Contains([]string{"Now", "Since", "Until", "Sleep", "After", "AfterFunc", "Tick", "NewTimer", "NewTicker"}, name)
	},
	"math/rand/v2": func(name string) bool {
		return !slices.Contains([]string{"New", "NewPCG", "NewChaCha8", "NewZipf", "Rand", "Source", "PCG", "ChaCha8", "Zipf"}, name)
	},
}

func inspectHidden(s source, file *ast.File) []string {
	local := map[string]string{} // local name of an import that has hidden functions
	for _, spec := range file.Imports {
		imported, err := strconv.Unquote(spec.Path.Value)
		if err != nil || hidden[imported] == nil {
			continue
		}
		name := path.Base(strings.TrimSuffix(imported, "/v2"))
		if spec.Name != nil {
			name = spec.Name.Name
		}
		local[name] = imported
	}
	var found []string
	ast.Inspect(file, func(n ast.Node) bool {
		sel, ok := n.(*ast.SelectorExpr)
		if !ok {
			return true
		}
		if x, ok := sel.X.(*ast.Ident); ok && local[x.Name] != "" && hidden[local[x.Name]](sel.Sel.Name) {
			imported := local[x.Name]
			found = append(found, fmt.Sprintf("%s: %s.%s in a package that only computes: make it an argument",
				s.path, path.Base(strings.TrimSuffix(imported, "/v2")), sel.Sel.Name))
		}
		return true
	})
	return found
}

// hollow are words that say nothing about the thing named.
var hollow = regexp.MustCompile(`(?i)^(utils?|helpers?|managers?)$`)

// camel splits a Go name into its words.
var camel = regexp.MustCompile(`[A-Z]+[a-z0-9]*|[a-z0-9]+`)

func inspectNames(s source, file *ast.File) []string {
	var found []string
	check := func(what, name string) {
		if slices.ContainsFunc(camel.FindAllString(name, -1), hollow.MatchString) {
			found = append(found, fmt.Sprintf("%s: %s %s: the name says nothing", s.path, what, name))
		}
	}
	check("package", strings.TrimSuffix(file.Name.Name, "_test"))
	for _, d := range file.Decls {
		switch d := d.(type) {
		case *ast.FuncDecl:
			check("function", d.Name.Name)
			if d.Name.Name == "init" && d.Recv == nil {
				found = append(found, fmt.Sprintf("%s: func init: what exists is listed by hand, nothing registers itself", s.path))
			}
		case *ast.GenDecl:
			for _, spec := range d.Specs {
				if t, ok := spec.(*ast.TypeSpec); ok {
					check("type", t.Name.Name)
				}
			}
		}
	}
	return found
}

// inspectComment wants one package comment of one sentence.
func inspectComment(folder string, files []*ast.File) []string {
	for _, f := range files {
		if f.Doc == nil {
			continue
		}
		first, _, _ := strings.Cut(f.Doc.Text(), "\n\n")
		text := strings.Join(strings.Fields(first), " ")
		if !strings.HasSuffix(text, ".") || regexp.MustCompile(`[.!?] \p{Lu}`).MatchString(text) {
			return []string{fmt.Sprintf("%s: the package comment opens with one sentence: %q", folder, text)}
		}
		return nil
	}
	return []string{folder + ": no package comment"}
}

// none answers every import with an error: only the package's own names have to resolve.
type none struct{}

func (none) Import(string) (*types.Package, error) { return nil, errors.New("not needed") }

// inspectState refuses writing to a package variable: such a package keeps state nobody handed it.
func inspectState(fset *token.FileSet, folder string, files []*ast.File) []string {
	info := types.Info{Uses: map[*ast.Ident]types.Object{}}
	conf := types.Config{Importer: none{}, Error: func(error) {}}
	pkg, _ := conf.Check(folder, fset, files, &info) // errors are those of the missing imports
	var found []string
	written := func(e ast.Expr) {
		id := root(e)
		if id == nil {
			return
		}
		if v, ok := info.Uses[id].(*types.Var); ok && pkg != nil && v.Parent() == pkg.Scope() {
			at := fset.Position(id.Pos())
			found = append(found, fmt.Sprintf("%s:%d: package variable %s is written to", at.Filename, at.Line, id.Name))
		}
	}
	for _, f := range files {
		ast.Inspect(f, func(n ast.Node) bool {
			switch n := n.(type) {
			case *ast.AssignStmt:
				for _, e := range n.Lhs {
					written(e)
				}
			case *ast.IncDecStmt:
				written(n.X)
			case *ast.CallExpr:
				if f, ok := n.Fun.(*ast.Ident); ok && (f.Name == "delete" || f.Name == "clear") && len(n.Args) > 0 {
					written(n.Args[0])
				}
			}
			return true
		})
	}
	return found
}

// root returns the variable an assignable expression starts from, nil where there is none.
func root(e ast.Expr) *ast.Ident {
	for {
		switch x := e.(type) {
		case *ast.Ident:
			return x
		case *ast.IndexExpr:
			e = x.X
		case *ast.SelectorExpr:
			e = x.X
		case *ast.StarExpr:
			e = x.X
		case *ast.ParenExpr:
			e = x.X
		default:
			return nil
		}
	}
}
