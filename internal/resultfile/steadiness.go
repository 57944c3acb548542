package resultfile

import (
	"plumbline/calibration"
	"plumbline/steady"
)

func settling(s calibration.Settling) *Settling {
	switch {
	case s.NotApplicable != "":
		return &Settling{NotApplicable: s.NotApplicable}
	case s.Rule == 0:
		return nil
	}
	out := &Settling{Rule: s.Rule.String(), Modulus: number(s.Modulus), Level: s.Level}
	if s.Phase > 0 {
		out.Phase = scaled(s.Phase, degree)
	}
	for _, t := range s.Slow {
		out.Slow = append(out.Slow, TimeConstant(t))
	}
	return out
}

func steadiness(g calibration.Judgement) *Steadiness {
	if g.Rule == 0 {
		return nil
	}
	out := &Steadiness{State: g.State(), Why: g.Why, WantedModulus: number(g.Wanted[0])}
	if g.Wanted[1] > 0 {
		out.WantedPhase = scaled(g.Wanted[1], degree)
	}
	if !g.Judged() {
		return out
	}
	out.HalfModulus, out.Block, out.TauMax, out.From = number(g.HalfWidth[0]), number(g.Block), number(g.TauMax*g.Block), g.From
	if g.Slowest > 0 {
		out.Slowest = number(g.Slowest)
	}
	if g.Wanted[1] > 0 {
		out.HalfPhase = scaled(g.HalfWidth[1], degree)
	}
	for _, a := range g.Answers {
		out.Recordings = append(out.Recordings, component(a, g.Block))
	}
	return out
}

func component(a steady.Answer, block float64) Component {
	m, p := a.Modulus, a.Phase
	c := Component{Blocks: a.Blocks, Discarded: max(m.Discarded, p.Discarded), Replaced: max(m.Replaced, p.Replaced), TauMax: a.TauMax * block,
		Left: number(m.Left), Phi: number(m.Phi), DofM: number(m.Dof)}
	if m.Tau > 0 {
		c.Tau = scaled(m.Tau, block)
	}
	if p.Judged {
		c.LeftPhase, c.DofP = scaled(p.Left, degree), number(p.Dof)
	}
	return c
}

func repeats(r calibration.Result) (all []Repeat) {
	for _, q := range r.Repeats {
		out := Repeat{Nominal: q.Point.Plan.Frequency, Refused: q.Refused, Point: point(r.Job, q.Point)}
		if q.Refused == "" {
			out.Modulus = &Comparison{q.Modulus.Difference, q.Modulus.Allowed, q.Modulus.Flagged}
			if r.Points[q.Of].HasPhase && q.Point.HasPhase {
				out.Phase = &Comparison{q.Phase.Difference * degree, q.Phase.Allowed * degree, q.Phase.Flagged}
			}
		}
		all = append(all, out)
	}
	return all
}
