package jobfile

import (
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"plumbline/calibration"
	"plumbline/uncertainty"
)

var (
	headingLine = regexp.MustCompile("^### `\\[([a-z_.]+)\\]`$")
	keyLine     = regexp.MustCompile("^\\| `([A-Za-z_]+)` \\|")
)

// TestDocument checks that the reference of job files names every key the reader knows, and no other.
func TestDocument(t *testing.T) {
	b, err := os.ReadFile(root + "docs/job-files.md")
	if err != nil {
		t.Fatal(err)
	}
	document := map[string][]string{}
	table, on := "", false
	for _, line := range strings.Split(string(b), "\n") {
		if m := headingLine.FindStringSubmatch(line); m != nil {
			table, on = m[1], true
		} else if strings.HasPrefix(line, "#") {
			table, on = "", line == "## The job file"
		}
		if m := keyLine.FindStringSubmatch(line); m != nil && on {
			document[table] = append(document[table], m[1])
		}
	}
	_, d := load(FromFS(fstest.MapFS{"job.toml": {Data: nil}}), "job.toml")
	for table, keys := range d.known {
		for _, key := range keys {
			if !slices.Contains(document[table], key) {
				t.Errorf("docs/job-files.md: table [%s] does not name the key %q", table, key)
			}
		}
	}
	for table, keys := range document {
		for i, key := range keys {
			if !slices.Contains(d.known[table], key) {
				t.Errorf("docs/job-files.md: table [%s] names %q, which is no key", table, key)
			}
			if slices.Contains(keys[:i], key) {
				t.Errorf("docs/job-files.md: table [%s] names %q twice", table, key)
			}
		}
	}
	for _, word := range slices.Concat(calibration.InfluenceKeys(), uncertainty.FormNames(), ruleNames, []string{limitSensitivity, limitDeviation, limitPhase}) {
		if !strings.Contains(string(b), "`"+word+"`") && !strings.Contains(string(b), "`\""+word+"\"`") {
			t.Errorf("docs/job-files.md does not name %q", word)
		}
	}
}
