package figure

import (
	"errors"
	"fmt"
	"math"
	"strings"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// Response is a frequency response: the deviation of the modulus from its value at the reference frequency and, where there is any, the phase below it.
type Response struct {
	Title     string
	Reference float64         // reference frequency, Hz
	Flatness  float64         // tolerance of the deviation, relative; 0 none
	Band      [2]float64      // Hz, where the tolerance holds; zero: everywhere
	Tolerance [2]float64      // limits of the value at the reference frequency, relative to it, drawn there where there is no flatness tolerance; zero: none
	Limits    string          // name of Tolerance in the legend, for example "tolerance ±10 % of 10 V/g"
	Span      float64         // half the height of the scale of deviations, relative: from the tolerance, never from the data
	Points    []ResponsePoint // ascending frequency
}

// ResponsePoint is one frequency of a response.
type ResponsePoint struct {
	Frequency float64 // Hz
	Deviation float64 // of the modulus from its value at the reference frequency, relative; NaN none
	U         float64 // expanded uncertainty of Deviation, relative; 0 for the reference frequency itself
	Phase     float64 // rad; NaN none
	UPhase    float64 // expanded uncertainty of Phase, rad
	Reference bool    // the point at the reference frequency, where Deviation is zero by definition
	Label     string  // rounded deviation as printed, shown where it lies outside the scale
}

// About implements Figure.
func (r Response) About() (title, description string) {
	var b strings.Builder
	fmt.Fprintf(&b, "Deviation of the modulus from its value at %g Hz against frequency, with expanded uncertainty.", r.Reference)
	if r.Flatness > 0 {
		fmt.Fprintf(&b, " The flatness tolerance is ±%g %%.", percent(r.Flatness))
	}
	if r.limited() {
		fmt.Fprintf(&b, " At %g Hz: %s, which is %s %% to %s %% from the value.", r.Reference, r.Limits, signed(percent(r.Tolerance[0])), signed(percent(r.Tolerance[1])))
	}
	for _, p := range r.Points {
		if !math.IsNaN(p.Deviation) {
			fmt.Fprintf(&b, " %.5g Hz: %s %%.", p.Frequency, signed(percent(p.Deviation)))
		}
	}
	return r.Title, b.String()
}

// limited reports whether the limits of the value at the reference frequency are drawn.
func (r Response) limited() bool { return r.Flatness == 0 && r.Tolerance[1] > r.Tolerance[0] }

func percent(x float64) float64 { return math.Round(x*1e6) / 1e4 }

func (r Response) check() error {
	if len(r.Points) == 0 {
		return errors.New("figure of a response: no points")
	}
	if !(r.Span > 0) || math.IsInf(r.Span, 0) {
		return fmt.Errorf("figure of a response: scale of ±%g: must be above 0", r.Span)
	}
	for i, p := range r.Points {
		if !(p.Frequency > 0) || math.IsInf(p.Frequency, 0) {
			return fmt.Errorf("figure of a response, point %d: frequency %g Hz: must be above 0", i+1, p.Frequency)
		}
	}
	return nil
}

// HasPhase reports whether any point has a phase: then the figure has a second panel.
func (r Response) HasPhase() bool {
	for _, p := range r.Points {
		if !math.IsNaN(p.Phase) {
			return true
		}
	}
	return false
}

const (
	head = vg.Length(17) // height of the line of text above a panel
	gap  = vg.Length(9)  // between the panels
)

// Draw implements Figure.
func (r Response) Draw(c vg.Canvas, width, height vg.Length, t *Type) error {
	if err := r.check(); err != nil {
		return err
	}
	s := t.setter()
	all := draw.NewCanvas(c, width-0.5, height)
	deviation := r.deviationPlot(s)
	if !r.HasPhase() {
		bottomLabel(deviation)
		r.panel(s, all, deviation, deviation.DataCanvas(draw.Crop(all, 0, 0, 0, -head)))
		return s.err
	}
	phase := r.phasePlot(s)
	bottomLabel(phase)
	split := 0.4 * height
	upper, lower := draw.Crop(all, 0, 0, split+gap/2, 0), draw.Crop(all, 0, 0, 0, split-gap/2-height)
	data := deviation.DataCanvas(upper)
	below := phase.DataCanvas(lower)
	data.Min.X, data.Max.X = max(data.Min.X, below.Min.X), min(data.Max.X, below.Max.X)
	r.panel(s, upper, deviation, data)
	below.Min.X, below.Max.X = data.Min.X, data.Max.X
	drawIn(phase, draw.Crop(lower, 0, 0, 0, -head), below)
	s.setRuns(all, below.Min.X, lower.Max.Y-head+6, sizeTitle, run{"Phase ", false}, run{"φ", true}, run{", in degrees; positive: the output leads", false})
	return s.err
}

func bottomLabel(p *plot.Plot) { p.X.Label.Text = "Frequency, in Hz" }

// drawIn draws p on c with its data between the left and right edges of data.
func drawIn(p *plot.Plot, c, data draw.Canvas) {
	at := p.DataCanvas(c)
	p.Draw(draw.Crop(c, data.Min.X-at.Min.X, data.Max.X-at.Max.X, 0, 0))
}

// panel draws the upper panel with its line of text and its legend, which stand above the frame and never over data.
func (r Response) panel(s *setter, c draw.Canvas, p *plot.Plot, data draw.Canvas) {
	drawIn(p, draw.Crop(c, 0, 0, 0, -head), data)
	baseline := c.Max.Y - head + 6
	s.setRuns(c, data.Min.X, baseline, sizeTitle,
		run{"Deviation of |", false}, run{"S", true}, run{fmt.Sprintf("| from its value at %g\u2009Hz, in %%", r.Reference), false})
	r.legend(s, c, data.Max.X, baseline)
}

// legend sets the keys from right to left, ending at x.
func (r Response) legend(s *setter, c draw.Canvas, x, baseline vg.Length) {
	mid := baseline + 2.6
	key := func(w vg.Length, symbol func(x vg.Length), runs ...run) {
		x -= s.width(sizeLabel, runs...)
		s.setRuns(c, x, baseline, sizeLabel, runs...)
		x -= w + 4
		symbol(x)
		x -= 12
	}
	band := func(x vg.Length) { bandBetween(c, x, x+14, mid-3.5, mid+3.5) }
	switch {
	case r.Flatness > 0:
		key(14, band, run{fmt.Sprintf("flatness tolerance ±%g\u2009%%", percent(r.Flatness)), false})
	case r.limited():
		key(14, band, run{r.Limits, false})
	}
	key(4, func(x vg.Length) { dot(c, vg.Point{X: x + 2, Y: mid}, true) }, run{"reference frequency", false})
	key(6, func(x vg.Length) {
		at := vg.Point{X: x + 3, Y: mid}
		bar(c, at.X, mid-5, mid+5)
		dot(c, at, false)
	}, run{"value ± ", false}, run{"U", true})
}

func (r Response) frequencyAxis(p *plot.Plot) {
	low, high := r.Reference, r.Reference
	if !(low > 0) {
		low, high = r.Points[0].Frequency, r.Points[0].Frequency
	}
	for _, q := range r.Points {
		low, high = min(low, q.Frequency), max(high, q.Frequency)
	}
	margin := math.Max(1.15, math.Pow(high/low, 0.035))
	p.X.Min, p.X.Max = low/margin, high*margin
	p.X.Scale = plot.LogScale{}
	p.X.Tick.Marker = frequencyTicks{}
}

func (r Response) deviationPlot(s *setter) *plot.Plot {
	p := newPlot(s)
	r.frequencyAxis(p)
	p.Y.Min, p.Y.Max = -r.Span, r.Span
	p.Y.Tick.Marker = evenTicks{step: stepFor(r.Span), scale: 100}
	p.Add(tolerance{r}, level{}, series{r: r, value: func(q ResponsePoint) (float64, float64) { return q.Deviation, q.U }}, frame{})
	return p
}

func (r Response) phasePlot(s *setter) *plot.Plot {
	p := newPlot(s)
	r.frequencyAxis(p)
	degrees := func(q ResponsePoint) (float64, float64) { return q.Phase * 180 / math.Pi, q.UPhase * 180 / math.Pi }
	low, high := 0.0, 0.0
	for _, q := range r.Points {
		if v, u := degrees(q); !math.IsNaN(v) {
			low, high = min(low, v-max(u, 0)), max(high, v+max(u, 0))
		}
	}
	var step float64
	p.Y.Min, p.Y.Max, step = degreesFor(low, high)
	p.Y.Tick.Marker = evenTicks{step: step, scale: 1}
	p.Add(level{}, series{r: r, value: degrees}, frame{})
	return p
}
