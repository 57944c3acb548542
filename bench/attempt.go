package bench

import (
	"errors"
	"fmt"
	"math"
	"math/cmplx"
	"slices"

	"plumbline/sine"
	"plumbline/steady"
)

// attempt is one attempt at a step.
type attempt struct {
	*run
	number int // of the step
	step   Step
	try    int

	stream    *stream
	bins      *bins
	watch     *watch
	lines     []float64 // Hz, the step's
	wanted    []float64 // m/s² peak, of each line
	drive     []complex128
	glide     glide
	extra     []complex128 // V, of the harmonics from the second on: pre-distortion
	steepness []complex128 // m/s² per V at those harmonics, phases turned to 0 of the fundamental
	hush      []float64    // m/s², noise of each line in a window by the quiet check; 0 not known
	h         []float64    // m/s² per V of each line, of the low-level check
	begun     float64      // s of the stream at which the drive began
	record    *scribe
	start     float64 // s of the stream at which the recording began
	frames    int     // of the recording
	size      int     // frames in a block
	fits      []*sine.Accumulator
	done      [][]sine.Completed // of each line
	series    [][]steady.Block   // of each line
	judges    []*steady.Judge
	answers   []steady.Answer
	ended     bool // nothing is recorded any more
	judging   bool
	doubted   bool      // an evaluation of all blocks decides from now on, not the judges
	nextLook  int       // blocks at its next look
	led       int       // frames of the recording, whole blocks, within which the level was led to its value
	level     []float64 // m/s², of the last block
	peak      [2]float64
	reason    Decision // given with the command to keep
}

// ending is how an attempt ended that is no error.
type ending struct {
	kind string // "steady", "question", "paused", "skipped", "kept"
	why  string
	may  []Choice
}

// seconds is how long the attempt's acquisition ran.
func (a *attempt) seconds() float64 {
	if a.stream == nil {
		return 0
	}
	return a.stream.seconds()
}

// measure runs the attempt to its end and leaves the exciter silent. An error ends the run.
func (a *attempt) measure() (ending, error) {
	end, err := a.sequence()
	switch {
	case errors.Is(err, ErrGap):
		end, err = ending{"question", err.Error(), []Choice{Again, Skip, Stop}}, nil
	case errors.Is(err, errPaused):
		end, err = ending{kind: "paused", why: "paused"}, nil
	case errors.Is(err, errSkipped):
		end, err = ending{kind: "skipped", why: "skipped"}, nil
	case errors.Is(err, errKeep):
		end, err = ending{kind: "kept"}, nil
	}
	if err != nil {
		err = fmt.Errorf("step %d (%s), attempt %d: %w", a.number+1, a.step.Label, a.try, err)
	}
	if err == nil {
		err = a.fadeOut()
	}
	if a.stream != nil {
		if e := a.stream.reader.Close(); e != nil && err == nil {
			err = fmt.Errorf("digitizer: %w", e)
		}
	}
	if err != nil && a.record != nil {
		err = errors.Join(err, a.record.discard(err.Error()))
	}
	return end, err
}

// fadeOut leads the drive to silence, softly where the table would swing on into the next step.
func (a *attempt) fadeOut() error {
	a.ended = true
	if a.stream != nil && len(a.limiter.now) > 0 && slices.Min(a.lines) < suspension {
		_, err := a.steer(nil, softEnd)
		if err != nil && !errors.Is(err, ErrGap) {
			return err
		}
	}
	return a.limiter.off(a.ctx, a.limiter.at)
}

// sequence is soft start with low-level check, approach, hold.
func (a *attempt) sequence() (ending, error) {
	if err := a.prepare(); err != nil {
		return ending{}, err
	}
	a.tell(Event{Kind: "approach", Step: a.number, Attempt: a.try, Text: a.step.Label})
	if end, err := a.checkLow(); err != nil || end.kind != "" {
		return end, err
	}
	if end, err := a.approach(); err != nil || end.kind != "" {
		return end, err
	}
	return a.hold()
}

func (a *attempt) prepare() error {
	low, high := math.Inf(1), 0.0
	for _, l := range a.step.Lines {
		a.lines = append(a.lines, l.Frequency)
		a.wanted = append(a.wanted, l.Level*a.lower[a.number])
		low, high = min(low, l.Frequency), max(high, l.Frequency)
	}
	in := [2]Input{a.Reference, a.Device}
	var err error
	if a.stream, err = openStream(a.ctx, a.Digitizer, in); err != nil {
		return err
	}
	rate := a.stream.info.Rate
	a.size = int(math.Round(a.step.Block * rate))
	a.bins = newBins(rate, high, max(a.step.Block, mostLooks*a.window())*1.1+1, a.Mains)
	a.watch = newWatch(in, a.stream.steps(), a.bins, low, high)
	if a.quietRate == rate {
		a.watch.hush(a.quiet)
	}
	a.limiter.at, a.limiter.now = 0, nil // a new stream has a new clock
	a.level = make([]float64, len(a.lines))
	a.wantsHarmonics()
	for _, f := range a.lines {
		a.hush = append(a.hush, a.noise(f, a.window()))
	}
	return a.estimators(rate)
}

// estimators are one approximation in blocks for each line, and its judge.
func (a *attempt) estimators(rate float64) error {
	a.fits, a.done, a.series = nil, make([][]sine.Completed, len(a.lines)), make([][]steady.Block, len(a.lines))
	for i, f := range a.lines {
		settings := sine.Settings{Rate: rate, Frequency: f, Harmonics: a.Harmonics, Drift: a.Drift, Mains: a.Mains, Block: a.size}
		for _, g := range a.lines {
			if g != f {
				settings.Beside = append(settings.Beside, g/f)
			}
		}
		fit, err := sine.NewAccumulator(settings, 2)
		if err != nil {
			return fmt.Errorf("step %d (%s): %w", a.number+1, a.step.Label, err)
		}
		fit.Each(func(b sine.Completed) { a.done[i] = append(a.done[i], b) })
		a.fits = append(a.fits, fit)
	}
	a.beware()
	var err error
	a.judges, err = newJudges(a.step)
	a.answers = make([]steady.Answer, len(a.lines))
	return err
}

