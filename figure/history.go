package figure

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"time"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// History is the sensitivity of one sensor at one frequency over time: results with their uncertainty, drift line with its band, tolerance, today and due date.
type History struct {
	Title     string
	Frequency float64        // Hz
	Unit      string         // of the values, for example "V/g"
	Points    []HistoryPoint // one or more
	Line      []HistoryLine  // the drift line at ascending dates; empty: none
	Band      string         // name of its band in the legend, for example "drift line, 95 %"
	Tolerance [2]float64     // limits in the figure's unit; a side without one is infinite
	Today     time.Time      // zero: not drawn
	Due       time.Time      // zero: not drawn
}

// HistoryPoint is one calibration.
type HistoryPoint struct {
	Date        time.Time
	Value, U    float64 // in the figure's unit; U is the expanded uncertainty
	Certificate string  // its number, for those who do not see the figure
}

// HistoryLine is the drift line on one day with the ends of its interval, in the figure's unit.
type HistoryLine struct {
	Date             time.Time
	Value, Low, High float64
}

// About implements Figure.
func (h History) About() (title, description string) {
	var b strings.Builder
	fmt.Fprintf(&b, "Sensitivity at %g Hz in %s against time, with expanded uncertainty.", h.Frequency, h.Unit)
	for _, p := range h.Points {
		fmt.Fprintf(&b, " %s, certificate %s: %.5g ± %.2g.", p.Date.Format(time.DateOnly), p.Certificate, p.Value, p.U)
	}
	if n := len(h.Line); n > 0 {
		end := h.Line[n-1]
		fmt.Fprintf(&b, " The drift line goes from %.5g to %.5g on %s, where its interval is %.5g to %.5g.", h.Line[0].Value, end.Value, end.Date.Format(time.DateOnly), end.Low, end.High)
	}
	for side, name := range []string{"lower", "upper"} {
		if h.limit(side) {
			fmt.Fprintf(&b, " The %s tolerance limit is %.5g.", name, h.Tolerance[side])
		}
	}
	if !h.Due.IsZero() {
		fmt.Fprintf(&b, " The next calibration is due on %s.", h.Due.Format(time.DateOnly))
	}
	return h.Title, b.String()
}

// limit says whether there is a tolerance limit on a side, 0 the lower and 1 the upper one.
func (h History) limit(side int) bool { return !math.IsInf(h.Tolerance[side], 0) }

func (h History) check() error {
	if len(h.Points) == 0 {
		return errors.New("figure of a history: no points")
	}
	for i, p := range h.Points {
		if p.Date.IsZero() || math.IsNaN(p.Value) || math.IsInf(p.Value, 0) || !(p.U >= 0) || math.IsInf(p.U, 0) {
			return fmt.Errorf("figure of a history, point %d: value %g ± %g on %s: must be finite numbers and a date", i+1, p.Value, p.U, p.Date.Format(time.DateOnly))
		}
	}
	for i, l := range h.Line {
		if !(l.Low <= l.Value && l.Value <= l.High) || math.IsInf(l.Low, 0) || math.IsInf(l.High, 0) || i > 0 && !l.Date.After(h.Line[i-1].Date) {
			return fmt.Errorf("figure of a history, drift line on %s: %g within %g to %g: must be finite, in this order, at ascending dates", l.Date.Format(time.DateOnly), l.Value, l.Low, l.High)
		}
	}
	if !(h.Tolerance[0] < h.Tolerance[1]) {
		return fmt.Errorf("figure of a history: tolerance %g to %g: the lower limit must be below the upper one, infinite where there is none", h.Tolerance[0], h.Tolerance[1])
	}
	return nil
}

// Draw implements Figure.
func (h History) Draw(c vg.Canvas, width, height vg.Length, t *Type) error {
	if err := h.check(); err != nil {
		return err
	}
	s := t.setter()
	all := draw.NewCanvas(c, width-0.5, height)
	p := newPlot(s)
	h.axes(p)
	p.Add(permitted{h}, drift{h}, days{h}, results{h}, frame{})
	upper := draw.Crop(all, 3, 0, 0, -head)
	p.Draw(upper)
	data := p.DataCanvas(upper)
	baseline := all.Max.Y - head + 6
	s.setRuns(all, data.Min.X, baseline, sizeTitle, run{"|", false}, run{"S", true}, run{fmt.Sprintf("| at %g\u2009Hz, in %s", h.Frequency, h.Unit), false})
	h.legend(s, all, data.Max.X, baseline)
	return s.err
}

