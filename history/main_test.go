package history

import (
	"flag"
	"math"
	"os"
	"testing"
	"time"
)

// TestMain fixes the seed of the property tests, which they print when they fail. PLUMBLINE_SOAK=1 makes many more checks from a random one.
func TestMain(m *testing.M) {
	set := map[string]string{"rapid.nofailfile": "true", "rapid.seed": "20261125"}
	if soak() {
		set = map[string]string{"rapid.nofailfile": "true", "rapid.checks": "5000"}
	}
	for name, value := range set {
		if err := flag.Set(name, value); err != nil {
			panic(err)
		}
	}
	os.Exit(m.Run())
}

func soak() bool { return os.Getenv("PLUMBLINE_SOAK") == "1" }

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: got %.12g, want %.12g ± %g", what, got, want, tolerance)
	}
}

func on(text string) time.Time {
	d, err := time.Parse(time.DateOnly, text)
	if err != nil {
		panic(err)
	}
	return d
}
