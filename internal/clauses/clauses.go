// Package clauses gathers from the sources which clause of which standard is implemented where, with the test that verifies it.
package clauses

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"path"
	"regexp"
	"slices"
	"strconv"
	"strings"
)

// Clause is one clause of a standard with the declarations that name it.
type Clause struct {
	Standard    string // for example "ISO 16063-21:2003"
	Number      string // clause as written behind the standard, for example "5.1.3" or "H.2 (example)"
	Implemented []string
	Verified    []string
}

// line is one clause line of a comment: the keyword opens it.
var line = regexp.MustCompile(`(?m)^\s*(Clause|Verifies):[ \t]*(.*?)[ \t]*$`)

// numbered are the publishers whose documents are named by a number behind the name.
var numbered = regexp.MustCompile(`^((?:ISO/IEC|ISO|IEC|IEEE|JCGM|ILAC|EN|DIN)(?: (?:Guide|Std|TR|TS))? [\w/.-]*\d[\w/.-]*(?::\d+)?)\s+(.+)$`)

// named are documents that go by a name of one word.
var named = regexp.MustCompile(`^([A-Z][\w-]*)\s+(.+)$`)

// alias maps a second name of a document to the one the list uses.
var alias = map[string]string{"JCGM 100": "GUM", "JCGM 100:2008": "GUM", "JCGM 200": "VIM", "JCGM 200:2012": "VIM"}

// Gather reads every Go file below the root of tree. A line it cannot split into standard and clause, and a verified clause that nothing
// implements, are errors that name the place.
func Gather(tree fs.FS) ([]Clause, error) {
	found := map[[2]string]*Clause{}
	verifiedAt := map[[2]string]string{}
	fset := token.NewFileSet()
	err := fs.WalkDir(tree, ".", func(name string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() {
			if name != "." && (strings.HasPrefix(d.Name(), ".") || d.Name() == "testdata" || d.Name() == "node_modules") {
				return fs.SkipDir
			}
			return nil
		}
		if !strings.HasSuffix(name, ".go") {
			return nil
		}
		text, err := fs.ReadFile(tree, name)
		if err != nil {
			return err
		}
		file, err := parser.ParseFile(fset, name, text, parser.ParseComments|parser.SkipObjectResolution)
		if err != nil {
			return err
		}
		return gatherFile(fset, file, name, found, verifiedAt)
	})
	if err != nil {
		return nil, err
	}
	all := make([]Clause, 0, len(found))
	for key, c := range found {
		if len(c.Implemented) == 0 {
			return nil, fmt.Errorf("%s: verifies %s %s, which no Clause: line implements", verifiedAt[key], c.Standard, c.Number)
		}
		slices.Sort(c.Implemented)
		slices.Sort(c.Verified)
		all = append(all, Clause{c.Standard, c.Number, slices.Compact(c.Implemented), slices.Compact(c.Verified)})
	}
	slices.SortFunc(all, func(a, b Clause) int {
		if n := compare(a.Standard, b.Standard); n != 0 {
			return n
		}
		return compare(a.Number, b.Number)
	})
	return all, nil
}

func gatherFile(fset *token.FileSet, file *ast.File, name string, found map[[2]string]*Clause, verifiedAt map[[2]string]string) error {
	for _, group := range file.Comments {
		for _, m := range line.FindAllStringSubmatch(group.Text(), -1) {
			at := fset.Position(group.Pos())
			standard, number, err := split(m[2])
			if err != nil {
				return fmt.Errorf("%s:%d: %w", at.Filename, at.Line, err)
			}
			test := strings.HasSuffix(name, "_test.go")
			if test != (m[1] == "Verifies") {
				return fmt.Errorf("%s:%d: %s: lines belong in %s", at.Filename, at.Line, m[1], map[bool]string{true: "a test", false: "what is tested"}[!test])
			}
			key := [2]string{standard, number}
			c := found[key]
			if c == nil {
				c = &Clause{Standard: standard, Number: number}
				found[key] = c
			}
			declaration := path.Dir(name) + "." + owner(file, group)
			if test {
				c.Verified = append(c.Verified, declaration)
				verifiedAt[key] = fmt.Sprintf("%s:%d", at.Filename, at.Line)
			} else {
				c.Implemented = append(c.Implemented, declaration)
			}
		}
	}
	return nil
}