// legend sets the keys from right to left, ending at x.
func (h History) legend(s *setter, c draw.Canvas, x, baseline vg.Length) {
	mid := baseline + 2.6
	key := func(w vg.Length, symbol func(x vg.Length), runs ...run) {
		x -= s.width(sizeLabel, runs...)
		s.setRuns(c, x, baseline, sizeLabel, runs...)
		x -= w + 4
		symbol(x)
		x -= 12
	}
	if h.limit(0) || h.limit(1) {
		key(14, func(x vg.Length) { bandBetween(c, x, x+14, mid-3.5, mid+3.5) }, run{"tolerance", false})
	}
	if len(h.Line) > 0 {
		key(14, func(x vg.Length) {
			c.FillPolygon(inkDrift, []vg.Point{{X: x, Y: mid - 3.5}, {X: x + 14, Y: mid - 3.5}, {X: x + 14, Y: mid + 3.5}, {X: x, Y: mid + 3.5}})
			c.StrokeLine2(line(inkData, 0.8), x, mid, x+14, mid)
		}, run{h.Band, false})
	}
	key(6, func(x vg.Length) {
		at := vg.Point{X: x + 3, Y: mid}
		bar(c, at.X, mid-5, mid+5)
		dot(c, at, false)
	}, run{"value ± ", false}, run{"U", true})
}

// axes makes both scales: over everything that has a date, and over the tolerance and the results with their uncertainty. A band that is wider is cut at the frame.
func (h History) axes(p *plot.Plot) {
	first, last := h.Points[0].Date, h.Points[0].Date
	low, high := math.Inf(1), math.Inf(-1)
	reach := func(d time.Time) {
		if d.IsZero() {
			return
		}
		if d.Before(first) {
			first = d
		}
		if d.After(last) {
			last = d
		}
	}
	for _, q := range h.Points {
		reach(q.Date)
		low, high = min(low, q.Value-q.U), max(high, q.Value+q.U)
	}
	for _, l := range h.Line {
		reach(l.Date)
		low, high = min(low, l.Value), max(high, l.Value)
	}
	reach(h.Today)
	reach(h.Due)
	for side := range h.Tolerance {
		if h.limit(side) {
			low, high = min(low, h.Tolerance[side]), max(high, h.Tolerance[side])
		}
	}
	const tenth = 0.1 // of the height free above and below
	margin := tenth * (high - low)
	if margin == 0 {
		margin = max(1e-3*math.Abs(high), math.SmallestNonzeroFloat64)
	}
	room := max(0.03*last.Sub(first).Hours(), 20*24) / 24 // days
	p.X.Min, p.X.Max = day(first)-room, day(last)+room
	p.Y.Min, p.Y.Max = low-margin, high+margin
	if !h.Today.IsZero() || !h.Due.IsZero() {
		p.Y.Min -= margin // their names stand there
	}
	p.X.Tick.Marker = dateTicks{}
	p.Y.Tick.Marker = valueTicks{}
}

// day is a date as a number of days.
func day(t time.Time) float64 { return float64(t.Unix()) / 86400 }

// inkDrift fills the band of a drift line.
var inkDrift = ink("pl-drift", 0xd3, 0xe2, 0xea)

// permitted is the quiet band of the tolerance with the edges it has.
type permitted struct{ h History }

// Plot implements plot.Plotter.
func (t permitted) Plot(c draw.Canvas, p *plot.Plot) {
	if !t.h.limit(0) && !t.h.limit(1) {
		return
	}
	_, y := p.Transforms(&c)
	ends := [2]vg.Length{c.Min.Y, c.Max.Y}
	for side := range ends {
		if t.h.limit(side) {
			ends[side] = y(t.h.Tolerance[side])
		}
	}
	c.FillPolygon(inkBand, []vg.Point{{X: c.Min.X, Y: ends[0]}, {X: c.Max.X, Y: ends[0]}, {X: c.Max.X, Y: ends[1]}, {X: c.Min.X, Y: ends[1]}})
	for side, at := range ends {
		if t.h.limit(side) {
			c.StrokeLine2(line(inkEdge, 0.8), c.Min.X, at, c.Max.X, at)
		}
	}
}

