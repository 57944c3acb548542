// Package study measures how often the settling rules are wrong, on simulated series whose truth is known.
package study

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"

	"plumbline/steady"
)

// later is the number of blocks from the acceptance of a point to its repetition.
const later = 150

// rules are the rules that are compared, in the order of the report.
var rules = [...]steady.Rule{steady.Skip, steady.Averaged, steady.Wary}

// Outcome is what one rule did in the runs of one scenario.
type Outcome struct {
	Rule      steady.Rule
	TauMax    float64 // told, blocks
	False     int     // runs accepted with a value further from the truth than the half width claimed
	Unreached int     // runs not accepted within 800 blocks
	Wait      float64 // mean number of blocks to acceptance, 800 where there was none
	Flagged   int     // runs whose repetition differed by more than the half widths allow
	Left      int     // runs not flagged whose value is further from the truth than the half width asked for
}

// Row is one scenario.
type Row struct {
	Scenario string
	Kind     Kind
	Told     float64 // tau_max, or the time constant believed where Kind is Belief, blocks
	Repeated bool    // accepted points were measured again
	Runs     int
	Oracle   float64 // mean number of blocks one would need who knows the transient and the noise
	Outcomes [len(rules)]Outcome
}

// Report is a study with all that is needed to run it again.
type Report struct {
	Runs int    // of each scenario
	Seed uint64 // of the first word of the generator (PCG); the second is the scenario's place times 2^32 plus the run
	Rows []Row
}

// Run carries out every scenario with so many runs, one after the other.
func Run(runs int, seed uint64) Report {
	report := Report{Runs: runs, Seed: seed}
	for i := range Count() {
		report.Rows = append(report.Rows, Scenario(i, runs, seed))
	}
	return report
}

// Count is the number of scenarios.
func Count() int { return len(scenarios()) }

// Scenario carries out one scenario, the first being 0. Scenarios share nothing, so they may be carried out at the same time.
func Scenario(place, runs int, seed uint64) Row {
	s := scenarios()[place]
	row := Row{Scenario: s.name, Kind: s.kind, Told: s.told, Repeated: s.repeat, Runs: runs}
	for i, rule := range rules {
		row.Outcomes[i] = Outcome{Rule: rule, TauMax: s.tauMax(rule)}
	}
	for run := range runs {
		one := newRun(s, rand.New(rand.NewPCG(seed, uint64(place)<<32+uint64(run))))
		row.Oracle += float64(oracle(one.transients[0], one.covariance, target)) / float64(runs)
		for i := range row.Outcomes {
			one.judge(s, &row.Outcomes[i])
		}
	}
	for i := range row.Outcomes {
		row.Outcomes[i].Wait /= float64(runs)
	}
	return row
}

// run is one draw: the noise of both components and of the level, for the first measurement and for its repetition, and the transients.
type run struct {
	transients [2]transient
	noises     [2][2][]float64 // measurement, component
	level      []float64
	covariance func(lag int) float64
}

func newRun(s scenario, r *rand.Rand) run {
	var one run
	for c := range one.transients {
		tr, n := s.draw(r)
		if c == 0 {
			one.covariance = n.autocovariance
		}
		one.transients[c] = tr
		for m := range one.noises {
			if c == 1 && !s.both || m == 1 && !s.repeat {
				continue
			}
			x := make([]float64, limit)
			for k := range x {
				x[k] = n.next(r)
			}
			one.noises[m][c] = x
		}
	}
	if s.level {
		tr := transient{{amplitude: sign(r) * uniform(r, 10, 40), tau: one.transients[0][0].tau}}
		for k := range limit {
			one.level = append(one.level, tr.at(float64(k)+0.5)+target*r.NormFloat64())
		}
	}
	return one
}

// judge lets a rule judge the run and counts what comes of it. The truth is zero.
func (one run) judge(s scenario, out *Outcome) {
	a := one.measure(s, out, 0, 0)
	out.Wait += float64(a.Blocks)
	if a.State != steady.Steady {
		out.Unreached++
		return
	}
	beyond := func(half func(steady.Estimate) float64) bool {
		return math.Abs(a.Modulus.Mean) > half(a.Modulus) || math.Abs(a.Phase.Mean) > half(a.Phase)
	}
	if beyond(func(e steady.Estimate) float64 { return e.HalfWidth }) {
		out.False++
	}
	if !s.repeat {
		return
	}
	again := one.measure(s, out, 1, float64(a.Blocks+later))
	if modulus, phase := steady.Repeat(a, again); modulus.Flagged || phase.Flagged {
		out.Flagged++
	} else if beyond(func(steady.Estimate) float64 { return target * unit }) {
		out.Left++
	}
}

// measure feeds a judge from so many blocks after the start of the transient.
func (one run) measure(s scenario, out *Outcome, measurement int, start float64) steady.Answer {
	settings := steady.Settings{Rule: out.Rule, Modulus: target * unit, TauMax: out.TauMax, Limit: limit, Level: s.level && measurement == 0}
	if s.both {
		settings.Phase = target * unit
	}
	j, err := steady.NewJudge(settings)
	if err != nil {
		panic("a scenario's settings are refused: " + err.Error())
	}
	for k := range limit {
		t := start + float64(k) + 0.5
		b := steady.Block{LnRatio: complex((one.transients[0].at(t)+one.noises[measurement][0][k])*unit, 0)}
		if s.both {
			b.LnRatio += complex(0, (one.transients[1].at(t)+one.noises[measurement][1][k])*unit)
		}
		if settings.Level {
			b.LnLevel = one.level[k] * unit
		}
		if a := j.Add(b); a.State != steady.Settling {
			return a
		}
	}
	return j.Finish()
}

// String is the report as a table: false acceptances in percent and mean wait in blocks; where the point was repeated, runs flagged and runs left with an error
// beyond the half width asked for, in percent.
func (r Report) String() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%d runs of each scenario, seed %d; half width asked for 0.1 %%; false acceptances %%, mean wait in blocks [flagged %%, left %%]\n", r.Runs, r.Seed)
	kind := Kind("")
	for _, row := range r.Rows {
		if row.Kind != kind {
			kind = row.Kind
			fmt.Fprintf(&b, "\n%-24s%5s %7s", kind, "told", "oracle")
			for _, rule := range rules {
				fmt.Fprintf(&b, "   %-25s", rule)
			}
			b.WriteByte('\n')
		}
		fmt.Fprintf(&b, "%-24s%5.3g %7.0f", row.Scenario, row.Told, row.Oracle)
		for _, o := range row.Outcomes {
			share := func(n int) float64 { return 100 * float64(n) / float64(row.Runs) }
			text := fmt.Sprintf("%5.1f %4.0f", share(o.False), o.Wait)
			if row.Repeated {
				text += fmt.Sprintf(" [%4.1f %4.1f]", share(o.Flagged), share(o.Left))
			}
			if o.Unreached > 0 {
				text += fmt.Sprintf(" -%d", o.Unreached)
			}
			fmt.Fprintf(&b, "   %-25s", text)
		}
		b.WriteByte('\n')
	}
	return b.String()
}
