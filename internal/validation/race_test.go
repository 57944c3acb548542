package validation

import "testing"

// TestRaceWorkers lets two workers share runs of the studies that have workers: for the race detector, which finds nothing more with the many runs that the findings need.
func TestRaceWorkers(t *testing.T) {
	total, err := manyRuns(50, 2, func(run int, part []tally) error {
		for i := range part {
			part[i].runs++
			hit(&part[i].modulus[run%4], run%2 == 0)
		}
		return nil
	})
	if err != nil || total[0].runs != 50 {
		t.Errorf("%d runs counted, want 50 (%v)", total[0].runs, err)
	}
	sets, err := liveCases()[0].many(Settings{Seed: 1, Workers: 2}, 2)
	if err != nil || sets.runs != 2 {
		t.Errorf("%d sets counted, want 2 (%v)", sets.runs, err)
	}
}
