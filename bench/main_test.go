package bench_test

import (
	"flag"
	"os"
	"testing"
)

// TestMain fixes the seed of the property tests, which they print when they fail. PLUMBLINE_SOAK=1 makes many more checks from a random one.
func TestMain(m *testing.M) {
	set := map[string]string{"rapid.nofailfile": "true", "rapid.seed": "20261125", "rapid.checks": "40"}
	if os.Getenv("PLUMBLINE_SOAK") == "1" {
		set = map[string]string{"rapid.nofailfile": "true", "rapid.checks": "2000"}
	}
	for name, value := range set {
		if err := flag.Set(name, value); err != nil {
			panic(err)
		}
	}
	os.Exit(m.Run())
}
