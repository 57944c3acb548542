package certificate

import (
	"math"
	"slices"

	"plumbline/calibration"
	"plumbline/quantity"
	"plumbline/uncertainty"
)

// pointsPerBlock is how many frequencies stand beside each other in a table of influences.
const pointsPerBlock = 10

// component is one side of a complex budget: the modulus or the phase.
type component struct {
	name  string
	unit  string
	scale float64 // from the budget's unit to the printed one
	std   func(uncertainty.Row) float64
	dof   func(uncertainty.Row) float64
	share func(uncertainty.Row) float64
	total func(uncertainty.Budget) uncertainty.Combined
	has   func(calibration.Point) bool
}

var ofModulus = component{
	name: "modulus", unit: "%", scale: 100,
	std:   func(r uncertainty.Row) float64 { return r.Modulus },
	dof:   func(r uncertainty.Row) float64 { return r.DofModulus },
	share: func(r uncertainty.Row) float64 { return r.ShareModulus },
	total: func(b uncertainty.Budget) uncertainty.Combined { return b.Modulus },
	has:   func(calibration.Point) bool { return true },
}

var ofPhase = component{
	name: "phase", unit: "°", scale: 180 / math.Pi,
	std:   func(r uncertainty.Row) float64 { return r.Phase },
	dof:   func(r uncertainty.Row) float64 { return r.DofPhase },
	share: func(r uncertainty.Row) float64 { return r.SharePhase },
	total: func(b uncertainty.Budget) uncertainty.Combined { return b.Phase },
	has:   func(p calibration.Point) bool { return p.HasPhase },
}

// budget is the annex with every influence at every frequency.
func (a *author) budget() Section {
	s := Section{Heading: "Uncertainty budget", Annex: true}
	s.Blocks = append(s.Blocks, Paragraph{Text: rich("*u* is the standard uncertainty of the sensitivity from each influence, relative for the modulus and in degrees for the phase; *ν* is its degrees of freedom. " +
		"The share of an influence in the variance is the square of its *u* over the combined *u*~c~. Where no *ν* is given it is infinite.")})
	if i := a.budgetPoint(); i >= 0 {
		s.Blocks = append(s.Blocks, a.fullBudget(a.r.Points[i]))
	}
	s.Blocks = append(s.Blocks, a.matrices(ofModulus)...)
	if a.anyPhase() {
		s.Blocks = append(s.Blocks, a.matrices(ofPhase)...)
	}
	if l := a.notApplicable(); len(l) > 0 {
		s.Blocks = append(s.Blocks, Paragraph{Text: strong("Influences that the procedure states not to apply")}, l)
	}
	if t := a.sources(); len(t.Rows) > 0 {
		s.Blocks = append(s.Blocks, t)
	}
	return s
}

// budgetPoint is the point whose budget is shown in full: that at the reference frequency, else the first with a value.
func (a *author) budgetPoint() int {
	if a.reference >= 0 {
		return a.reference
	}
	return a.valued()[0]
}

func (a *author) fullBudget(p calibration.Point) Table {
	modulus, phase := plain("Modulus"), plain("Phase")
	t := Table{
		Caption: rich("#Budget at {}"+thin+"Hz in full#", hertz(p.StatedFrequency())),
		Columns: []Column{
			{Head: plain("Influence"), Kind: Words, Share: 1.2},
			{Head: plain("Distribution"), Kind: Words, Share: 1},
			{Group: modulus, Head: rich("*u*"), Unit: plain("%"), Kind: Number},
			{Group: modulus, Head: rich("*ν*"), Kind: Number},
			{Group: modulus, Head: plain("share"), Unit: plain("%"), Kind: Number},
		},
	}
	sides := []component{ofModulus}
	if p.HasPhase {
		sides = append(sides, ofPhase)
		t.Columns = append(t.Columns,
			Column{Group: phase, Head: rich("*u*"), Unit: plain("°"), Kind: Number},
			Column{Group: phase, Head: rich("*ν*"), Kind: Number},
			Column{Group: phase, Head: plain("share"), Unit: plain("%"), Kind: Number})
	}
	for _, row := range p.Budget.Rows {
		cells := []Text{plain(capital(row.Influence)), plain(row.Distribution)}
		for _, c := range sides {
			cells = append(cells, contribution(c, row, c.decimals(p))...)
		}
		t.Rows = append(t.Rows, Row{Cells: cells})
	}
	t.Rows = append(t.Rows, totals(p, sides)...)
	return t
}

