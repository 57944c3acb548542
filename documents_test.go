package plumbline_test

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

var link = regexp.MustCompile(`\]\(([^)#:]+)(?:#[^)]*)?\)`)

// TestLinksLeadSomewhere follows every relative link of the documents.
func TestLinksLeadSomewhere(t *testing.T) {
	var pages []string
	for _, pattern := range []string{"*.md", "docs/*.md"} {
		found, err := filepath.Glob(pattern)
		if err != nil {
			t.Fatal(err)
		}
		pages = append(pages, found...)
	}
	if len(pages) < 6 {
		t.Fatalf("only %d documents found: %v", len(pages), pages)
	}
	for _, page := range pages {
		text, err := os.ReadFile(page)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range link.FindAllStringSubmatch(string(text), -1) {
			if _, err := os.Stat(filepath.Join(filepath.Dir(page), m[1])); err != nil {
				t.Errorf("%s: link to %s: %v", page, m[1], err)
			}
		}
	}
}

// TestReadmeNamesWhatIsInstalled compares the packages make test installs with those the README says it does.
func TestReadmeNamesWhatIsInstalled(t *testing.T) {
	readme, err := os.ReadFile("README.md")
	if err != nil {
		t.Fatal(err)
	}
	list, err := os.ReadFile(filepath.Join("scripts", "apt-packages.txt"))
	if err != nil {
		t.Fatal(err)
	}
	for line := range strings.Lines(string(list)) {
		fields := strings.Fields(line)
		if len(fields) == 0 || fields[0] == "#" {
			continue
		}
		if !strings.Contains(string(readme), "`"+fields[0]+"`") {
			t.Errorf("README.md does not say that make test installs %s", fields[0])
		}
		if len(fields) < 3 {
			t.Errorf("scripts/apt-packages.txt: %s without a reason", fields[0])
		}
	}
}
