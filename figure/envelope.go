package figure

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// Envelope is the level that can be reached against frequency: every limit as a named line, and the points that were chosen.
type Envelope struct {
	Title  string
	Unit   string // of the levels, for example "g peak"
	Limits []EnvelopeLimit
	Points []EnvelopePoint
}

// EnvelopeLimit is one limit at ascending frequencies; what is not known is NaN.
type EnvelopeLimit struct {
	Name   string
	At     []float64 // Hz
	Levels []float64 // in the figure's unit, the same number
}

// EnvelopePoint is a chosen point.
type EnvelopePoint struct {
	Frequency float64 // Hz
	Level     float64 // in the figure's unit
	Open      bool    // measured together with others
}

// About implements Figure.
func (e Envelope) About() (title, description string) {
	var b strings.Builder
	fmt.Fprintf(&b, "Level in %s against frequency, both logarithmic, with the limits", e.Unit)
	for i, l := range e.Limits {
		if i > 0 {
			b.WriteByte(',')
		}
		b.WriteString(" " + l.Name)
	}
	b.WriteString(". Chosen points:")
	for _, p := range e.Points {
		fmt.Fprintf(&b, " %.4g Hz at %.3g;", p.Frequency, p.Level)
	}
	return e.Title, strings.TrimSuffix(b.String(), ";") + "."
}

func (e Envelope) check() error {
	if len(e.Limits) == 0 {
		return errors.New("figure of an envelope: no limits")
	}
	for _, l := range e.Limits {
		if len(l.At) < 2 || len(l.At) != len(l.Levels) {
			return fmt.Errorf("figure of an envelope: limit %s has %d frequencies and %d levels: must be two or more, the same number", l.Name, len(l.At), len(l.Levels))
		}
		for i, f := range l.At {
			if !(f > 0) || math.IsInf(f, 0) || i > 0 && f <= l.At[i-1] {
				return fmt.Errorf("figure of an envelope: limit %s, frequency %g Hz: must ascend from above 0", l.Name, f)
			}
		}
	}
	for i, p := range e.Points {
		if !(p.Frequency > 0 && p.Level > 0) || math.IsInf(p.Frequency, 0) || math.IsInf(p.Level, 0) {
			return fmt.Errorf("figure of an envelope, point %d: %g Hz at %g: must be above 0", i+1, p.Frequency, p.Level)
		}
	}
	return nil
}

// Draw implements Figure.
func (e Envelope) Draw(c vg.Canvas, width, height vg.Length, t *Type) error {
	if err := e.check(); err != nil {
		return err
	}
	s := t.setter()
	all := draw.NewCanvas(c, width-0.5, height)
	p := newPlot(s)
	bottomLabel(p)
	e.axes(p)
	p.Add(reachable{e}, limitLines{e, s}, chosen{e}, frame{})
	upper := draw.Crop(all, 3, 0, 0, -head)
	p.Draw(upper)
	data := p.DataCanvas(upper)
	e.heading(s, all, data)
	return s.err
}

// heading sets the line of text above the frame, with the keys of the points.
func (e Envelope) heading(s *setter, c, data draw.Canvas) {
	baseline := c.Max.Y - head + 6
	s.setRuns(c, data.Min.X, baseline, sizeTitle, run{"Level, in " + e.Unit, false})
	x := data.Max.X
	key := func(symbol func(x vg.Length), words string) {
		x -= s.width(sizeLabel, run{words, false})
		s.setRuns(c, x, baseline, sizeLabel, run{words, false})
		x -= 8
		symbol(x)
		x -= 12
	}
	together, alone := false, false
	for _, p := range e.Points {
		together, alone = together || p.Open, alone || !p.Open
	}
	mid := baseline + 2.6
	if together {
		key(func(x vg.Length) { dot(c, vg.Point{X: x, Y: mid}, true) }, "measured together")
	}
	if alone {
		key(func(x vg.Length) { dot(c, vg.Point{X: x, Y: mid}, false) }, "planned point")
	}
	key(func(x vg.Length) {
		c.FillPolygon(inkBand, []vg.Point{{X: x - 9, Y: mid - 3.5}, {X: x + 4, Y: mid - 3.5}, {X: x + 4, Y: mid + 3.5}, {X: x - 9, Y: mid + 3.5}})
	}, "within every limit")
}