// decimals is one decimal more than two digits of the combined uncertainty have.
func (c component) decimals(points ...calibration.Point) int {
	n := 0
	for _, p := range points {
		n = max(n, quantity.Decimals(c.scale*c.total(p.Budget).Std, digitsOfU)+1)
	}
	return n
}

func contribution(c component, row uncertainty.Row, decimals int) []Text {
	u := c.std(row)
	if u == 0 || math.IsNaN(u) {
		return []Text{plain(dash), plain(dash), plain(dash)}
	}
	return []Text{plain(beside(c.scale*u, decimals)), plain(freedom(c.dof(row))), plain(share(c.share(row)))}
}

func share(x float64) string {
	switch {
	case math.IsNaN(x):
		return dash
	case x < 0.0005:
		return "<" + thin + "0.1"
	}
	return minus(fixed(100*x, 1))
}

// totals is the combined, expanded and stated uncertainties below the rows they sum.
func totals(p calibration.Point, sides []component) []Row {
	rows := []Row{
		{Ruled: true, Cells: []Text{rich("Combined standard uncertainty *u*~c~"), nil}},
		{Cells: []Text{rich("Coverage factor *k* to first order"), nil}},
		{Cells: []Text{rich("Expanded uncertainty *k* *u*~c~"), nil}},
		{Cells: []Text{statedLabel(p, sides), nil}},
	}
	for i, c := range sides {
		total := c.total(p.Budget)
		u := p.Reported.UModulus
		if i > 0 {
			u = p.Reported.UPhase
		}
		decimals := c.decimals(p)
		for k, text := range []Text{plain(beside(c.scale*total.Std, decimals)), plain(coverage(total.K)), plain(beside(c.scale*total.Expanded, decimals)), strong(significant(c.scale*u, digitsOfU))} {
			nu := Text(nil)
			if k == 0 {
				nu = plain(freedom(total.Dof))
			}
			rows[k].Cells = append(rows[k].Cells, text, nu, nil)
		}
	}
	return rows
}

// statedLabel says where a stated uncertainty was raised above the expanded one over it.
func statedLabel(p calibration.Point, sides []component) Text {
	t := rich("Stated *U*")
	switch m, phase := p.Reported.RaisedModulus, p.Reported.RaisedPhase && len(sides) > 1; {
	case m && phase:
		return append(t, plain(", both raised to the laboratory's scope")...)
	case m:
		return append(t, plain(", of the modulus raised to the laboratory's scope")...)
	case phase:
		return append(t, plain(", of the phase raised to the laboratory's scope")...)
	}
	return t
}

// matrices is the influences against all frequencies, in blocks that fit a page's width.
func (a *author) matrices(c component) []Block {
	var with []int
	for _, i := range a.valued() {
		if c.has(a.r.Points[i]) {
			with = append(with, i)
		}
	}
	names := a.influences(with)
	var blocks []Block
	var all []calibration.Point
	for _, i := range with {
		all = append(all, a.r.Points[i])
	}
	decimals := c.decimals(all...)
	for chunk := range slices.Chunk(with, evenly(len(with), pointsPerBlock)) {
		t := Table{Columns: []Column{{Head: plain("Influence"), Kind: Words, Share: 1}}}
		if len(blocks) == 0 {
			t.Caption = rich("#{}:# standard uncertainty *u*, in {}, at every frequency", capital(c.name), c.unit)
		}
		for _, i := range chunk {
			t.Columns = append(t.Columns, Column{Head: plain(hertz(a.r.Points[i].StatedFrequency())), Unit: plain("Hz"), Kind: Number})
		}
		for _, name := range names {
			t.Rows = append(t.Rows, a.influenceRows(c, name, chunk, decimals)...)
		}
		total := Row{Ruled: true, Cells: []Text{rich("Combined *u*~c~")}}
		for _, i := range chunk {
			total.Cells = append(total.Cells, plain(beside(c.scale*c.total(a.r.Points[i].Budget).Std, decimals)))
		}
		t.Rows = append(t.Rows, total)
		blocks = append(blocks, t)
	}
	return blocks
}

