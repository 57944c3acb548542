package validation

import (
	"fmt"
	"io"
	"math"
	"math/rand/v2"

	"plumbline/conformity"
)

// decisions compares the risk that statements state with what happens: true values spread evenly about the upper limit, each measured with
// the stated uncertainty; of the accepted ones some lie outside all the same.
func decisions(s Settings, w io.Writer) (misses []string, err error) {
	runs := s.runs(200_000, 2_000_000)
	const u, k, limit = 0.01, 2.0, 0.05
	fmt.Fprintf(w, "%d devices (seed %d), true deviation spread evenly from -2 to +2 expanded uncertainties about the upper limit of ±5 %%, measured with U = 2 %%. "+
		"Of the accepted ones: the probability of lying outside that the statements give on average, and the share that does.\n\n", runs, s.Seed)
	var rows [][]string
	for n, rule := range []conformity.Rule{conformity.SimpleAcceptance{}, conformity.GuardBand{R: 0.5}, conformity.GuardBand{R: 0.83}, conformity.GuardBand{R: 1}} {
		r := rand.New(rand.NewPCG(s.Seed, uint64(2000+n)))
		accepted, outside, stated, worst := 0, 0, 0.0, 0.0
		for range runs {
			truth := limit + uniform(r, 4*u)
			value := truth + u*r.NormFloat64()
			st, err := conformity.Decide(conformity.Question{Subject: "deviation", Requirement: "within ±5 %", Value: value, Relative: true, Tolerance: conformity.Limits{Lower: -limit, Upper: limit}},
				rule, conformity.FirstOrder{Value: value, U: k * u, K: k, Dof: math.Inf(1)})
			if err != nil {
				return nil, err
			}
			if st.Verdict != conformity.Conforms {
				continue
			}
			accepted++
			stated += st.Risk
			worst = max(worst, st.Risk)
			hit(&outside, math.Abs(truth) > limit)
		}
		found, mean := float64(outside)/float64(accepted), stated/float64(accepted)
		rows = append(rows, []string{rule.Name(), fmt.Sprint(accepted), percent(mean, 3), percent(found, 3), percent(worst, 2)})
		// true values end at two expanded uncertainties from the limit, so accepted ones far inside have a little less risk than stated
		if math.Abs(found-mean) > binomial(max(mean, 1e-5), accepted)+0.05*mean {
			misses = append(misses, fmt.Sprintf("decisions, %s: %s of the accepted lie outside, stated %s", rule.Name(), percent(found, 3), percent(mean, 3)))
		}
	}
	table(w, []string{"rule", "accepted", "stated on average", "found", "largest stated"}, rows)
	return misses, nil
}
