package bench_test

import (
	"testing"

	"plumbline/bench"
	"plumbline/bench/benchtest"
)

// TestRunHoldsTheLevelLongEnough: however soon the ratio is steady, the level is held for the least time of the step, and the outcome says from when on it was.
func TestRunHoldsTheLevelLongEnough(t *testing.T) {
	for _, least := range []float64{0, 8} {
		w, m := benchtest.NewWorld(2000, 9), &benchtest.Memory{}
		s := set(w, m, &benchtest.Script{}, step(20, 3))
		s.Steps[0].Least = least
		level, last := 0.0, 0.0 // s of the run at which the level was reached and at which the last block was complete
		s.Watch = func(e bench.Event) {
			switch e.Kind {
			case "level":
				level = e.Seconds
			case "block":
				last = e.Seconds
			}
		}
		r, err := bench.Run(t.Context(), s)
		if err != nil {
			t.Fatal(err)
		}
		k, block := r.Kept[0], s.Steps[0].Block
		blocks := k.Seconds / block // whole ones, from the first after the drive began
		held := float64(int(blocks+0.01))*block - k.Held
		if !(k.Held >= block) || held < least-1e-9 || held > last-level+1e-9 || held < last-level-2*block {
			t.Errorf("least %g s: held for %.3g s from %.3g s on; reached %.3g s before the end", least, held, k.Held, last-level)
		}
	}
}