// lowest is the lowest limit at the index i of every limit's frequencies, +Inf where none is known.
func (e Envelope) lowest(i int) float64 {
	least := math.Inf(1)
	for _, l := range e.Limits {
		if i < len(l.Levels) && l.Levels[i] > 0 {
			least = min(least, l.Levels[i])
		}
	}
	return least
}

// axes makes both scales: from the lowest point or limit to a little above the highest that can be reached.
func (e Envelope) axes(p *plot.Plot) {
	at := e.Limits[0].At
	p.X.Min, p.X.Max = at[0], at[len(at)-1]
	low, high := math.Inf(1), 0.0
	for i := range at {
		if v := e.lowest(i); !math.IsInf(v, 1) {
			low, high = min(low, v), max(high, v)
		}
	}
	for _, q := range e.Points {
		p.X.Min, p.X.Max = min(p.X.Min, q.Frequency), max(p.X.Max, q.Frequency)
		low, high = min(low, q.Level), max(high, q.Level)
	}
	if high == 0 {
		low, high = 1, 1
	}
	p.Y.Min, p.Y.Max = low/2, high*5
	for _, a := range []*plot.Axis{&p.X, &p.Y} {
		a.Scale = plot.LogScale{}
		a.Tick.Marker = frequencyTicks{}
	}
}

// reachable is the quiet area below every limit.
type reachable struct{ e Envelope }

// Plot implements plot.Plotter.
func (r reachable) Plot(c draw.Canvas, p *plot.Plot) {
	x, y := p.Transforms(&c)
	at := r.e.Limits[0].At
	area := []vg.Point{{X: x(at[0]), Y: c.Min.Y}}
	for i, f := range at {
		level := r.e.lowest(i)
		if math.IsInf(level, 1) {
			level = p.Y.Max
		}
		area = append(area, vg.Point{X: x(f), Y: y(min(max(level, p.Y.Min), p.Y.Max))})
	}
	area = append(area, vg.Point{X: x(at[len(at)-1]), Y: c.Min.Y})
	c.FillPolygon(inkBand, area)
}

// dashes tell the lines apart without colour; the name stands at each.
var dashes = [][]vg.Length{nil, {5, 2}, {2, 2}, {7, 2, 1, 2}, {1, 1.5}, {9, 3}, {4, 1.5, 1, 1.5}, {3, 3}}

// limitLines are the limits with their names along them.
type limitLines struct {
	e Envelope
	s *setter
}

// Plot implements plot.Plotter.
func (l limitLines) Plot(c draw.Canvas, p *plot.Plot) {
	x, y := p.Transforms(&c)
	places := make([][]place, len(l.e.Limits))
	for n, limit := range l.e.Limits {
		places[n] = stroke(c, line(inkData, 0.8, dashes[n%len(dashes)]...), limit, x, y)
	}
	var set []vg.Point // what stands already
	for _, q := range l.e.Points {
		set = append(set, vg.Point{X: x(q.Frequency), Y: y(q.Level)})
	}
	for n, limit := range l.e.Limits {
		taken := slices.Clone(set)
		for k := range places {
			if k == n {
				continue
			}
			for _, q := range places[k] {
				taken = append(taken, q.at)
			}
		}
		set = append(set, l.name(c, p, limit.Name, places[n], taken)...)
	}
}

