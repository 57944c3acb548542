package pdf_test

import (
	"slices"
	"strings"
	"testing"

	"plumbline/certificate"
)

// TestPages reads every page of every case: none but the last is nearly empty, none ends with a heading, a figure has its caption, and where a table goes on at least four of
// its rows stand there.
func TestPages(t *testing.T) {
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			k := c()
			_, file := write(t, k)
			d, err := k.New()
			if err != nil {
				t.Fatal(err)
			}
			pages := strings.Split(strings.TrimSuffix(run(t, "pdftotext", "-layout", file, "-"), "\f"), "\f")
			for i, p := range pages {
				lines := slices.DeleteFunc(strings.Split(p, "\n"), func(l string) bool { return strings.TrimSpace(l) == "" })
				lines = lines[:len(lines)-1] // the foot
				if len(lines) < 15 && i < len(pages)-1 {
					t.Errorf("page %d has %d lines only:\n%s", i+1, len(lines), p)
				}
				last := strings.TrimSpace(lines[len(lines)-1])
				if slices.ContainsFunc(d.Sections, func(s certificate.Section) bool {
					return strings.HasSuffix(last, s.Heading) && len(last) < len(s.Heading)+20
				}) {
					t.Errorf("page %d ends with the heading %q", i+1, last)
				}
				if strings.Contains(p, "from its value at") != strings.Contains(p, "Bars are ±") {
					t.Errorf("page %d has a figure without its caption, or the other way round", i+1)
				}
				if n := continued(lines); n >= 0 && n < 4 {
					t.Errorf("page %d begins with %d rows of a table:\n%s", i+1, n, p)
				}
			}
		})
	}
}

// continued is the number of rows of numbers at the head of a page that go on from the page before; -1 where none do.
func continued(lines []string) int {
	i := slices.IndexFunc(lines, func(l string) bool { return strings.TrimSpace(l) == "continued" })
	if i < 0 {
		return -1
	}
	rows := 0
	for _, l := range lines[i+1:] {
		numbers := 0
		for _, f := range strings.Fields(l) {
			if strings.ContainsAny(f, "0123456789") {
				numbers++
			}
		}
		switch {
		case numbers > 2, strings.Contains(l, "∞"):
			rows++
		case rows > 0:
			return rows
		}
	}
	return rows
}
