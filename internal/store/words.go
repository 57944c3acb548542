package store

import (
	"slices"
	"strings"
	"unicode"

	"golang.org/x/text/unicode/norm"
)

// fold brings spellings of one word together.
func fold(s string) string { return strings.ToLower(norm.NFKC.String(s)) }

// words are what a record is found by: key and terms, whole between spaces and in their parts between other signs, folded, sorted, each once.
func (r Record) words() []string {
	var all []string
	for _, text := range append([]string{r.Key}, r.Terms...) {
		for _, whole := range strings.Fields(fold(text)) {
			all = append(all, whole)
			all = append(all, strings.FieldsFunc(whole, func(c rune) bool { return !unicode.IsLetter(c) && !unicode.IsDigit(c) })...)
		}
	}
	slices.Sort(all)
	return slices.Compact(all)
}

// Roles of what a record points to, as the index has them.
const (
	roleCites    = "cites"
	roleReplaces = "replaces"
	roleFile     = "file"
	roleWord     = "word"
)

// link is one line of the index of a record.
type link struct {
	role   string
	ord    int
	target string
}

// links is the index of a record, in order of role and place.
func (r Record) links() []link {
	var all []link
	for _, l := range []struct {
		role    string
		digests []Digest
	}{{roleCites, r.Cites}, {roleFile, r.Files}, {roleReplaces, r.Replaces}} {
		for i, d := range l.digests {
			all = append(all, link{l.role, i, string(d)})
		}
	}
	for i, w := range r.words() {
		all = append(all, link{roleWord, i, w})
	}
	return all
}
