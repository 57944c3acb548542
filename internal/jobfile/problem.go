package jobfile

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
)

// Problem is one thing wrong in a file: where, at which key, what was found and what is allowed.
type Problem struct {
	File         string
	Line, Column int // from 1, columns in characters
	Key          string
	Text         string
}

// Error is file:line:column: key: text.
func (p Problem) Error() string {
	where := fmt.Sprintf("%s:%d:%d", p.File, p.Line, p.Column)
	if p.Key == "" {
		return where + ": " + p.Text
	}
	return where + ": " + p.Key + ": " + p.Text
}

// Problems is everything wrong in a job and the files it names, in the order of the files and their lines.
type Problems []Problem

const mostPrinted = 100

// Error is one line for each problem.
func (ps Problems) Error() string {
	lines := make([]string, 0, min(len(ps), mostPrinted+1))
	for i, p := range ps {
		if i == mostPrinted {
			lines = append(lines, fmt.Sprintf("and %d more", len(ps)-i))
			break
		}
		lines = append(lines, p.Error())
	}
	return strings.Join(lines, "\n")
}

// position is a place in a file; line 0 is no place.
type position struct {
	file         string
	line, column int
}

// decoder collects what the readers of a job's tables find.
type decoder struct {
	open      Opener
	files     []File
	problems  []Problem
	known     map[string][]string // keys asked for, by the path of their table
	parsed    map[string]*node    // trees of the TOML files read so far
	sheets    map[string]*sheet   // CSV files read so far
	refs      map[*node]string    // values that name files, with the names they were read by
	planning  bool                // points are still to be found, their evidence to be gathered
	measuring bool                // and this is about to be done
}

const mostProblems = 1000

func (d *decoder) wrong(at position, key, format string, args ...any) {
	switch n := len(d.problems); {
	case n < mostProblems:
		d.problems = append(d.problems, Problem{at.file, at.line, at.column, key, fmt.Sprintf(format, args...)})
	case n == mostProblems:
		d.problems = append(d.problems, Problem{at.file, at.line, at.column, "", "more problems than are listed: mend the others first"})
	}
}

// err returns the problems found, nil for none.
func (d *decoder) err() error {
	if len(d.problems) == 0 {
		return nil
	}
	order := map[string]int{}
	for i, f := range d.files {
		order[f.Name] = i
	}
	slices.SortStableFunc(d.problems, func(a, b Problem) int {
		return cmp.Or(cmp.Compare(order[a.File], order[b.File]), cmp.Compare(a.Line, b.Line), cmp.Compare(a.Column, b.Column))
	})
	return Problems(slices.Compact(d.problems))
}