// drift is the drift line with its band: solid over the calibrations, dashed beyond them, where it is a prediction.
type drift struct{ h History }

// Plot implements plot.Plotter.
func (d drift) Plot(c draw.Canvas, p *plot.Plot) {
	if len(d.h.Line) < 2 {
		return
	}
	x, y := p.Transforms(&c)
	inside := func(v float64) vg.Length { return y(max(p.Y.Min, min(v, p.Y.Max))) }
	var upper, lower, area []vg.Point
	for _, l := range d.h.Line {
		upper, lower = append(upper, vg.Point{X: x(day(l.Date)), Y: inside(l.High)}), append(lower, vg.Point{X: x(day(l.Date)), Y: inside(l.Low)})
	}
	area = append(area, upper...)
	for i := len(lower) - 1; i >= 0; i-- {
		area = append(area, lower[i])
	}
	c.FillPolygon(inkDrift, area)
	if t := (permitted{d.h}); d.h.limit(0) || d.h.limit(1) { // the limits go on over the band
		for side := range d.h.Tolerance {
			if t.h.limit(side) {
				c.StrokeLine2(line(inkEdge, 0.8), c.Min.X, y(d.h.Tolerance[side]), c.Max.X, y(d.h.Tolerance[side]))
			}
		}
	}
	for i := 1; i < len(d.h.Line); i++ {
		a, b := d.h.Line[i-1], d.h.Line[i]
		sty := line(inkData, 0.8)
		if b.Date.After(d.h.lastPoint()) || a.Date.Before(d.h.firstPoint()) {
			sty = line(inkData, 0.8, 3, 2)
		}
		c.StrokeLine2(sty, x(day(a.Date)), inside(a.Value), x(day(b.Date)), inside(b.Value))
	}
}

func (h History) firstPoint() time.Time {
	first := h.Points[0].Date
	for _, p := range h.Points {
		if p.Date.Before(first) {
			first = p.Date
		}
	}
	return first
}

func (h History) lastPoint() time.Time {
	last := h.Points[0].Date
	for _, p := range h.Points {
		if p.Date.After(last) {
			last = p.Date
		}
	}
	return last
}

// results are the calibrations with their bars.
type results struct{ h History }

// Plot implements plot.Plotter.
func (r results) Plot(c draw.Canvas, p *plot.Plot) {
	x, y := p.Transforms(&c)
	for _, q := range r.h.Points {
		at := vg.Point{X: x(day(q.Date)), Y: y(q.Value)}
		if q.U > 0 {
			bar(c, at.X, y(q.Value-q.U), y(q.Value+q.U))
		}
		dot(c, at, false)
	}
}

// days are today and the due date, each an upright line with its name at the foot of the frame.
type days struct{ h History }

// Plot implements plot.Plotter.
func (d days) Plot(c draw.Canvas, p *plot.Plot) {
	x, _ := p.Transforms(&c)
	mark := func(t time.Time, name string, row vg.Length, dashes ...vg.Length) {
		if t.IsZero() {
			return
		}
		at := x(day(t))
		c.StrokeLine2(line(inkAxis, 0.6, dashes...), at, c.Min.Y, at, c.Max.Y)
		sty := p.X.Tick.Label
		sty.XAlign, sty.YAlign = draw.XRight, draw.YBottom
		if to := at - 3; to-sty.Width(name) < c.Min.X {
			sty.XAlign, at = draw.XLeft, at+6
		}
		at -= 3
		left := at
		if sty.XAlign == draw.XRight {
			left -= sty.Width(name)
		}
		ground := inkPaper
		if !d.h.limit(0) && d.h.limit(1) {
			ground = inkBand
		}
		low, high, right := c.Min.Y+1.5+row, c.Min.Y+11.5+row, left+sty.Width(name)
		c.FillPolygon(ground, []vg.Point{{X: left - 1, Y: low}, {X: right + 1, Y: low}, {X: right + 1, Y: high}, {X: left - 1, Y: high}})
		c.FillText(sty, vg.Point{X: at, Y: c.Min.Y + 2 + row}, name)
	}
	above := vg.Length(11) // the name of the due date
	if d.h.Due.IsZero() {
		above = 0
	}
	mark(d.h.Today, "today", above, 1, 1.5)
	mark(d.h.Due, "due "+d.h.Due.Format(time.DateOnly), 0, 5, 2)
}