// stroke draws the pieces of a limit that lie within the frame and returns where on them a name may stand.
func stroke(c draw.Canvas, sty draw.LineStyle, limit EnvelopeLimit, x, y func(float64) vg.Length) (places []place) {
	var piece []vg.Point
	flush := func() {
		if len(piece) > 1 {
			c.StrokeLines(sty, piece)
			places = append(places, placesOn(piece)...)
		}
		piece = nil
	}
	for i := 1; i < len(limit.At); i++ {
		if !(limit.Levels[i-1] > 0 && limit.Levels[i] > 0) {
			flush()
			continue
		}
		a, b, ok := clip(vg.Point{X: x(limit.At[i-1]), Y: y(limit.Levels[i-1])}, vg.Point{X: x(limit.At[i]), Y: y(limit.Levels[i])}, c.Min.Y, c.Max.Y)
		if !ok {
			flush()
			continue
		}
		if len(piece) == 0 || piece[len(piece)-1] != a {
			flush()
			piece = append(piece, a)
		}
		piece = append(piece, b)
	}
	flush()
	return places
}

// clip cuts the line from a to b to the height between low and high; ok is false where nothing is left.
func clip(a, b vg.Point, low, high vg.Length) (from, to vg.Point, ok bool) {
	if max(a.Y, b.Y) < low || min(a.Y, b.Y) > high {
		return a, b, false
	}
	onto := func(p vg.Point) vg.Point {
		y := min(max(p.Y, low), high)
		if y == p.Y {
			return p
		}
		return vg.Point{X: a.X + (y-a.Y)/(b.Y-a.Y)*(b.X-a.X), Y: y}
	}
	return onto(a), onto(b), true
}

// place is where a name may stand: a point of its line and the line's slope there in rad.
type place struct {
	at    vg.Point
	angle float64
}

func placesOn(run []vg.Point) []place {
	var all []place
	for i := 1; i < len(run); i++ {
		d := vg.Point{X: run[i].X - run[i-1].X, Y: run[i].Y - run[i-1].Y}
		all = append(all, place{run[i], math.Atan2(float64(d.Y), float64(d.X))})
	}
	return all
}

// name sets a limit's name along its line where it is farthest from everything set before, inside the frame, and returns where it stands.
func (l limitLines) name(c draw.Canvas, p *plot.Plot, name string, places []place, taken []vg.Point) []vg.Point {
	sty := p.X.Tick.Label
	sty.XAlign, sty.YAlign = draw.XCenter, draw.YBottom
	half := l.s.width(sizeLabel, run{name, false})/2 + 2
	best, room := -1, vg.Length(-1)
	marks := func(q place) []vg.Point {
		sin, cos := math.Sincos(q.angle)
		var all []vg.Point
		for _, t := range []vg.Length{-1, -0.5, 0, 0.5, 1} {
			all = append(all, vg.Point{X: q.at.X + t*half*vg.Length(cos) - 6*vg.Length(sin), Y: q.at.Y + t*half*vg.Length(sin) + 6*vg.Length(cos)})
		}
		return all
	}
	for i, q := range places {
		nearest := vg.Length(60) // farther away is no better
		inside := true
		for _, m := range marks(q) {
			inside = inside && m.X > c.Min.X+2 && m.X < c.Max.X-2 && m.Y > c.Min.Y+2 && m.Y < c.Max.Y-4
			for _, o := range taken {
				nearest = min(nearest, vg.Length(math.Hypot(float64(m.X-o.X), float64(m.Y-o.Y))))
			}
		}
		if inside && nearest > room {
			best, room = i, nearest
		}
	}
	if best < 0 {
		return nil
	}
	q := places[best]
	sin, cos := math.Sincos(q.angle)
	sty.Rotation = q.angle
	c.FillText(sty, vg.Point{X: q.at.X - 2*vg.Length(sin), Y: q.at.Y + 2*vg.Length(cos)}, name)
	return marks(q)
}

// chosen are the planned points.
type chosen struct{ e Envelope }

// Plot implements plot.Plotter.
func (q chosen) Plot(c draw.Canvas, p *plot.Plot) {
	x, y := p.Transforms(&c)
	for _, pt := range q.e.Points {
		dot(c, vg.Point{X: x(pt.Frequency), Y: y(pt.Level)}, pt.Open)
	}
}