// evenly is the size of blocks, at most `most`, that are as equal as can be.
func evenly(n, most int) int {
	blocks := max(1, (n+most-1)/most)
	return max(1, (n+blocks-1)/blocks)
}

// influences is the names of all influences in the order of the budgets.
func (a *author) influences(points []int) []string {
	var names []string
	for _, i := range points {
		for _, row := range a.r.Points[i].Budget.Rows {
			if !slices.Contains(names, row.Influence) {
				names = append(names, row.Influence)
			}
		}
	}
	return names
}

// influenceRows is one influence over some frequencies. Finite degrees of freedom stand beside its name where they are the same at all of
// them, in a row of their own where they differ.
func (a *author) influenceRows(c component, name string, points []int, decimals int) []Row {
	u := Row{Cells: []Text{plain(capital(name))}}
	nu := Row{Counts: true, Cells: []Text{rich("– its *ν*")}}
	var seen []string
	for _, i := range points {
		rows := a.r.Points[i].Budget.Rows
		k := slices.IndexFunc(rows, func(r uncertainty.Row) bool { return r.Influence == name })
		if k < 0 || !(c.std(rows[k]) > 0) {
			u.Cells, nu.Cells = append(u.Cells, plain(dash)), append(nu.Cells, plain(dash))
			continue
		}
		dof := freedom(c.dof(rows[k]))
		seen = append(seen, dof)
		u.Cells = append(u.Cells, plain(beside(c.scale*c.std(rows[k]), decimals)))
		nu.Cells = append(nu.Cells, plain(dof))
	}
	if len(seen) == 0 {
		return nil
	}
	if len(slices.Compact(slices.Clone(seen))) > 1 {
		return []Row{u, nu}
	}
	if seen[0] != "∞" {
		u.Cells[0] = rich("{} (*ν* = {})", capital(name), seen[0])
	}
	return []Row{u}
}

func (a *author) notApplicable() List {
	var l List
	for _, in := range a.r.Job.Procedure.Influences {
		if in.NotApplicable != "" {
			l = append(l, plain(sentence(calibration.InfluenceName(in.Key)+": "+in.NotApplicable)))
		}
	}
	return l
}

// sources is where the numbers of the procedure come from.
func (a *author) sources() Table {
	t := Table{
		Caption: strong("Where the procedure's numbers come from"),
		Columns: []Column{{Head: plain("Influence"), Kind: Fixed}, {Head: plain("Distribution"), Kind: Fixed}, {Head: plain("Source"), Kind: Words, Share: 1}},
	}
	for _, in := range a.r.Job.Procedure.Influences {
		if in.NotApplicable == "" && in.Source != "" {
			name := calibration.InfluenceName(in.Key)
			t.Rows = append(t.Rows, Row{Cells: []Text{plain(capital(name)), plain(orDash(a.distribution(name, in.Distribution))), plain(in.Source)}})
		}
	}
	return t
}

// distribution is that of an influence as the budget in full has it, else as the procedure states it.
func (a *author) distribution(name, stated string) string {
	for _, row := range a.r.Points[a.budgetPoint()].Budget.Rows {
		if row.Influence == name {
			return row.Distribution
		}
	}
	return stated
}
