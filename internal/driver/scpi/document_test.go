package scpi

import (
	"os"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// TestDocumentHasEveryKey compares the tables of docs/instruments.md with the keys of the dialects, both ways.
func TestDocumentHasEveryKey(t *testing.T) {
	page, err := os.ReadFile("../../../docs/instruments.md")
	must(t, err)
	for _, c := range []struct {
		heading string
		dialect any
	}{{"\nGenerator; ", Generator{}}, {"\nDigitizer or voltmeter; ", Sampler{}}} {
		_, table, ok := strings.Cut(string(page), c.heading)
		if !ok {
			t.Fatalf("no heading %q", c.heading)
		}
		_, table, _ = strings.Cut(table, "|---|---|---|\n")
		table, _, _ = strings.Cut(table, "\n\n")
		var documented, keys []string
		for line := range strings.Lines(table) {
			first := strings.SplitN(line, "|", 3)[1]
			for _, m := range regexp.MustCompile("`([a-z_]+)`").FindAllStringSubmatch(first, -1) {
				documented = append(documented, m[1])
			}
		}
		for f := range reflect.TypeOf(c.dialect).Fields() {
			keys = append(keys, f.Tag.Get("toml"))
		}
		slices.Sort(documented)
		slices.Sort(keys)
		if !slices.Equal(documented, keys) {
			t.Errorf("documented %q, keys are %q", documented, keys)
		}
	}
}

// TestDocumentExamples reads the examples of the page.
func TestDocumentExamples(t *testing.T) {
	page, err := os.ReadFile("../../../docs/instruments.md")
	must(t, err)
	examples := regexp.MustCompile("(?s)```toml\n(.*?)```").FindAllStringSubmatch(string(page), -1)
	if len(examples) != 2 {
		t.Fatalf("%d examples", len(examples))
	}
	if d, err := ReadGenerator(strings.NewReader(examples[0][1])); err != nil || d.Least != 0.0005 || len(d.Setup) != 3 {
		t.Errorf("generator: %+v, %v", d, err)
	}
	if d, err := ReadSampler(strings.NewReader(examples[1][1])); err != nil || d.OverflowMask != 512 || d.Kind != Stream {
		t.Errorf("digitizer: %+v, %v", d, err)
	}
}

// TestDocumentHasTheStandardWords looks for every command of the standard dialects in the page.
func TestDocumentHasTheStandardWords(t *testing.T) {
	page, err := os.ReadFile("../../../docs/instruments.md")
	must(t, err)
	for _, d := range []any{StandardGenerator(), StandardDigitizer(), StandardVoltmeter()} {
		v := reflect.ValueOf(d)
		for i := range v.NumField() {
			var words []string
			switch x := v.Field(i).Interface().(type) {
			case string:
				words = []string{x}
			case []string:
				words = x
			}
			for _, word := range words {
				if !strings.Contains(string(page), "`"+word+"`") && word != "" {
					t.Errorf("%s: %q is not in the page", v.Type().Field(i).Name, word)
				}
			}
		}
	}
}