func newJudges(s Step) ([]*steady.Judge, error) {
	var judges []*steady.Judge
	for range s.Lines {
		j, err := steady.NewJudge(s.Judge)
		if err != nil {
			return nil, err
		}
		judges = append(judges, j)
	}
	return judges, nil
}

// portion is the number of frames read at once: a quarter of a cycle of the highest line, within reason, and to the end of a block.
func (a *attempt) portion() int {
	high := 0.0
	for _, f := range a.lines {
		high = max(high, f)
	}
	n := max(1, int(a.stream.info.Rate*min(0.02, max(0.001, 0.25/high))))
	if a.record != nil && !a.ended {
		n = min(n, a.size-a.frames%a.size)
	}
	return n
}

// advance reads one portion: commands, watch, recording, blocks.
func (a *attempt) advance() error {
	if err := a.ctx.Err(); err != nil {
		return err
	}
	if !a.ended { // commands wait for the next step then
		if err := a.attend(); err != nil {
			return err
		}
	}
	raw, err := a.stream.next(a.portion())
	if err != nil {
		return err
	}
	t := a.stream.seconds() - a.begun
	if err := a.watch.raw(a.stream.pair, t); err != nil {
		return err
	}
	a.bins.add(a.stream.pair, a.watch.model)
	if err := a.watch.look(a.stream.seconds()); err != nil {
		return err
	}
	if a.record == nil || a.ended {
		return nil
	}
	if err := a.record.write(raw); err != nil {
		return err
	}
	return a.take(len(raw[0]))
}

// attend obeys the commands that wait.
func (a *attempt) attend() error {
	for {
		select {
		case <-a.ctx.Done():
			return a.ctx.Err()
		case c, ok := <-a.Commands:
			if !ok {
				a.Commands = nil
				return nil
			}
			if c.Kind == "keep" && len(a.series[0]) == 0 {
				if err := a.deaf(c, a.number, "no block is complete yet"); err != nil {
					return err
				}
				continue
			}
			if err := a.obey(c, a.number); err != nil {
				a.reason = Decision{Keep, c.Text, c.Name}
				return err
			}
		default:
			return nil
		}
	}
}

// take adds the portion to the blocks.
func (a *attempt) take(n int) error {
	for c, x := range a.stream.pair {
		for _, v := range x {
			a.peak[c] = max(a.peak[c], math.Abs(v))
		}
	}
	for _, f := range a.fits {
		if err := f.Add(a.stream.pair[:]); err != nil {
			return err
		}
	}
	if a.frames += n; a.frames%a.size == 0 {
		return a.block()
	}
	return nil
}

// block is called when a block is complete.
func (a *attempt) block() error {
	k := len(a.series[0])
	seen := &BlockSeen{Number: k + 1, Peak: a.peak, Left: math.NaN()}
	a.peak = [2]float64{}
	for i, f := range a.lines {
		b := a.done[i][k]
		r, d := b.Harmonics[0][0], b.Harmonics[1][0]
		s := a.Reference.Sensitivity(f)
		a.level[i] = cmplx.Abs(r / s)
		ln := cmplx.Log(d / r)
		seen.Level, seen.LnRatio, seen.Distortion = append(seen.Level, a.level[i]), append(seen.LnRatio, ln), append(seen.Distortion, a.distortion(f, b.Harmonics[0]))
		a.series[i] = append(a.series[i], steady.Block{LnRatio: ln, LnLevel: math.Log(a.level[i]), Dropped: disturbed(a.done[i])})
		if i == 0 && !a.judging {
			a.led = a.frames + a.size // the block in which the level is reached is the next one at the earliest
		}
		if a.judging && !a.doubted {
			a.answers[i] = a.judges[i].Add(a.series[i][k])
		}
	}
	seen.Answers = append(seen.Answers, a.answers...)
	seen.Left = a.left()
	a.tell(Event{Kind: "block", Step: a.number, Attempt: a.try, Seconds: a.before + a.stream.seconds(), Block: seen})
	return nil
}

// left is the time until the slowest line is steady as far as can be seen, s.
func (a *attempt) left() float64 {
	left := 0.0
	for _, n := range a.answers {
		switch {
		case n.State != steady.Settling:
		case n.Needed == 0:
			return math.NaN()
		default:
			left = max(left, n.Wait(a.step.Block)-float64(n.Blocks)*a.step.Block)
		}
	}
	return left
}

// distortion of the motion from the harmonics of the reference.
func (a *attempt) distortion(f float64, z []complex128) float64 {
	var sum float64
	for k, v := range z[1:] {
		m := cmplx.Abs(v / a.Reference.Sensitivity(float64(k+2)*f))
		sum += m * m
	}
	return math.Sqrt(sum) / cmplx.Abs(z[0]/a.Reference.Sensitivity(f))
}

const (
	fewBlocks   = 5 // before one can be called disturbed
	disturbance = 3 // residual over its median, from which a block has no value
)

// disturbed says whether the last block stands out by its residual.
func disturbed(blocks []sine.Completed) bool {
	last := blocks[len(blocks)-1]
	for c, v := range last.Variance {
		var all []float64
		for _, b := range blocks {
			all = append(all, b.Variance[c])
		}
		if math.IsNaN(v) || len(all) >= fewBlocks && v > disturbance*disturbance*median(all) {
			return true
		}
	}
	return false
}