// split parts "ISO 16063-21:2003 5.2" into document and clause.
func split(text string) (standard, number string, err error) {
	m := numbered.FindStringSubmatch(text)
	if m == nil {
		m = named.FindStringSubmatch(text)
	}
	if m == nil || numbered.MatchString(text+" 1") && !numbered.MatchString(text) {
		return "", "", fmt.Errorf("clause line %q: found no clause behind a standard; allowed are lines as \"GUM 5.1.2\" or \"ISO 16063-21:2003 5.2\"", text)
	}
	standard, number = m[1], m[2]
	if other, ok := alias[standard]; ok {
		standard = other
	}
	return standard, number, nil
}

// owner is the name of the declaration a comment stands on or in; "package" for comments outside every declaration.
func owner(file *ast.File, group *ast.CommentGroup) string {
	within := func(doc *ast.CommentGroup, n ast.Node) bool {
		first := n.Pos()
		if doc != nil {
			first = doc.Pos()
		}
		return first <= group.Pos() && group.End() <= n.End()
	}
	for _, d := range file.Decls {
		switch d := d.(type) {
		case *ast.FuncDecl:
			if within(d.Doc, d) {
				return receiver(d) + d.Name.Name
			}
		case *ast.GenDecl:
			if !within(d.Doc, d) {
				continue
			}
			for i, s := range d.Specs {
				doc, name := specName(s)
				if within(doc, s) || i == len(d.Specs)-1 || d.Doc == group {
					return name
				}
			}
		}
	}
	return "package"
}

func specName(s ast.Spec) (doc *ast.CommentGroup, name string) {
	switch s := s.(type) {
	case *ast.TypeSpec:
		return s.Doc, s.Name.Name
	case *ast.ValueSpec:
		return s.Doc, s.Names[0].Name
	}
	return nil, "import"
}

func receiver(d *ast.FuncDecl) string {
	if d.Recv == nil || len(d.Recv.List) == 0 {
		return ""
	}
	t := d.Recv.List[0].Type
	if star, ok := t.(*ast.StarExpr); ok {
		t = star.X
	}
	if id, ok := t.(*ast.Ident); ok {
		return id.Name + "."
	}
	return ""
}

var pieces = regexp.MustCompile(`\d+|\D+`)

// compare orders clause numbers as people do: 5.2 before 5.10.
func compare(a, b string) int {
	pa, pb := pieces.FindAllString(a, -1), pieces.FindAllString(b, -1)
	return slices.CompareFunc(pa, pb, func(x, y string) int {
		n, errX := strconv.Atoi(x)
		m, errY := strconv.Atoi(y)
		if errX == nil && errY == nil {
			return n - m
		}
		return strings.Compare(x, y)
	})
}

// Render writes the clauses as a Markdown page.
func Render(all []Clause) []byte {
	var b strings.Builder
	verified := 0
	for _, c := range all {
		if len(c.Verified) > 0 {
			verified++
		}
	}
	fmt.Fprintf(&b, `# Clauses

Which clause of which standard is implemented where, and the test that verifies it. Written by `+"`make clauses`"+` from the lines
`+"`// Clause:`"+` and `+"`// Verifies:`"+` of the sources; a test fails when this page is stale. GUM is JCGM 100, VIM is JCGM 200.

%d clauses, %d of them verified by a test that names them; the others are checked only by the tests of the functions that implement them.
`, len(all), verified)
	standard := ""
	for _, c := range all {
		if c.Standard != standard {
			standard = c.Standard
			fmt.Fprintf(&b, "\n## %s\n\n| clause | implemented in | verified by |\n|---|---|---|\n", standard)
		}
		fmt.Fprintf(&b, "| %s | %s | %s |\n", strings.ReplaceAll(c.Number, "|", `\|`), code(c.Implemented), code(c.Verified))
	}
	return []byte(b.String())
}

func code(names []string) string {
	if len(names) == 0 {
		return ""
	}
	return "`" + strings.Join(names, "`, `") + "`"
}
