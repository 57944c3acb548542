package validation

import (
	"strings"
	"testing"
)

// Every study runs and keeps its targets with few runs; its report holds a table.
func TestStudies(t *testing.T) {
	for _, s := range Studies() {
		t.Run(s.Name, func(t *testing.T) {
			var b strings.Builder
			misses, err := s.Run(Settings{Effort: smoke, Seed: 1, Workers: 2}, &b)
			if err != nil {
				t.Fatal(err)
			}
			for _, m := range misses {
				t.Error(m)
			}
			if !strings.Contains(b.String(), "|---|") && !strings.Contains(b.String(), "```") {
				t.Errorf("no table in the report:\n%s", b.String())
			}
			t.Log(b.String())
		})
	}
}
